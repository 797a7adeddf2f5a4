"""The whole display (`demo --which whole`) clean, by other rasterisers and a real codec, at several frame rates: nothing may be
raised. Usage: whole.py --binary PROGRAM --demo FOLDER --out OUT [--rates 25 60] [--start S] [--length S] [--rasterisers ...]"""

import argparse
import os
import sys
from pathlib import Path

from campaign import check
from definition import Definition
from encode import CODECS, Writer
from rasterise import Rasteriser
from store import Material, rasterise, read_frames


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--binary", required=True)
    parser.add_argument("--demo", required=True, type=Path, help="what `demo --which whole` wrote")
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--rasterisers", nargs="+", choices=["rsvg", "chromium"], default=["rsvg", "chromium"])
    parser.add_argument("--rates", nargs="+", type=int, default=[25, 60])
    parser.add_argument("--codec", default="crf23", choices=list(CODECS))
    parser.add_argument("--start", type=int, default=0, help="whole second")
    parser.add_argument("--length", type=float, default=77.0, help="s")
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "chromium"))
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    raised = 0
    for folder, table in [(args.demo, True), (args.demo / "second", False)]:
        display, inputs = folder / "display.toml", folder / "inputs.csv"
        more = ("--table", f"traffic={args.demo / 'traffic.csv'}") if table else ()
        definition = Definition(display)
        size = (definition.width, definition.height)
        for name in args.rasterisers:
            with Rasteriser(name, *size, None, args.jobs, args.chromium) as rasteriser:
                for rate in args.rates:
                    material = Material(args.binary, display, inputs, rate, "outline", more)
                    stretches = rasterise(material, rasteriser, args.out / "cache", args.start, args.length)
                    label = f"{folder.name}-{name}-{args.codec}-{rate}"
                    capture = args.out / f"{label}{CODECS[args.codec][0]}"
                    with Writer(capture, args.codec, rate, size) as out:
                        for frame in read_frames(stretches, size):
                            out.write(frame)
                    extra = (*more, "--force")
                    events, taken = check(args.binary, display, inputs, capture, args.out / label, args.start, extra)
                    frames = sum(1 for _ in open(args.out / label / "frames.jsonl"))
                    print(f"{label}: {frames} frames, {len(events)} events, checked in {taken:.1f} s", flush=True)
                    for e in events:
                        print(f"  {e['class']} in {', '.join(e['regions'])} from {e['onset_s']:.2f} to {e['end_s']:.2f} s: "
                              f"{e['worst_error']} {e['symbol']} {e['remarks']}")
                    raised += len(events)
    return 1 if raised else 0


if __name__ == "__main__":
    sys.exit(main())
