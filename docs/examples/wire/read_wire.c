/* Reads Cuepost frames from standard input, prints a line each: cc read_wire.c -o read_wire */
#include <stdint.h>
#include <stdio.h>
#include <string.h>

static const char *PHASES[] = {"straight", "brake", "trail", "rotation", "throttle"};
static const char *ADVICE[] = {"sooner", "later", "harder", "softer", "longer", "shorter",
    "faster", "slower", "wider", "tighter", "fuller", "steady", "more-road", "smaller-lift", "better"};
static const char *TOLD[] = {"now", "after", "ahead"}, *UNITS[] = {"m", "m/s", "m/s2", "s"};

static uint8_t body[512], *p; /* p: next byte of the payload; a checksum that fits keeps it inside */
static uint64_t varint(void) {
    uint64_t value = 0;
    int shift = 0;
    do value |= (uint64_t)(*p & 127) << shift; while (*p++ > 127 && (shift += 7) < 64);
    return value;
}
static float f32(void) { float f; memcpy(&f, p, 4); p += 4; return f; } /* little-endian machine */
static void maybe_s(const char *before) {
    if (*p++) printf("%s%.3f s", before, f32()); else printf("%sunknown", before);
}

static void words(int kind, int length) {
    if (kind == 0x41) {
        unsigned lap = varint(), corner = *p++, phase = varint(), advice = varint(), told = varint();
        unsigned unit = varint();
        if (phase > 4 || advice > 14 || told > 2 || unit > 3) { puts("refused: payload"); return; }
        printf("cue: lap %u corner %u %s %s %.3f %s, %s", lap, corner, PHASES[phase], ADVICE[advice],
               f32(), UNITS[unit], TOLD[told]);
        if (*p++) p += 4; /* the size in seconds */
        maybe_s(", loss ");
        printf(", at %llu us\n", (unsigned long long)varint());
    } else if (kind == 0x43) {
        unsigned lap = varint(); unsigned long long time = varint(); varint();
        printf("lap: %u took %llu us, valid %d", lap, time, *p++);
        maybe_s(", gap "); puts("");
    } else printf("kind 0x%02X: %d bytes\n", kind, length);
}

int main(void) {
    int c, n = 0, left = 0, zero = 0, used = 0; /* used: a byte since the delimiter */
    setvbuf(stdout, NULL, _IOLBF, 0);
    while ((c = getchar()) != EOF) {
        if (c) { /* undo COBS: a code byte, then the bytes it counts, then the zero it stands for */
            int code = !left;
            if (!code || zero) { if (n < 512) body[n] = code ? 0 : c; n++; }
            if (code) { left = c - 1; zero = c < 255; } else left--;
            used = 1; continue;
        }
        uint32_t crc = ~0u, want = 0;
        for (int i = 0; i + 4 < n && i < 508; i++)
            for (int b = (crc ^= body[i], 0); b < 8; b++) crc = crc >> 1 ^ (0xEDB88320u & -(crc & 1));
        for (int i = 4; i && n >= 6 && n <= 512; i--) want = want << 8 | body[n - 5 + i];
        if (used && (left || n < 6 || n > 512 || ~crc != want)) puts("refused: damaged");
        else if (used && body[0] != 1) printf("refused: version %d\n", body[0]);
        else if (used) { p = body + 2; words(body[1], n - 6); }
        n = left = zero = used = 0;
    }
}
