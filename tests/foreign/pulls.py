"""The pull table: error over stated standard error of every reading and every age of data, on clean captures.

A reading's pull is (displayed - truth) / standard error. Where errors are stated truly, the RMS of the pulls is 1.
A chain is a source and a codec, `rsvg-crf23`:

- source `rsvg` or `chromium` draws the frames of `framevouch draw`: at t they show the recording at t;
- `unit` is the display unit of unit/: its bus at the data time of each frame, which it tells itself;
- `own` is the program's own renderer: what is left is the fit alone;
- codecs are those of encode.py, and `noise`: Gaussian noise on the pixels, without a codec.

Captures and their truth are kept (`--captures`, OUT/captures); `--reuse` checks them again, by another program say.
"""

import argparse
import contextlib
import dataclasses
import json
import os
import subprocess
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

import numpy as np
from PIL import Image

from campaign import check
from definition import Definition
from encode import CODECS, Writer
from rasterise import Rasteriser
from recording import Recording
from store import Material, read_frames
from unit import data as unit_data

HERE = Path(__file__).resolve().parent
DEMO = HERE.parents[1] / "src" / "demo" / "display.toml"
UNIT = HERE / "unit"

SOURCES = ("rsvg", "chromium", "unit", "own")
NOISE_LEVELS = 4.0
# The harness's own codecs, and what only this table uses.
CODECS.setdefault("hevc", (".mp4", CODECS["crf23"][1].replace("libx264", "libx265 -x265-params log-level=none")))
CODECS.setdefault("noise", CODECS["ffv1"])

CHAINS = [f"{source}-{codec}" for source in SOURCES for codec in CODECS]
USUAL = [f"{s}-{c}" for s in ("rsvg", "chromium") for c in ("crf18", "crf23", "crf28", "mjpeg", "hevc")]
USUAL += ["unit-crf23", "own-noise"]
USUAL_FPS = [12.5, 25, 29.97, 50, 60]
# Pulls whose RMS lies in here are accepted (design, 4a and 10).
ACCEPTED = (0.8, 1.25)
# Frames that are drawn before they are rasterised.
PIECE = 250
# Time over which the truth's rate is taken, s: a sample of the recordings.
RATE_S = 0.02


def main():
    args = parsed()
    captures = args.captures or args.out / "captures"
    args.out.mkdir(parents=True, exist_ok=True)
    clips = kept(captures, args) if args.reuse else made(captures, args)
    runs = []
    for clip in clips:
        runs.append(measured(clip, captures / clip.name, args.out / clip.name, args.binary))
        (args.out / "pulls.json").write_text(json.dumps(runs, indent=1))
        (args.out / "pulls.md").write_text(markdown(runs))
    print(summary(runs))


