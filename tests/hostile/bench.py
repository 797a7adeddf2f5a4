"""What the scripts of this folder share: small material, running the program under limits, and the table.

The program is run as a user runs it, in a folder of its own. A run is wrong when it ends with another status than
0, 1 or 2 (101 is a panic, 134 and 139 are worse), takes longer than its limit, or ends with 2 and does not say
what is wrong. What else is wrong is for the scripts to say; they count it under "passed silently" when something
damaged was taken for whole."""

import argparse
import atexit
import collections
import hashlib
import json
import math
import os
import random
import resource
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
import zlib
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
FONT = HERE / "../../reference_frames/fonts/B612Mono-Bold.ttf"
SIZE = (256, 192)
RATE_HZ = 25
TIME_LIMIT_S = 60
# So that a run that goes astray fails instead of taking the machine with it.
ADDRESS_LIMIT = 12 << 30


@dataclass
class Ran:
    """How a run ended. `status` is None where the time limit ended it, negative where a signal did."""
    status: int | None
    stdout: str
    stderr: str
    peak_mb: float = 0.0

    def told(self) -> str:
        return f"status {self.status}: {(self.stderr or self.stdout).strip()[-160:]!r}"


def _limits():
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_LIMIT, ADDRESS_LIMIT))


RUNNING = set()


def _end_all():
    """What was started ends with the script."""
    for child in RUNNING:
        if child.poll() is None:
            os.killpg(child.pid, 9)


atexit.register(_end_all)
signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))


def start(program, words, folder, stdin=None, env=None, stdout=subprocess.PIPE, stderr=subprocess.PIPE):
    """Starts the program in `folder`, in a process group of its own."""
    child = subprocess.Popen(
        [str(program), *map(str, words)], cwd=folder, stdin=stdin or subprocess.DEVNULL, stdout=stdout,
        stderr=stderr, env=dict(os.environ, **(env or {})), preexec_fn=_limits, start_new_session=True)
    RUNNING.add(child)
    return child


def finish(child, data=None, limit_s=TIME_LIMIT_S) -> Ran:
    """Waits for the end, not for longer than the limit."""
    try:
        out, err = child.communicate(data, timeout=limit_s)
        status = child.returncode
    except subprocess.TimeoutExpired:
        # It began a session, so its helpers end with it.
        os.killpg(child.pid, 9)
        out, err = child.communicate()
        status = None
    RUNNING.discard(child)
    return Ran(status, (out or b"").decode(errors="replace"), (err or b"").decode(errors="replace"))


def run(program, words, folder, data=None, limit_s=TIME_LIMIT_S, env=None) -> Ran:
    """Runs the program in `folder`, to the end."""
    stdin = subprocess.PIPE if data is not None else None
    return finish(start(program, words, folder, stdin, env), data, limit_s)


class Table:
    """Cases and what was wrong with their runs."""

    COLUMNS = ["runs", "wrong exits", "panics", "hangs", "passed silently"]

    def __init__(self, title, options):
        self.title, self.keep = title, options.keep
        self.rows = collections.defaultdict(collections.Counter)
        self.findings = []
        self.began = time.monotonic()

    def find(self, case, kind, what, folder=None):
        """Counts a finding; its folder is kept where that is asked for."""
        self.rows[case][kind] += 1
        kept = ""
        if self.keep and folder:
            target = Path(self.keep) / f"{len(self.findings):03}"
            shutil.copytree(folder, target, symlinks=True, dirs_exist_ok=True,
                            ignore=lambda at, names: [n for n in names if not _is_plain(Path(at) / n)])
            kept = f" [{target}]"
        self.findings.append(f"{case}: {kind}: {what}{kept}")
        print(f"found: {self.findings[-1]}", file=sys.stderr, flush=True)

    def judge(self, case, ran, what, folder=None, may_be_killed=False) -> bool:
        """Counts a run; whether its end is one that can be."""
        row = self.rows[case]
        row["runs"] += 1
        if ran.status is None:
            self.find(case, "hangs", f"{what}: {ran.told()}", folder)
        elif ran.status == 101 or "panicked at" in ran.stderr:
            self.find(case, "panics", f"{what}: {ran.told()}", folder)
        elif ran.status not in (0, 1, 2) and not (may_be_killed and ran.status < 0):
            self.find(case, "wrong exits", f"{what}: {ran.told()}", folder)
        elif ran.status == 2 and len(ran.stderr.strip()) < 20 and "the time budget is spent" not in ran.stdout:
            self.find(case, "wrong exits", f"{what}: does not say what is wrong: {ran.stderr!r}", folder)
        else:
            return True
        return False

    def expect(self, case, is_true, what, folder=None):
        """Something that must hold beyond how a run ended."""
        if not is_true:
            self.find(case, "passed silently", what, folder)

    def end(self) -> int:
        """Prints the table and all findings; 1 when there is one."""
        print(f"\n{self.title} ({time.monotonic() - self.began:.0f} s)\n")
        print("| case | " + " | ".join(self.COLUMNS) + " |")
        print("|---|" + "---|" * len(self.COLUMNS))
        total = collections.Counter()
        for case, row in self.rows.items():
            print(f"| {case} | " + " | ".join(str(row[c]) for c in self.COLUMNS) + " |")
            total.update(row)
        print("| all | " + " | ".join(str(total[c]) for c in self.COLUMNS) + " |")
        for finding in self.findings:
            print(f"- {finding}")
        sys.stdout.flush()
        return 1 if self.findings else 0


