#!/usr/bin/env bash
# Sets up what the tests need and runs them all: the only gate.
#
#   bash tests/run.sh          everything
#   bash tests/run.sh quick    format, lints and the tests of the packages, nothing installed
set -euo pipefail
cd "$(dirname "$0")/.."
mode=${1:-all}
begun=$(date +%s)

step() { printf '\n== %s (%s s)\n' "$1" "$(($(date +%s) - begun))"; }

if [ "$mode" = all ]; then
  step 'what the tests need'
  bash tests/setup.sh
fi

step 'format'
cargo fmt --all --check

step 'lints'
cargo clippy --workspace --all-targets --locked -- -D warnings

step 'tests'
cargo test --workspace --locked

step 'documentation'
RUSTDOCFLAGS='-D warnings' cargo doc --workspace --no-deps --locked

if [ "$mode" = all ]; then
  step 'the boards as their users build them'
  bash firmware/boards/build.sh

  step 'the program as its user builds it'
  cargo build --release --locked
  target/release/cuepost demo > /dev/null

  step 'the same bytes from both builds'
  bash tests/determinism.sh

  step 'licences, bans and sources of what is built in'
  cargo deny --offline check licenses bans sources
  cargo deny --offline --manifest-path firmware/boards/Cargo.toml --config deny.toml \
    check licenses bans sources

  step 'fuzz, 30 s'
  bash tests/fuzz.sh 30
fi

step 'done'
