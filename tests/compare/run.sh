#!/usr/bin/env bash
# Cuepost against a notebook on the same recordings: bash tests/compare/run.sh [LAPS...]
#
# Needs python3 with venv, PyPI once, and a release build of the program (made when missing).
set -euo pipefail
cd "$(dirname "$0")/../.."
[ $# -gt 0 ] || set -- 1 100 10000
work=target/compare
mkdir -p "$work"
if [ ! -x "$work/venv/bin/python" ]; then
  python3 -m venv "$work/venv"
  "$work/venv/bin/pip" install --quiet --requirement tests/compare/requirements.txt
fi
cargo build --release --quiet
target/release/cuepost demo --out "$work/demo" > "$work/demo.txt"
"$work/venv/bin/python" tests/compare/compare.py target/release/cuepost "$work/demo" "$@"
