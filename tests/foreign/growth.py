"""How cost and memory of a check grow: with the picture's size, the number of regions, the latency window, what moves, and length.

Displays are a grid of dials, drawn by the program itself (what is asked here is cost, not truth) and given to `check` as raw
frames on standard input, in a cycle that the recording repeats. Processor time of the check alone, without what a run costs by
itself (a run of a quarter of the frames is taken off); its peak memory when it has been given the last frame. Each law gets its exponent: the slope
of a straight line through the logarithms.
"""

import argparse
import json
import math
import os
import subprocess
import sys
import threading
from pathlib import Path

import matplotlib
import numpy as np
from PIL import Image

matplotlib.use("Agg")
import matplotlib.pyplot as plt

FPS = 25
CYCLE_S = 2.0
HEAD = """[display]
name = "grid"
width = {width}
height = {height}
background = "black"
max_latency_ms = {latency_ms}
[colors]
black = "#000000"
white = "#f0f0f0"
green = "#20c040"
[fonts]
plain = {{ builtin = "B612 Regular" }}
[channels]
"""
CHANNEL = 'c{k} = {{ column = "c{k}", unit = "deg", range = [0, 360] }}\n'
DIAL = """[[region]]
id = "r{k}"
rect = [{x}, {y}, {w}, {h}]
hazard = "major"
requirements = ["R-{k}"]
confirm_ms = 200
tolerance = {{ c{k} = 6.0 }}
[[region.symbol]]
kind = "dial"
center = [{cx}, {cy}]
radius = {radius}
breakpoints = [[0, -150], [360, 150]]
ticks = {{ major_step = 60, major_length = {long}, minor_step = 20, minor_length = {short}, color = "white" }}
bands = [{{ from = 0, to = 200, color = "green" }}]
pointers = [{{ channel = "c{k}", tip_radius = {tip}, tail_radius = {tail}, width = 4, color = "white" }}]
failure = {{ rect = [{x}, {y}, {w}, {h}], text = "X", font = "plain", size = {short}, color = "white", background = "black" }}
"""


def display(width, height, regions, latency_ms=120):
    """A grid of dials that fills the picture."""
    across = max(1, round(math.sqrt(regions * width / height)))
    down = math.ceil(regions / across)
    w, h = width // across // 2 * 2, height // down // 2 * 2
    radius = min(w, h) / 2 - 4
    text = HEAD.format(width=width, height=height, latency_ms=latency_ms)
    text += "".join(CHANNEL.format(k=k) for k in range(regions))
    for k in range(regions):
        x, y = k % across * w, k // across * h
        sizes = {name: round(radius * share, 1) for name, share in
                 [("long", 0.2), ("short", 0.1), ("tip", 0.85), ("tail", 0.2)]}
        text += DIAL.format(k=k, x=x, y=y, w=w, h=h, cx=x + w / 2, cy=y + h / 2, radius=round(radius, 1), **sizes)
    return text


def inputs(regions, seconds, moving):
    """Rows of 50 Hz; the first `moving` channels swing, in a cycle."""
    def value(k, t):
        return 180 + 90 * math.sin(2 * math.pi * t / CYCLE_S + k) if k < moving else 180.0

    lines = ["t_s," + ",".join(f"c{k}" for k in range(regions))]
    cycle = round(CYCLE_S * 50)
    rows = [",".join(f"{value(k, i / 50):.4f}" for k in range(regions)) for i in range(cycle)]
    lines += [f"{i / 50:.2f}," + rows[i % cycle] for i in range(round(seconds * 50) + 1)]
    return "\n".join(lines) + "\n"


def check(binary, folder, size, frames, count):
    """Processor time, s, and peak memory, MB, of the check of `count` frames of the cycle."""
    command = [binary, "check", "--display", "display.toml", "--inputs", "inputs.csv", "--capture", "-", "--raw",
               f"{size[0]}x{size[1]}", "--fps", str(FPS), "--offset", "0", "--out", "out", "--force", "--quiet"]
    child = subprocess.Popen(command, cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
                             env=os.environ | {"RAYON_NUM_THREADS": "1"})

    peaks = []

    def feed():
        try:
            for k in range(count):
                child.stdin.write(frames[k % len(frames)])
            child.stdin.flush()
            # What the system tells afterwards counts this process in, as it was when it started the other.
            status = Path(f"/proc/{child.pid}/status").read_text()
            peaks.extend(int(l.split()[1]) / 1024 for l in status.splitlines() if l.startswith("VmHWM"))
            child.stdin.close()
        except BrokenPipeError:
            pass

    feeder = threading.Thread(target=feed)
    feeder.start()
    _, status, used = os.wait4(child.pid, 0)
    feeder.join()
    if status != 0:
        sys.exit(f"{folder}: the check ended with {os.waitstatus_to_exitcode(status)}")
    return used.ru_utime, peaks[0]


