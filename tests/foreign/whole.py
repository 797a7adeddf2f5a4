"""The whole display (`demo --which whole`) clean, by other rasterisers and a real codec, at several frame rates: nothing may be
raised. On the scenario of its own, or on recordings of others (`--recordings`) joined with what they lack."""

import argparse
import os
import sys
import tempfile
from pathlib import Path

from campaign import check
from definition import Definition
from encode import CODECS, Writer
from joined import join, join_traffic
from rasterise import Rasteriser
from recording import Recording
from store import STRETCH_S, Material


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--binary", required=True)
    parser.add_argument("--demo", required=True, type=Path, help="what `demo --which whole` wrote")
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--recordings", nargs="+", type=Path, default=[], help="flights in place of the scenario's own")
    parser.add_argument("--traffic", type=Path, help="the targets that go with the recordings")
    parser.add_argument("--displays", nargs="+", choices=["first", "second"], default=["first", "second"])
    parser.add_argument("--rasterisers", nargs="+", choices=["rsvg", "chromium"], default=["rsvg", "chromium"])
    parser.add_argument("--rates", nargs="+", type=int, default=[25, 60])
    parser.add_argument("--codec", default="crf23", choices=list(CODECS))
    parser.add_argument("--start", type=int, default=0, help="whole second")
    parser.add_argument("--length", type=float, default=1e9, help="s, at most to the end")
    parser.add_argument("--reuse", action="store_true", help="check captures again that stand in OUT")
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "chromium"))
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    if args.recordings and "first" in args.displays and not args.traffic:
        parser.error("the first display shows traffic: give --traffic with --recordings")
    args.out.mkdir(parents=True, exist_ok=True)
    raised = frames = 0
    for name in args.rasterisers:
        for rate in args.rates:
            for label, display, inputs, more in flights(args):
                events, checked = clean(args, f"{label}-{name}-{args.codec}-{rate}", display, inputs, more, name, rate)
                raised += events
                frames += checked
    print(f"{frames} frames, {raised} events")
    return 1 if raised else 0


def flights(args):
    """Label, definition, recording and further options of each clip."""
    for display in args.displays:
        folder = args.demo if display == "first" else args.demo / "second"
        if not args.recordings:
            more = ("--table", f"traffic={args.demo / 'traffic.csv'}") if display == "first" else ()
            yield f"scenario-{display}", folder / "display.toml", folder / "inputs.csv", more
        for path in args.recordings:
            inputs, traffic = args.out / f"{path.stem}.csv", args.out / "traffic.csv"
            join(args.demo / "inputs.csv", path, inputs)
            definition = folder / "six_targets.toml"
            definition.write_text((folder / "display.toml").read_text().replace("slots = 4", "slots = 6"))
            more = ()
            if display == "first":
                join_traffic(args.traffic, traffic)
                more = ("--table", f"traffic={traffic}")
            yield f"{path.stem}-{display}", definition, inputs, more


def clean(args, label, display, inputs, more, name, rate):
    """Draws, encodes and checks one clip; returns how many events there are, and frames."""
    definition = Definition(display)
    size = (definition.width, definition.height)
    length = min(args.length, Recording(inputs).length_s - args.start)
    capture = args.out / f"{label}{CODECS[args.codec][0]}"
    if not (args.reuse and capture.exists()):
        part = capture.with_name(f"part-{capture.name}")
        with Rasteriser(name, *size, None, args.jobs, args.chromium) as rasteriser, Writer(part, args.codec, rate, size) as out:
            for frame in drawn(Material(args.binary, display, inputs, rate, "outline", more), rasteriser, args.start, length):
                out.write(frame)
        part.rename(capture)
    events, taken = check(args.binary, display, inputs, capture, args.out / label, args.start, (*more, "--force"))
    frames = sum(1 for _ in open(args.out / label / "frames.jsonl"))
    print(f"{label}: {frames} frames, {len(events)} events, checked in {taken:.1f} s", flush=True)
    for e in events:
        print(f"  {e['class']} in {', '.join(e['regions'])} from {e['onset_s']:.2f} to {e['end_s']:.2f} s: "
              f"{e['worst_error']} {e['symbol']} {e['remarks']}")
    return len(events), frames


def drawn(material, rasteriser, first_s, length_s):
    """All frames from a whole second on, drawn a stretch at a time."""
    frames = int(length_s * material.fps)
    with tempfile.TemporaryDirectory() as scratch:
        while frames > 0:
            count = min(frames, STRETCH_S * material.fps)
            yield from rasteriser.frames(material.draw(Path(scratch) / "svg", first_s, count))
            first_s += STRETCH_S
            frames -= count


if __name__ == "__main__":
    sys.exit(main())
