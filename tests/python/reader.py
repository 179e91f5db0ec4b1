"""Reads the slots of one set-up by shared-protocol/WIRE.md alone: `reader.py FILE.slots` prints what they say and what of it does not hold.

Standard library only; with the package `cryptography` the seal's signature is checked too. Exit code 1 where something does not hold."""
import hashlib
import json
import struct
import sys
import zlib

PLAN = "line:s structure:s leg:b attempt:b setup:b operator:s units:b datum:b depth:i hub_above_datum:i diameter:i tool:b depth_under:i " \
    "depth_over:i plumb_limit:i heading:i heading_within:i"
POSTCARD = {3: "at:u request:u " + PLAN, 12: "at:u request:u bottom:i toe_forward:i toe_right:i wall_forward:i wall_right:i passes:u "
            "increments:u first:u from:u slots:u before:h segment:h"}
FIXED = {6: ("<IihhHHHB", "at depth forward right scatter samples took quality"), 7: ("<HIIiib", "number began ended tag bottom celsius"),
         13: ("<IIIB", "at first last cause"), 17: ("<III32s32s", "first from slots before segment"),
         18: ("<IIH16s8sII32sI32s32s64s", "at epoch boot rig configuration first slots digest number previous key signature")}

def slot(raw):
    """Sequence, boot, kind, index, parts and body of 32 bytes; None where they are damaged."""
    sequence, boot, kind, part, length = struct.unpack("<IHBBB", raw[:9])
    index, parts = part & 15, (part >> 4) + 1
    sound = zlib.crc32(raw[:28]) == int.from_bytes(raw[28:], "little") and length <= 19 and index < parts and not any(raw[9 + length:28])
    return (sequence, boot, kind, index, parts, raw[9:9 + length]) if sound else None

def postcard(body, fields):
    """Fields s text, h 32 bytes, b one byte, u varint, i varint with its sign zig-zag."""
    at, found = 0, {}
    for name, kind in (field.split(":") for field in fields.split()):
        value = shift = 0
        while kind in "sui":
            value, shift, at = value | (body[at] & 127) << shift, shift + 7, at + 1
            if body[at - 1] < 128:
                break
        size = {"s": value, "h": 32, "b": 1}.get(kind, 0)
        raw, at = body[at:at + size], at + size
        signed = value >> 1 ^ -(value & 1)
        found[name] = {"s": raw.decode, "h": lambda: raw, "b": lambda: raw[0], "u": lambda: value, "i": lambda: signed}[kind]()
    return found

def records(slots, wrong):
    """Kind, place among the slots in hand, sequence, body and fields of every record that matters here and whose parts are all there."""
    for n, (sequence, boot, kind, index, parts, _) in enumerate(slots):
        run = slots[n:n + parts]
        if index or [s[:5] for s in run] != [(sequence + i, boot, kind, i, parts) for i in range(parts)]:
            continue
        body = b"".join(s[5] for s in run)
        try:
            if kind in FIXED:
                yield kind, n, sequence, body, dict(zip(FIXED[kind][1].split(), struct.unpack_from(FIXED[kind][0], body)))
            elif kind in POSTCARD:
                yield kind, n, sequence, body, postcard(body, POSTCARD[kind])
        except (IndexError, UnicodeDecodeError, struct.error):
            wrong.append(f"the record at slot {sequence} cannot be read")

def sealed(body, seal):
    """Whether the signature over 160 bytes, a tag and the body up to it, is that of the key."""
    try:
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
        Ed25519PublicKey.from_public_bytes(seal["key"]).verify(seal["signature"], b"borewitness seal 0" + body[:142])
    except ImportError:
        return "not checked"
    except Exception:  # the package has one of its own for a signature that does not fit
        return "does not fit"
    return "fits"

def read(data):
    sha, raws = lambda *parts: hashlib.sha256(b"".join(parts)).digest(), [data[at:at + 32] for at in range(0, len(data) // 32 * 32, 32)]
    wrong = [f"slot {n} of the file is damaged" for n, raw in enumerate(raws) if not slot(raw)] + ["half a slot"] * (len(data) % 32 > 0)
    raws = [raw for raw in raws if slot(raw)]
    slots = [slot(raw) for raw in raws]
    numbers = [s[0] for s in slots]
    wrong += [f"slot {b} follows slot {a}" for a, b in zip(numbers, numbers[1:]) if b <= a]
    known = list(records(slots, wrong))
    plans, increments, passes, closed, gaps = ([record[4] for record in known if record[0] == kind] for kind in (3, 6, 7, 12, 13))
    missing = [[a + 1, b - 1] for a, b in zip(numbers, numbers[1:]) if b > a + 1]
    wrong += ["no plan"] * (not plans) + ["not closed"] * (not closed) + [f"slots {a} to {b} are not in hand" for a, b in missing]
    wrong += ["the last record is cut short"] * bool(slots and slots[-1][3] + 1 < slots[-1][4])
    begins, digest, seal, weighted = 0, bytes(32), "none", [0.0, 0.0]
    for kind, place, sequence, body, end in known:
        if kind in (12, 17):  # D is folded by what is said; each S is held against the slots in hand
            fits = place - begins == end["slots"] - end["from"] and sha(*raws[begins:place]) == end["segment"] and end["before"] == digest
            wrong += [] if fits else [f"the segment before slot {sequence} does not fit"]
            begins, digest = place, sha(b"borewitness digest 0", end["before"], end["segment"])
        if kind == 18:
            whole = sha(b"borewitness digest 0", digest, sha(*raws[begins:place])), place, numbers[0]
            seal = sealed(body, end) if whole == (end["digest"], end["slots"], end["first"]) else "of other slots"
            wrong += [f"the seal: {seal}"] if seal in ("does not fit", "of other slots") else []
    top = above = plans[0]["hub_above_datum"] if plans else 0
    for one in (one for one in increments if one["samples"]):
        weighted = [sum + one[axis] * 1e-5 * (one["depth"] - above) for sum, axis in zip(weighted, ("forward", "right"))]
        above = one["depth"]
    return {"plan": (plans or [None])[0], "slots": len(slots), "passes": len(passes), "bottom_um": closed[0]["bottom"] if closed else None,
            "increments": [[one["depth"], 10 * one["forward"], 10 * one["right"]] for one in increments], "missing": missing,
            "mean_lean": [one / (above - top) for one in weighted] if above > top else None,
            "gaps": [[gap["first"], gap["last"]] for gap in gaps], "digest": digest.hex() if closed else None, "seal": seal, "wrong": wrong}

if __name__ == "__main__":
    said = read(open(sys.argv[1], "rb").read())
    print(json.dumps(said))
    sys.exit(1 if said["wrong"] else 0)
