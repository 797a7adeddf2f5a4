"""Instruments marked by 14 CFR 27.1543 to 27.1553: a clean clip, a clip with faults, what the program says of them.

The page is `panel.svg`, drawn by librsvg or Chromium. Each frame is that file with a `transform` on the elements that
move, from data 60 ms old; where needles stand is written here (`MOVING`), not taken from the definition. The recording
has no fuel and no oil, so three columns are made up: fuel that sloshes, oil that warms with torque, oil that swings.

Prints a table; exit status 1 when anything differs from what is due.
"""

import argparse
import csv
import json
import os
import subprocess
import sys
import xml.etree.ElementTree as xml
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from encode import Writer  # noqa: E402
from rasterise import Rasteriser  # noqa: E402
from recording import Recording  # noqa: E402

FONTS = HERE.parent.parent.parent / "reference_frames" / "fonts"
SIZE, FPS, LATENCY_S = (720, 360), 25, 0.06
CLEAN_S, LEAD_S, FAULT_S, REST_S = 15.0, 3.0, 1.5, 2.5
xml.register_namespace("", "http://www.w3.org/2000/svg")


def dial(x, y, values, angles):
    """A needle that points up in the file and turns about (x, y)."""
    return lambda v: f"rotate({np.interp(v, values, angles):.4f} {x} {y})"


# By element: column, and the transform for a value.
MOVING = {
    "airspeed_needle": ("airspeed_kt", dial(170, 180, [0, 20, 150], [0, 20, 320])),
    "engine_needle": ("engine_speed_pct", dial(432, 102, [60, 120], [-135, 135])),
    "rotor_needle": ("rotor_speed_pct", dial(432, 102, [60, 120], [-135, 135])),
    "oil_needle": ("oil_temperature_c", dial(432, 316, [0, 120], [-75, 75])),
    "fuel_column": ("fuel_gal", lambda v: f"translate(0 320) scale(1 {v / 60:.5f}) translate(0 -320)"),
    "oil_level": ("oil_quantity_qt", lambda v: f"translate(0 {-33.75 * v:.4f})"),
}
# In turn: what is wrong, class that is due, region, bias by column, and attributes that elements get.
MISSING = {"display": "none"}
FAULTS = [
    ("airspeed needle 6 kt high", "misleading", "airspeed", {"airspeed_kt": 6.0}, {}),
    ("airspeed needle 1.5 kt high (permitted)", "none", "airspeed", {"airspeed_kt": 1.5}, {}),
    ("red line at VNE missing", "misleading", "airspeed", {}, {"vne_power_on": MISSING}),
    ("red line at VNE 5 kt high", "misleading", "airspeed", {}, {"vne_power_on": {"transform": "rotate(11.54 170 180)"}}),
    ("hatching of VNE power-off missing", "misleading", "airspeed", {}, {"vne_hatching": MISSING}),
    ("yellow arc drawn green", "misleading", "airspeed", {}, {"caution_speed": {"stroke": "#1fbf4f"}}),
    ("rotor's red lines missing", "misleading", "rpm", {}, {"rotor_limits": MISSING}),
    ("range of vibration drawn yellow", "misleading", "rpm", {}, {"engine_vibration": {"stroke": "#ffd000"}}),
    ("red line of hot oil missing", "misleading", "oil_temperature", {}, {"oil_maximum": MISSING}),
    ("mark of unusable fuel 4 gal high", "misleading", "fuel", {}, {"unusable_fuel": {"transform": "translate(0 -18)"}}),
]
NONE = ("", "none", "", {}, {})


