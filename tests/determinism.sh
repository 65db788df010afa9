#!/usr/bin/env bash
# The same recordings give the same bytes, whatever the compiler made of the program: the
# unoptimised one of the tests against the optimised one. (The emulated board is held against the
# host by `cargo test -p cuepost-tests --test emulated`.)
set -euo pipefail
cd "$(dirname "$0")/.."
cargo build --locked -p cuepost-tests --bin program
cargo build --locked --release
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT

for build in debug release; do
  program=target/debug/program
  [ "$build" = debug ] || program=target/release/cuepost
  out=$folder/$build
  "$program" demo --seed 3 --out "$out" > "$folder/$build.demo"
  "$program" learn "$out/coach.csv" -o "$out/coach.ref" > /dev/null
  "$program" learn tests/data/learn/s1_good12.nmea -o "$out/s1.ref" > /dev/null
  for format in jsonl csv text; do
    "$program" replay "$out/driver.csv" -r "$out/quillmere.ref" --format "$format" > "$out/driver-replayed.$format"
    "$program" replay tests/data/learn/s1_good12.ubx -r "$out/s1.ref" --format "$format" > "$out/s1-replayed.$format"
  done
done
diff -r "$folder/debug" "$folder/release"
sed -i 's#/debug/#/BUILD/#g' "$folder/debug.demo"
sed -i 's#/release/#/BUILD/#g' "$folder/release.demo"
diff "$folder/debug.demo" "$folder/release.demo"
count=$(find "$folder/debug" -type f | wc -l)
echo "$count files, byte for byte the same from both builds"