def parsed():
    """Arguments of the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--binary", default=os.environ.get("FRAMEVOUCH_BIN"), help="or FRAMEVOUCH_BIN")
    parser.add_argument("--out", required=True, type=Path, help="pulls.md, pulls.json, a folder for each check")
    parser.add_argument("--captures", type=Path, help="where captures are kept; OUT/captures when absent")
    parser.add_argument("--reuse", action="store_true", help="check kept captures again; --chain and --fps choose")
    parser.add_argument("--recording", nargs="+", help="CSV")
    parser.add_argument("--display", default=str(DEMO), help="definition; the demo's when absent")
    parser.add_argument("--chain", nargs="+", choices=CHAINS, metavar="SOURCE-CODEC", help="the usual when absent")
    parser.add_argument("--fps", nargs="+", type=float, metavar="F", help="12.5 25 29.97 50 60 when absent")
    parser.add_argument("--start", type=float, default=144.0, help="time of the recording, s")
    parser.add_argument("--length", type=float, default=12.0, help="s")
    parser.add_argument("--seed", type=int, default=1, help="of noise and of the unit's latency")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "chromium"), help="or CHROMIUM")
    parser.add_argument("--unit-python", default="python3", help="a Python that has pycairo, for the unit")
    args = parser.parse_args()
    if not args.binary or not (args.reuse or args.recording):
        parser.error("give --binary, and --recording or --reuse")
    return args


# Captures ---------------------------------------------------------------------------------------------------------


@dataclasses.dataclass
class Clip:
    """A clean capture, and the data time that each of its frames shows."""

    chain: str
    fps: float
    recording: str
    start_s: float
    length_s: float
    display: str
    inputs: str
    data_s: list

    @property
    def source(self):
        return self.chain.partition("-")[0]

    @property
    def codec(self):
        return self.chain.partition("-")[2]

    @property
    def name(self):
        """Also the name of its folder."""
        return f"{Path(self.recording).stem}-{self.start_s:g}-{self.chain}-{self.fps:g}"

    def file(self, folder):
        """The video."""
        return Path(folder) / f"capture{CODECS[self.codec][0]}"


def kept(captures, args):
    """Clips that stand in the folder, of the chains and rates that were asked for."""
    clips = [Clip(**json.loads(path.read_text())) for path in sorted(captures.glob("*/clip.json"))]
    return [c for c in clips if c.chain in (args.chain or [c.chain]) and c.fps in (args.fps or [c.fps])]


def made(captures, args):
    """Draws and encodes clips; yields each when it stands in its folder. Chains of one source share its frames."""
    sources = defaultdict(list)
    for chain in args.chain or USUAL:
        sources[chain.partition("-")[0]].append(chain)
    for source, chains in sources.items():
        for recording in map(str, args.recording):
            for fps in args.fps or USUAL_FPS:
                with tempfile.TemporaryDirectory() as scratch, contextlib.ExitStack() as open_now:
                    drawn = DRAW[source](args, recording, fps, Path(scratch), open_now)
                    yield from encoded(captures, args, recording, fps, chains, drawn)


def encoded(captures, args, recording, fps, chains, drawn):
    """Writes the frames that were drawn through each of the codecs; the clips."""
    display, inputs, data_s, frames = drawn
    size = (Definition(display).width, Definition(display).height)
    clips = [Clip(c, fps, recording, args.start, args.length, str(display), "inputs.csv", data_s) for c in chains]
    rng = np.random.default_rng(args.seed)
    with contextlib.ExitStack() as writers:
        ways = []
        for clip in clips:
            folder = captures / clip.name
            folder.mkdir(parents=True, exist_ok=True)
            (folder / "clip.json").unlink(missing_ok=True)
            (folder / "inputs.csv").write_bytes(Path(inputs).read_bytes())
            ways.append((clip.codec, writers.enter_context(Writer(clip.file(folder), clip.codec, fps, size))))
        for frame in frames:
            for codec, writer in ways:
                writer.write(noisy(frame, rng) if codec == "noise" else frame)
    for clip in clips:
        (captures / clip.name / "clip.json").write_text(json.dumps(dataclasses.asdict(clip)))
    return clips


def noisy(frame, rng):
    """The frame with Gaussian noise, rounded to levels."""
    noise = rng.standard_normal(frame.shape, dtype=np.float32) * NOISE_LEVELS
    return np.clip(np.rint(frame + noise), 0, 255).astype(np.uint8)


# Each source gives (definition, recording of the clip, data time of each frame, frames).


def by_rasteriser(name):
    """Frames of `framevouch draw` by a rasteriser that is not its own."""

    def draw(args, recording, fps, scratch, open_now):
        definition = Definition(args.display)
        size = (definition.width, definition.height)
        rasteriser = open_now.enter_context(Rasteriser(name, *size, None, args.jobs, args.chromium))
        material = Material(args.binary, args.display, recording, fps, "outline")
        times = frame_times(args, fps)
        pieces = [times[k : k + PIECE] for k in range(0, len(times), PIECE)]
        drawn = (material.draw(scratch / "svg", piece[0], len(piece)) for piece in pieces)
        return args.display, recording, times, (frame for paths in drawn for frame in rasteriser.frames(paths))

    return draw


def by_own(args, recording, fps, scratch, open_now):
    """Frames of the program's own renderer."""
    times = frame_times(args, fps)
    command = [args.binary, "draw", "--display", args.display, "--inputs", recording, "--fps", str(fps)]
    command += ["--from", str(args.start), "--to", str(times[-1] + 0.5 / fps), "--format", "png"]
    subprocess.run([*command, "--allow-missing", "--out", str(scratch / "png")], check=True, stdout=subprocess.DEVNULL)
    paths = sorted((scratch / "png").glob("*.png"))
    if len(paths) != len(times):
        raise RuntimeError(f"draw wrote {len(paths)} frames, not {len(times)}")
    return args.display, recording, times, (np.asarray(Image.open(p).convert("RGB")) for p in paths)


