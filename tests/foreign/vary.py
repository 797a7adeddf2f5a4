"""More hours of clean video: kept captures with seeded noise, through another codec. Nothing may be raised.

Each capture that `clean.py --keep` left is checked as it is, and once for each variant: noise of a seed of its own,
then a second encoder, as where a picture goes through a converter and a recorder. Results go on where they were
when the run is called again. Exit 1 when anything was raised."""

import argparse
import json
import subprocess
import sys
from pathlib import Path

from campaign import check

# Largest noise, levels, and the recorder's encoder: ending and ffmpeg settings.
VARIANTS = {
    "as it is": None,
    "noise 2, crf 28": (2, ".mp4", "-c:v libx264 -preset veryfast -crf 28"),
    "noise 4, crf 23": (4, ".mp4", "-c:v libx264 -preset veryfast -crf 23"),
    "noise 3, HEVC crf 24": (3, ".mp4", "-c:v libx265 -preset ultrafast -crf 24 -x265-params log-level=none"),
    "noise 4, MPEG-2 q 3": (4, ".mkv", "-c:v mpeg2video -q:v 3 -g 15"),
    "noise 6, MJPEG q 3": (6, ".mov", "-c:v mjpeg -q:v 3"),
}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--binary", required=True)
    parser.add_argument("--display", required=True)
    parser.add_argument("--capture", nargs=2, action="append", required=True, metavar=("VIDEO", "CSV"))
    parser.add_argument("--variants", nargs="+", choices=list(VARIANTS), default=list(VARIANTS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    done = args.out / "varied.json"
    runs = json.loads(done.read_text()) if done.exists() else []
    for n, (variant, (video, inputs)) in enumerate((v, c) for v in args.variants for c in args.capture):
        name = f"{Path(video).parent.name}: {variant}"
        if any(run["run"] == name for run in runs):
            continue
        out = args.out / f"run_{n:03}"
        events, taken, hours = one(args, VARIANTS[variant], args.seed * 1000 + n, Path(video), inputs, out)
        runs.append({"run": name, "hours": hours, "check_s": round(taken, 1), "events": events})
        done.write_text(json.dumps(runs, indent=1))
        print(f"{name}: {hours * 60:.1f} min, {len(events)} events, checked in {taken:.0f} s", flush=True)
    hours = sum(run["hours"] for run in runs)
    events = sum(len(run["events"]) for run in runs)
    # Exact upper bound of a Poisson rate when nothing was seen: -ln(0.05) = 2.996 in the whole time.
    bound = f", below {2.996 / hours:.2f} an hour with 95 % confidence" if events == 0 else ""
    print(f"{events} events in {hours:.2f} h{bound}")
    return 1 if events else 0


def one(args, variant, seed, video, inputs, out):
    """Makes one variant, checks it, and takes it away; (events, seconds taken, hours)."""
    out.mkdir(exist_ok=True)
    capture = video
    if variant is not None:
        strength, ending, codec = variant
        capture = out / f"capture{ending}"
        noise = f"noise=all_seed={seed}:all_strength={strength}:all_flags=t"
        command = ["ffmpeg", "-y", "-v", "error", "-i", str(video), "-vf", noise, "-fps_mode", "passthrough"]
        subprocess.run([*command, *codec.split(), str(capture)], check=True)
    events, taken = check(args.binary, args.display, inputs, capture, out / "check", 0, ["--measurements"])
    summary = json.loads((out / "check" / "summary.json").read_text())
    if summary["error"]:
        raise RuntimeError(f"{capture}: {summary['error']}")
    begin_s, end_s = summary["span_s"]
    if capture != video:
        capture.unlink()
    # By far the largest of the results, and not needed here.
    (out / "check" / "frames.jsonl").unlink()
    return events, taken, (end_s - begin_s) / 3600


if __name__ == "__main__":
    sys.exit(main())
