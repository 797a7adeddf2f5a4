"""What `tune` foretells under a budget, against what happens: nuisance trips at lowered tolerances, and the time to find.

Of clean captures every other one is tuned on, the rest counted on. Tolerances are lowered until good readings trip, so that there is
something to count; then a campaign's faults of twice the tolerance, of one seed, foretell the time to find of another seed's.
"""

import argparse
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np

from campaign import check
from definition import write_toml

# A foretold number within this factor of what was counted is good.
GOAL = 2.0


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--binary", required=True)
    parser.add_argument("--display", type=Path, required=True)
    parser.add_argument("--capture", nargs=3, action="append", required=True, metavar=("VIDEO", "CSV", "OFFSET_S"),
                        help="at least twice: to tune on, to count on, in turns")
    parser.add_argument("--nuisance-per-hour", type=float, default=0.01)
    parser.add_argument("--time-to-alert-ms", type=float, default=500)
    parser.add_argument("--counted-per-hour", type=float, default=1000.0, help="budget under which trips are counted")
    parser.add_argument("--scales", type=float, nargs="+", default=[0.05, 0.02, 0.01, 0.005, 0.002])
    parser.add_argument("--repeats", type=int, default=6)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    result = {"clean": clean(args), "nuisance": nuisance(args), "time": time_to_find(args)}
    (args.out / "budget.json").write_text(json.dumps(result, indent=1))
    table = markdown(result)
    (args.out / "budget.md").write_text(table)
    print(table)
    return 1 if any(result["clean"].values()) else 0


def budgeted(args, name, per_hour, scale=1.0):
    """The display with budgets for all classes, no confirmation times, and tolerances times `scale`."""
    with open(args.display, "rb") as file:
        display = tomllib.load(file)
    classes = ["catastrophic", "hazardous", "major", "minor", "none"]
    budget = {"nuisance_per_hour": per_hour, "time_to_alert_ms": args.time_to_alert_ms}
    display["budget"] = {hazard: dict(budget) for hazard in classes}
    for region in display["region"]:
        for key in ("confirm_ms", "confirm_frames"):
            region.pop(key, None)
        region["tolerance"] = {k: v * scale for k, v in region.get("tolerance", {}).items()}
    path = args.out / f"{name}.toml"
    write_toml(display, path)
    return path


def run(args, *words):
    ran = subprocess.run([args.binary, *map(str, words)], capture_output=True, text=True)
    if ran.returncode not in (0, 1):
        sys.exit(f"{' '.join(map(str, words))}\n{ran.stdout}{ran.stderr}")


def tuned(args, display, folders, out):
    run(args, "tune", "--display", display, "--from", *folders, "--out", out, "--nuisance-per-hour", 1e6,
        "--coverage", 0.5, "--detection-ms", 2 * args.time_to_alert_ms, "--hazard", "minor")
    return {r["region"]: r["present"] for r in json.loads((out / "tune.json").read_text())["regions"]}


def clean(args):
    """Events of clean captures under the budget."""
    display = budgeted(args, "budget", args.nuisance_per_hour)
    found = {}
    for k, (video, inputs, offset_s) in enumerate(args.capture):
        found[video], _ = check(args.binary, display, inputs, video, args.out / f"clean-{k}", offset_s)
    return found


def nuisance(args):
    """By scale and region: trips foretold from the captures that were tuned on, and counted in the rest."""
    rows = []
    for scale in args.scales:
        display = budgeted(args, f"lowered-{scale}", args.counted_per_hour, scale)
        folders = [args.out / f"lowered-{scale}-{k}" for k in range(len(args.capture))]
        for out, (video, inputs, offset_s) in zip(folders, args.capture):
            check(args.binary, display, inputs, video, out, offset_s, ["--measurements"])
        scores = [tuned(args, display, folders[k::2], args.out / f"tuned-{scale}-{k}") for k in (0, 1)]
        for region, first in scores[0].items():
            counted = scores[1][region]["nuisance"]
            tail = first["tail_per_hour"]
            rows.append({
                "scale": scale, "region": region, "counted": counted["events"], "hours": counted["hours"],
                "foretold": tail and tail[0] * counted["hours"],
                "counted_on_first": first["nuisance"]["events"],
            })
    return rows


def time_to_find(args):
    """By region: time to find twice the tolerance, ms, foretold from one seed's faults and found of another's."""
    display = budgeted(args, "budget", args.nuisance_per_hour)
    folders = []
    for seed in (1, 2):
        lines = [f'[plan]\nname = "twice the tolerance"\ndisplay = "{display.resolve()}"\nseed = {seed}']
        for video, inputs, offset_s in args.capture:
            lines.append(f'[[capture]]\nfile = "{Path(video).resolve()}"\ninputs = "{Path(inputs).resolve()}"\n'
                         f"offset_s = {offset_s}\nallow_missing = true")
        lines.append(f'[[fault]]\nkind = "bias"\nrepeats = {args.repeats}\nduration_s = 1.5\nsizes = [2.0]')
        plan = args.out / f"plan-{seed}.toml"
        plan.write_text("\n".join(lines) + "\n")
        out = args.out / f"campaign-{seed}"
        run(args, "campaign", "--plan", plan, "--out", out)
        folders.append(out)
    foretold = tuned(args, display, folders[:1], args.out / "tuned-faults")
    found, missed = {}, {}
    for line in (folders[1] / "trials.jsonl").read_text().splitlines():
        trial = json.loads(line)
        outcome = trial["outcome"]
        if trial["is_twin"]:
            continue
        if outcome.get("detection_ms") is None:
            missed[trial["region"]] = missed.get(trial["region"], 0) + 1
        else:
            found.setdefault(trial["region"], []).append(outcome["detection_ms"])
    rows = []
    for region, delays in sorted(found.items()):
        spread = foretold[region]["detection_ms"]
        rows.append({
            "region": region, "n": len(delays), "missed": missed.get(region, 0),
            "found_median": float(np.median(delays)), "found_worst": max(delays),
            "foretold_median": spread and spread["median"]["value"], "foretold_worst": spread and spread["worst"],
        })
    return rows


def markdown(result):
    events = sum(len(e) for e in result["clean"].values())
    lines = [f"clean captures under the budget: {events} events", ""]
    lines += ["| scale | region | foretold | counted | ratio |", "| --- | --- | --- | --- | --- |"]
    ratios = []
    for row in result["nuisance"]:
        # Of fewer than ten nobody can tell a factor.
        if row["foretold"] is None or max(row["foretold"], row["counted"]) < 10:
            continue
        ratio = row["foretold"] / max(row["counted"], 0.5)
        ratios.append(ratio)
        lines.append(f"| {row['scale']} | {row['region']} | {row['foretold']:.1f} | {row['counted']} | {ratio:.2f} |")
    good = sum(1 / GOAL <= r <= GOAL for r in ratios)
    lines += ["", f"{good} of {len(ratios)} within a factor of {GOAL:g}", ""]
    lines += ["| region | n | missed | foretold median, worst ms | found median, worst ms |", "| --- | --- | --- | --- | --- |"]
    number = lambda v: "-" if v is None else f"{v:.0f}"
    for row in result["time"]:
        lines.append(f"| {row['region']} | {row['n']} | {row['missed']} | {number(row['foretold_median'])}, "
                     f"{number(row['foretold_worst'])} | {number(row['found_median'])}, {number(row['found_worst'])} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
