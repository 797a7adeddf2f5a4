#!/bin/sh
# The harness in a few minutes: its own tests, then short clean runs and one trial of some kinds.
# Usage: quick.sh FRAMEVOUCH DISPLAY.toml RECORDING.csv OUT
# Environment: CHROMIUM and NODE_PATH for the browser (left out when node cannot find playwright-core).
set -eu
here=$(dirname "$0")
binary=$1 display=$2 inputs=$3 out=$4
python3 -m unittest discover -s "$here" -q
rasterisers=rsvg
if [ -n "${CHROMIUM:-}" ] && node -e 'require("playwright-core")' 2>/dev/null; then
  rasterisers="rsvg chromium"
fi
# The helicopter recording turns and climbs from here on.
python3 "$here/clean.py" --binary "$binary" --display "$display" --inputs "$inputs" --out "$out/clean" \
  --start 90 --length 10 --rasterisers $rasterisers --codecs crf23
python3 "$here/campaign.py" --binary "$binary" --display "$display" --inputs "$inputs" --out "$out/campaign" \
  --cache "$out/clean/cache" --start 90 --length 44 --trials 1 --passes 1 --require-all \
  --kinds "blank white, whole" "symbol erased" "digit" "freeze, region" "noise burst, region"
# A scaler's picture and a camera's: found, judged, read.
python3 "$here/placed.py" --binary "$binary" --display "$display" --inputs "$inputs" --out "$out/placed" \
  --start 90 --length 2 --only "scale 0.75" "camera, 5 degrees, rolled"