def point(binary, out, name, size, regions=12, moving=None, latency_ms=120, count=200):
    """One measurement: ms a frame, peak MB."""
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "display.toml").write_text(display(*size, regions, latency_ms))
    (folder / "inputs.csv").write_text(inputs(regions, count / FPS, regions if moving is None else moving))
    subprocess.run([binary, "draw", "--display", "display.toml", "--inputs", "inputs.csv", "--fps", str(FPS), "--from", "0",
                    "--to", str(CYCLE_S - 1 / FPS), "--format", "png", "--out", "frames", "--force"],
                   cwd=folder, check=True, stdout=subprocess.DEVNULL)
    pictures = sorted((folder / "frames").glob("*.png"))
    frames = [np.asarray(Image.open(p).convert("RGB")).tobytes() for p in pictures]
    few, _ = check(binary, folder, size, frames, count // 4)
    all_s, peak = check(binary, folder, size, frames, count)
    return 1000 * (all_s - few) / (count - count // 4), peak


def exponent(points):
    """Slope of the logarithms."""
    x, y = np.log([[p[0], max(p[1], 1e-6)] for p in points]).T
    return float(np.polyfit(x, y, 1)[0])


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--binary", required=True, type=lambda p: str(Path(p).resolve()))
    options.add_argument("--out", required=True, type=Path)
    options.add_argument("--hours", type=float, default=3.0, help="longest run of the law of length")
    arguments = options.parse_args()
    out = arguments.out
    measure = lambda name, *args, **more: point(arguments.binary, out, name, *args, **more)
    sizes = [(480, 272), (800, 480), (1024, 768), (1920, 1080), (3840, 2160)]
    lengths = [s for s in (1, 10, 60, 600, 3600, 10800) if s <= 3600 * arguments.hours]
    laws = {
        "pixels of the picture, 12 dials that fill it": [
            (w * h, *measure(f"size_{w}", (w, h), count=100)) for w, h in sizes],
        "regions, each as large, all moving": [
            (n, *measure(f"regions_{n}", (math.ceil(math.sqrt(n)) * 96, math.ceil(n / math.ceil(math.sqrt(n))) * 96), n,
                         count=100)) for n in (1, 4, 16, 50, 100, 200)],
        "dials that move, of 100": [
            (n, *measure(f"moving_{n}", (960, 960), 100, moving=n, count=100)) for n in (1, 10, 30, 100)],
        "frames in the latency window": [
            (n, *measure(f"window_{n}", (800, 480), latency_ms=1000 * n / FPS)) for n in (1, 5, 15, 40, 120)],
        "seconds": [(s, *measure(f"length_{s}", (160, 120), 2, count=max(s * FPS, 8))) for s in lengths],
    }
    lines = ["| what grows | from | to | ms a frame | exponent | peak MB | exponent |", "|---|---|---|---|---|---|---|"]
    figure, axes = plt.subplots(1, len(laws), figsize=(4 * len(laws), 3.6))
    for axis, (name, points) in zip(axes, laws.items()):
        cost, memory = exponent([(x, y) for x, y, _ in points]), exponent([(x, m) for x, _, m in points])
        first, last = points[0], points[-1]
        lines.append(f"| {name} | {first[0]} | {last[0]} | {first[1]:.2f} to {last[1]:.2f} | {cost:.2f} | "
                     f"{first[2]:.0f} to {last[2]:.0f} | {memory:.2f} |")
        x = [p[0] for p in points]
        axis.loglog(x, [p[1] for p in points], "o-", label=f"ms a frame, exponent {cost:.2f}")
        axis.loglog(x, [p[2] for p in points], "s--", label=f"peak MB, exponent {memory:.2f}")
        axis.set_xlabel(name, fontsize=8)
        axis.grid(True, which="both", alpha=0.3)
        axis.legend(fontsize=7)
    figure.tight_layout()
    figure.savefig(out / "growth.png", dpi=110)
    (out / "growth.md").write_text("\n".join(lines) + "\n")
    (out / "growth.json").write_text(json.dumps(laws, indent=1) + "\n")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