def by_unit(args, recording, fps, scratch, open_now):
    """Frames of the independent unit, which says how old the data of each are."""
    command = [args.unit_python, str(UNIT), "draw", "--inputs", recording, "--out", str(scratch), "--fps", str(fps)]
    command += ["--start", str(args.start), "--length", str(args.length), "--seed", str(args.seed), "--codec", "ffv1"]
    subprocess.run(command, check=True)
    latency_ms = json.loads((scratch / "truth.json").read_text())["latency_ms"]
    data_s = [args.start + k / fps - late / 1000 for k, late in enumerate(latency_ms)]
    display = UNIT / "base.toml"
    size = (Definition(display).width, Definition(display).height)
    return display, scratch / "inputs.csv", data_s, read_frames([(scratch / "clip.avi", len(data_s))], size)


DRAW = {"rsvg": by_rasteriser("rsvg"), "chromium": by_rasteriser("chromium"), "unit": by_unit, "own": by_own}


def frame_times(args, fps):
    """Recording times of the frames of a clip, s."""
    return [args.start + k / fps for k in range(int(args.length * fps))]


# Pulls ------------------------------------------------------------------------------------------------------------


def measured(clip, folder, out, binary):
    """Checks a clip; pulls of all its freedoms and ages."""
    inputs = folder / clip.inputs
    events, _ = check(binary, clip.display, inputs, clip.file(folder), out, clip.start_s)
    with open(out / "frames.jsonl") as lines:
        frames = [json.loads(line) for line in lines]
    definition = Definition(clip.display)
    read, ages = gathered(frames)
    shown = truth_of(clip, inputs)
    data_s = np.array(clip.data_s)
    rows = []
    for (region, channel, what), found in sorted(read.items()):
        k, displayed, stated, px = np.array(found).T
        at_s = data_s[k.astype(int)]
        ends = definition.ends(definition.regions[region]).get(channel, (-np.inf, np.inf))
        about = definition.channels[channel]
        truth, before, after = (np.clip(shown(about, at_s + d), *ends) for d in (0.0, -RATE_S / 2, RATE_S / 2))
        error, moved = short_way(displayed - truth, about), short_way(after - before, about)
        name = {"region": region, "channel": channel, "what": what, "unit": about.get("unit")}
        late_ms = lateness_ms(error * px, moved * px / RATE_S)
        rows.append(name | pulls(k, error, stated, px, "px") | {"late_ms": late_ms})
    age_rows = []
    for region, found in sorted(ages.items()):
        k, age_ms, stated_ms, time_s = np.array(found).T
        error_ms = age_ms - (clip.start_s + time_s - data_s[k.astype(int)]) * 1000
        age_rows.append({"region": region} | pulls(k, error_ms, stated_ms, np.ones_like(k), "ms"))
    print(f"{clip.name}: {len(frames)} frames, {len(events)} events", flush=True)
    return {"clip": clip.name, "chain": clip.chain, "fps": clip.fps, "frames": len(frames), "events": events,
            "readings": rows, "ages": age_rows}  # fmt: skip


def gathered(frames):
    """Readings by (region, channel, what), and ages by region: frame, value, standard error, px per unit or time."""
    read, ages = defaultdict(list), defaultdict(list)
    for frame in frames:
        for name, region in frame["regions"].items():
            if region.get("staleness_ms") is not None and region.get("staleness_se_ms"):
                ages[name].append((frame["frame"], region["staleness_ms"], region["staleness_se_ms"], frame["time_s"]))
            for r in region.get("readings", []):
                # Digits are rounded to their last place: their error says nothing of the measurement.
                if r.get("px_per_unit") and r.get("standard_error"):
                    key = (name, r["channel"], r["what"])
                    read[key].append((frame["frame"], r["displayed"], r["standard_error"], r["px_per_unit"]))
    return read, ages


