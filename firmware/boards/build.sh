#!/usr/bin/env bash
# Builds the firmware of one board, or of all, into files that can be put on it:
#
#   bash firmware/boards/build.sh [rp2040|stm32f4]
#
# Needs the Rust targets thumbv6m-none-eabi and thumbv7em-none-eabihf, and python3 for the UF2.
set -euo pipefail
cd "$(dirname "$0")"
boards=("$@")
[ $# -gt 0 ] || boards=(rp2040 stm32f4)
bin=$(rustc --print sysroot)/lib/rustlib/$(rustc --print host-tuple)/bin
[ -x "$bin/llvm-objcopy" ] || rustup component add llvm-tools

for board in "${boards[@]}"; do
  case $board in
    rp2040) target=thumbv6m-none-eabi level=s ;;
    # Its program has 128 KiB in front of the store: the smallest code there is.
    stm32f4) target=thumbv7em-none-eabihf level=z ;;
    *) echo "there is no board $board; there are rp2040 and stm32f4" >&2; exit 2 ;;
  esac
  cargo build --release --quiet --package "cuepost-$board" --target "$target" \
    --config "profile.release.opt-level=\"$level\""
  built=target/$target/release/cuepost-$board
  cp "$built" "target/cuepost-$board.elf"
  "$bin/llvm-objcopy" -O binary "$built" "target/cuepost-$board.bin"
  echo "firmware/boards/target/cuepost-$board.elf"
  if [ "$board" = rp2040 ]; then
    python3 uf2.py "target/cuepost-$board.bin" "target/cuepost-$board.uf2"
    echo "firmware/boards/target/cuepost-$board.uf2"
  else
    echo "firmware/boards/target/cuepost-$board.bin"
  fi
done
