"""What the scripts of this folder share: the clean capture, the plan, running the program, comparing folders."""

import os
import subprocess
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
RATE_HZ = "12.5"


def run(program, *words, good=(0,), env=None):
    """Runs the program: how it ended, and the CPU that it took, s."""
    with tempfile.TemporaryFile() as said:
        child = subprocess.Popen([str(program), *map(str, words)], env=dict(os.environ, **(env or {})), stdout=said, stderr=said)
        # What this one took, whatever else runs at the same time.
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode not in good:
            said.seek(0)
            raise SystemExit(f"{' '.join(map(str, words))} ended with {child.returncode}: {said.read().decode()}")
    return child.returncode, used.ru_utime + used.ru_stime


def write(program, demo: Path, folder: Path, repeats: int, seconds: float):
    """Writes the capture, its profile and the plan into `folder`: the plan."""
    display, inputs = demo / "engine_strip.toml", demo / "inputs.csv"
    known = ("--display", display, "--inputs", inputs)
    run(program, "draw", *known, "--fps", RATE_HZ, "--to", seconds, "--format", "png", "--out", folder / "clean")
    run(program, "calibrate", *known, "--capture", folder / "clean", "--out", folder / "profile.json")
    text = (HERE / "campaign.toml").read_text().split("\n", 2)[2]
    text = text.replace("4_TIMES_REPEATS", str(4 * repeats)).replace("REPEATS", str(repeats))
    plan = folder / "plan.toml"
    plan.write_text(text.replace("DEMO", str(demo)))
    return plan


def write_suite(demo: Path, folder: Path):
    """Writes a plan of runs over the clean capture of `write`: the plan."""
    defaults = f'display = "{demo}/engine_strip.toml"\ninputs = "{demo}/inputs.csv"\nprofile = "profile.json"\n'
    runs = (f'[[run]]\nid = "run_{k}"\ncapture = "clean"\ntags = ["{"odd" if k % 2 else "even"}"]\n' for k in range(5))
    plan = folder / "suite.toml"
    plan.write_text(f'[suite]\nname = "many machines"\n\n[suite.defaults]\n{defaults}\n' + "\n".join(runs))
    return plan


def files(folder: Path):
    """What each file of a folder holds, by its name."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def differences(one: Path, other: Path):
    """Names of the files that are not the same bytes in two folders; none is left out."""
    a, b = files(one), files(other)
    return sorted(name for name in a.keys() | b.keys() if a.get(name) != b.get(name))
