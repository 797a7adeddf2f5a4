"""Inputs that change while they are used, two runs into one folder, and outputs that would fall on an input.

A run whose input is replaced midway ends with 2, or its manifest names what was really read: the results are those
of that input. Of two runs into one folder one is refused, or they follow each other. No command writes over a
file that it did not write itself, least of all one that it reads.
Usage: races.py --binary PROGRAM [--quick] [--seed N] [--runs N] [--only CASE] [--keep FOLDER]"""

import hashlib
import os
import shutil
import sys
import time

import bench
from bench import check, command, run

JUDGED = ["frames.jsonl", "events.json"]


def digest(path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def judged(folder) -> dict:
    found = bench.contents(folder)
    return {name: found.get(name) for name in JUDGED}


def main():
    given = bench.options(__doc__)
    table = bench.Table("Races", given)
    shop = bench.Workshop(given.binary, 3.6)
    replaced(given, shop, table)
    two_runs(given, shop, table)
    own_files(given, shop, table)
    return table.end()


# Case, the file, its role in the manifest, the command, and what makes another file out of it, of another outcome.
def another_recording(path):
    path.write_text(bench.inputs_csv(4.6, 0.5))


def another_definition(path):
    path.write_text(path.read_text().replace("tolerance = { speed = 3.0 }", "tolerance = { speed = 4.0 }")
                    .replace('size = 16\ncolor = "white"\n', 'size = 16\ncolor = "cyan"\n'))


def another_font(path):
    shutil.copy(bench.FONT.parent / "B612-Regular.ttf", path)


def another_capture(path):
    shutil.copy(path.with_name("bad.y4m"), path)


def another_video(path):
    shutil.copy(path.with_name("other.mp4"), path)


def another_picture(path):
    shutil.copy(path.with_name("frame_000010.png"), path)


REPLACED = [
    ("definition", "display.toml", "display", check("clip.y4m"), another_definition),
    ("font", "own.ttf", "font", check("clip.y4m"), another_font),
    ("recording", "inputs.csv", "inputs", check("clip.y4m"), another_recording),
    ("YUV4MPEG2", "clip.y4m", "capture", check("clip.y4m"), another_capture),
    ("H.264 in MP4", "clip.mp4", "capture", check("clip.mp4"), another_video),
    ("picture of a folder", "frames/frame_000060.png", None, check("frames"), another_picture),
]


def replaced(given, shop, table):
    for name, file, role, words, change in REPLACED:
        case = f"replaced: {name}"
        if given.only and given.only not in case:
            continue
        base = shop.copy()
        if file == "clip.mp4":
            # The same file of another picture.
            os.rename(base / "clip.y4m", base / "good.y4m")
            shutil.copy(base / "bad.y4m", base / "clip.y4m")
            bench.subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", "clip.y4m", *bench.VIDEOS["clip.mp4"], "other.mp4"],
                                 cwd=base, check=True)
        began = time.monotonic()
        first = run(given.binary, words, base)
        lasts_s = time.monotonic() - began
        if first.status not in (0, 1):
            sys.exit(f"{case} cannot be run: {first.told()}")
        then = judged(base / "out")
        shutil.copy(base / file, base / "as it was")
        change(base / file)
        shutil.copy(base / file, base / "another")
        shutil.rmtree(base / "out")
        run(given.binary, words, base)
        later = judged(base / "out")
        if then == later:
            sys.exit(f"{case}: the other file makes no difference")
        shutil.rmtree(base / "out")
        for k, rng in bench.seeds(given, 3, 40):
            shutil.copy(base / "as it was", base / file)
            shutil.copy(base / "another", base / "next")
            child = bench.start(given.binary, words, base)
            pause_s = rng.uniform(0.0, lasts_s * 1.2)
            time.sleep(pause_s)
            os.rename(base / "next", base / file)
            ran = bench.finish(child)
            what = f"run {k}, after {pause_s:.3f} of {lasts_s:.3f} s"
            if table.judge(case, ran, what, base) and ran.status != 2:
                now = judged(base / "out")
                table.expect(case, now in (then, later), f"{what}: neither the one nor the other: {ran.told()}", base)
                used = digest(base / ("as it was" if now == then else "another"))
                table.expect(case, used in recorded(base / "out", role, file), f"{what}: the manifest names another file", base)
            shutil.rmtree(base / "out", ignore_errors=True)
        shop.drop(base)


