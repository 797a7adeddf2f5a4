#!/bin/bash
# All scripts of this folder, one after the other; ends with 1 when one of them found something.
# Usage: run.sh FRAMEVOUCH [--quick] [--seed N] [--keep FOLDER]
set -uo pipefail
here=$(cd "$(dirname "$0")" && pwd)
binary=$1
shift
status=0
said=$(mktemp)
trap 'rm -f "$said"' EXIT
for script in damage kill races names limits; do
  python3 "$here/$script.py" --binary "$binary" "$@" 2>"$said" || { status=1; echo "$script.py:"; tail -5 "$said"; }
done
exit $status
