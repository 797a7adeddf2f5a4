"""What the scripts of this folder share: the clean capture, the plan, running the program, comparing folders."""

import os
import resource
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent
RATE_HZ = "12.5"


def run(program, *words, good=(0,), env=None, cwd=None):
    """Runs the program: how it ended, and the CPU that it took, s."""
    def spent_s():
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime
    before_s = spent_s()
    ran = subprocess.run([str(program), *map(str, words)], cwd=cwd, env=dict(os.environ, **(env or {})), text=True,
                         capture_output=True)
    if ran.returncode not in good:
        raise SystemExit(f"{' '.join(map(str, words))} ended with {ran.returncode}: {ran.stdout}{ran.stderr}")
    return ran.returncode, spent_s() - before_s


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


def files(folder: Path):
    """What each file of a folder holds, by its name."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def differences(one: Path, other: Path):
    """Names of the files that are not the same bytes in two folders; none is left out."""
    a, b = files(one), files(other)
    return sorted(name for name in a.keys() | b.keys() if a.get(name) != b.get(name))