def inputs(source, path):
    """Writes the recording with the columns that it lacks, and reads it back."""
    recording = Recording(source)
    t, torque = recording.times, recording.columns["torque_pct"]
    warm = np.convolve(np.pad(torque, (500, 0), mode="edge"), np.ones(501) / 501, mode="valid")
    made = {
        "fuel_gal": 31.0 - 0.02 * t + 1.5 * np.sin(0.9 * t),
        "oil_temperature_c": 45.0 + 0.4 * warm,
        "oil_quantity_qt": 6.2 - 0.004 * (torque - 50.0) + 0.15 * np.sin(0.7 * t),
    }
    with open(path, "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow([*recording.names, *made])
        for row, *more in zip(recording.cells, *made.values()):
            out.writerow([*row, *(f"{v:.4f}" for v in more)])
    return Recording(path)


def frame(recording, t, fault):
    """The page at a moment of the recording, as SVG."""
    *_, biases, changes = fault
    tree = xml.parse(HERE / "panel.svg")
    by_id = {e.get("id"): e for e in tree.iter() if e.get("id")}
    for name, (column, transform) in MOVING.items():
        value = np.interp(t - LATENCY_S, recording.times, recording.columns[column])
        by_id[name].set("transform", transform(value + biases.get(column, 0.0)))
    for name, attributes in changes.items():
        by_id[name].attrib.update(attributes)
    return xml.tostring(tree.getroot(), encoding="utf-8")


def clip(a, recording, folder, length_s, fault_at):
    """Draws and encodes a clip; `fault_at` gives the fault at a time of the clip."""
    frames = folder / "frames"
    frames.mkdir(parents=True, exist_ok=True)
    paths = [frames / f"{k:04}.svg" for k in range(round(length_s * FPS))]
    for k, path in enumerate(paths):
        path.write_bytes(frame(recording, a.start + k / FPS, fault_at(k / FPS)))
    with Rasteriser(a.rasteriser, *SIZE, fonts=FONTS, chromium=a.chromium) as drawn:
        with Writer(folder / "clip.mp4", "crf23", FPS, SIZE) as video:
            for picture in drawn.frames(paths):
                video.write(picture)


def check(a, folder):
    """Runs the program on a clip; its events."""
    command = [a.binary, "check", "--display", HERE / "display.toml", "--inputs", a.out / "inputs.csv", "--quiet"]
    command += ["--capture", folder / "clip.mp4", "--offset", a.start, "--out", folder / "check"]
    if subprocess.run([str(c) for c in command]).returncode == 2:
        sys.exit(f"{folder}: not judged")
    return json.loads((folder / "check" / "events.json").read_text())


def value(event):
    """What an event says is wrong: the worst reading, or else the symbol."""
    worst = event["worst_error"]
    return f"{worst['channel']} {worst['displayed'] - worst['expected']:+.2f} {worst['unit']}" if worst else event["symbol"]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--binary", required=True)
    parser.add_argument("--inputs", required=True, help="helicopter recording")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--start", type=float, default=62.0, help="of the clips, in the recording, s")
    parser.add_argument("--rasteriser", choices=["rsvg", "chromium"], default="rsvg")
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "chromium"), help="or CHROMIUM")
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    recording = inputs(a.inputs, a.out / "inputs.csv")

    begins = [LEAD_S + k * (FAULT_S + REST_S) for k in range(len(FAULTS))]
    due_at = [(f, b, b + FAULT_S) for f, b in zip(FAULTS, begins)]
    clip(a, recording, a.out / "clean", CLEAN_S, lambda t: NONE)
    faulty_s = begins[-1] + FAULT_S + REST_S
    clip(a, recording, a.out / "faults", faulty_s, lambda t: next((f for f, b, e in due_at if b <= t < e), NONE))
    clean, events = check(a, a.out / "clean"), check(a, a.out / "faults")

    rows = [("clean, 15 s", "none", "; ".join(f"{e['class']} {e['regions']}" for e in clean) or "none", "")]
    for (name, due, region, *_), begin in zip(FAULTS, begins):
        mine = [e for e in events if region in e["regions"] and begin <= e["detected_s"] < begin + FAULT_S + 0.5]
        events = [e for e in events if e not in mine]
        rows.append((name, due, "; ".join(e["class"] for e in mine) or "none", "; ".join(map(value, mine))))
    rows += [("nothing", "none", f"{e['class']} {e['regions']} at {e['onset_s']:.2f} s", value(e)) for e in events]
    print("| what | due | found | value |\n| --- | --- | --- | --- |")
    for row in rows:
        print("| " + " | ".join(row) + " |")
    return 0 if all(due == found for _, due, found, _ in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
