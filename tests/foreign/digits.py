"""Random digits, cell by cell: how many are taken for others, and how many wrong ones are read as what they are.

A page of five-digit numbers that change in every frame is drawn by another rasteriser and encoded. It is checked
against its own recording, where no digit may be taken for another, and against one in which a digit of each number is
another, where each must be read as it is shown. Heights and qualities are those of the goals: capitals of 9 px at
crf 23, 15 px at crf 28.
"""

import argparse
import csv
import json
import os
import sys
from pathlib import Path

import numpy as np

from campaign import check
from encode import CODECS, Writer
from rasterise import Rasteriser
from store import Material, rasterise, read_frames

WIDTH, HEIGHT, FPS = 1024, 768, 25
DIGITS = 5
# Of the font, em: B612 Mono Bold.
CAPITALS, ADVANCE = 0.75, 0.65
# Frames that are the same in both recordings: the chain is measured from them.
ALIKE = 50


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--binary", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--rasterisers", nargs="+", choices=["rsvg", "chromium"], default=["rsvg", "chromium"])
    parser.add_argument("--cases", nargs="+", default=["9:crf23", "15:crf28"], help="height of capitals in px, codec")
    parser.add_argument("--frames", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "chromium"), help="or CHROMIUM")
    args = parser.parse_args()
    print("| rasteriser | capitals, px | codec | cells | taken for another | wrong ones | read as shown | misread | unread |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    is_bad = False
    for name in args.rasterisers:
        with Rasteriser(name, WIDTH, HEIGHT, None, args.jobs, args.chromium) as rasteriser:
            for case in args.cases:
                height, codec = case.split(":")
                found = one_case(args, rasteriser, float(height), codec)
                print(f"| {name} | {height} | {codec} | " + " | ".join(str(v) for v in found) + " |", flush=True)
                is_bad |= found[1] * 10_000 > found[0] or found[4] * 10_000 > found[2]
    return 1 if is_bad else 0


def one_case(args, rasteriser, cap_px, codec):
    """Cells, those taken for another; wrong cells, those read as shown, misread, unread."""
    folder = args.out / f"{rasteriser.name}-{cap_px:g}-{codec}"
    folder.mkdir(parents=True, exist_ok=True)
    places = grid(cap_px)
    (folder / "display.toml").write_text(definition(cap_px, places))
    rng = np.random.default_rng(args.seed)
    shown = rng.integers(0, 10, (args.frames, len(places), DIGITS))
    place = rng.integers(0, DIGITS, shown.shape[:2])[..., None]
    other = (np.take_along_axis(shown, place, 2) + rng.integers(1, 10, place.shape)) % 10
    wrong = shown.copy()
    np.put_along_axis(wrong, place, other, 2)
    wrong[:ALIKE] = shown[:ALIKE]
    for name, digits in (("right.csv", shown), ("wrong.csv", wrong)):
        recording(folder / name, digits)
    material = Material(args.binary, folder / "display.toml", folder / "right.csv", FPS, "outline")
    length_s = args.frames / FPS
    stretches = rasterise(material, rasteriser, args.out / "cache", 0, length_s)
    capture = folder / f"capture{CODECS[codec][0]}"
    with Writer(capture, codec, FPS, (WIDTH, HEIGHT)) as out:
        for frame in read_frames(stretches, (WIDTH, HEIGHT)):
            out.write(frame)
    values = shown @ 10 ** np.arange(DIGITS - 1, -1, -1)
    due = wrong @ 10 ** np.arange(DIGITS - 1, -1, -1)
    taken = 0
    for frame, region, reading in readings(args.binary, folder, "right.csv", capture):
        taken += off_by_cells(reading, values[frame, region])
    read = np.zeros(values.shape, int)
    for frame, region, reading in readings(args.binary, folder, "wrong.csv", capture):
        if frame >= ALIKE:
            read[frame, region] = 1 if reading == values[frame, region] else 2
    is_wrong = due != values
    right, misread = int((read[is_wrong] == 1).sum()), int((read[is_wrong] == 2).sum())
    count = int(is_wrong.sum())
    return shown.size, taken, count, right, misread, count - right - misread


def off_by_cells(a, b):
    """Digits by which two numbers differ."""
    return sum(x != y for x, y in zip(f"{round(a):0{DIGITS}}", f"{b:0{DIGITS}}"))


def readings(binary, folder, inputs, capture):
    """Numbers that were read: frame, region, value. One that is what is due is not among them."""
    out = folder / inputs.removesuffix(".csv")
    check(binary, folder / "display.toml", folder / inputs, capture, out, 0)
    with open(out / "frames.jsonl") as lines:
        for line in lines:
            frame = json.loads(line)
            for name, region in frame["regions"].items():
                for reading in region["readings"]:
                    yield frame["frame"], int(name[1:]), reading["displayed"]


def grid(cap_px):
    """Boxes of the numbers: x, y, width, height."""
    width = int(cap_px / CAPITALS * ADVANCE * DIGITS) + 16
    height = int(cap_px * 2.0) + 8
    return [(x, y, width, height)
            for y in range(8, HEIGHT - height, height + 6)
            for x in range(8, WIDTH - width, width + 8)][:200]


def definition(cap_px, places):
    """A page of numbers."""
    text = ['[display]\nname = "Digits"\nwidth = 1024\nheight = 768\nbackground = "ink"\nmax_latency_ms = 100\n'
            '[fonts]\nmono = { builtin = "B612 Mono Bold" }\n'
            '[colors]\nink = "#0a0e13"\nwhite = "#f2f4f5"\n']
    for k, (x, y, width, height) in enumerate(places):
        # Fractions of a pixel, so that every place in the grid of pixels is met.
        cx, cy = x + width / 2 + (k % 7) / 7, y + height / 2 + (k % 5) / 5
        text.append(
            f'[channels.c{k}]\ncolumn = "c{k}"\nrange = [0, 99999]\ninterpolation = "hold"\nmax_age_ms = 1000\n'
            f'[[region]]\nid = "n{k}"\nrect = [{x}, {y}, {width}, {height}]\nhazard = "minor"\n'
            "confirm_ms = 300\nrecover_ms = 300\n"
            f'[[region.symbol]]\nkind = "readout"\nchannel = "c{k}"\nposition = [{cx:.3f}, {cy:.3f}]\nfont = "mono"\n'
            f'size = {cap_px / CAPITALS:.4f}\ncolor = "white"\nformat = {{ digits = {DIGITS} }}\n'
        )
    return "".join(text)


def recording(path, digits):
    """The numbers of each frame, from a little before it on."""
    with open(path, "w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["t_s", *(f"c{k}" for k in range(digits.shape[1]))])
        for k, numbers in enumerate(digits):
            values = ["".join(map(str, n)).lstrip("0") or "0" for n in numbers]
            out.writerow([f"{max(0.0, k / FPS - 0.01):.3f}", *values])
        out.writerow([f"{len(digits) / FPS:.3f}", *values])


if __name__ == "__main__":
    sys.exit(main())
