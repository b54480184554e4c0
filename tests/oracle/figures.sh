#!/bin/bash
# The same figure wherever a reader meets it: page, terminal, card and profile of each filter of the
# demo. LIGHTLOSS_DEMO names the demo's folder, beside which what it printed stands as .txt; without
# it a demo is made.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$(realpath "${LIGHTLOSS:-target/release/lightloss}")
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
demo=${LIGHTLOSS_DEMO:-$folder/demo}
[ -e "$demo" ] || "$program" demo --out "$demo" > "$demo.txt"
python3 tests/oracle/figures.py "$program" "$demo" "$demo.txt" "$folder"
