"""Artwork drawn by the reference and by two other rasterisers, from the same SVG files.

Away from edges all three must show the same levels. On an edge a pixel is covered in part, and rasterisers estimate
by how much: there a pixel of the reference may differ by a share of the contrast around it. Text is placed by text
engines of their own; where it stands, each picture must lie within what the other one shows next to it.

Exit status 1 when a pixel differs by more. `DIFFERENCE.png` in the folder of results shows where.
"""

import argparse
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from PIL import Image

from rasterise import Rasteriser

HERE = Path(__file__).resolve().parent
FONTS = HERE.parent.parent / "reference_frames" / "fonts"
# Files, their size in px, and the boxes (left, top, right, bottom) in which text stands.
SHEETS = {
    "every_feature": ((480, 360), [(0, 300, 480, 360)]),
    "panel": ((400, 480), [(60, 30, 360, 320), (30, 400, 370, 450)]),
}
# Levels that pictures may differ by where nothing has an edge: rounding of mixed colours, twice.
FLAT = 2
# Contrast around a pixel from which it counts as one on an edge, levels. Gradients change by less from pixel to pixel.
EDGE = 4
# Share of the contrast that coverage may be off by. librsvg samples a pixel 15 times across and 17 times down; Chromium
# lets the outlines of strokes stray by a quarter of a pixel.
COVERAGE = {"rsvg": 0.08, "chromium": 0.3}
# Share of pixels on edges that may be off by more, up to FAR: corners, and edges of clip paths, have the errors of two edges.
CORNERS, FAR = 0.005, 0.5
# What a rasteriser draws against SVG, and so is not compared: boxes as above.
# librsvg 2.54 leaves out the clip path of a clip path, and takes the bounding box that a gradient refers to after the turn.
WRONG = {("rsvg", "every_feature"): [(60, 240, 120, 300), (180, 180, 240, 240)]}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--binary", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--rasterisers", nargs="+", choices=["rsvg", "chromium"], default=["rsvg", "chromium"])
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "chromium"), help="or CHROMIUM")
    options = parser.parse_args()
    is_good = True
    for name, (size, text) in SHEETS.items():
        folder = options.out / name
        folder.mkdir(parents=True, exist_ok=True)
        own = reference(options.binary, name, size, folder)
        for rasteriser in options.rasterisers:
            with Rasteriser(rasteriser, *size, fonts=FONTS, jobs=1, chromium=options.chromium) as other:
                foreign = next(iter(other.frames([HERE / "artwork" / f"{name}.svg"])))
            told = compare(own, foreign, text, WRONG.get((rasteriser, name), []), COVERAGE[rasteriser])
            print(f"{name} by {rasteriser}: {told}")
            if told.wrong.any():
                is_good = False
                shown = np.concatenate([own, foreign, np.repeat(told.wrong[..., None] * np.uint8(255), 3, 2)], 1)
                Image.fromarray(shown).save(folder / f"DIFFERENCE_{rasteriser}.png")
    return 0 if is_good else 1


def reference(binary, name, size, folder):
    """The sheet as `framevouch draw` draws it: a display that holds nothing else."""
    (folder / f"{name}.svg").write_bytes((HERE / "artwork" / f"{name}.svg").read_bytes())
    display, inputs = folder / "display.toml", folder / "inputs.csv"
    display.write_text(definition(name, size))
    inputs.write_text("t_s,level\n0,0\n1,1\n")
    frames = folder / "frames"
    command = [binary, "draw", "--display", display, "--inputs", inputs, "--fps", "1", "--from", "0", "--to", "0"]
    subprocess.run([*command, "--format", "png", "--force", "--out", frames], check=True, stdout=subprocess.DEVNULL)
    return np.asarray(Image.open(next(iter(sorted(frames.glob("*.png"))))).convert("RGB"))


def definition(name, size):
    """A display of the artwork alone."""
    width, height = size
    return f"""
[display]
name = "{name}"
width = {width}
height = {height}
background = "black"

[colors]
black = "#000000"

[fonts]
plain = {{ builtin = "B612 Regular" }}

[artwork.sheet]
file = "{name}.svg"

[channels]
level = {{ column = "level", range = [0.0, 1.0] }}

[[region]]
id = "sheet"
rect = [0, 0, {width}, {height}]
hazard = "minor"

[[region.symbol]]
kind = "parts"
part = [{{ shape = {{ artwork = "sheet" }} }}]
"""


class Told:
    """What differs: pixels that are wrong, and the largest differences."""

    def __init__(self, wrong, flat, edge, corners):
        self.wrong, self.flat, self.edge, self.corners = wrong, flat, edge, corners

    def __str__(self):
        return (
            f"flat {self.flat} levels at most, edges {self.edge:.3f} of the contrast in 999 of 1000, "
            f"{self.corners} pixels beyond what coverage may be off by, {int(self.wrong.sum())} wrong"
        )


def compare(own, foreign, text, left_out, coverage):
    """Holds two RGB pictures against each other."""
    own, foreign = own.astype(int), foreign.astype(int)
    difference = np.abs(own - foreign)
    contrast = np.maximum(*(spread(p) for p in (own, foreign)))
    is_text, is_left_out = (inside(own, boxes) for boxes in (text, left_out))
    is_edge = contrast.max(2) > EDGE
    is_flat = ~is_edge & ~is_left_out
    wrong = is_flat & (difference.max(2) > FLAT)
    flat = difference[is_flat].max(initial=0)
    share = ((difference - FLAT) / np.maximum(contrast, EDGE)).max(2)
    on_edge = is_edge & ~is_text & ~is_left_out
    beyond = on_edge & (share > coverage)
    if beyond.sum() > CORNERS * on_edge.sum():
        wrong |= beyond
    wrong |= on_edge & (share > FAR)
    # Text: inside what stands next to it, both ways round.
    slack = 40
    for a, b in ((own, foreign), (foreign, own)):
        low, high = extremes(b)
        outside = np.maximum(low - a, a - high).max(2) > slack
        wrong |= is_edge & is_text & outside
    edge = float(np.quantile(share[on_edge], 0.999)) if on_edge.any() else 0.0
    return Told(wrong, flat, edge, int(beyond.sum()))


def inside(picture, boxes):
    """Which pixels of a picture stand in one of the boxes."""
    found = np.zeros(picture.shape[:2], bool)
    for left, top, right, bottom in boxes:
        found[top:bottom, left:right] = True
    return found


def extremes(picture):
    """Lowest and highest level of each pixel's 3 x 3 neighbours."""
    padded = np.pad(picture, ((1, 1), (1, 1), (0, 0)), mode="edge")
    height, width = picture.shape[:2]
    parts = [padded[y : y + height, x : x + width] for y in range(3) for x in range(3)]
    return np.minimum.reduce(parts), np.maximum.reduce(parts)


def spread(picture):
    """Highest less lowest level of each pixel's 3 x 3 neighbours."""
    low, high = extremes(picture)
    return high - low


if __name__ == "__main__":
    sys.exit(main())
