#!/bin/bash
# Every entry that still holds is in the corrected file, and exiftool's validation is no worse: the
# demo's frames, and the real raw files where there are any.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$(realpath "${LIGHTLOSS:-target/release/lightloss}")
demo=$(realpath "${LIGHTLOSS_DEMO:?names the folder of the demo}")
profile=$demo/weir-three-profile/profile.json
# Frames that a filter can have been on: photographs, and what was shot through one.
mapfile -t own < <(ls "$demo"/evening/*.dng "$demo"/beck-six/{sharpness,veil}/filter/*.dng)
python3 tests/oracle/corrected_tags.py "$program" "$profile" "${own[@]}"
if [ -n "${LIGHTLOSS_RAW_SAMPLES:-}" ]; then
    mapfile -t real < <(find "$LIGHTLOSS_RAW_SAMPLES" -type f -size -80M \
        \( -iname '*.dng' -o -iname '*.nef' -o -iname '*.cr2' -o -iname '*.pef' -o -iname '*.arw' -o -iname '*.crw' -o -iname '*.kdc' \) | sort)
    python3 tests/oracle/corrected_tags.py "$program" "$profile" "${real[@]}"
fi
