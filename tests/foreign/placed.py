"""Captures in which the display is not the whole picture, or is seen by a camera: where is it found, and what is read there?

Frames by a foreign rasteriser go through filters of ffmpeg (bicubic scaling, padding, cropping, perspective, blur, vignette,
gamma) and H.264 crf 23. Each capture is checked as it is (nothing may be raised: the program must say where the display
stands), then with the place that it said. Readings are held against the recording, in px of the display.
"""

import argparse
import json
import math
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from campaign import arguments, check
from clean import measured
from definition import Definition
from encode import CODECS, Writer
from rasterise import Rasteriser
from recording import Recording
from store import Material, rasterise, read_frames


def seen_at(size, canvas, degrees, distance=2.0, roll=0.0, scale=1.0):
    """Corners of a display in a camera's picture: turned about its upright middle by `degrees`, tilted by half of that, at
    `distance` widths; top left, top right, bottom left, bottom right (ffmpeg's order)."""
    width, height = size
    turn, tilt, roll = (math.radians(v) for v in (degrees, degrees / 2, roll))
    corners = []
    for x, y in ((-width, -height), (width, -height), (-width, height), (width, height)):
        x, y, z = x / 2, y / 2, 0.0
        x, z = x * math.cos(turn) - z * math.sin(turn), x * math.sin(turn) + z * math.cos(turn)
        y, z = y * math.cos(tilt) - z * math.sin(tilt), y * math.sin(tilt) + z * math.cos(tilt)
        x, y = x * math.cos(roll) - y * math.sin(roll), x * math.sin(roll) + y * math.cos(roll)
        near = distance * width / (distance * width + z)
        corners.append((canvas[0] / 2 + scale * near * x, canvas[1] / 2 + scale * near * y))
    return corners


def cases(width, height):
    """Name: (filters, corners of the display in the result as top left, top right, bottom left, bottom right)."""
    box = lambda x, y, w, h: [(x, y), (x + w, y), (x, y + h), (x + w, y + h)]
    scaled = lambda s: (2 * round(width * s / 2), 2 * round(height * s / 2))

    def scale(s):
        w, h = scaled(s)
        return f"scale={w}:{h}:flags=bicubic", box(0, 0, w, h)

    def camera(degrees, more="", **how):
        canvas = (width + 256, height + 192)
        corners = seen_at((width, height), canvas, degrees, **how)
        # The filter moves the corners of the whole padded picture: those that bring the display's where they belong.
        square = box(128, 96, width, height)
        outer = mapped(homography(square, corners), box(0, 0, *canvas))
        places = ":".join(f"{name}{k}={v:.4f}" for k, p in enumerate(outer) for name, v in zip("xy", p))
        filters = f"pad={canvas[0]}:{canvas[1]}:128:96,perspective={places}:interpolation=cubic:sense=destination"
        return filters + more, corners

    w, h = scaled(0.96)
    return {
        "as it is": ("null", box(0, 0, width, height)),
        "black borders": (f"pad={width + 256}:{height + 32}:128:16", box(128, 16, width, height)),
        "cropped by 24": (f"crop={width - 48}:{height - 48}:24:24", box(-24, -24, width, height)),
        "displaced by 8": (f"pad={width + 8}:{height}:8:0,crop={width}:{height}:0:0", box(8, 0, width, height)),
        "2 % smaller, same frame": (
            f"scale={2 * round(0.49 * width)}:{2 * round(0.49 * height)}:flags=bicubic,pad={width}:{height}:10:8",
            box(10, 8, 2 * round(0.49 * width), 2 * round(0.49 * height)),
        ),
        "scale 0.75": scale(0.75),
        "scale 1.5": scale(1.5),
        "corner of 1920 x 1080": (f"pad=1920:1080:1920-{width}-40:1080-{height}-28",
                                  box(1920 - width - 40, 1080 - height - 28, width, height)),
        "0.96 in 1920 x 1080": (f"scale={w}:{h}:flags=bicubic,pad=1920:1080:16:12", box(16, 12, w, h)),
        "stretched to 16:9": ("scale=1280:720:flags=bicubic", box(0, 0, 1280, 720)),
        "camera, 5 degrees": camera(5.0),
        "camera, 5 degrees, rolled by 1": camera(5.0, roll=1.0),
        "camera, 10 degrees": camera(10.0, roll=-1.0),
        "camera, mild blur": camera(5.0, ",gblur=sigma=0.8"),
        "camera, vignette": camera(5.0, ",vignette=angle=PI/8"),
        "camera, gamma 0.85": camera(5.0, ",eq=gamma=0.85"),
        "camera, blur 4": camera(5.0, ",gblur=sigma=4"),
    }


def homography(source, target):
    """Eight numbers that bring four points to four others."""
    rows, right = [], []
    for (x, y), (u, v) in zip(source, target):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return np.linalg.solve(np.array(rows, float), np.array(right, float))


