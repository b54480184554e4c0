#!/bin/bash
# What is written for programs that ignore maps of gains, as LibRaw sees it: no border where it was asked to
# be cut off, and a photograph that is even once it is divided by its flat-field frame.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$(realpath "${LIGHTLOSS:-target/release/lightloss}")
demo=$(realpath "${LIGHTLOSS_DEMO:?names the folder of the demo}")
python3 tests/oracle/without_maps.py "$program" "$demo"
