"""Writes a campaign plan that tries every kind of fault everywhere, on captures that `clean.py --keep` left."""

import argparse
import json
import tomllib
from pathlib import Path

KINDS = Path(__file__).parents[2] / "src/inject/kinds"
# Faults that show only after a while last longer, s.
DURATIONS_S = {"freeze": 1.5, "stuck": 1.5, "older_data": 2.5, "drift": 2.0, "hold_and_jump": 2.0, "dropped_frames": 2.0,
               "no_reversion": 2.0}
# Channels whose curve rises from nothing to all within a few hundredths of the tolerance.
STEEP = ["altitude", "pitch", "collective", "rotor_speed", "engine_speed"]
# Channels that one of the captures alone holds, or that find few moments.
RARE = ["sample_volume", "fuel"]
SIZES = {"older_data": "[0.2, 0.5]", "moved": "[1.0, 4.0]"}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--display", type=Path, required=True)
    parser.add_argument("--capture", type=Path, nargs=2, action="append", required=True, metavar=("VIDEO", "CSV"))
    parser.add_argument("--offset", type=float, default=0.0, help="recording time of the captures' first frame, s")
    parser.add_argument("--table", action="append", default=[], metavar="NAME=CSV", help="a further table of the recordings")
    parser.add_argument("--beside", type=Path, nargs="+", default=[], metavar="RESULTS",
                        help="for each capture, a check of another display by the same recording")
    parser.add_argument("--without", nargs="+", default=[], metavar="KIND", help="kinds that are left out")
    parser.add_argument("--no-twins", action="store_true", help="no harmless changes")
    parser.add_argument("--repeats", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    args.out.write_text("\n".join(plan(args)))


def plan(args):
    """The lines of the plan."""
    yield "limit_ms = { hazardous = 500, major = 1000, minor = 2000 }"
    yield f'[plan]\nname = "every kind everywhere"\ndisplay = "{args.display.resolve()}"\nseed = {args.seed}'
    for k, (video, inputs) in enumerate(args.capture):
        yield f'[[capture]]\nfile = "{video.resolve()}"\ninputs = "{inputs.resolve()}"\nallow_missing = true'
        yield f"offset_s = {args.offset}"
        if args.beside:
            yield f'beside = "{args.beside[k].resolve()}"'
        for name, path in (table.split("=", 1) for table in args.table):
            yield f'tables.{name} = "{Path(path).resolve()}"'
    twins = "" if args.no_twins else "twins = true"
    without = ["mod", "tests", *args.without, *([] if args.beside else ["split"])]
    if not any("reversion" in page for page in tomllib.loads(args.display.read_text()).get("page", [])):
        without.append("no_reversion")
    for kind in sorted(path.stem for path in KINDS.glob("*.rs") if path.stem not in without):
        if kind == "bias":
            yield fault(kind, args.repeats, 0.8, "sizes = { from = 0.25, to = 4.0, count = 9, log = true }")
            # About the tolerance, where the curve rises.
            yield fault(kind, args.repeats, 0.8, "sizes = { from = 0.8, to = 1.6, count = 5 }")
            steep = f"channels = {json.dumps(judged(args.display, STEEP))}\nsizes = {{ from = 1.0, to = 1.4, count = 9 }}"
            yield fault(kind, args.repeats, 0.8, steep)
            rare = f"channels = {json.dumps(judged(args.display, RARE))}\nsizes = {{ from = 0.5, to = 4.0, count = 9, log = true }}"
            yield fault(kind, 2 * args.repeats, 0.8, rare)
            yield fault(kind, 1, 1.0, f'methods = ["donor"]\n{twins}')
        else:
            sizes = f"sizes = {SIZES[kind]}\n" if kind in SIZES else ""
            yield fault(kind, args.repeats, DURATIONS_S.get(kind, 1.0), sizes + twins)


def judged(display, channels):
    """Those of the channels that the display has a tolerance for."""
    regions = tomllib.loads(display.read_text())["region"]
    limited = {name for region in regions for name in region.get("tolerance", {})}
    return [name for name in channels if name in limited]


def fault(kind, repeats, duration_s, more):
    return f'[[fault]]\nkind = "{kind}"\nrepeats = {repeats}\nduration_s = {duration_s}\n{more}\n'


if __name__ == "__main__":
    main()
