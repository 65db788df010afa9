#!/usr/bin/env python3
"""Reads Cuepost frames from standard input, prints one line each. `pip install cobs` first."""
import struct, sys, zlib
from cobs import cobs

VERSION = 1
PHASES = "straight brake trail rotation throttle".split()
ADVICE = ("sooner later harder softer longer shorter faster slower wider tighter fuller steady "
          "more-road smaller-lift better").split()
TOLD, UNITS = "now after ahead".split(), "m m/s m/s2 s".split()


class Payload:
    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, n):
        self.at += n
        return self.data[self.at - n:self.at]

    def byte(self):
        return self.take(1)[0]

    def varint(self):
        value, shift, more = 0, 0, True
        while more:
            byte = self.byte()
            value, shift, more = value | (byte & 127) << shift, shift + 7, byte > 127
        return value

    def f32(self):
        return struct.unpack("<f", self.take(4))[0]

    def maybe_s(self):
        return f"{self.f32():.3f} s" if self.byte() else "unknown"


def words(kind, p):
    if kind == 0x41:
        lap, corner, phase, advice, told = p.varint(), p.byte(), p.varint(), p.varint(), p.varint()
        unit, size, _, loss, time = p.varint(), p.f32(), p.maybe_s(), p.maybe_s(), p.varint()
        return (f"cue: lap {lap} corner {corner} {PHASES[phase]} {ADVICE[advice]} "
                f"{size:.3f} {UNITS[unit]}, {TOLD[told]}, loss {loss}, at {time} us")
    if kind == 0x43:
        lap, time, _, valid = p.varint(), p.varint(), p.varint(), p.byte()
        return f"lap: {lap} took {time} us, valid {valid}, gap {p.maybe_s()}"
    return f"kind 0x{kind:02X}: {len(p.data)} bytes"


for frame in filter(None, sys.stdin.buffer.read().split(b"\0")):
    try:
        body = cobs.decode(frame)
    except cobs.DecodeError:
        body = b""
    if len(body) < 6 or zlib.crc32(body[:-4]).to_bytes(4, "little") != body[-4:]:
        print("refused: damaged")
    else:
        same = body[0] == VERSION
        print(words(body[1], Payload(body[2:-4])) if same else f"refused: version {body[0]}")