def recorded(out, role, file) -> set[str]:
    """What the results say was read as `file`."""
    if role is None:
        lines = (out / "capture.sha256").read_text().splitlines()
        return {line.split()[0] for line in lines if line.endswith(os.path.basename(file))}
    manifest = bench.read_json(out / "manifest.json") or {"inputs": []}
    return {i["content"]["sha256"] for i in manifest["inputs"] if i["role"] == role}


def two_runs(given, shop, table):
    pairs = {
        "two checks into one folder": (check("clip.y4m"), check("bad.y4m")),
        "two campaigns into one folder": [["campaign", "--plan", "plan.toml", "--out", "out"]] * 2,
        "a check into the folder of a campaign": (["campaign", "--plan", "plan.toml", "--out", "out"], check("bad.y4m")),
        "a check into the folder that is reported": (check("clip.y4m"), ["report", "--from", "out", "--out", "page.html"]),
    }
    for case, (one, other) in pairs.items():
        if given.only and given.only not in case:
            continue
        base = shop.copy()
        alone = []
        for words in (one, other):
            if words[0] != "report":
                run(given.binary, words, base)
                alone.append(bench.contents(base / "out"))
                shutil.rmtree(base / "out")
        for k, rng in bench.seeds(given, 3, 40):
            if other[0] == "report":
                run(given.binary, check("bad.y4m"), base)
            children = [bench.start(given.binary, one, base)]
            pause_s = rng.choice([0.0, rng.uniform(0, 0.1), rng.uniform(0, 0.5)])
            time.sleep(pause_s)
            children.append(bench.start(given.binary, other, base))
            ends = [bench.finish(c) for c in children]
            what = f"run {k}, {pause_s:.3f} s apart, ended with {[e.status for e in ends]}"
            for ran in ends:
                table.judge(case, ran, what, base)
            seen = run(given.binary, ["verify", "out"], base)
            now = bench.contents(base / "out")
            if seen.status == 0:
                table.expect(case, now in alone, f"{what}: verifies, and is neither's", base)
            # Whoever said that it was done has its results standing, unless the other one came after it.
            done = [a for a, e in zip(alone, ends) if e.status in (0, 1)]
            table.expect(case, not done or now in done, f"{what}: {ends[0].told()} {ends[1].told()}; verify {seen.told()}", base)
            shutil.rmtree(base / "out", ignore_errors=True)
            (base / "page.html").unlink(missing_ok=True)
        shop.drop(base)


