#!/bin/bash
# Writes again what the demo prints, and its tables: reports/demo.
# Usage: reports/regenerate.sh        (the paths in the text are relative to the demo's folder)
set -euo pipefail
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cargo build --quiet --release
program=$(realpath "${CARGO_TARGET_DIR:-target}/release/lightloss")
(cd "$work" && "$program" demo --out demo > demo.txt)
rm -rf reports/demo
mkdir -p reports/demo
cp "$work/demo.txt" reports/demo/terminal.txt
for table in evening/used.csv evening/corrected/corrections.csv; do
    # Tables name files by whole paths; the folder of this run means nothing to a reader.
    sed "s|$work/||g" "$work/demo/$table" > "reports/demo/$(basename "$table")"
done
