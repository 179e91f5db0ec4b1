//! The serial ports: rings between interrupts and the main loop, so that neither waits for the other.

use crate::registers::{Block, CLOCK_HZ};
use core::cell::Cell;
use core::sync::atomic::{AtomicU16, Ordering::Relaxed};
use cortex_m::interrupt::InterruptNumber;
use critical_section::Mutex;
use embedded_hal_nb::serial::{ErrorKind, ErrorType, Read, Write};
use heapless::spsc::{Consumer, Producer, Queue};

const DATA: u16 = 0x00;
const STATE: u16 = 0x04;
const CONTROL: u16 = 0x08;
const INTERRUPT: u16 = 0x0C;
const BAUD_DIVISOR: u16 = 0x10;

const TX_FULL: u32 = 1 << 0;
const RX_FULL: u32 = 1 << 1;
const RX_OVERRUN: u32 = 1 << 3;
const TX: u32 = 1 << 0;
const RX: u32 = 1 << 1;
/// Transmitter, receiver and both of their interrupts.
const ALL_ON: u32 = 0b1111;
/// Transmitter without interrupts.
const TX_ONLY: u32 = 0b0001;
const BAUD_DIVISOR_MIN: u32 = 16;

/// Numbers of the interrupts that the main loop raises.
#[derive(Clone, Copy, Debug)]
enum Line {
    Uart0Tx = 1,
    Uart1Tx = 3,
    Uart3Tx = 19,
}

#[allow(unsafe_code)]
// SAFETY: the numbers are the board's, and each has its place in the interrupt table.
unsafe impl InterruptNumber for Line {
    fn number(self) -> u16 {
        self as u16
    }
}

/// A port as its interrupts see it.
pub struct Port {
    block: Block,
    transmit: Line,
    arriving: Mutex<Cell<Option<Producer<'static, u8>>>>,
    leaving: Mutex<Cell<Option<Consumer<'static, u8>>>>,
    received: AtomicU16,
    lost: AtomicU16,
    queued: AtomicU16,
    sent: AtomicU16,
}

/// The host link.
pub static HOST: Port = Port::new(Block::UART0, Line::Uart0Tx);
/// The sensor line.
pub static SENSORS: Port = Port::new(Block::UART1, Line::Uart1Tx);
/// The bench's time.
pub static BENCH: Port = Port::new(Block::UART3, Line::Uart3Tx);

impl Port {
    const fn new(block: Block, transmit: Line) -> Self {
        Self {
            block,
            transmit,
            arriving: Mutex::new(Cell::new(None)),
            leaving: Mutex::new(Cell::new(None)),
            received: AtomicU16::new(0),
            lost: AtomicU16::new(0),
            queued: AtomicU16::new(0),
            sent: AtomicU16::new(0),
        }
    }

    /// Turns the port on with its two rings.
    pub fn open<const R: usize, const T: usize>(
        &'static self,
        baud: u32,
        receive: &'static mut Queue<u8, R>,
        transmit: &'static mut Queue<u8, T>,
    ) -> Uart {
        let (producer, received) = receive.split();
        let (queue, consumer) = transmit.split();
        critical_section::with(|cs| {
            self.arriving.borrow(cs).set(Some(producer));
            self.leaving.borrow(cs).set(Some(consumer));
        });
        self.block.write(BAUD_DIVISOR, divisor(baud));
        self.block.write(CONTROL, ALL_ON);
        Uart { port: self, received, queue, lost_seen: 0 }
    }

    /// Takes what has arrived. For the receive interrupt.
    pub(crate) fn on_receive(&self) {
        self.block.write(INTERRUPT, RX);
        critical_section::with(|cs| {
            let mut ring = self.arriving.borrow(cs).take();
            if self.block.read(STATE) & RX_OVERRUN != 0 {
                self.block.write(STATE, RX_OVERRUN);
                self.lost.fetch_add(1, Relaxed);
            }
            while self.block.read(STATE) & RX_FULL != 0 {
                let [byte, ..] = self.block.read(DATA).to_le_bytes();
                self.received.fetch_add(1, Relaxed);
                if ring.as_mut().is_none_or(|ring| ring.enqueue(byte).is_err()) {
                    self.lost.fetch_add(1, Relaxed);
                }
            }
            self.arriving.borrow(cs).set(ring);
        });
    }

