"""Clean runs: foreign rasterisers, real codecs, whole recordings. Nothing may be raised.

Also holds what the program read from the picture, and how old it says the data are, against the
recording itself: truth for frame k is the recording at k / fps, staleness 0.
"""

import argparse
import collections
import json
import sys
from pathlib import Path

import numpy as np

from campaign import arguments, check
from definition import Definition
from encode import CODECS, Writer
from rasterise import Rasteriser
from recording import Recording
from store import Material, rasterise, read_frames


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments(parser)
    parser.add_argument("--rasterisers", nargs="+", choices=["rsvg", "chromium"], default=["rsvg", "chromium"])
    parser.add_argument("--codecs", nargs="+", default=["crf18", "crf23", "mjpeg"], choices=list(CODECS))
    parser.add_argument("--keep", action="store_true", help="keep the captures")
    parser.add_argument("--reuse", action="store_true", help="check captures kept by an earlier run again")
    parser.add_argument("--make-only", action="store_true", help="make the captures and keep them, do not check")
    args = parser.parse_args()
    definition = Definition(args.display)
    args.out.mkdir(parents=True, exist_ok=True)
    runs = []
    for name in args.rasterisers:
        size = (definition.width, definition.height)
        with Rasteriser(name, *size, args.fonts, args.jobs, args.chromium) as rasteriser:
            for path in args.inputs:
                runs += clean_runs(args, definition, rasteriser, Recording(path))
                (args.out / "clean.json").write_text(json.dumps(runs, indent=1))
    if args.make_only:
        return 0
    table = markdown(runs)
    (args.out / "clean.md").write_text(table)
    print(table)
    return 1 if any(run["events"] or beyond_goals(run) for run in runs) else 0


# Readings of the goals, px: RMS by codec, and what none may be off by; each up to twice the goal is accepted.
GOAL_RMS_PX = {"crf18": 0.05, "crf23": 0.08, "mjpeg": 0.08, "crf28": 0.13}
GOAL_WORST_PX = 0.3
ACCEPTED = 2.0


def beyond_goals(run):
    """Readings that are worse than is accepted, in words."""
    codec = next((c for c in GOAL_RMS_PX if f"-{c}-" in run["run"]), None)
    if codec is None:
        return []
    limits = [("rms_px", ACCEPTED * GOAL_RMS_PX[codec]), ("worst_px", ACCEPTED * GOAL_WORST_PX)]
    return [f"{r['region']}.{r['channel']}: {key} {r[key]:.3g}, accepted {limit:.3g}"
            for r in run["readings"] for key, limit in limits if (r[key] or 0.0) > limit]


def clean_runs(args, definition, rasteriser, recording):
    """One recording by one rasteriser, through every codec."""
    text = "fonts" if args.fonts else "outline"
    material = Material(args.binary, args.display, recording.path, args.fps, text)
    length_s = min(args.length, recording.length_s - args.start)
    cache = args.cache or args.out / "cache"
    stretches = None if args.reuse else rasterise(material, rasteriser, cache, args.start, length_s)
    for codec in args.codecs:
        label = f"{Path(recording.path).stem}-{rasteriser.name}-{text}-{codec}-{args.fps}"
        folder = args.out / label
        folder.mkdir(exist_ok=True)
        capture = folder / f"capture{CODECS[codec][0]}"
        made = folder / "made.json"
        if stretches is not None:
            stamp = json.dumps([[path.name for path, _ in stretches], CODECS[codec]])
            if not (capture.exists() and made.exists() and made.read_text() == stamp):
                with Writer(capture, codec, args.fps, rasteriser.size) as out:
                    for frame in read_frames(stretches, rasteriser.size):
                        out.write(frame)
                made.write_text(stamp)
        if args.make_only:
            continue
        events, taken = check(args.binary, args.display, recording.path, capture, folder / "check", args.start)
        with open(folder / "check" / "frames.jsonl") as lines:
            frames = sum(1 for _ in lines)
        run = {"run": label, "frames": frames, "check_s": round(taken, 2), "events": events}
        run |= measured(folder / "check" / "frames.jsonl", definition, recording, args.start)
        print(f"{label}: {run['frames']} frames, {len(events)} events, checked in {taken:.1f} s", flush=True)
        if not args.keep and not args.reuse:
            capture.unlink()
            made.unlink()
        yield run