def _is_plain(path) -> bool:
    return path.is_dir() or (path.is_file() and path.stat().st_size < 64 << 20)


def options(text) -> argparse.Namespace:
    """The arguments that all scripts take."""
    parser = argparse.ArgumentParser(description=text.split("\n")[0])
    parser.add_argument("--binary", required=True, type=Path, help="the program")
    parser.add_argument("--quick", action="store_true", help="a few runs of each case")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--runs", type=int, help="runs of each case")
    parser.add_argument("--only", help="cases whose name contains this")
    parser.add_argument("--keep", help="folder for what the findings were made with")
    given = parser.parse_args()
    given.binary = given.binary.resolve()
    return given


# Material.

def png(width, height, rows: bytes, chunks=()) -> bytes:
    """A PNG of R, G, B, 8 bits; `chunks` come before the pixels, as (name, content)."""
    def chunk(name, content):
        return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
    lines = b"".join(b"\0" + rows[k * width * 3:(k + 1) * width * 3] for k in range(height))
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
            + b"".join(chunk(*c) for c in chunks) + chunk(b"IDAT", zlib.compress(lines)) + chunk(b"IEND", b""))


def inputs_csv(seconds: float, bias_after_s=None) -> str:
    """A recording at 20 a second; with `bias_after_s` the speed is 20 higher from then on."""
    lines = ["t_s,speed_kt,speed_ok,nr_pct,fuel_kg,mode,station"]
    for k in range(int(seconds * 20) + 1):
        t = k / 20
        bias = 20 if bias_after_s is not None and t >= bias_after_s else 0
        # Within what the pictures show, everything moves, so that little is blind.
        lines.append(f"{t:.2f},{90 + 40 * math.sin(t) + bias:.3f},1,{95 + 12 * math.sin(2 * t):.3f},"
                     f"{250 + 90 * math.cos(t):.3f},{int(t) % 2},CH{int(t) % 7}")
    return "\n".join(lines) + "\n"


def command(name, *more):
    return [name, "--display", "display.toml", "--inputs", "inputs.csv", *more]


def y4m(frames) -> bytes:
    """Frames of R, G, B as YUV4MPEG2, 4:4:4, BT.709, full range."""
    import numpy as np
    out = [f"YUV4MPEG2 W{SIZE[0]} H{SIZE[1]} F{RATE_HZ}:1 Ip A1:1 C444 XCOLORRANGE=FULL\n".encode()]
    for frame in frames:
        rgb = np.asarray(frame, float)
        y = rgb @ [0.2126, 0.7152, 0.0722]
        planes = [y, (rgb[..., 2] - y) / 1.8556 + 128, (rgb[..., 0] - y) / 1.5748 + 128]
        out.append(b"FRAME\n" + b"".join(np.clip(np.rint(p), 0, 255).astype(np.uint8).tobytes() for p in planes))
    return b"".join(out)


def read_pngs(folder: Path):
    """The pixels of the PNGs that `draw` wrote into a folder, R, G, B."""
    import numpy as np
    raw = subprocess.run(["ffmpeg", "-v", "error", "-i", folder / "frame_%06d.png", "-f", "rawvideo", "-pix_fmt", "rgb24",
                          "-"], check=True, capture_output=True).stdout
    return np.frombuffer(raw, np.uint8).reshape(-1, SIZE[1], SIZE[0], 3)


PLAN = """
limit_ms = { hazardous = 1000, major = 1000, minor = 2000 }
failure_rate_per_hour = { blank = 1e-6 }

[plan]
name = "hostile"
display = "display.toml"
seed = 3
lead_s = 0.5
stretch_s = 1.0
onsets_per_stretch = 2

[[capture]]
file = "clip.y4m"
inputs = "inputs.csv"

[[fault]]
kind = "blank"
duration_s = 0.4
twins = true

[[fault]]
kind = "bias"
sizes = { from = 0.5, to = 4.0, count = 3, log = true }
duration_s = 0.4
"""


