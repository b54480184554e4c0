#!/bin/bash
# Writes again what the demo prints and writes, without its frames: reports/demo.
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
cp -r "$work"/demo/*-profile "$work/demo/card" reports/demo/
cp "$work/demo/evening/used.csv" "$work/demo/evening/corrected/corrections.csv" reports/demo/