    /// Sends on. For the transmit interrupt.
    pub(crate) fn on_transmit(&self) {
        self.block.write(INTERRUPT, TX);
        critical_section::with(|cs| {
            let mut ring = self.leaving.borrow(cs).take();
            while self.block.read(STATE) & TX_FULL == 0 {
                let Some(byte) = ring.as_mut().and_then(Consumer::dequeue) else { break };
                self.block.write(DATA, byte.into());
                self.sent.fetch_add(1, Relaxed);
            }
            self.leaving.borrow(cs).set(ring);
        });
    }

    /// Bytes received since the start, wrapping.
    pub fn received(&self) -> u16 {
        self.received.load(Relaxed)
    }

    /// Bytes sent since the start, wrapping.
    pub fn sent(&self) -> u16 {
        self.sent.load(Relaxed)
    }

    /// Bytes that found no room or were overrun, wrapping.
    pub fn lost(&self) -> u16 {
        self.lost.load(Relaxed)
    }

    /// Whether everything queued has been handed to the line.
    pub fn is_drained(&self) -> bool {
        self.queued.load(Relaxed) == self.sent() && self.block.read(STATE) & TX_FULL == 0
    }

    fn kick(&self) {
        cortex_m::peripheral::NVIC::pend(self.transmit);
    }
}

/// A port as the main loop sees it.
pub struct Uart {
    port: &'static Port,
    received: Consumer<'static, u8>,
    queue: Producer<'static, u8>,
    lost_seen: u16,
}

impl core::fmt::Debug for Port {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("Port")
    }
}

impl core::fmt::Debug for Uart {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("Uart")
    }
}

impl Uart {
    /// The next byte that arrived.
    pub fn take(&mut self) -> Option<u8> {
        self.received.dequeue()
    }

    /// Whether nothing has arrived that was not taken.
    pub fn is_empty(&self) -> bool {
        !self.received.ready()
    }

    /// Bytes that can be sent now.
    pub fn room(&self) -> usize {
        self.queue.capacity().saturating_sub(self.queue.len())
    }

    /// Sends all of it, or nothing where there is no room, and says which.
    pub fn send(&mut self, bytes: &[u8]) -> bool {
        if bytes.len() > self.room() {
            return false;
        }
        for &byte in bytes {
            if self.queue.enqueue(byte).is_ok() {
                self.port.queued.fetch_add(1, Relaxed);
            }
        }
        self.port.kick();
        true
    }
}

impl ErrorType for Uart {
    type Error = ErrorKind;
}

impl Read for Uart {
    fn read(&mut self) -> nb::Result<u8, ErrorKind> {
        let lost = self.port.lost();
        if lost != self.lost_seen {
            self.lost_seen = lost;
            return Err(nb::Error::Other(ErrorKind::Overrun));
        }
        self.take().ok_or(nb::Error::WouldBlock)
    }
}

impl Write for Uart {
    fn write(&mut self, byte: u8) -> nb::Result<(), ErrorKind> {
        if self.send(&[byte]) { Ok(()) } else { Err(nb::Error::WouldBlock) }
    }

    /// This UART does not say when its last stop bit has left; the emulated one sends at once. A board with a
    /// direction pin must wait for that bit.
    fn flush(&mut self) -> nb::Result<(), ErrorKind> {
        if self.port.is_drained() { Ok(()) } else { Err(nb::Error::WouldBlock) }
    }
}

/// The log's transmitter: without interrupts, and as fast as it goes, since it is used with interrupts off.
pub(crate) struct LogPort;

impl LogPort {
    const BLOCK: Block = Block::UART2;
    /// Looks at a full transmitter before a byte is given up: about twice what a byte takes.
    const LOOKS_MAX: u32 = 100;

    pub(crate) fn open() {
        Self::BLOCK.write(BAUD_DIVISOR, BAUD_DIVISOR_MIN);
        Self::BLOCK.write(CONTROL, TX_ONLY);
    }

    /// Sends a byte if the line takes it within a bounded time, and says whether it did.
    pub(crate) fn send(byte: u8) -> bool {
        let takes = (0..Self::LOOKS_MAX).any(|_| Self::BLOCK.read(STATE) & TX_FULL == 0);
        if takes {
            Self::BLOCK.write(DATA, byte.into());
        }
        takes
    }
}

fn divisor(baud: u32) -> u32 {
    CLOCK_HZ.checked_div(baud).unwrap_or(u32::MAX).max(BAUD_DIVISOR_MIN)
}
