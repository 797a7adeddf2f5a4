"""Fault trials on foreign material: builds captures with many trials each, has them checked, scores.

Trials stand in one capture with clean video between them. At each place the next waiting trial that
the moment allows is begun: a freeze only where the region's symbols move, other faults only where they
change the picture. All choices come from the seed; `truth.json` beside each capture records them.
"""

import argparse
import collections
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

import faults
import score
from definition import Definition, parts, readouts, write_toml
from encode import CODECS, Writer
from letters import digit_cell, line_at
from rasterise import Rasteriser
from recording import Recording
from store import Material, progress, rasterise, read_frames

FAULT_S = 2.5
# A symbol must travel this far in the first second of a freeze, and in every delay of late data.
FREEZE_TRAVEL_PX = 3.0
LATE_TRAVEL_PX = 1.5
LATE_S = 0.5
VISIBLE_PX = 12
WARM_UP_S = 6.0


@dataclass
class Moment:
    """Where a trial begins: everything that the making of a fault may look at."""

    bench: "Bench"
    frame: np.ndarray
    first: int  # frame of the capture
    frames: int
    region: dict  # None for the whole frame
    rng: np.random.Generator
    ground: tuple

    @property
    def rect(self):
        return self.region["rect"] if self.region else [0, 0, *self.bench.size]


# Makers return (apply, parameters), or None when the moment does not allow the fault.
# `apply(k, frame, history)` gives frame k of the fault; `history[-1]` is the clean frame itself.


def _freeze(m):
    held = m.frame.copy()
    return lambda k, frame, history: faults.splice(frame, m.rect, held), {}


def _late(m):
    delay = math.ceil(LATE_S * m.bench.fps)
    return lambda k, frame, history: faults.splice(frame, m.rect, history[-1 - delay]), {"delay_frames": delay}


def _blank(color):
    def make(m):
        # Where nothing should stand, nothing can be absent.
        if (np.abs(_cut(m.frame, m.rect).astype(int) - m.ground).max(axis=2) > 60).sum() < VISIBLE_PX:
            return None
        chosen = color or [int(v) for v in m.rng.integers(0, 256, 3)]
        return lambda k, frame, history: faults.blank(frame, m.rect, chosen), {"color": list(chosen)}

    return make


def _move(m):
    dx, dy = [(4, 0), (-4, 0), (0, 4), (0, -4)][m.rng.integers(4)]
    return lambda k, frame, history: faults.move(frame, m.rect, dx, dy, m.ground), {"dx": dx, "dy": dy}


def _mirror(m):
    return lambda k, frame, history: faults.mirror(frame, m.rect), {}


def _turn(m):
    degrees = float(m.rng.choice([-5.0, 5.0]))
    return lambda k, frame, history: faults.turn(frame, m.rect, degrees, m.ground), {"degrees": degrees}


def _colors(m):
    order = [(1, 0, 2), (2, 1, 0)][m.rng.integers(2)]
    return lambda k, frame, history: faults.swap_colors(frame, m.rect, order), {"order": list(order)}


