"""Files without end, sizes beyond sense, and helpers that never answer: refused soon, in little memory.

Every case must end within its time and below 300 MB at its peak (VmHWM), whatever the material says of itself.
Usage: limits.py --binary PROGRAM [--quick] [--seed N] [--runs N] [--only CASE] [--keep FOLDER]"""

import os
import re
import shutil
import struct
import subprocess
import sys
import threading
import time
import zlib

import bench
from bench import check, command

PEAK_MB = 300
LIMIT_S = 15
GB = 1 << 30


def peak_mb(process) -> float:
    """The most memory that a process has held so far."""
    try:
        with open(f"/proc/{process}/status") as status:
            for line in status:
                if line.startswith("VmHWM:"):
                    return int(line.split()[1]) / 1024
    except OSError:
        pass
    return 0.0


# Always run; of the others the quick form takes one in four, by its seed.
ALWAYS = {"3 GB behind a PNG's head", "colour profile of 1 GB", "ffmpeg that answers 2 GB at once", "ffmpeg that never answers at once",
          "plan of 10 million trials", "a device without end as profile", "a pipe that nobody writes as PNG", "a device as checked/stills.json",
          "a time of 1.7e9 s in a folder"}


class Watch:
    """Runs the program, and keeps its peak."""

    def __init__(self, given, table):
        self.given, self.table, self.peaks = given, table, {}

    def run(self, case, words, folder, statuses=(2,), stdin=None, limit_s=LIMIT_S):
        if self.given.only and self.given.only not in case:
            return None
        is_due = case in ALWAYS or "numbers" in case or (zlib.crc32(case.encode()) + self.given.seed) % 4 == 0
        if self.given.quick and not is_due:
            return None
        child = bench.start(self.given.binary, words, folder, stdin=stdin)
        peak = [0.0]

        def look():
            while child.poll() is None:
                peak[0] = max(peak[0], peak_mb(child.pid))
                time.sleep(0.003)
        thread = threading.Thread(target=look, daemon=True)
        thread.start()
        ran = bench.finish(child, limit_s=limit_s)
        thread.join()
        ran.peak_mb = peak[0]
        self.peaks[case] = max(self.peaks.get(case, 0.0), ran.peak_mb)
        what = f"{words[0]}, {ran.peak_mb:.0f} MB"
        if self.table.judge(case, ran, what):
            self.table.expect(case, ran.status in statuses, f"{what}: {ran.told()}")
        self.table.expect(case, ran.peak_mb < PEAK_MB, f"{what}: more than {PEAK_MB} MB: {ran.told()}")
        return ran


def sparse(path, size, head=b""):
    with open(path, "wb") as file:
        file.write(head)
        file.truncate(size)


def bomb(size) -> bytes:
    """`size` zeros, deflated."""
    packer, out = zlib.compressobj(9), []
    piece = bytes(16 << 20)
    for _ in range(size // len(piece)):
        out.append(packer.compress(piece))
    return b"".join(out) + packer.flush()


def main():
    given = bench.options(__doc__)
    table = bench.Table("Limits", given)
    shop = bench.Workshop(given.binary, 3.6)
    watch = Watch(given, table)
    pictures(watch, shop)
    streams(watch, shop)
    in_the_place_of_files(watch, shop)
    helpers(watch, shop)
    plans(watch, shop)
    times(watch, shop)
    results(watch, shop)
    numbers(watch, shop, given)
    status = table.end()
    print("\npeak memory, MB: " + ", ".join(f"{case} {mb:.0f}" for case, mb in watch.peaks.items()))
    return status


BASE = ["display.toml", "own.ttf", "inputs.csv"]


def pictures(watch, shop):
    folder = shop.copy([*BASE, "frames"])
    width, height = bench.SIZE
    frame = folder / "frames/frame_000007.png"
    clean = frame.read_bytes()
    black = bytes(width * height * 3)
    packed = bomb(GB)
    cases = {
        "3 GB behind a PNG's head": lambda: sparse(frame, 3 * GB, clean[:40]),
        "3 GB behind a whole PNG": lambda: sparse(frame, 3 * GB, clean),
        "colour profile of 1 GB": lambda: frame.write_bytes(bench.png(width, height, black, [(b"iCCP", b"p\0\0" + packed)])),
        "text of 1 GB": lambda: frame.write_bytes(bench.png(width, height, black, [(b"zTXt", b"t\0\0" + packed)])),
        "picture of 60000 x 60000": lambda: frame.write_bytes(bench.png(1, 1, b"\0\0\0").replace(
            struct.pack(">II", 1, 1), struct.pack(">II", 60000, 60000))),
        "pixels of 1 GB in a small picture": lambda: frame.write_bytes(small_with(packed, width, height)),
        "chunk that claims 2 GB": lambda: frame.write_bytes(clean[:33] + struct.pack(">I", (1 << 31) - 1) + b"IDAT" + clean[41:]),
    }
    for case, make in cases.items():
        make()
        watch.run(case, check("frames"), folder, (0, 1, 2))
        watch.run(case, check("frames/frame_000007.png"), folder, (0, 1, 2))
        frame.write_bytes(clean)
    shop.drop(folder)


def small_with(packed, width, height) -> bytes:
    def chunk(name, content):
        return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
            + chunk(b"IDAT", packed) + chunk(b"IEND", b""))


