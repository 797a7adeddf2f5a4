"""For every look: a clean clip, a clip with faults, what the program says of them; a table of it.

Clean: 10 s at H.264 crf 23. With faults, in turn: a bias of twice the tolerance, a wrong colour, a missing part,
a part in a wrong place.
"""

import argparse
import json
import subprocess
import sys
from pathlib import Path

from . import data, definition, faults, unit
from .look_list import LOOK, LOOKS
from .page import PART, Unit

CLEAN_S = 10.0
LEAD_S, FAULT_S, REST_S = 2.5, 1.5, 1.5
# By group: channel and bias of twice the tolerance; part that is of a wrong colour, missing, moved.
PROBES = {
    "dials": ("torque", 4.0, "torque_needle"),
    "tapes": ("altitude", 40.0, "height_window"),
    "attitude": ("roll", 4.0, "aircraft"),
    "heading": ("heading", 4.0, "lubber"),
    "alerts": ("torque", 4.0, "torque_needle"),
    "bars": ("vertical_speed", 200.0, "vertical_speed"),
    "text": ("altitude", 40.0, "height_window"),
    "data": ("altitude", 40.0, "height_window"),
    "base": ("torque", 4.0, "torque_needle"),
}  # fmt: skip
OWN_PROBES = {
    "bar_round_end": ("collective", 4.0, "collective"),
    "bar_segments": ("collective", 5.0, "collective"),  # one segment
    "bar_limit_tick": ("collective", 4.0, "collective_limit"),
    "bars_shared": ("collective", 4.0, "collective"),
    "live_blink": ("vertical_speed", 200.0, "liveness"),
    "arc_filled": ("torque", 4.0, "torque_needle"),
    "plus_zero": ("outside_air", 2.0, "outside_air"),
    "bug_constant": ("airspeed", 6.0, "speed_bug"),
    "trend_arrow": ("airspeed", 6.0, "speed_bug"),
    "bus_coarse": ("torque", 4.0, "torque_figures"),
}  # fmt: skip
OWN_PROBES |= dict.fromkeys(("reverse_video", "boxes_round", "two_columns", "flashing"), ("torque", 4.0, "alerts"))
OWN_PROBES |= dict.fromkeys(("ladder_ends", "ladder_dashed", "ladder_converging"), ("pitch", 2.0, "ladder"))
OWN_PROBES |= dict.fromkeys(("ladder_whole", "ladder_cut_labels", "chevrons"), ("pitch", 2.0, "ladder"))
OWN_PROBES |= dict.fromkeys(("second_horizon", "attitude_shaded"), ("pitch", 2.0, "horizon"))
OWN_PROBES |= dict.fromkeys(("bank_dots", "bank_triangles"), ("roll", 4.0, "bank_marks"))
OWN_PROBES |= {"bank_hollow": ("roll", 4.0, "bank_pointer"), "slip_ball": ("slip", 0.04, "slip")}
OWN_PROBES |= dict.fromkeys(("arc_120", "rose_numbers"), ("heading", 4.0, "card"))
# The hidden wind is calm when it would be moved.
OWN_PROBES |= {"wind_open": ("wind_direction", 16.0, "wind"), "wind_hidden": ("wind_direction", 16.0, "lubber")}
OWN_PROBES |= {"bug_plain": ("track", 6.0, "heading_bugs"), "course_needle": ("deviation", 0.4, "course")}


def planned(look, start_s):
    """The faults of a look's second clip."""
    group = LOOK[look].group if look in LOOK else "base"
    channel, bias, part = OWN_PROBES.get(look, PROBES[group])
    wrong = "aqua" if "aqua" not in PART[part].color else "gold"
    kinds = (
        ("bias", channel, bias),
        ("color", part, (PART[part].color, wrong)),
        ("missing", part, None),
        ("moved", part, (9, 6)),
    )
    out, at = [], start_s + LEAD_S
    for kind, target, size in kinds:
        out.append(faults.Fault(kind, target, size, at, at + FAULT_S))
        at += FAULT_S + REST_S
    return out


def check(program, folder, display, start_s):
    """Runs the program on a clip; its events, or what it said when it could not judge."""
    command = [program, "check", "--display", display, "--inputs", folder / "inputs.csv"]
    command += ["--capture", folder / "clip.mp4", "--offset", str(start_s), "--out", folder / "check"]
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
    file = folder / "check" / "events.json"
    if done.returncode == 2 or not file.exists():
        return None, (done.stderr or done.stdout).strip().splitlines()[-1]
    events = json.loads(file.read_text())
    return (events["events"] if isinstance(events, dict) else events), ""


