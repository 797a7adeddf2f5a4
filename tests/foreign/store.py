"""Drawn and rasterised frames, kept without loss.

`framevouch draw` writes ten seconds of SVG at a time; each such stretch is rasterised into one
H.264 RGB file at quantiser 0 (lossless, about 16 kB a frame), named by the hash of the SVG bytes,
the rasteriser and the way of drawing text. Drawing is repeated on each run and is quick; rasterising
is not, and happens only for stretches that changed, so a broken-off run goes on where it stopped.
"""

import csv
import hashlib
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from encode import Writer

STRETCH_S = 10


def progress(text):
    """A line that replaces itself, on a terminal only."""
    if sys.stderr.isatty():
        print(f"\r{text} ", end="", file=sys.stderr, flush=True)


@dataclass
class Material:
    """What is drawn, and how it becomes pixels."""

    binary: str
    display: str
    inputs: str
    fps: int
    text: str  # "outline" or "fonts"
    more: tuple = ()  # further arguments of `draw`

    def draw(self, out, first_s, frames, display=None, inputs=None, text=None):
        """SVG files of `frames` frames from the whole second `first_s` on."""
        shutil.rmtree(out, ignore_errors=True)
        last_s = first_s + (frames - 0.5) / self.fps
        command = [self.binary, "draw", "--display", str(display or self.display)]
        command += ["--inputs", str(inputs or self.inputs), "--fps", str(self.fps)]
        command += ["--from", str(first_s), "--to", f"{last_s:.6f}", "--allow-missing", "--format", "svg"]
        command += ["--out", str(out), *self.more]
        if (text or self.text) == "outline":
            command.append("--outline-text")
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"{' '.join(command)} ended with {done.returncode}: {done.stderr.strip()}")
        with open(Path(out) / "times.csv", newline="") as file:
            rows = list(csv.DictReader(file))
        if len(rows) != frames:
            raise RuntimeError(f"draw wrote {len(rows)} frames from {first_s} s on, not {frames}")
        steps = np.diff([float(row["time_s"]) for row in rows])
        if len(steps) and abs(steps - 1.0 / self.fps).max() > 2e-6:
            raise RuntimeError(f"draw did not step by 1/{self.fps} s from {first_s} s on")
        return [Path(out) / row["file"] for row in rows]


def rasterise(material, rasteriser, cache, first_s, length_s):
    """The stretches that cover `length_s` seconds from `first_s` (whole seconds), in order."""
    cache = Path(cache)
    cache.mkdir(parents=True, exist_ok=True)
    frames_left = int(length_s * material.fps)
    stretches, fresh, began = [], 0, time.monotonic()
    with tempfile.TemporaryDirectory(dir=cache) as scratch:
        while frames_left > 0:
            frames = min(frames_left, STRETCH_S * material.fps)
            paths = material.draw(Path(scratch) / "svg", first_s, frames)
            key = hashlib.sha256(f"{rasteriser.name} {material.text} {material.fps}".encode())
            for path in paths:
                key.update(path.read_bytes())
            stretch = cache / f"{key.hexdigest()[:24]}.mkv"
            if not stretch.exists():
                part = Path(scratch) / "part.mkv"
                with Writer(part, "store", material.fps, rasteriser.size) as out:
                    for frame in rasteriser.frames(paths):
                        out.write(frame)
                part.rename(stretch)
                fresh += frames
            stretches.append((stretch, frames))
            first_s += STRETCH_S
            frames_left -= frames
            rate = fresh / (time.monotonic() - began)
            progress(f"{rasteriser.name}: {frames_left} frames left, {rate:.1f} new a second")
    if fresh:
        print(f"{rasteriser.name}: {fresh} frames rasterised, {fresh / (time.monotonic() - began):.1f} a second")
    return stretches


def read_frames(stretches, size):
    """All frames of the stretches as RGB arrays, in order."""
    width, height = size
    for path, frames in stretches:
        reader = subprocess.Popen(
            ["ffmpeg", "-v", "error", "-i", str(path), "-fps_mode", "passthrough", "-f", "rawvideo"]
            + ["-pix_fmt", "rgb24", "-"],
            stdout=subprocess.PIPE,
        )
        try:
            for k in range(frames):
                data = reader.stdout.read(width * height * 3)
                if len(data) != width * height * 3:
                    raise RuntimeError(f"{path} ends at frame {k} of {frames}; delete it and run again")
                yield np.frombuffer(data, np.uint8).reshape(height, width, 3)
        finally:
            reader.kill()
            reader.stdout.close()
            reader.wait()
