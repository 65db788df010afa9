#!/usr/bin/env bash
# Installs what the tests need and is not there yet. Debian or a relative of it, and rustup.
set -euo pipefail
cd "$(dirname "$0")/.."

packages=()
need() { command -v "$1" > /dev/null 2>&1 || packages+=("$2"); }
need gcc gcc
need g++ g++
need socat socat
need qemu-system-arm qemu-system-arm
need chromium chromium
need chromedriver chromium-driver
need python3 python3
need npm npm
if command -v python3 > /dev/null 2>&1; then
  python3 -c 'import venv, ensurepip' 2> /dev/null || packages+=(python3-venv)
else
  packages+=(python3-venv)
fi
if [ "${#packages[@]}" -gt 0 ]; then
  sudo=''
  [ "$(id -u)" = 0 ] || sudo=sudo
  $sudo apt-get update -qq
  DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${packages[@]}"
fi

if ! command -v cargo-deny > /dev/null 2>&1; then
  cargo install cargo-deny --version 0.20.2 --locked
fi

rustup target add thumbv7em-none-eabihf thumbv6m-none-eabi
rustup component add rustfmt clippy llvm-tools

# What is checked for its licence is the whole of the lock files, other systems' packages included.
cargo fetch --locked --quiet
cargo fetch --locked --quiet --manifest-path firmware/boards/Cargo.toml
