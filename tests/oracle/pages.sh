#!/bin/bash
# Reports and comparisons in a browser, with the network off: what they say against their profiles,
# overlapping labels, accessibility. The demo's pages too, where LIGHTLOSS_DEMO names its folder.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$(realpath "${LIGHTLOSS:-target/release/lightloss}")
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp tests/oracle/*.mjs tests/oracle/package*.json "$folder"
npm --prefix "$folder" ci --silent --no-audit --no-fund
cp -r fixtures/profiles "$folder/pages"
for profile in "$folder"/pages/*/; do "$program" report "$profile" > /dev/null; done
compare() { "$program" compare "$folder/pages/$1" "$folder/pages/$2" --out "$folder/pages/$3" > /dev/null; }
compare harbour-ten harbour-ten-later worn
compare harbour-ten harbour-ten-lamp two-lights
compare tide-ring tide-ring ring-twice
compare odd-names odd-names odd-twice
compare moor-edge moor-edge edge-twice
mapfile -t pages < <(find "$folder/pages" ${LIGHTLOSS_DEMO:+"$LIGHTLOSS_DEMO"} -name report.html -o -name compare.html | sort)
node "$folder/page_check.mjs" "${pages[@]}"
