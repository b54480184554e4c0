#!/bin/bash
# The window in a browser: the whole job by mouse and by keys, on a screen and on a phone, light and
# dark, on the frames of the demo, some of them spoilt on purpose. `--picture FILE` draws the window.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$(realpath "${LIGHTLOSS:-target/release/lightloss}")
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp tests/oracle/*.mjs tests/oracle/package*.json demo-data/truth.json "$folder"
cp -r fixtures/profiles "$folder/profiles"
# Of another body than the demo's, which is to be measured without one.
sed 's/K2-00417/K2-00999/' fuzz/corpus/camera_record/kelmora-two.json > "$folder/body.json"
npm --prefix "$folder" ci --silent --no-audit --no-fund
demo=${LIGHTLOSS_DEMO:-}
if [ -z "$demo" ]; then
    demo=$folder/demo
    "$program" demo --out "$demo" > /dev/null
fi
node "$folder/window_check.mjs" "$program" "$(realpath "$demo")" "$folder" "$@"