def truth_of(clip, inputs):
    """A function: what the display shows of a channel with data of given times."""
    if clip.source != "unit":
        return Recording(inputs).at
    bus = unit_data.Bus(*unit_data.read(inputs))
    names = {column: name for name, (column, _, _) in unit_data.COLUMNS.items()}
    return lambda about, at_s: np.array([bus.value(names[about["column"]], t) for t in at_s])


def short_way(difference, about):
    """A difference of two values; of angles the short way round."""
    return (difference + 180.0) % 360.0 - 180.0 if about.get("unit") == "deg" else difference


def pulls(k, error, stated, px, unit):
    """Figures of one freedom: errors and stated errors in its unit and in px (or ms), pulls, their memory."""
    pull, error_px = error / stated, error * px
    rms = lambda v: float(np.sqrt(np.mean(v**2)))
    worst = int(np.abs(pull).argmax())
    row = {"n": len(k), "rms_pull": rms(pull), "worst_pull": float(pull[worst]), "worst_frame": int(k[worst])}
    row |= {"median_pull": float(np.median(np.abs(pull))), f"bias_{unit}": float(error_px.mean())}
    row |= {f"scatter_{unit}": float(error_px.std()), f"stated_{unit}": rms(stated * px)}
    row |= {f"worst_{unit}": float(error_px[np.abs(error_px).argmax()]), "memory": memory(k, error_px)}
    if unit == "px":
        row |= {"bias": float(error.mean()), "scatter": float(error.std()), "stated": rms(stated)}
    return row


def memory(k, error):
    """Correlation of the errors of successive frames, without their mean; None where there are too few."""
    off = error - error.mean()
    follows = np.diff(k) == 1
    if follows.sum() < 10 or not off.any():
        return None
    return float(np.mean((off[1:] * off[:-1])[follows]) / np.mean(off**2))


def lateness_ms(error_px, px_s):
    """Time that explains the errors best, ms: positive where readings lag behind. None where little moves."""
    moving = float(np.mean(px_s**2))
    return float(-np.mean(error_px * px_s) / moving * 1000) if moving > 1.0 else None


# Tables -----------------------------------------------------------------------------------------------------------


def markdown(runs):
    """All tables."""
    keys = ["n", "rms_pull", "median_pull", "worst_pull", "worst_frame", "memory"]
    errors = lambda unit: [f"{name}_{unit}" for name in ("bias", "scatter", "stated", "worst")]
    reading_keys = keys + errors("px") + ["bias", "scatter", "stated", "unit", "late_ms"]
    return "\n".join([
        __doc__, summary(runs),
        "Readings. memory: correlation of successive errors; late_ms: the lag that explains the errors best.\n",
        details(runs, "readings", reading_keys), "Ages of the data.\n", details(runs, "ages", keys + errors("ms")),
    ])  # fmt: skip


def details(runs, kind, keys):
    """By clip and freedom, or region."""
    name = lambda r: f"{r['region']}.{r['channel']} {r['what']}" if "channel" in r else r["region"]
    rows = [[run["clip"], name(r), *(r[k] for k in keys)] for run in runs for r in run[kind]]
    return table(("clip", "freedom" if kind == "readings" else "region", *keys), rows)


def summary(runs):
    """By clip and by chain: least, middle and greatest RMS pull of the freedoms and of the ages."""
    figures = ("least", "median", "most", "accepted")
    groups = {run["clip"]: [run] for run in runs}
    groups |= {c: [run for run in runs if run["chain"] == c] for c in sorted({run["chain"] for run in runs})}
    rows = []
    for name, some in (groups | {"all": runs}).items():
        rows.append([name, sum(len(run["events"]) for run in some)])
        for kind in ("readings", "ages"):
            v = [r["rms_pull"] for run in some for r in run[kind]] or [np.nan]
            share = np.mean([ACCEPTED[0] <= x <= ACCEPTED[1] for x in v])
            rows[-1] += [len(v), min(v), float(np.median(v)), max(v), f"{share:.0%}"]
    heads = ("clip or chain", "events", "freedoms", *figures, "ages", *figures)
    return "RMS of error over stated error; accepted: the share within 0.8 to 1.25.\n\n" + table(heads, rows)


def table(heads, rows):
    """A table in Markdown."""
    cell = lambda v: "-" if v is None else f"{v:.3g}" if isinstance(v, float) else str(v)
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(map(cell, line)) + " |" for line in lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