def streams(watch, shop):
    folder = shop.copy([*BASE, "clip.y4m"])
    path = folder / "strange.y4m"
    for case, head in {
        "YUV4MPEG2 head without end": b"YUV4MPEG2 W256 H192 X",
        "YUV4MPEG2 of 2 billion lines": b"YUV4MPEG2 W2000000000 H2000000000 F25:1 C420\nFRAME\n",
        "YUV4MPEG2 of 100000 x 100000": b"YUV4MPEG2 W100000 H100000 F25:1 C444\nFRAME\n",
        "YUV4MPEG2 frame head without end": b"YUV4MPEG2 W256 H192 F25:1 C420\nFRAME X",
    }.items():
        sparse(path, 3 * GB, head)
        watch.run(case, check("strange.y4m"), folder)
    for case, words in {
        "raw pixels of 100000 x 100000": ["--raw", "100000x100000", "--fps", 25],
        "raw pixels at 1e300 a second": ["--raw", "256x192", "--fps", 1e300],
        "standard input without end": [],
    }.items():
        with open("/dev/zero", "rb") as zeros:
            watch.run(case, check("-", "out", *words), folder, stdin=zeros)
    shop.drop(folder)


def in_the_place_of_files(watch, shop):
    """What is no file, or has no end, wherever a file is read."""
    used = [
        ("definition", "display.toml", ["lint", "--display", "display.toml"]),
        ("recording", "inputs.csv", check("clip.y4m")),
        ("font", "own.ttf", ["lint", "--display", "display.toml"]),
        ("profile", "profile.json", check("clip.y4m", "out", "--profile", "profile.json")),
        ("plan", "plan.toml", ["campaign", "--plan", "plan.toml", "--dry-run"]),
        ("times", "frames/times.csv", check("frames")),
        ("PNG", "frames/frame_000007.png", check("frames")),
        ("YUV4MPEG2", "clip.y4m", check("clip.y4m")),
        ("video", "clip.mp4", check("clip.mp4")),
    ]
    folder = shop.copy()
    for kind, make in {
        "a device without end": lambda p: p.symlink_to("/dev/zero"),
        "a pipe that nobody writes": os.mkfifo,
        "a folder": lambda p: p.mkdir(),
        "3 GB": lambda p: sparse(p, 3 * GB),
        "a link to itself": lambda p: p.symlink_to(p.name),
    }.items():
        for name, file, words in used:
            path = folder / file
            os.rename(path, folder / "as it was")
            make(path)
            watch.run(f"{kind} as {name}", words, folder, limit_s=10)
            path.rmdir() if path.is_dir() and not path.is_symlink() else path.unlink()
            os.rename(folder / "as it was", path)
    shop.drop(folder)


HELPERS = {
    "never answers": "sleep 3600",
    "never answers, and has a child": "sleep 3600 & sleep 3600; wait",
    "answers 2 GB": "head -c 2000000000 /dev/zero | tr '\\0' 'x'",
    "complains in 2 GB": "head -c 2000000000 /dev/zero | tr '\\0' 'x' >&2",
    "answers 2 GB of lines": "yes 'Stream #0:0: Video: h264, yuv420p(tv, bt709), 256x192, 25 fps' | head -c 2000000000",
    "closes its pipes and stays": "exec >&- 2>&-; sleep 3600",
    "dies": "kill -9 $$",
    "is silent": "exit 0",
}