def own_files(given, shop, table):
    """Each command line would write over a file that is not its own; `kept` must be as it was, and the end 2."""
    fixed = ["--display", "display.toml", "--inputs", "inputs.csv"]
    tune = ["tune", "--display", "display.toml", "--from", "campaign", "clean", "--nuisance-per-hour", 1e6, "--coverage", 0.1]
    cases = [
        ("recording among the results", ["check", "--display", "display.toml", "--inputs", "o/readings.csv", "--capture", "clip.y4m",
         "--matrix", "bt709", "--offset", "0", "--out", "o"], ["o/readings.csv"], {"o/readings.csv": "inputs.csv"}),
        ("definition among the results", ["check", "--display", "o/display.json", "--inputs", "inputs.csv", "--capture", "clip.y4m",
         "--matrix", "bt709", "--offset", "0", "--out", "o"], ["o/display.json"], {"o/display.json": "display.toml", "o/own.ttf": "own.ttf"}),
        ("capture in the folder that is cleared", check("o/event_frames", "o"), ["o/event_frames/frame_000003.png"], {"o/event_frames": "frames"}),
        ("capture beside results", check("o/frames.jsonl", "o"), ["o/frames.jsonl"], {"o/frames.jsonl": "clip.y4m"}),
        ("profile among the results", check("clip.y4m", "o", "--profile", "o/summary.json"), ["o/summary.json"],
         {"o/summary.json": "profile.json"}),
        ("profile over the recording", ["calibrate", *fixed, "--capture", "clip.y4m", "--matrix", "bt709", "--out", "inputs.csv"],
         ["inputs.csv"], {}),
        ("profile over the capture", ["calibrate", *fixed, "--capture", "clip.y4m", "--matrix", "bt709", "--out", "clip.y4m"],
         ["clip.y4m"], {}),
        ("profile over a file", ["calibrate", *fixed, "--capture", "clip.y4m", "--matrix", "bt709", "--out", "notes.txt"],
         ["notes.txt"], {"notes.txt": "plan.toml"}),
        ("page over a file", ["report", "--from", "clean", "--out", "notes.txt"], ["notes.txt"], {"notes.txt": "plan.toml"}),
        ("page over results", ["report", "--from", "clean", "--out", "clean/summary.json"], ["clean/summary.json"], {}),
        ("thresholds over a file", [*tune, "--out", "t"], ["t/tune.json"], {"t/tune.json": "plan.toml"}),
        ("thresholds into a campaign", [*tune, "--out", "campaign"], ["campaign/campaign.json", "campaign/manifest.json"], {}),
        ("drawing over a folder of captures", [*command("draw", "--fps", 5, "--format", "png"), "--out", "captured"],
         ["captured/frame_000003.png", "captured/times.csv"],
         {"captured/frame_000003.png": "plan.toml", "captured/times.csv": "plan.toml"}),
        ("drawing over times", [*command("draw", "--fps", 5, "--format", "png"), "--out", "d"], ["d/times.csv"], {"d/times.csv": "plan.toml"}),
        ("faults over a file", ["faults", *fixed, "--capture", "clip.y4m", "--matrix", "bt709", "--at", "1.5", "--offset", "0", "--out", "f"],
         ["f/faults.md", "f/faults.json"], {"f/faults.md": "plan.toml", "f/faults.json": "plan.toml"}),
        ("demo over a definition", ["demo", "--quiet", "--out", "d"], ["d/display.toml"], {"d/display.toml": "display.toml"}),
        ("folder through a link", check("clip.y4m", "link"), ["held/notes.txt", "held/frames.jsonl"],
         {"held/frames.jsonl": "plan.toml", "held/notes.txt": "plan.toml"}),
    ]
    base = shop.copy()
    run(given.binary, check("clip.y4m", "clean", "--measurements"), base)
    run(given.binary, ["campaign", "--plan", "plan.toml", "--out", "campaign"], base)
    for name, words, kept, made in cases:
        case = f"own files: {name}"
        if given.only and given.only not in case:
            continue
        folder = shop.path / "own"
        shutil.copytree(base, folder)
        (folder / "held").mkdir()
        (folder / "link").symlink_to("held")
        for target, source in made.items():
            (folder / target).parent.mkdir(exist_ok=True)
            if (folder / source).is_dir():
                shutil.copytree(folder / source, folder / target)
            else:
                shutil.copy(folder / source, folder / target)
        kept = [k for k in kept if (folder / k).exists()]
        before = [digest(folder / k) for k in kept]
        # What is refused is refused at once.
        ran = run(given.binary, words, folder, limit_s=20)
        if table.judge(case, ran, " ".join(map(str, words)), folder):
            after = [digest(folder / k) if (folder / k).is_file() else None for k in kept]
            table.expect(case, before == after, f"{kept} changed, {ran.told()}", folder)
            table.expect(case, ran.status == 2 or "link" in name, f"not refused, {ran.told()}", folder)
        shutil.rmtree(folder)
    shop.drop(base)


if __name__ == "__main__":
    sys.exit(main())
