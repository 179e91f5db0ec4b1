"""Sensors that nobody here wrote the protocol of: pymodbus serves a scripted depth and lean on a loopback port.

Prints `port N` when it listens. Then obeys lines on standard input:
  tip MM SPEED       move the tip to MM below the start, at SPEED mm/s
  lean F R           lean, mm/m, rig axes (toe forward, toe right)
  fault KIND SENSOR  KIND: none silent slow exception unit crc bytes values; SENSOR: 1 encoder, 2 tilt, 0 both
  where              prints `at MM` and the requests answered so far
  quit
Ends by itself when standard input closes or after ten minutes.
"""

import asyncio
import sys
import time

from pymodbus import FramerType
from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerRTU
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

COUNTS_PER_MM = 10
HUB_COUNT = 30_000


class Script:
    def __init__(self):
        self.start_mm, self.target_mm, self.speed, self.since = 0.0, 0.0, 1.0, time.monotonic()
        self.lean = (0.0, 0.0)
        self.fault = {1: "none", 2: "none"}
        self.answered = 0

    def tip(self):
        gone = (time.monotonic() - self.since) * self.speed
        way = self.target_mm - self.start_mm
        return self.target_mm if gone >= abs(way) else self.start_mm + gone * (1 if way > 0 else -1)

    def move(self, mm, speed):
        self.start_mm, self.since = self.tip(), time.monotonic()
        self.target_mm, self.speed = mm, speed


SCRIPT = Script()


def words16(values):
    return [v & 0xFFFF for v in values]


async def serve(unit, registers, _code, _start, _address, _count, current, _set):
    SCRIPT.answered += 1
    fault = SCRIPT.fault[unit]
    if fault == "exception":
        return ExcCodes.DEVICE_FAILURE
    if fault == "slow":
        await asyncio.sleep(0.4)
    current[: len(registers())] = registers() if fault != "values" else [0x7FFF] * len(registers())
    return None


def encoder():
    count = HUB_COUNT + round(SCRIPT.tip() * COUNTS_PER_MM)
    return words16([count >> 16, count])


def tilt():
    forward, right = SCRIPT.lean
    up = (1_000_000 - forward**2 - right**2) ** 0.5
    dither = SCRIPT.answered // 2 % 50 == 0  # a sensor that lives is not the same to the last digit for ever
    # a register counts 0.1 mg, and lean in mm/m is mg; then 20 degrees Celsius in hundredths
    return words16([round(v * 10) for v in (forward, right)] + [round(up * 10) - dither, 2_000])


async def encoder_action(*request):
    return await serve(1, encoder, *request)


async def tilt_action(*request):
    return await serve(2, tilt, *request)


def repaired(body):
    crc = FramerRTU.compute_CRC(body)
    return body + crc.to_bytes(2, "big")


def on_the_way(sending, data):
    """Damage that no honest slave does, to what it sends."""
    if not sending or len(data) < 4:
        return data
    fault = SCRIPT.fault.get(data[0], "none")
    if fault == "silent":
        return b""
    if fault == "crc":
        return data[:-1] + bytes([data[-1] ^ 0x55])
    if fault == "unit":
        return repaired(bytes([data[0] + 40]) + data[1:-2])
    if fault == "bytes":  # a sound check over a byte count of nought
        return repaired(data[:2] + b"\0")
    return data


def obey(line):
    words = line.split()
    match words:
        case ["tip", mm, speed]:
            SCRIPT.move(float(mm), float(speed))
        case ["lean", forward, right]:
            SCRIPT.lean = (float(forward), float(right))
        case ["fault", kind, sensor]:
            for unit in (1, 2):
                if int(sensor) in (0, unit):
                    SCRIPT.fault[unit] = kind
        case ["where"]:
            print(f"at {SCRIPT.tip():.3f} answered {SCRIPT.answered}", flush=True)
        case ["quit"] | []:
            return False
        case _:
            print(f"independent_slave: cannot {line.strip()!r}", file=sys.stderr, flush=True)
    return True


async def main():
    registers = lambda count: [SimData(0, values=[0] * count, datatype=DataType.REGISTERS)]
    devices = [
        SimDevice(id=1, simdata=registers(2), action=encoder_action),
        SimDevice(id=2, simdata=registers(4), action=tilt_action),
    ]
    server = ModbusTcpServer(devices, framer=FramerType.RTU, address=("127.0.0.1", 0), trace_packet=on_the_way)
    await server.listen()
    print(f"port {server.transport.sockets[0].getsockname()[1]}", flush=True)
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)

    async def commands():
        while line := (await reader.readline()).decode():
            if not obey(line):
                break

    await asyncio.wait_for(commands(), timeout=600)
    await server.shutdown()


if __name__ == "__main__":
    try:
        asyncio.run(main())
    except asyncio.TimeoutError:
        sys.exit("independent_slave: ten minutes are over")
