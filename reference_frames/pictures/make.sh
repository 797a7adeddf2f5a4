#!/bin/sh
# Draws the pictures of README.md anew, beside this script: the three bundled displays by
# `framevouch draw`, one event of `framevouch demo` (captured | reference | difference), and the page of it
# and of a campaign where node finds playwright-core (NODE_PATH).
# Usage: make.sh FRAMEVOUCH [FOLDER OF A FINISHED DEMO [RESULTS OF A CAMPAIGN]]
set -eu
here=$(cd "$(dirname "$0")" && pwd)
binary=$1
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
demo=${2:-$work/demo}
campaign=${3:-}
[ $# -gt 1 ] || "$binary" demo --quiet --out "$demo" || echo "the demo ended with status $?" >&2
for display in display engine_strip reversionary; do
  "$binary" draw --display "$demo/$display.toml" --inputs "$demo/inputs.csv" --allow-missing \
    --fps 1 --from 6 --to 6 --format png --out "$work/$display"
  cp "$work/$display/frame_000000.png" "$here/$display.png"
done
set -- "$demo"/check/events/event_*_misleading_airspeed.png
cp "$1" "$here/event.png"
"$binary" report --quiet --from "$demo/check" --out "$work/report.html"
pictures() {
  node "$here/../../tests/browser/screenshots.mjs" "$1" "$here" ||
    echo "no pictures of the page: node and playwright-core are needed" >&2
}
pictures "$work/report.html"
if [ -n "$campaign" ]; then
  "$binary" report --quiet --from "$campaign" --out "$work/campaign.html"
  pictures "$work/campaign.html"
fi