def measured(path, definition, recording, start_s):
    """Readings and staleness of all frames against truth, by region and channel; verdicts counted."""
    errors, staleness, verdicts = (collections.defaultdict(list) for _ in range(3))
    worst, turned = {}, collections.Counter()
    ends = {name: definition.ends(region) for name, region in definition.regions.items()}
    with open(path) as lines:
        for line in lines:
            frame = json.loads(line)
            verdicts["frame"].append(frame["verdict"])
            for name, region in frame["regions"].items():
                verdicts[name].append(region["verdict"])
                if region.get("staleness_ms") is not None:
                    staleness[name].append((region["staleness_ms"], region.get("staleness_se_ms")))
                for reading in region.get("readings", []):
                    channel = definition.channels.get(reading["channel"])
                    # Digits are rounded to their last place: their error says nothing of the measurement.
                    if reading.get("px_per_unit") is None and "what" in reading:
                        continue
                    if channel is None or not isinstance(reading.get("displayed"), (int, float)):
                        continue
                    truth = float(recording.at(channel, start_s + frame["time_s"]))
                    # At the end of its scale a symbol stops.
                    truth = float(np.clip(truth, *ends[name].get(reading["channel"], (-np.inf, np.inf))))
                    apart = reading["displayed"] - truth
                    key = (name, reading["channel"])
                    # A heading of 359 for -1 is the same picture; for a channel that is no heading it is
                    # the wrong way to say it, so it is counted and does not drown the rest.
                    is_turned = channel.get("unit") == "deg" and abs(apart) > 180.0
                    if is_turned:
                        apart = (apart + 180.0) % 360.0 - 180.0
                        turned[key] += channel.get("interpolation") != "angular"
                    own_px = reading.get("px_per_unit") or definition.px_per_unit(definition.regions[name]).get(key[1])
                    errors[key].append((apart, reading.get("standard_error") or np.nan, own_px or np.nan))
                    if abs(apart) > worst.get(key, (0.0,))[0]:
                        worst[key] = (abs(apart), frame["frame"])
    return {
        "verdicts": {name: dict(collections.Counter(v)) for name, v in verdicts.items()},
        "readings": [
            _reading(key, np.array(rows), worst.get(key)) | {"off_by_a_turn": turned[key]}
            for key, rows in sorted(errors.items())
        ],
        "staleness": [_staleness(name, rows) for name, rows in sorted(staleness.items())],
    }


def _reading(key, rows, worst):
    apart, error, px = rows.T
    rms = float(np.sqrt(np.mean(apart**2)))
    return {
        "region": key[0],
        "channel": key[1],
        "count": len(apart),
        "bias": float(apart.mean()),
        "rms": rms,
        "p999": float(np.quantile(abs(apart), 0.999)),
        "worst": float(abs(apart).max()),
        "worst_frame": worst and worst[1],
        "rms_px": _finite(np.sqrt(np.mean((apart * px) ** 2))),
        "worst_px": _finite(abs(apart * px).max()),
        "beyond_3_standard_errors": _finite(np.mean(abs(apart) > 3 * error) if np.isfinite(error).all() else np.nan),
    }


def _staleness(name, rows):
    values = np.array([r[0] for r in rows], float)
    errors = np.array([np.nan if r[1] is None else r[1] for r in rows], float)
    return {
        "region": name,
        "count": len(values),
        "bias_ms": float(values.mean()),
        "rms_ms": float(np.sqrt(np.mean(values**2))),
        "median_ms": float(np.median(abs(values))),
        "p99_ms": float(np.quantile(abs(values), 0.99)),
        "worst_ms": float(abs(values).max()),
        "standard_error_median_ms": _finite(np.nanmedian(errors) if np.isfinite(errors).any() else np.nan),
    }


def _finite(value):
    return float(value) if np.isfinite(value) else None


def markdown(runs):
    """The runs as tables."""
    number = lambda v: "-" if v is None else f"{v:.4g}"
    lines = ["| run | frames | events | blind share of regions | check, frames/s |", "| --- | --- | --- | --- | --- |"]
    for run in runs:
        by_region = [v for name, v in run["verdicts"].items() if name != "frame"]
        blind = sum(v.get("blind", 0) for v in by_region) / max(1, sum(sum(v.values()) for v in by_region))
        rate = run["frames"] / run["check_s"] if run["check_s"] else 0
        lines.append(f"| {run['run']} | {run['frames']} | {len(run['events'])} | {blind:.1%} | {rate:.0f} |")
    for run in runs:
        for event in run["events"]:
            lines.append(f"- {run['run']} at {event['onset_s']:.2f} s: {event['class']} in "
                         f"{', '.join(event['regions'])}, {event.get('worst_error')}")
        lines += [f"- {run['run']}: {words}" for words in beyond_goals(run)]
    for run in runs:
        lines += ["", f"{run['run']}: readings, displayed minus recording", ""]
        lines.append("| region | channel | n | bias | RMS | p99.9 | worst (frame) | RMS px | worst px | beyond 3 s.e. |")
        lines.append("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
        for r in run["readings"]:
            lines.append(
                f"| {r['region']} | {r['channel']} | {r['count']} | {number(r['bias'])} | {number(r['rms'])} "
                f"| {number(r['p999'])} | {number(r['worst'])} ({r['worst_frame']}) | {number(r['rms_px'])} "
                f"| {number(r['worst_px'])} | {number(r['beyond_3_standard_errors'])} |"
            )
        lines += ["", *(f"- {r['region']}.{r['channel']}: {r['off_by_a_turn']} of {r['count']} readings are off by 360"
                        for r in run["readings"] if r["off_by_a_turn"])]
        lines += ["", f"{run['run']}: staleness, ms, truth 0", ""]
        lines.append("| region | n | bias | RMS | median of size | p99 | worst | median s.e. |")
        lines.append("| --- | --- | --- | --- | --- | --- | --- | --- |")
        for s in run["staleness"]:
            keys = ("bias_ms", "rms_ms", "median_ms", "p99_ms", "worst_ms", "standard_error_median_ms")
            lines.append(f"| {s['region']} | {s['count']} | " + " | ".join(number(s[k]) for k in keys) + " |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
