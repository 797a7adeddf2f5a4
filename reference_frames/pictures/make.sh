#!/bin/sh
# Draws the pictures of README.md anew, beside this script: the bundled displays by `framevouch draw`, one event
# of the demo (captured | reference | difference), and the pages of the demo and of the README's campaign.
# `made.txt` says of which revision they are; a program with changes that are not committed is refused.
# Usage: make.sh FRAMEVOUCH FOLDER, where FOLDER is what `tests/hostile/readme.py --folder FOLDER` left.
# NODE_PATH must lead to playwright-core.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
binary=$1
folder=$2
[ -z "$(git -C "$here/../.." status --porcelain -- src Cargo.toml Cargo.lock)" ] ||
  { echo "commit first: pictures are of a revision" >&2; exit 1; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
for display in display engine_strip reversionary; do
  "$binary" draw --display "$folder/demo/$display.toml" --inputs "$folder/demo/inputs.csv" --allow-missing \
    --fps 1 --from 6 --to 6 --format png --out "$work/$display"
  cp "$work/$display/frame_000000.png" "$here/$display.png"
done
for page in flight:24.5 systems:48; do
  at=${page#*:}
  "$binary" draw --display "$folder/whole/display.toml" --inputs "$folder/whole/inputs.csv" \
    --table traffic="$folder/whole/traffic.csv" --fps 1 --from "$at" --to "$at" --format png --out "$work/$page"
  cp "$work/$page/frame_000000.png" "$here/whole_${page%:*}.png"
done
# A definition whose rose stands 4 px too far left and whose power digits stand 3 px too low.
sed -e 's/center = \[512, 560\]/center = [508, 560]/' -e 's/position = \[306, 682.25\]/position = [306, 685.25]/' \
  "$folder/demo/display.toml" >"$work/off.toml"
"$binary" draw --display "$work/off.toml" --inputs "$folder/demo/inputs.csv" --over "$folder/nominal" --at 6 --out "$work/over"
cp "$work/over/blend.png" "$here/draw_over.png"
set -- "$folder"/demo/check/events/event_*_misleading_airspeed.png
cp "$1" "$here/event.png"
for results in demo/check out/campaign; do
  "$binary" report --quiet --from "$folder/$results" --out "$work/page.html"
  node "$here/../../tests/browser/screenshots.mjs" "$work/page.html" "$here"
  rm "$work/page.html"
done
git -C "$here" log -1 --format='framevouch %h of %cs' >"$here/made.txt"