def material(program, folder: Path, seconds=2.4) -> None:
    """Writes into `folder`: display.toml, own.ttf, inputs.csv, frames/ (PNGs with times), clip.y4m (a capture with
    some noise), bad.y4m (the speed is wrong in its second half), raw.rgb, profile.json, plan.toml, clip.mp4,
    .mkv, .ts, .nut."""
    import numpy as np
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(HERE / "display.toml", folder)
    shutil.copy(FONT, folder / "own.ttf")
    draw = ["--fps", RATE_HZ, "--to", seconds, "--format", "png", "--out"]
    (folder / "inputs.csv").write_text(inputs_csv(seconds + 1, seconds / 2))
    must(run(program, command("draw", *draw, "bad"), folder))
    (folder / "inputs.csv").write_text(inputs_csv(seconds + 1))
    must(run(program, command("draw", *draw, "frames"), folder))
    noise = np.random.default_rng(5)
    for name in ("frames", "bad"):
        pictures = read_pngs(folder / name)
        if name == "frames":
            (folder / "raw.rgb").write_bytes(pictures.tobytes())
        noisy = [np.clip(p + noise.normal(0, 1.0, p.shape), 0, 255) for p in pictures]
        (folder / {"frames": "clip.y4m", "bad": "bad.y4m"}[name]).write_bytes(y4m(noisy))
    shutil.rmtree(folder / "bad")
    (folder / "plan.toml").write_text(PLAN)
    must(run(program, command("calibrate", "--capture", "clip.y4m", "--matrix", "bt709", "--out", "profile.json"), folder))
    for name, codec in VIDEOS.items():
        subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", "clip.y4m", *codec, name], cwd=folder, check=True)


MARKS = ["-pix_fmt", "yuv420p", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"]
VIDEOS = {
    "clip.mp4": ["-c:v", "libx264", "-crf", "12", *MARKS],
    "clip.mkv": ["-c:v", "libx264", "-crf", "12", *MARKS],
    "clip.ts": ["-c:v", "libx264", "-crf", "12", "-bf", "0", *MARKS, "-muxdelay", "0", "-muxpreload", "0"],
    "clip.nut": ["-c:v", "ffv1", "-pix_fmt", "yuv444p"],
}


def must(ran: Ran, status=0) -> Ran:
    """For what is no test."""
    if ran.status != status:
        sys.exit(f"the material cannot be made: {ran.told()}")
    return ran


def check(capture, out="out", *more):
    return command("check", "--capture", capture, "--matrix", "bt709", "--offset", "0", "--out", out, *more)


def files_of(folder: Path) -> list[Path]:
    """All regular files below a folder, relative to it; what is hidden is a run's own affair."""
    found = [p.relative_to(folder) for p in sorted(folder.rglob("*")) if p.is_file()]
    return [p for p in found if not any(part.startswith(".") for part in p.parts)]


def contents(folder: Path) -> dict[str, str]:
    """Digests of all regular files below a folder, by relative name."""
    return {str(p): hashlib.sha256((folder / p).read_bytes()).hexdigest() for p in files_of(folder)}


def read_json(path: Path):
    try:
        return json.loads(path.read_text())
    except (OSError, ValueError):
        return None


class Workshop:
    """Material that is made once, and copies of it that may be spoilt."""

    def __init__(self, program, seconds=2.4):
        self.base = tempfile.TemporaryDirectory(prefix="hostile-")
        self.path = Path(self.base.name)
        self.clean = self.path / "clean"
        material(program, self.clean, seconds)
        self.count = 0

    def copy(self, names=None) -> Path:
        """A fresh folder with the material (or the named part of it); large files are linked."""
        self.count += 1
        target = self.path / f"run{self.count}"
        target.mkdir()
        for name in names or [p.name for p in self.clean.iterdir()]:
            source = self.clean / name
            if source.is_dir():
                shutil.copytree(source, target / name)
            elif source.is_file():
                shutil.copy(source, target / name)
        return target

    def drop(self, folder: Path):
        shutil.rmtree(folder, ignore_errors=True)


def seeds(given: argparse.Namespace, quick: int, whole: int):
    """A generator of random numbers for each run of a case."""
    count = given.runs or (quick if given.quick else whole)
    for k in range(count):
        yield k, random.Random(given.seed * 1_000_003 + k)