def mapped(h, points):
    """Points through a homography."""
    out = []
    for x, y in points:
        w = h[6] * x + h[7] * y + 1
        out.append(((h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w))
    return out


def encode(store, filters, out):
    """Lossless frames through filters and H.264."""
    codec = CODECS["crf23"][1].replace("-vf ", f"-vf format=gbrp,{filters},")
    subprocess.run(["ffmpeg", "-y", "-v", "error", "-i", str(store), *codec.split(), str(out)], check=True)


def said(place):
    """Corners of a place as the program says it, in ffmpeg's order."""
    v = [float(t) for t in place.split(",")]
    if len(v) == 4:
        x, y, w, h = v
        return [(x, y), (x + w, y), (x, y + h), (x + w, y + h)]
    return [tuple(v[0:2]), tuple(v[2:4]), tuple(v[6:8]), tuple(v[4:6])]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments(parser)
    parser.add_argument("--only", nargs="*", help="cases whose name begins with one of these")
    args = parser.parse_args()
    definition = Definition(args.display)
    size = (definition.width, definition.height)
    args.out.mkdir(parents=True, exist_ok=True)
    rows = []
    recording = Recording(args.inputs[0])
    length_s = min(args.length, recording.length_s - args.start)
    material = Material(args.binary, args.display, recording.path, args.fps, "outline")
    store = args.out / "store.mkv"
    if not store.exists():
        with Rasteriser("rsvg", *size, args.fonts, args.jobs, args.chromium) as rasteriser:
            stretches = rasterise(material, rasteriser, args.cache or args.out / "cache", args.start, length_s)
            with Writer(store, "store", args.fps, size) as out:
                for frame in read_frames(stretches, size):
                    out.write(frame)
    for name, (filters, truth) in cases(*size).items():
        if args.only and not any(name.startswith(o) for o in args.only):
            continue
        folder = args.out / re.sub(r"[^a-z0-9]+", "_", name)
        folder.mkdir(exist_ok=True)
        capture = folder / "capture.mp4"
        made = folder / "made.txt"
        if not (capture.exists() and made.exists() and made.read_text() == filters):
            encode(store, filters, capture)
            made.write_text(filters)
        rows.append(row(args, name, folder, capture, truth, definition, recording))
        print(json.dumps(rows[-1]), flush=True)
    (args.out / "placed.json").write_text(json.dumps(rows, indent=1))
    (args.out / "placed.md").write_text(markdown(rows))
    print(markdown(rows))
    return 0 if all(r["ok"] for r in rows) else 1


def row(args, name, folder, capture, truth, definition, recording):
    """One capture: what is said of it, and what is read with the place that was said."""
    for earlier in ("plain", "placed"):
        shutil.rmtree(folder / earlier, ignore_errors=True)
    command = [args.binary, "check", "--display", str(args.display), "--inputs", str(recording.path), "--capture",
               str(capture), "--out", str(folder / "plain"), "--offset", str(args.start), "--allow-missing", "--quiet"]
    began = time.monotonic()
    done = subprocess.run(command, capture_output=True, text=True)
    out = {"case": name, "status": done.returncode, "said_s": round(time.monotonic() - began, 2)}
    out["words"] = next((line for line in done.stderr.splitlines() if line.startswith("error")), "")
    is_usual = truth == [(0, 0), (definition.width, 0), (0, definition.height), (definition.width, definition.height)]
    place = re.search(r"--place (-?[0-9.,-]+)", out["words"])
    found = folder / "plain"
    if place:
        out["place"] = place[1].rstrip(",.")
        corners = said(out["place"])
        off = [math.dist(a, b) for a, b in zip(corners, truth)]
        out["corners_off_px"] = round(max(off), 3)
        found = folder / "placed"
        began = time.monotonic()
        try:
            events, _ = check(args.binary, args.display, recording.path, capture, found, args.start, ["--place", out["place"]])
            out["events"] = len(events)
            out["error"] = json.loads((found / "summary.json").read_text())["error"]
        except RuntimeError as refused:
            out["error"] = str(refused).rpartition("error: ")[2]
        out["check_s"] = round(time.monotonic() - began, 2)
    elif done.returncode in (0, 1):
        out["events"] = len(json.loads((found / "events.json").read_text()))
        summary = json.loads((found / "summary.json").read_text())
        out["notes"] = [n for n in summary["notes"] if "lies up to" in n]
    if (found / "frames.jsonl").exists() and "events" in out:
        readings = measured(found / "frames.jsonl", definition, recording, args.start)["readings"]
        px = [(r["rms_px"], r["worst_px"], r["count"]) for r in readings if r["rms_px"] is not None]
        total = sum(n for _, _, n in px)
        out["readings"] = total
        out["rms_px"] = round(math.sqrt(sum(r * r * n for r, _, n in px) / max(1, total)), 4)
        out["largest_rms_px"] = round(max((r for r, _, _ in px), default=0.0), 4)
        out["worst_px"] = round(max((w for _, w, _ in px), default=0.0), 3)
    # Of what is too poor nothing may be raised, and the reason must be told.
    is_told = place or is_usual or out.get("notes")
    out["ok"] = bool(is_told and out.get("events", 0) == 0)
    return out


def markdown(rows):
    """The rows as a table."""
    lines = ["| capture | said after, s | corners off by, px | events | readings | RMS, px | largest RMS, px | worst, px |",
             "| --- | --- | --- | --- | --- | --- | --- | --- |"]
    for r in rows:
        cells = [r["case"], r["said_s"], r.get("corners_off_px", "-"), r.get("events", "-"), r.get("readings", "-"),
                 r.get("rms_px", "-"), r.get("largest_rms_px", "-"), r.get("worst_px", "-")]
        if r.get("error"):
            cells[0] += f" (not judged: {r['error'][:120]})"
        lines.append("| " + " | ".join(str(c) for c in cells) + " |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
