#!/bin/bash
# Written DNG files of every pattern, origin, depth, byte order and storage, asked of LibRaw.
set -euo pipefail
cd "$(dirname "$0")/../.."
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cargo run --quiet --example oracle_dngs -- "$folder"
python3 tests/oracle/dng_pixels.py "$folder"