def clip(a, looks, folder, length_s, wrong=()):
    """Draws a clip of looks."""
    names = [look for look in looks if look in LOOK]
    times, columns = unit.inputs(a.inputs, a.start, length_s, [LOOK[name].scenario for name in names])
    folder.mkdir(parents=True, exist_ok=True)
    data.write(folder / "inputs.csv", times, columns)
    u = Unit(data.Bus(times, columns), data.Clock(a.latency_ms, a.jitter_ms, a.seed), names, a.hinting, wrong)
    shown = unit.draw(u, folder / "clip.mp4", a.start, length_s, a.fps)
    unit.write_truth(folder / "truth.json", u, a.start, a.fps, shown, names)


def found(fault, events, start_s):
    """What was said of a fault: class and value, or nothing when no event of its region falls into its time."""
    truth = fault.truth(start_s)
    for e in events:
        is_there = truth["region"] in e["regions"] or "*" in e["regions"]
        if is_there and truth["start_s"] - 0.1 <= e["detected_s"] <= truth["end_s"] + 0.8:
            worst = e.get("worst_error") or {}
            said = e["class"]
            if worst.get("displayed") is not None:
                said += f", {worst['channel']} off by {worst['displayed'] - worst['expected']:+.3g}"
            return said
    return ""


def clean(row, events, said):
    """Notes what was raised on a clean clip."""
    if events is None:
        row |= {"clean": None, "clean_s": None, "said": said}
        return
    row["clean"] = [f"{e['class']} {'+'.join(e['regions'])}" for e in events]
    row["clean_s"] = round(sum(e["end_s"] - e["onset_s"] for e in events), 2)
    row["said"] = said


def run(a, look):
    """The row of a look."""
    folder = a.out / look
    folder.mkdir(parents=True, exist_ok=True)
    is_changed = definition.CHANGES.get(look) or look in ("typeface", "typeface_opentype", "kerning")
    row = {"look": look, "found": {}}
    row["by"] = "a change of the definition" if is_changed else "the base's definition"
    display = definition.write(look, folder)
    clip(a, [look], folder / "clean", a.clean_s)
    clean(row, *check(a.program, folder / "clean", display, a.start))
    if not a.clean_only:
        wrong = planned(look, a.start)
        clip(a, [look], folder / "faults", LEAD_S + 4 * (FAULT_S + REST_S), wrong)
        events, said = check(a.program, folder / "faults", display, a.start)
        row["said"] = row["said"] or said
        row["found"] = {f.kind: found(f, events or [], a.start) for f in wrong}
    return row


def table(rows):
    """The rows in Markdown."""
    out = ["| look | described by | clean: events | bias | wrong colour | missing | moved |", "|" + " --- |" * 7]
    for r in rows:
        clean = "not judged: " + r["said"] if r["clean"] is None else f"{len(r['clean'])}"
        if r["clean"]:
            clean += f" ({', '.join(sorted(set(r['clean'])))}; {r['clean_s']:.1f} s)"
        cells = [r["found"].get(kind, "-") or "**missed**" for kind in ("bias", "color", "missing", "moved")]
        out.append(f"| {r['look']} | {r['by']} | {clean} | {' | '.join(cells)} |")
    good = [r for r in rows if r["clean"] == [] and all(r["found"].values())]
    out += ["", f"{len(good)} of {len(rows)} show all that is asked."]
    return "\n".join(out) + "\n"


def main(arguments=None):
    """`python3 tests/foreign/unit looks ...`"""
    p = argparse.ArgumentParser(prog="unit looks", description=__doc__)
    p.add_argument("--program", required=True, help="framevouch")
    p.add_argument("--inputs", required=True, help="recording (CSV)")
    p.add_argument("--out", required=True, type=Path)
    p.add_argument("--look", action="append", choices=["base", *sorted(LOOK)], metavar="NAME", help="all without it")
    p.add_argument("--clean-only", action="store_true", help="no faults")
    p.add_argument("--start", type=float, default=125)
    p.add_argument("--clean-s", type=float, default=CLEAN_S)
    p.add_argument("--fps", type=float, default=25)
    p.add_argument("--latency-ms", type=float, default=65)
    p.add_argument("--jitter-ms", type=float, default=25)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--hinting", choices=("full", "slight", "none"), default="slight")
    a = p.parse_args(arguments)
    a.out.mkdir(parents=True, exist_ok=True)
    looks = a.look or ["base", *(look.name for look in LOOKS)]
    rows = []

    def note(row):
        rows.append(row)
        rows.sort(key=lambda r: looks.index(r["look"]))
        print(row["look"], row["clean"], row["found"], row["said"], flush=True)
        (a.out / "looks.json").write_text(json.dumps(rows, indent=1) + "\n")
        (a.out / "looks.md").write_text(table(rows))

    for look in looks:
        note(run(a, look))
    return 0


if __name__ == "__main__":
    sys.exit(main())