def _tear(m):
    height = m.rect[3]
    row = int(m.rng.integers(height // 4, 3 * height // 4))
    if m.rng.random() < 0.75:
        dx = int(m.rng.integers(8, 41) * m.rng.choice([-1, 1]))
        return lambda k, frame, history: faults.tear_sideways(frame, m.rect, row, dx), {"row": row, "dx": dx}
    age = int(m.rng.integers(5, round(LATE_S * m.bench.fps)))
    return (
        lambda k, frame, history: faults.tear_older(frame, m.rect, row, history[-1 - age]),
        {"row": row, "age_frames": age},
    )


def _lines(m):
    count, is_noise = max(6, m.rect[3] // 12), bool(m.rng.random() < 0.5)
    rng = m.rng.spawn(1)[0]
    return (
        lambda k, frame, history: faults.lose_lines(frame, m.rect, count, rng, is_noise),
        {"count": count, "noise": is_noise},
    )


def _noise(m):
    rng = m.rng.spawn(1)[0]
    return lambda k, frame, history: faults.add_noise(frame, m.rect, 40.0, rng), {"sigma": 40.0}


def _splice_all(rect, crops):
    return lambda k, frame, history: faults.splice(frame, rect, crops[k])


def _erase(m):
    ways = parts(m.region)
    if not ways:
        return None
    way = ways[m.rng.integers(len(ways))]
    file = m.bench.definition.without(m.region["id"], way)
    crops = m.bench.donors(m, m.rect, display=file)
    symbol = m.region["symbol"][way[0]]["kind"]
    return _splice_all(m.rect, crops), {"part": [symbol, *way]}


def _bias(channel):
    def make(m):
        tolerance = m.region["tolerance"][channel]
        bias = float(2.0 * tolerance * m.rng.choice([-1, 1]))
        source = m.bench.definition.channels[channel]
        t0 = m.bench.start_s + m.first / m.bench.fps
        values = m.bench.recording.at(source, np.linspace(t0, t0 + m.frames / m.bench.fps, 50)) + bias
        low, high = source.get("range", (-np.inf, np.inf))
        if source.get("interpolation") != "angular" and not (low <= values.min() and values.max() <= high):
            return None
        crops = m.bench.donors(m, m.rect, bias=(source, bias))
        return _splice_all(m.rect, crops), {"channel": channel, "bias": bias}

    return make


def _digit(m):
    found = readouts(m.region)
    m.rng.shuffle(found)
    for readout in found:
        source = m.bench.definition.channels[readout["channel"]]
        style = readout.get("format", {})
        smallest = style.get("quantum") or 10.0 ** -style.get("decimals", 0)
        place = int(np.ceil(np.log10(smallest) - 1e-9)) + int(m.rng.integers(0, 2))
        step = int(m.rng.integers(1, 9)) * m.rng.choice([-1, 1])
        bias = float(step * 10.0**place / style.get("scale", 1.0))
        if source.get("interpolation") == "text":
            continue
        # Most moments fail in their first frame: the others are drawn only where that is good.
        for frames in (1, m.frames):
            lines = lambda paths: [line_at(p, readout["position"], m.bench.definition.font_files) for p in paths]
            own = lines(m.bench.svg(m, frames=frames))
            other = lines(m.bench.svg(m, bias=(source, bias), frames=frames))
            cells = [digit_cell(a, b, place) for a, b in zip(own, other)]
            if None in cells or not cells:
                break
        if None in cells or not cells:
            continue
        crops = m.bench.donors(m, m.rect, bias=(source, bias))
        x0, y0 = m.rect[:2]

        def apply(k, frame, history):
            x, y, width, height = cells[k]
            donor = crops[k][y - y0 : y - y0 + height, x - x0 : x - x0 + width]
            return faults.splice(frame, cells[k], donor)

        shown = {"shown": own[0][0], "instead": other[0][0], "place": place}
        return apply, {"channel": readout["channel"], "cell": cells[0], **shown}
    return None


@dataclass
class Kind:
    """A kind of trial: what it is called, the class it must be found as, and how it is made."""

    name: str
    verdict: str
    make: object
    is_whole: bool = False
    motion: str = ""
    region: str = ""  # only this one


def kinds(definition, recordings):
    """All kinds of trial that the definition and the recordings allow."""
    black, white = (0, 0, 0), (255, 255, 255)
    found = [
        Kind("freeze, whole", "frozen", _freeze, True, "freeze"),
        Kind("freeze, region", "frozen", _freeze, False, "freeze"),
        Kind("blank black, whole", "blank", _blank(black), True),
        Kind("blank white, whole", "blank", _blank(white), True),
        Kind("blank colour, whole", "blank", _blank(None), True),
        Kind("blank black, region", "blank", _blank(black)),
        Kind("blank white, region", "blank", _blank(white)),
        Kind("blank colour, region", "blank", _blank(None)),
        Kind("symbol erased", "misleading", _erase),
        Kind("region moved 4 px", "misleading", _move),
        Kind("region mirrored", "misleading", _mirror),
        Kind("region turned 5 deg", "misleading", _turn),
        Kind("digit overwritten", "misleading", _digit),
        Kind("colours swapped", "misleading", _colors),
        Kind("tearing, whole", "garbled", _tear, True, "freeze"),
        Kind("tearing, region", "garbled", _tear, False, "freeze"),
        Kind("lost lines, whole", "garbled", _lines, True),
        Kind("lost lines, region", "garbled", _lines),
        Kind("noise burst, whole", "garbled", _noise, True),
        Kind("noise burst, region", "garbled", _noise),
        Kind("older by 0.5 s, whole", "late", _late, True, "late"),
        Kind("older by 0.5 s, region", "late", _late, False, "late"),
    ]
    for region in definition.regions.values():
        for channel in region.get("tolerance", {}):
            if any(definition.is_fed(region, r) for r in recordings):
                name = f"bias {region['id']}.{channel}"
                found.append(Kind(name, "misleading", _bias(channel), region=region["id"]))
    return found


class Bench:
    """One capture under construction."""

    def __init__(self, material, definition, recording, rasteriser, start_s, scratch):
        self.material, self.definition, self.recording = material, definition, recording
        self.rasteriser, self.start_s, self.scratch = rasteriser, start_s, Path(scratch)
        self.fps, self.size = material.fps, rasteriser.size
        self.checked = np.zeros(self.size[::-1], bool)
        for region in definition.regions.values():
            if definition.is_fed(region, recording):
                _cut(self.checked, region["rect"])[:] = True
        for region in definition.regions.values():
            for symbol in region.get("symbol", []):
                if symbol["kind"] == "unchecked":
                    _cut(self.checked, symbol["rect"])[:] = False

    def svg(self, m, display=None, bias=None, text="fonts", frames=None):
        """SVG files of the fault's first `frames` frames (all when absent), drawn with a changed definition or a
        biased column."""
        t0 = self.start_s + m.first / self.fps
        t1 = t0 + m.frames / self.fps
        if display is not None:
            write_toml(display, self.scratch / "display.toml")
            display = self.scratch / "display.toml"
        inputs = None
        if bias is not None:
            source, size = bias
            inputs = self.scratch / "inputs.csv"
            is_angle = source.get("interpolation") == "angular"
            self.recording.write_biased(inputs, source["column"], size, t0, t1, is_angle)
        skipped = m.first % self.fps
        paths = self.material.draw(
            self.scratch / f"svg_{text}", int(t0 + 1e-6), skipped + (frames or m.frames), display, inputs, text
        )
        return paths[skipped:]

    def donors(self, m, rect, **change):
        """Crops of the fault's frames, drawn with a change and rasterised as the rest is."""
        paths = self.svg(m, text=self.material.text, **change)
        return [_cut(frame, rect).copy() for frame in self.rasteriser.frames(paths)]

    def allows(self, kind, region, first):
        """Whether the symbols move enough here for this kind."""
        if not kind.motion:
            return True
        t = self.start_s + first / self.fps
        if kind.motion == "freeze":
            return self.definition.travel_px(region, self.recording, t, t + 1.0) >= FREEZE_TRAVEL_PX
        starts = np.arange(t - LATE_S, t + FAULT_S - LATE_S, LATE_S / 2)
        return all(
            self.definition.travel_px(region, self.recording, s, s + LATE_S) >= LATE_TRAVEL_PX for s in starts
        )

    def regions(self, kind, first, used):
        """Regions where the kind may begin now, those with the fewest attempts of the kind first."""
        fed = [r for r in self.definition.regions.values() if self.definition.is_fed(r, self.recording)]
        fed = [r for r in fed if any(s["kind"] not in ("unchecked", "liveness") for s in r.get("symbol", []))]
        if kind.region:
            fed = [r for r in fed if r["id"] == kind.region]
        fed = [r for r in fed if self.allows(kind, r, first)]
        if kind.is_whole:
            return [None] if fed else []
        return sorted(fed, key=lambda r: used[kind.name, r["id"]])


def _cut(array, rect):
    x, y, width, height = rect
    return array[y : y + height, x : x + width]


class Trials:
    """Trials that wait, and those begun; one object for the whole campaign."""

    def __init__(self, all_kinds, each, seed):
        self.seed = seed
        self.rng = np.random.default_rng(seed)
        self.waiting = [kind for kind in all_kinds for _ in range(each)]
        self.rng.shuffle(self.waiting)
        # By kind and region: trials begun, and attempts that led to none. Both count against a region, so
        # that those where a kind cannot be made do not stand in the way of the others.
        self.used = collections.Counter()

    def start_pass(self, n):
        """Choices of a pass depend on its number, so that a run that was broken off goes on as if it had not been."""
        self.rng = np.random.default_rng([self.seed, n])

    def count(self, truth):
        """A trial of an earlier sitting: it waits no longer."""
        self.used[truth["kind"], truth["region"]] += 1
        same = [k for k, kind in enumerate(self.waiting) if kind.name == truth["kind"]]
        if same:
            del self.waiting[same[0]]

    def begin(self, bench, history, first, frames):
        """The first waiting trial that this moment allows, as (apply, truth); None when none does.

        Each kind is tried on three regions at most, since some need frames drawn anew.
        """
        frame, tried = history[-1], set()
        for kind in self.waiting:
            if kind.name in tried:
                continue
            tried.add(kind.name)
            for region in bench.regions(kind, first, self.used)[:3]:
                seed = int(self.rng.integers(2**32))
                rng = np.random.default_rng(seed)
                ground = tuple(_ground(frame, region, bench.definition))
                moment = Moment(bench, frame, first, frames, region, rng, ground)
                made = kind.make(moment)
                where = region["id"] if region else "*"
                self.used[kind.name, where] += 1
                # A freeze shows only later; that it will is known from the recording.
                if made and (kind.make is _freeze or is_visible(bench, made[0], history)):
                    self.waiting.remove(kind)
                    truth = {"kind": kind.name, "class": kind.verdict, "region": where}
                    truth |= {"onset_s": first / bench.fps, "end_s": (first + frames) / bench.fps}
                    return made[0], truth | {"seed": seed, "parameters": made[1], "touched": []}
        return None


def is_visible(bench, apply, history):
    """Whether the fault changes its first frame where that is looked at."""
    after = apply(0, history[-1], history)
    return (faults.changed(history[-1], after) & bench.checked).sum() >= VISIBLE_PX


def _ground(frame, region, definition):
    """The commonest colour of a region: what an exposed strip shows."""
    if region is None:
        return definition.background
    pixels = _cut(frame, region["rect"]).reshape(-1, 3)[::7]
    colors, counts = np.unique(pixels, axis=0, return_counts=True)
    return [int(v) for v in colors[counts.argmax()]]


def build(bench, stretches, trials, path, codec, gap_s, limit_s):
    """Writes one capture with as many trials as fit; returns their truth."""
    fps, frames = bench.fps, round(FAULT_S * bench.fps)
    total = min(sum(n for _, n in stretches), round(limit_s * fps))
    history = collections.deque(maxlen=fps + 1)
    done, apply, onset, visible = [], None, round(WARM_UP_S * fps), None
    began = time.monotonic()
    with Writer(path, codec, fps, bench.size) as out:
        for k, frame in enumerate(read_frames(stretches, bench.size)):
            if k >= total or (not trials.waiting and apply is None and k > onset):
                break
            history.append(frame)
            if apply is None and k >= onset and k + frames + 2 * fps < total and trials.waiting:
                begun = trials.begin(bench, history, k, frames)
                onset = k if begun else k + fps // 2
                if begun:
                    apply, truth = begun
                    visible = []
                    done.append(truth)
            if apply:
                shown = apply(k - onset, frame, history)
                if k - onset == frames // 2:
                    panel(path.parent / f"trial_{len(done) - 1:02}.png", frame, shown, truth["region"], bench)
                if (k - onset) % 5 == 4:
                    visible.append(faults.changed(frame, shown) & bench.checked)
                out.write(shown)
                if k - onset == frames - 1:
                    counts = sorted(int(v.sum()) for v in visible)
                    done[-1]["visible_px"] = [counts[0], counts[len(counts) // 2], counts[-1]]
                    done[-1]["touched"] = touched(bench.definition, visible)
                    apply = None
                    onset = k + round((gap_s + trials.rng.random()) * fps)
            else:
                out.write(frame)
            if k % fps == 0:
                rate = (k + 1) / (time.monotonic() - began)
                progress(f"{path.parent.name}: {k} of {total} frames, {rate:.0f} a second, {len(done)} trials, "
                         f"{len(trials.waiting)} wait")
    rate = (k + 1) / (time.monotonic() - began)
    print(f"{path.parent.name}: {len(done)} trials in {k + 1} frames, {rate:.0f} frames a second")
    return done


def panel(path, frame, shown, region, bench):
    """Clean and faulty picture in the middle of a trial, side by side, for who looks into a miss."""
    rect = bench.definition.regions[region]["rect"] if region != "*" else [0, 0, *bench.size]
    Image.fromarray(np.hstack([_cut(frame, rect), _cut(shown, rect)])).save(path)


def touched(definition, visible):
    """Regions where the fault changed the picture in at least one frame looked at."""
    return [
        name
        for name, region in definition.regions.items()
        if any(_cut(v, region["rect"]).sum() >= VISIBLE_PX for v in visible)
    ]


def check(binary, display, inputs, capture, out, offset_s, extra=()):
    """Runs the program on a capture; (events, seconds taken)."""
    command = [binary, "check", "--display", str(display), "--inputs", str(inputs), "--capture", str(capture)]
    command += ["--out", str(out), "--offset", str(offset_s), "--allow-missing", "--quiet", *extra]
    began = time.monotonic()
    done = subprocess.run(command, capture_output=True, text=True)
    taken = time.monotonic() - began
    events = Path(out) / "events.json"
    if done.returncode not in (0, 1, 2) or not events.exists():
        raise RuntimeError(f"{' '.join(command)} ended with {done.returncode}: {done.stderr.strip()}")
    return json.loads(events.read_text()), taken


def arguments(parser):
    """Arguments that campaign and clean runs share."""
    parser.add_argument("--binary", default=os.environ.get("FRAMEVOUCH_BIN"), help="or FRAMEVOUCH_BIN")
    parser.add_argument("--display", required=True, help="display definition")
    parser.add_argument("--inputs", required=True, nargs="+", help="recordings (CSV)")
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--cache", type=Path, help="rasterised frames; OUT/cache when absent")
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "chromium"), help="or CHROMIUM")
    parser.add_argument("--fonts", help="folder of fonts; draws text as text with them, not as outlines")
    parser.add_argument("--fps", type=int, default=25)
    parser.add_argument("--start", type=int, default=0, help="second of the recording to begin at")
    parser.add_argument("--length", type=float, default=1e9, help="seconds of each recording to use")
    parser.add_argument("--jobs", type=int, default=2)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments(parser)
    parser.add_argument("--rasteriser", choices=["rsvg", "chromium"], default="rsvg")
    parser.add_argument("--codec", choices=list(CODECS), default="crf23")
    parser.add_argument("--trials", type=int, default=20, help="of each kind")
    parser.add_argument("--kinds", nargs="*", help="only kinds whose name begins with one of these")
    parser.add_argument("--gap", type=float, default=4.0, help="clean seconds between trials")
    parser.add_argument("--passes", type=int, default=60, help="captures at most")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--reuse", action="store_true", help="check and score the captures of an earlier run")
    parser.add_argument("--build-only", action="store_true", help="make the captures, do not check")
    parser.add_argument("--require-all", action="store_true", help="exit 1 unless every trial is found")
    args = parser.parse_args()
    definition = Definition(args.display)
    if not args.reuse:
        build_all(args, definition)
    if args.build_only:
        return 0
    passes = []
    for folder in sorted(args.out.glob("pass_*")):
        truth_path = folder / "truth.json"
        if not truth_path.exists():
            continue
        truth = json.loads(truth_path.read_text())
        capture = folder / truth["capture"]
        events, taken = check(args.binary, args.display, truth["inputs"], capture, folder / "check", truth["start_s"])
        print(f"{folder.name}: {len(truth['trials'])} trials, {len(events)} events, checked in {taken:.1f} s")
        passes.append((folder.name, truth, events))
    result = score.score(passes)
    (args.out / "results.json").write_text(json.dumps(result, indent=1))
    table = score.markdown(result)
    (args.out / "results.md").write_text(table)
    print(table)
    begun = sum(len(truth["trials"]) for _, truth, _ in passes)
    is_perfect = begun > 0 and result["missed"] == [] and result["stray_events"] == []
    return 0 if is_perfect or not args.require_all else 1


def build_all(args, definition):
    """All captures of the campaign, one folder a pass; passes that stand there already count."""
    recordings = [Recording(path) for path in args.inputs]
    chosen = kinds(definition, recordings)
    if args.kinds:
        chosen = [kind for kind in chosen if kind.name.startswith(tuple(args.kinds))]
    trials = Trials(chosen, args.trials, args.seed)
    args.out.mkdir(parents=True, exist_ok=True)
    size = (definition.width, definition.height)
    text = "fonts" if args.fonts else "outline"
    idle, drawn = 0, {}
    with Rasteriser(args.rasteriser, *size, args.fonts, args.jobs, args.chromium) as rasteriser:
        for n in range(args.passes):
            # A recording that no waiting trial suits any more is passed over; two in a row end it.
            if not trials.waiting or idle >= len(recordings):
                break
            folder = args.out / f"pass_{n:02}"
            if (folder / "truth.json").exists():
                for truth in json.loads((folder / "truth.json").read_text())["trials"]:
                    trials.count(truth)
                continue
            trials.start_pass(n)
            folder.mkdir(exist_ok=True)
            recording = recordings[n % len(recordings)]
            material = Material(args.binary, args.display, recording.path, args.fps, text)
            length_s = min(args.length, recording.length_s - args.start)
            cache = args.cache or args.out / "cache"
            if recording.path not in drawn:
                drawn[recording.path] = rasterise(material, rasteriser, cache, args.start, length_s)
            stretches = drawn[recording.path]
            capture = folder / f"capture{CODECS[args.codec][0]}"
            with tempfile.TemporaryDirectory() as scratch:
                bench = Bench(material, definition, recording, rasteriser, args.start, scratch)
                done = build(bench, stretches, trials, capture, args.codec, args.gap, length_s)
            idle = 0 if done else idle + 1
            truth = {"capture": capture.name, "inputs": recording.path, "start_s": args.start, "fps": args.fps}
            truth |= {"rasteriser": args.rasteriser, "text": text, "codec": args.codec, "seed": args.seed}
            (folder / "truth.json").write_text(json.dumps(truth | {"trials": done}, indent=1))
    left = collections.Counter(kind.name for kind in trials.waiting)
    (args.out / "not_begun.json").write_text(json.dumps(left, indent=1))
    if left:
        print("no place was found for:", ", ".join(f"{name} x {n}" for name, n in sorted(left.items())))


if __name__ == "__main__":
    sys.exit(main())