def helpers(watch, shop):
    """Stand-ins for ffmpeg: on the first question, or once it is to deliver frames."""
    folder = shop.copy([*BASE, "clip.mp4"])
    real = shutil.which("ffmpeg")
    # Time limits are 30 s by default, which is what a hang is here.
    said = subprocess.run([watch.given.binary, "check", "--help"], capture_output=True, text=True).stdout
    brief = ["--ffmpeg-timeout", "2"] if "--ffmpeg-timeout" in said else []
    for what, script in HELPERS.items():
        for where in ("at once", "at the frames"):
            body = script if where == "at once" else f'case "$*" in *nut*) {script};; *) exec {real} "$@";; esac'
            program = folder / "stand-in.sh"
            program.write_text(f"#!/bin/bash\n{body}\n")
            program.chmod(0o755)
            words = [*check("clip.mp4", "out", "--ffmpeg", "./stand-in.sh"), *brief]
            watch.run(f"ffmpeg that {what} {where}", words, folder)
    # NUT that tells lies about its sizes, from a stand-in.
    (folder / "lies.nut").write_bytes(b"nut/multimedia container\0" + b"NM\x7a\x56\x1f\x5f\x04\xad" + b"\xff" * 2000)
    (folder / "stand-in.sh").write_text(f'#!/bin/bash\ncase "$*" in *nut*) cat lies.nut /dev/zero;; *) exec {real} "$@";; esac\n')
    watch.run("ffmpeg that tells lies without end", [*check("clip.mp4", "out", "--ffmpeg", "./stand-in.sh"), *brief], folder)
    shop.drop(folder)


def plans(watch, shop):
    folder = shop.copy([*BASE, "clip.y4m", "plan.toml"])
    plan = folder / "plan.toml"
    clean = plan.read_text()
    general = clean.replace("seed = 3", "seed = 3\nbudget_s = 1.0")
    for case, text in {
        "plan of 10 million trials": general.replace("twins = true", "repeats = 1000000"),
        "plan of 10 million trials, in sizes": general.replace("count = 3", "count = 1000000"),
        "plan of 4 billion trials": general.replace("twins = true", "repeats = 4294967295"),
        "plan of 100,000 faults": general + '\n[[fault]]\nkind = "blank"\n' * 100_000,
        "plan of many moments": general.replace("onsets_per_stretch = 2", "onsets_per_stretch = 1000000000"),
    }.items():
        plan.write_text(text)
        # What is refused for its size is refused; what is accepted keeps within memory and budget.
        watch.run(case, ["campaign", "--plan", "plan.toml", "--dry-run"], folder, (0, 2), limit_s=60)
        watch.run(case, ["campaign", "--plan", "plan.toml", "--out", "out"], folder, (0, 1, 2), limit_s=60)
        shutil.rmtree(folder / "out", ignore_errors=True)
    shop.drop(folder)


def times(watch, shop):
    """Time stamps that jump to an epoch, and recordings that do."""
    folder = shop.copy([*BASE, "frames", "plan.toml"])
    lines = (folder / "frames/times.csv").read_text().splitlines()
    plan = (folder / "plan.toml").read_text().replace("clip.y4m", "frames")
    (folder / "plan.toml").write_text(plan)
    for case, time_s in {"a time of 1.7e9 s": "1700000000", "a time of 1e15 s": "1e15", "a time of 1e300 s": "1e300"}.items():
        last = re.sub(r"[\d.]+(e\d+)?$", time_s, lines[-1]) if lines[0].split(",")[-1].strip() == "t_s" else ",".join(
            [*lines[-1].split(",")[:1], time_s])
        (folder / "frames/times.csv").write_text("\n".join([*lines[:-1], last]) + "\n")
        watch.run(f"{case} in a folder", check("frames"), folder, (0, 1, 2))
        watch.run(f"{case} in a folder", ["campaign", "--plan", "plan.toml", "--out", "out"], folder, (0, 1, 2))
        shutil.rmtree(folder / "out", ignore_errors=True)
        (folder / "frames/times.csv").write_text("\n".join(lines) + "\n")
        recording = (folder / "inputs.csv").read_text()
        (folder / "inputs.csv").write_text(recording + re.sub("^[^,]*", time_s, recording.splitlines()[-1]) + "\n")
        watch.run(f"{case} in a recording", check("frames"), folder, (0, 1, 2))
        watch.run(f"{case} in a recording", command("draw", "--fps", 0.0000001, "--format", "png", "--out", "drawn"), folder, (0, 1, 2))
        watch.run(f"{case} in a recording", ["campaign", "--plan", "plan.toml", "--out", "out"], folder, (0, 1, 2))
        for made in ("out", "drawn"):
            shutil.rmtree(folder / made, ignore_errors=True)
        (folder / "inputs.csv").write_text(recording)
    shop.drop(folder)


