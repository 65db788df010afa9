// Runs a program of the board with an RP2040 and tells what its pins and its port do.
//
//   node run.mjs PROGRAM STORE RECEIVED
//
// PROGRAM is the flash from its beginning, STORE what lies behind the first megabyte. RECEIVED is
// what comes in on the ports: again and again a time in microseconds (u32, little-endian), the port
// (u16: 0 the computer's, 1 the receiver's), a length (u16), and so many bytes, which begin to
// arrive then at 115,200 baud. It ends two seconds after the last byte, or when the program leaves
// its memory.
//
// A line of output each: `out MICROSECONDS HEX` for bytes of the computer's port, `lamp MICROSECONDS
// 0|1` for its pin, `cycles N`, and `wild ADDRESS` for a program that ran away.
//
// There is no boot ROM: the program starts at its vector table, as the boot ROM would start it, and
// a call into the ROM is a program that ran away.
import { readFileSync } from 'node:fs';
import { ConsoleLogger, GPIOPinState, LogLevel, RP2040 } from 'rp2040js';

const [program, store, received] = process.argv.slice(2, 5).map((name) => readFileSync(name));
const FLASH = 0x10000000;
const STORE = 0x100000;
const VECTORS = 0x100;
const LAMP = 15;
const CYCLE_NS = 8;
const AFTERWARDS_NS = 2e9;
const BYTE_NS = 10e9 / 115200;
// The port tells of bytes when its queue is half full, or when no more have come for 32 bits.
const HALF_FULL = 16;
const PAUSE_NS = 32e9 / 115200;

const chip = new RP2040();
chip.logger = new ConsoleLogger(LogLevel.Error, false);
chip.flash.set(program, 0);
chip.flash.set(store, STORE);
const { clock, core } = chip;
core.VTOR = FLASH + VECTORS;
core.SP = chip.flashView.getUint32(VECTORS, true);
core.PC = chip.flashView.getUint32(VECTORS + 4, true) & ~1;

const micros = () => Math.floor(clock.nanos / 1000);
let said = '';
const say = (line) => { said += line + '\n'; };
let out = [];
let out_us = 0;
const flush = () => {
  if (out.length) say(`out ${out_us} ${Buffer.from(out).toString('hex')}`);
  out = [];
};
// The emulator's ports have no receive status register; without it all errors are always there.
const RECEIVE_STATUS = 4;
for (const port of chip.uart) {
  const read = port.readUint32.bind(port);
  port.readUint32 = (offset) => (offset === RECEIVE_STATUS ? 0 : read(offset));
}
chip.uart[0].onByte = (byte) => {
  if (out.length === 0) out_us = micros();
  out.push(byte);
  if (byte === 0) flush();
};
chip.gpio[LAMP].addListener((state) => {
  if (state === GPIOPinState.High || state === GPIOPinState.Low) {
    say(`lamp ${micros()} ${state === GPIOPinState.High ? 1 : 0}`);
  }
});

// What the port's queue takes in, and when: at half full, and what is left after a pause.
const feeds = [];
let free_ns = 0;
for (let at = 0; at < received.length;) {
  const begin_ns = Math.max(received.readUInt32LE(at) * 1000, free_ns);
  const port = received.readUInt16LE(at + 4);
  const length = received.readUInt16LE(at + 6);
  const bytes = received.subarray(at + 8, at + 8 + length);
  for (let from = 0; from < length; from += HALF_FULL) {
    const part = bytes.subarray(from, from + HALF_FULL);
    const end_ns = begin_ns + (from + part.length) * BYTE_NS;
    feeds.push({ at_ns: end_ns + (part.length < HALF_FULL ? PAUSE_NS : 0), port, part });
  }
  free_ns = begin_ns + length * BYTE_NS + PAUSE_NS;
  at += 8 + length;
}
const end_ns = free_ns + AFTERWARDS_NS;

// Code is in the flash or in the memory; at 0xffffffxx are the returns from interrupts.
const wild = (pc) => !(pc >= FLASH && pc < FLASH + STORE) && !(pc >= 0x20000000 && pc < 0x20042000);
let next = 0;
while (clock.nanos < end_ns) {
  while (next < feeds.length && feeds[next].at_ns <= clock.nanos) {
    for (const byte of feeds[next].part) chip.uart[feeds[next].port].feedByte(byte);
    next += 1;
  }
  if (core.waiting) {
    const until = next < feeds.length ? feeds[next].at_ns - clock.nanos : end_ns - clock.nanos;
    clock.tick(Math.min(until, Math.max(clock.nanosToNextAlarm, 1)));
    if (core.interruptsUpdated && core.checkForInterrupts()) core.waiting = false;
  } else {
    clock.tick(core.executeInstruction() * CYCLE_NS);
    if (wild(core.PC)) {
      say(`wild ${core.PC.toString(16)}`);
      break;
    }
  }
}
flush();
say(`cycles ${core.cycles}`);
process.stdout.write(said);
