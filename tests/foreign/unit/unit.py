"""The unit as a command: frames of the page into a video, and the truth beside it."""

import argparse
import json
import subprocess
import sys
from pathlib import Path

from . import data, faults, scenario
from .look_list import LOOK
from .page import HEIGHT, WIDTH, Unit

BT709 = (
    "-vf scale=out_color_matrix=bt709:out_range=limited:flags=bicubic+accurate_rnd -pix_fmt yuv420p "
    "-color_primaries bt709 -color_trc bt709 -colorspace bt709 -color_range tv"
)
# As in `encode.py`, which takes arrays; here the frames go to the encoder as they stand in cairo's memory.
CODECS = {
    "crf18": f"-c:v libx264 -preset medium -crf 18 {BT709}",
    "crf23": f"-c:v libx264 -preset medium -crf 23 {BT709}",
    "crf28": f"-c:v libx264 -preset medium -crf 28 {BT709}",
    "ffv1": "-c:v ffv1 -level 3 -g 1 -slices 4 -pix_fmt bgr0",
    "raw": "-c:v rawvideo -pix_fmt rgb24 -f rawvideo",
}


def inputs(recording, begin_s, length_s, scenarios=()):
    """Times and columns of a clip with some seconds before and after; a made flight without a recording."""
    if recording:
        times, columns = scenario.cut(*data.read(recording), begin_s - 4, begin_s + length_s + 2)
    else:
        times, columns = scenario.synthetic(begin_s + length_s + 2)
    return times, scenario.made(times, columns, scenarios)


def draw(unit, video, start_s, length_s, fps, codec="crf23", ffmpeg="ffmpeg"):
    """Draws a clip into a video; returns the data time of every frame, s."""
    command = [ffmpeg, "-y", "-v", "error", "-f", "rawvideo", "-pix_fmt", "bgr0", "-s", f"{WIDTH}x{HEIGHT}"]
    command += ["-r", str(fps), "-i", "-", *CODECS[codec].split(), "-threads", "1", str(video)]
    encoder = subprocess.Popen(command, stdin=subprocess.PIPE)
    shown = []
    for k in range(round(length_s * fps)):
        encoder.stdin.write(unit.frame(start_s + k / fps).get_data())
        shown.append(unit.clock._last)
    encoder.stdin.close()
    if encoder.wait():
        raise RuntimeError(f"ffmpeg could not write {video}")
    return shown


def write_truth(path, unit, start_s, fps, shown, looks):
    """What the clip shows and what is wrong in it."""
    truth = {
        "start_s": start_s, "fps": fps, "looks": sorted(looks), "faults": [f.truth(start_s) for f in unit.faults],
        "latency_ms": [round((start_s + k / fps - s) * 1000, 2) for k, s in enumerate(shown)],
    }  # fmt: skip
    Path(path).write_text(json.dumps(truth, indent=1) + "\n")


def main(arguments=None):
    """`python3 tests/foreign/unit draw ...`"""
    p = argparse.ArgumentParser(prog="unit draw", description=__doc__)
    p.add_argument("--inputs", help="recording (CSV); a made flight without it")
    p.add_argument("--out", required=True, type=Path, help="folder: clip.mp4 (or .mkv, .raw), inputs.csv, truth.json")
    p.add_argument("--look", action="append", default=[], choices=sorted(LOOK), metavar="NAME")
    p.add_argument("--scenario", choices=scenario.SCENARIOS, help="those of the looks without it")
    p.add_argument("--fps", type=float, default=25)
    p.add_argument("--start", type=float, default=60, help="time of the recording where the clip begins, s")
    p.add_argument("--length", type=float, default=10, help="s")
    p.add_argument("--latency-ms", type=float, default=65)
    p.add_argument("--jitter-ms", type=float, default=25, help="to both sides of the latency")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--hinting", choices=("full", "slight", "none"), default="slight")
    p.add_argument("--turned-whole", action="store_true", help="turned words begin at whole pixels, whole advances")
    p.add_argument("--fault", action="append", default=[], help="kind:target:size:from:to, see faults.py")
    p.add_argument("--codec", choices=CODECS, default="crf23")
    p.add_argument("--png", type=float, metavar="TIME", help="only one picture, frame.png")
    a = p.parse_args(arguments)
    scenarios = [a.scenario] if a.scenario else [LOOK[n].scenario for n in a.look]
    times, columns = inputs(a.inputs, a.start, a.length, scenarios)
    a.out.mkdir(parents=True, exist_ok=True)
    unit = Unit(
        data.Bus(times, columns), data.Clock(a.latency_ms, a.jitter_ms, a.seed), a.look, a.hinting,
        [faults.parse(f, a.start) for f in a.fault], a.turned_whole,
    )  # fmt: skip
    if a.png is not None:
        unit.frame(a.png).write_to_png(str(a.out / "frame.png"))
        return 0
    data.write(a.out / "inputs.csv", times, columns)
    video = a.out / {"ffv1": "clip.avi", "raw": "clip.raw"}.get(a.codec, "clip.mp4")
    shown = draw(unit, video, a.start, a.length, a.fps, a.codec)
    write_truth(a.out / "truth.json", unit, a.start, a.fps, shown, a.look)
    return 0


if __name__ == "__main__":
    sys.exit(main())