def results(watch, shop):
    """Results without end: of a check and of a campaign."""
    folder = shop.copy()
    bench.must(bench.run(watch.given.binary, check("bad.y4m", "checked", "--measurements"), folder), 1)
    bench.run(watch.given.binary, ["campaign", "--plan", "plan.toml", "--out", "campaign"], folder)
    tune = ["tune", "--display", "display.toml", "--out", "t", "--from"]
    resume = ["campaign", "--plan", "plan.toml", "--out", "campaign"]
    for file, commands in {
        "checked/manifest.json": [["verify", "checked"], ["report", "--from", "checked", "--out", "p.html"]],
        "checked/summary.json": [["verify", "checked"], ["report", "--from", "checked", "--out", "p.html"]],
        "checked/frames.jsonl": [["report", "--from", "checked", "--out", "p.html"]],
        "checked/stills.json": [["report", "--from", "checked", "--out", "p.html"]],
        "checked/measurements.bin": [[*tune, "campaign", "checked"]],
        "campaign/campaign.json": [["report", "--from", "campaign", "--out", "p.html"]],
        "campaign/trials.jsonl": [[*tune, "campaign"], resume],
        "campaign/measurements.bin": [[*tune, "campaign"], resume],
        "campaign/progress.json": [resume],
    }.items():
        path = folder / file
        clean = path.read_bytes()
        for kind in ("3 GB", "a device", "a pipe"):
            path.unlink()
            if kind == "3 GB":
                sparse(path, 3 * GB, clean)
            elif kind == "a device":
                path.symlink_to("/dev/zero")
            else:
                os.mkfifo(path)
            for words in commands:
                # A longer file is cut back by a campaign that goes on, which is whole again then.
                watch.run(f"{kind} as {file}", words, folder, (1, 2) if words is not resume or kind != "3 GB" else (0, 1, 2))
            if path.is_symlink() or path.exists():
                path.unlink()
            path.write_bytes(clean)
    shop.drop(folder)


SIZES = ["1e9", "-1e9", "1e300", "1e-9", "0", "4294967295", "9223372036854775807", "nan", "inf"]


def numbers(watch, shop, given):
    """Each number of the definition beyond sense: lint and one picture."""
    folder = shop.copy(BASE)
    clean = (folder / "display.toml").read_text()
    body = clean.index("[channels]")
    found = [m for m in re.finditer(r"(?<![\w#.\"-])-?\d+(\.\d+)?(?![\w\"])", clean) if m.start() > body or m.start() < clean.index("[fonts]")]
    draw = command("draw", "--fps", 1, "--to", 0, "--format", "png", "--out", "drawn")
    wanted = len(found) * len(SIZES)
    count = given.runs or (40 if given.quick else wanted)
    for k in range(min(count, wanted)):
        # A stride that meets all of them.
        m, size = found[(k * 7 + given.seed) % len(found)], SIZES[(k * 4 + k // len(found)) % len(SIZES)]
        (folder / "display.toml").write_text(clean[:m.start()] + size + clean[m.end():])
        line = clean[:m.start()].count("\n") + 1
        for words in (["lint", "--display", "display.toml"], draw):
            watch.run(f"numbers of the definition, {words[0]}", words, folder, (0, 1, 2), limit_s=20)
        shutil.rmtree(folder / "drawn", ignore_errors=True)
        if len(watch.table.findings) and f"line {line}" not in watch.table.findings[-1] and "numbers" in watch.table.findings[-1]:
            watch.table.findings[-1] += f" (line {line}: {m[0]} became {size})"
    (folder / "display.toml").write_text(clean)
    shop.drop(folder)


if __name__ == "__main__":
    sys.exit(main())
