#!/bin/bash
# Reports, comparisons, sheets, histories and camera records in a browser, with the network off: what they say against
# their profiles, overlapping labels, accessibility, sides of paper. The demo's pages too, and its frames
# on pages, where LIGHTLOSS_DEMO names its folder.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$(realpath "${LIGHTLOSS:-target/release/lightloss}")
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp tests/oracle/*.mjs tests/oracle/package*.json "$folder"
npm --prefix "$folder" ci --silent --no-audit --no-fund
cp -r fixtures/profiles "$folder/pages"
# The fixtures share their made-up frames, and a kit takes one shoot for one filter.
for name in tide-ring moor-edge; do
    sed -i -E "s/(\"sha256\": \")..../\1$(printf %s "$name" | sha256sum | head -c 4)/" "$folder/pages/$name/profile.json"
done
for profile in "$folder"/pages/*/; do "$program" report "$profile" > /dev/null; done
compare() { "$program" compare "$folder/pages/$1" "$folder/pages/$2" --out "$folder/pages/$3" > /dev/null; }
compare harbour-ten harbour-ten-later worn
compare harbour-ten harbour-ten-lamp two-lights
compare tide-ring tide-ring ring-twice
compare odd-names odd-names odd-twice
compare moor-edge moor-edge edge-twice
export LIGHTLOSS_KIT=$folder/kit
"$program" kit add "$folder"/pages/{harbour-ten,harbour-ten-later,tide-ring,moor-edge} > /dev/null
for profile in "$folder"/pages/*/profile.json; do
    "$program" kit sheet "$profile" --out "$folder/sheets/$(basename "$(dirname "$profile")")" > /dev/null
done
"$program" kit history "Harbour Ten" --out "$folder/history" > /dev/null
mkdir "$folder/camera"
cp fuzz/corpus/camera_record/kelmora-two.json "$folder/camera"
"$program" report "$folder/camera/kelmora-two.json" > /dev/null
mkdir "$folder/frames"
if [ -n "${LIGHTLOSS_DEMO:-}" ]; then
    for shoot in "$LIGHTLOSS_DEMO"/{harbour-ten,tide-ring,fen-six}; do
        "$program" frames "$shoot" --page --out "$folder/frames" > /dev/null
    done
fi
mapfile -t pages < <(find "$folder/pages" "$folder/sheets" "$folder/history" "$folder/camera" "$folder/frames" ${LIGHTLOSS_DEMO:+"$LIGHTLOSS_DEMO"} -name report.html -o -name compare.html -o -name '*-sheet.html' -o -name '*-frames.html' -o -name history.html -o -name kelmora-two.html | sort)
node "$folder/page_check.mjs" "${pages[@]}"
