"""Wraps a flash image for the RP2040's boot loader: uf2.py IN.bin OUT.uf2

Format: Microsoft, "USB Flashing Format (UF2)": blocks of 512 bytes with 256 bytes of payload each.
"""

import struct
import sys

FLASH = 0x10000000
PAYLOAD = 256
FAMILY_RP2040 = 0xE48BFF56
FAMILY_PRESENT = 0x00002000


def blocks(image):
    count = -(-len(image) // PAYLOAD)
    for number in range(count):
        data = image[number * PAYLOAD:(number + 1) * PAYLOAD].ljust(476, b"\0")
        head = struct.pack("<8I", 0x0A324655, 0x9E5D5157, FAMILY_PRESENT,
                           FLASH + number * PAYLOAD, PAYLOAD, number, count, FAMILY_RP2040)
        yield head + data + struct.pack("<I", 0x0AB16F30)


if __name__ == "__main__":
    with open(sys.argv[1], "rb") as source, open(sys.argv[2], "wb") as target:
        for block in blocks(source.read()):
            target.write(block)
