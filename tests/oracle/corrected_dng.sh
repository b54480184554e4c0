#!/bin/bash
# The corrected files of the planted evening, held against LibRaw, the DNG SDK and exiftool.
set -euo pipefail
cd "$(dirname "$0")/../.."
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
LIGHTLOSS_EVENING=$folder cargo test --quiet --test it an_evening_is_sorted_and_corrected
python3 tests/oracle/corrected_dng.py "$folder"
