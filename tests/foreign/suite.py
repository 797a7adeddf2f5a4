"""A suite of 40 short runs, and the same with three regressions seeded in three of its captures: exactly these are found.

Captures are two seconds of the engine strip each, from other moments of the demo's recording. What is seeded is made without the
program that checks: a display that is given other values (its frames are drawn from a changed recording), one that stands
still (a frame repeated), one that is late (frames of earlier moments). The second suite is broken off once and called again,
and carried out in two parts as well.
Usage: suite.py --binary PROGRAM --demo FOLDER (of framevouch demo) --out FOLDER"""

import argparse
import csv
import json
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

RUNS, FPS, LENGTH_S = 40, 12.5, 2.0
# Where a fault begins: frames of its capture before it are good, and the chain is measured from them.
ONSET = 10
TAGS = ("hover", "climb", "turn")
SEEDED = {"flight-07": "misleading", "flight-19": "frozen", "flight-32": "late"}


def run(program, *words, status=0):
    ran = subprocess.run([program, *map(str, words)], capture_output=True, text=True)
    assert ran.returncode == status, f"{words}: ended with {ran.returncode}, not {status}\n{ran.stdout}{ran.stderr}"
    return ran.stdout


def start_s(k):
    return 1.0 + 1.6 * k


def draw(given, inputs, k, out):
    begin = start_s(k)
    run(given.binary, "draw", "--display", given.demo / "engine_strip.toml", "--inputs", inputs, "--fps", FPS,
        "--from", f"{begin:.2f}", "--to", f"{begin + LENGTH_S:.2f}", "--format", "png", "--out", out)


def frames(folder):
    return sorted(folder.glob("*.png"))


def plan(captures, demo):
    lines = [f'[suite]\nname = "flights"\n\n[suite.defaults]\ndisplay = "{demo}/engine_strip.toml"\ninputs = "{demo}/inputs.csv"',
             'profile = "profile.json"\noffset_s = 0.0\n']
    for k in range(RUNS):
        lines.append(f'[[run]]\nid = "flight-{k:02}"\ncapture = "{captures}/flight-{k:02}"\ntags = ["{TAGS[k % 3]}"]\n')
    return "\n".join(lines)


def lowered_power(demo, out):
    """The recording with 90 hp less from the onset of the first seeded run on: another value than the display was given."""
    rows = list(csv.reader((demo / "inputs.csv").open()))
    column = rows[0].index("power_hp")
    for row in rows[1:]:
        if float(row[0]) > start_s(7) + (ONSET - 0.5) / FPS:
            row[column] = f"{float(row[column]) - 90:.1f}"
    csv.writer(out.open("w", newline="")).writerows(rows)


def seed(given, work):
    bad = work / "today"
    shutil.copytree(work / "good", bad)
    lowered_power(given.demo, work / "other.csv")
    value, still, late = (bad / name for name in SEEDED)
    shutil.rmtree(value)
    draw(given, work / "other.csv", 7, value)
    for path in frames(still)[ONSET:]:
        shutil.copyfile(frames(still)[ONSET - 1], path)
    clean = [path.read_bytes() for path in frames(late)]
    for k, path in enumerate(frames(late)):
        if k >= ONSET:
            path.write_bytes(clean[k - 8])


def files_below(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--binary", required=True, type=Path)
    parser.add_argument("--demo", required=True, type=Path)
    parser.add_argument("--out", required=True, type=Path)
    given = parser.parse_args()
    given.binary, given.demo, work = given.binary.resolve(), given.demo.resolve(), given.out.resolve()
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    began = time.monotonic()
    for k in range(RUNS):
        draw(given, given.demo / "inputs.csv", k, work / f"good/flight-{k:02}")
    run(given.binary, "calibrate", "--display", given.demo / "engine_strip.toml", "--inputs", given.demo / "inputs.csv",
        "--capture", work / "good/flight-00", "--offset", "0", "--out", work / "profile.json")
    seed(given, work)
    (work / "last.toml").write_text(plan("good", given.demo))
    (work / "today.toml").write_text(plan("today", given.demo))
    print(f"{RUNS} captures of {LENGTH_S} s drawn in {time.monotonic() - began:.1f} s", flush=True)

    began = time.monotonic()
    told = run(given.binary, "suite", "--plan", work / "last.toml", "--issued", "last", "--out", work / "last")
    assert len([line for line in told.splitlines() if f"/{RUNS} " in line]) == RUNS, told
    print(f"ok the clean suite agrees, in {time.monotonic() - began:.1f} s", flush=True)

    words = ["suite", "--plan", work / "today.toml", "--against", work / "last", "--issued", "today"]
    child = subprocess.Popen([given.binary, *words, "--out", work / "suite"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    for _ in range(8):
        child.stdout.readline()
    child.send_signal(signal.SIGINT)
    _, said = child.communicate()
    assert child.returncode == 2 and "call the same command again to go on" in said, said
    assert not (work / "suite/manifest.json").exists()
    told = run(given.binary, *words, "--out", work / "suite", status=1)
    kept = told.count(", kept")
    assert 8 <= kept < RUNS, told
    print(f"ok broken off after 8 runs and called again: {kept} were kept")

    suite = json.loads((work / "suite/suite.json").read_text())
    found = {r["id"]: sorted({r["events"][k]["class"] for k in r["changes"]["new"]}) for r in suite["runs"] if r["changes"]["new"]}
    assert found == {name: [kind] for name, kind in SEEDED.items()}, found
    assert all(not r["events"] for r in suite["runs"] if r["id"] not in SEEDED)
    assert suite["result"] == "new faults" and suite["all"]["not_judged"] == 0, suite["result"]
    by_tag = {tag: totals["new_events"] for tag, totals in suite["tags"].items()}
    print(f"ok of {RUNS} runs exactly {found} are new, by tag {by_tag}")

    parts = []
    for part in ("1/2", "2/2"):
        out = work / f"part{part[0]}"
        ran = subprocess.run([given.binary, *words, "--shard", part, "--out", out, "--quiet"], capture_output=True, text=True)
        assert ran.returncode in (0, 1), ran.stderr
        parts.append(json.loads((out / "suite.json").read_text()))
        for name, content in files_below(out / "runs").items():
            assert (work / "suite/runs" / name).read_bytes() == content, name
    assert [sum(p["all"][key] for p in parts) for key in ("runs", "new_events")] == [RUNS, suite["all"]["new_events"]]
    print("ok two parts hold the same runs, byte for byte")

    run(given.binary, "verify", work / "suite")
    run(given.binary, "explain", 0, "--from", work / "suite/runs/flight-19")
    print("ok the suite verifies with all its runs, and explain works on one of them")
    return 0


if __name__ == "__main__":
    sys.exit(main())
