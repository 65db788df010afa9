#!/usr/bin/env python3
"""Reads Cuepost frames from standard input, prints a line each. `pip install cobs` first."""
import struct, sys, zlib
from cobs import cobs

VERSION = 1
PHASES = "straight brake trail rotation throttle".split()
ADVICE = ("sooner later harder softer longer shorter faster slower wider tighter fuller steady "
          "more-road smaller-lift better").split()
TOLD, UNITS = "now after ahead".split(), "m m/s m/s2 s".split()


class Payload:
    def __init__(self, data):
        self.data = iter(data)

    def byte(self):
        return next(self.data)

    def varint(self):
        byte = self.byte()
        return byte if byte < 128 else byte - 128 + 128 * self.varint()

    def f32(self):
        return struct.unpack("<f", bytes(self.byte() for _ in range(4)))[0]

    def maybe_s(self):
        return f"{self.f32():.3f} s" if self.byte() else "unknown"


def words(kind, data):
    p = Payload(data)
    if kind == 0x41:
        lap, corner, phase, advice, told = p.varint(), p.byte(), p.varint(), p.varint(), p.varint()
        unit, size, _, loss, time = p.varint(), p.f32(), p.maybe_s(), p.maybe_s(), p.varint()
        return (f"cue: lap {lap} corner {corner} {PHASES[phase]} {ADVICE[advice]} "
                f"{size:.3f} {UNITS[unit]}, {TOLD[told]}, loss {loss}, at {time} us")
    if kind == 0x43:
        lap, time, _, valid = p.varint(), p.varint(), p.varint(), p.byte()
        return f"lap: {lap} took {time} us, valid {valid}, gap {p.maybe_s()}"
    return f"kind 0x{kind:02X}: {len(data)} bytes"


def tell(frame):
    try:
        body = cobs.decode(frame)
    except cobs.DecodeError:
        body = b""
    if len(body) < 6 or zlib.crc32(body[:-4]).to_bytes(4, "little") != body[-4:]:
        return "refused: damaged"
    return words(body[1], body[2:-4]) if body[0] == VERSION else f"refused: version {body[0]}"


frame = b""
while byte := sys.stdin.buffer.read(1):
    if byte == b"\0" and frame:
        print(tell(frame), flush=True)
    frame = b"" if byte == b"\0" else frame + byte
