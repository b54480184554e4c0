#!/bin/bash
# The card's pages in a browser, with the network off. Modules come from the lock file beside.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=${LIGHTLOSS:-target/release/lightloss}
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp tests/oracle/*.mjs tests/oracle/package*.json "$folder"
npm --prefix "$folder" ci --silent --no-audit --no-fund
node "$folder/card_check.mjs" "$(realpath "$program")" "$PWD/fixtures/kit" "$folder/out"
