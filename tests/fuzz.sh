#!/usr/bin/env bash
# Fuzzes every way in, one after another.
#
#   bash tests/fuzz.sh 30            30 s in all, as the gate does
#   bash tests/fuzz.sh 4800          10 minutes each
#   bash tests/fuzz.sh 600 engine    10 minutes of one
#
# Needs a C++ compiler besides the pinned toolchain: libFuzzer is built from its crate, and the
# instrumentation is the compiler's own. `cargo fuzz run engine` works in `fuzz/` as well.
# New inputs go to `target/fuzz/corpus`, what fails to `target/fuzz/finds`: copy it to
# `fuzz/finds/TARGET-WHAT`, from then on `cargo test -p cuepost-tests --test hostile` runs it.
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${1:-30}
shift || true
targets=("$@")
[ "${#targets[@]}" -gt 0 ] || targets=(receiver wire reference thresholds table packets engine web)
each=$((seconds / ${#targets[@]}))
[ "$each" -ge 1 ] || each=1

host=$(rustc -vV | sed -n 's/^host: //p')
export CARGO_TARGET_DIR=${CARGO_TARGET_DIR:-$PWD/target/fuzz/build}
# What is fuzzed is what is built: the same versions of everything.
cp Cargo.lock fuzz/Cargo.lock
RUSTFLAGS="--cfg fuzzing -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
-Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
-Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1" \
  cargo build --release --quiet --manifest-path fuzz/Cargo.toml --target "$host" -j 2

mkdir -p target/fuzz/finds
for target in "${targets[@]}"; do
  mkdir -p "target/fuzz/corpus/$target"
  printf '%s, %s s\n' "$target" "$each"
  log=$(mktemp)
  # -rss_limit_mb and -malloc_limit_mb: an input must not be able to claim memory either.
  if ! "$CARGO_TARGET_DIR/$host/release/$target" \
    -max_total_time="$each" -max_len=4096 -timeout=10 -rss_limit_mb=1024 -malloc_limit_mb=64 \
    -print_final_stats=1 -artifact_prefix="target/fuzz/finds/$target-" \
    "target/fuzz/corpus/$target" "fuzz/corpus/$target" > "$log" 2>&1; then
    tail -n 40 "$log"
    echo "found in $target, see target/fuzz/finds"
    exit 1
  fi
  grep -E 'stat::(number_of_executed_units|average_exec_per_sec|peak_rss_mb)' "$log"
  rm -f "$log"
done
