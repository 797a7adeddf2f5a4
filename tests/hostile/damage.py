"""Every kind of file that the program reads, damaged in every way: it says so, or judges what is there.

A damaged input may give any verdict that it earns (another number in a recording is another recording), but no
panic, no hang, no status other than 0, 1, 2. A damaged result is never taken for whole: not by verify, report,
tune, nor by a campaign that goes on.
Usage: damage.py --binary PROGRAM [--quick] [--seed N] [--runs N] [--only CASE] [--keep FOLDER]"""

import json
import shutil
import sys
import time
from pathlib import Path

import bench
import mutate
from bench import check, command, files_of, run

DRAW = command("draw", "--fps", 25, "--to", 0.08, "--format", "png", "--out", "drawn")
BASE = ["display.toml", "own.ttf", "inputs.csv"]
# Case, file, whether it is text, what else must be there, what is run.
INPUTS = [
    ("definition", "display.toml", True, ["clip.y4m"],
     [["lint", "--display", "display.toml", "--inputs", "inputs.csv"], DRAW, check("clip.y4m")]),
    ("recording", "inputs.csv", True, ["clip.y4m"], [check("clip.y4m"), DRAW]),
    ("font", "own.ttf", False, [], [DRAW]),
    ("times of a folder", "frames/times.csv", True, ["frames"], [check("frames")]),
    ("PNG", "frames/frame_000007.png", False, ["frames"], [check("frames")]),
    ("YUV4MPEG2", "clip.y4m", False, [], [check("clip.y4m")]),
    ("YUV4MPEG2, its head", "clip.y4m", True, [], [check("clip.y4m")]),
    ("H.264 in MP4", "clip.mp4", False, [], [check("clip.mp4")]),
    ("H.264 in Matroska", "clip.mkv", False, [], [check("clip.mkv")]),
    ("H.264 in a transport stream", "clip.ts", False, [], [check("clip.ts")]),
    ("FFV1 in NUT", "clip.nut", False, [], [check("clip.nut")]),
    ("profile", "profile.json", True, ["clip.y4m"], [check("clip.y4m", "out", "--profile", "profile.json")]),
    ("plan", "plan.toml", True, ["clip.y4m"], [["campaign", "--plan", "plan.toml", "--dry-run"]]),
]
VIDEO = {"clip.mp4", "clip.mkv", "clip.ts", "clip.nut"}


def damage_inputs(given, shop, table):
    frames = None
    for name, file, is_text, others, commands in INPUTS:
        if not (shop.clean / file).exists() or (given.only and given.only not in name):
            continue
        clean = (shop.clean / file).read_bytes()
        for k, rng in bench.seeds(given, 4, 200):
            folder = shop.copy([*BASE, *others, file] if "/" not in file else [*BASE, *others])
            # Of a head, the head: the rest is as good as random.
            head = 200 if "head" in name else len(clean)
            how, content = mutate.damaged(clean[:head], rng, is_text)
            content += clean[head:]
            (folder / file).write_bytes(content)
            for words in commands:
                what = f"run {k}, {how} in {file}, {words[0]}"
                ran = run(given.binary, words, folder)
                is_told = table.judge(name, ran, what, folder)
                if is_told and file in VIDEO and ran.status in (0, 1) and len(content) == len(clean):
                    frames = frames or count(shop)
                    found = bench.read_json(folder / "out/summary.json")
                    # The same length: what the container states, or how its parts follow one another, still stands there.
                    table.expect(name, found and found["frames"] == frames,
                                 f"{what}: {found and found['frames']} of {frames} frames, {ran.told()}", folder)
            shop.drop(folder)


def count(shop):
    return len(list((shop.clean / "frames").glob("*.png")))


def damage_raw(given, shop, table):
    name = "raw pixels on standard input"
    clean = (shop.clean / "raw.rgb").read_bytes()
    words = command("check", "--capture", "-", "--raw", "x".join(map(str, bench.SIZE)), "--fps", bench.RATE_HZ,
                    "--offset", 0, "--out", "out")
    for k, rng in bench.seeds(given, 4, 100):
        folder = shop.copy(BASE)
        how, content = mutate.damaged(clean, rng, False)
        table.judge(name, run(given.binary, words, folder, content), f"run {k}, {how}", folder)
        shop.drop(folder)


def damage_results(given, shop, table):
    """Results of a check, of a campaign, of a tuning: one file damaged, missing, or one more."""
    demand = ["--nuisance-per-hour", 1e6, "--coverage", 0.1, "--detection-ms", 2000]
    tune = ["tune", "--display", "display.toml", "--out", "t", *demand, "--from"]
    made = shop.copy()
    bench.must(run(given.binary, check("bad.y4m", "check", "--measurements"), made), 1)
    bench.must(run(given.binary, check("clip.y4m", "clean", "--measurements"), made), 0)
    if run(given.binary, ["campaign", "--plan", "plan.toml", "--out", "campaign"], made).status not in (0, 1):
        sys.exit("the campaign cannot be made")
    tuned = run(given.binary, [*tune[:4], "tuned", *tune[5:], "campaign", "clean"], made)
    if tuned.status not in (0, 1):
        sys.exit(f"the tuning cannot be made: {tuned.told()}")
    readers = {
        "check": [["verify", "check"], ["report", "--from", "check", "--out", "page.html"],
                  ["report", "--from", "clean", "--against", "check", "--out", "page.html"], [*tune, "campaign", "check"]],
        "clean": [["verify", "clean"], [*tune, "campaign", "clean"]],
        "campaign": [["verify", "campaign"], ["report", "--from", "campaign", "--out", "page.html"],
                     [*tune, "campaign", "clean"], ["campaign", "--plan", "plan.toml", "--out", "campaign"]],
        "tuned": [["verify", "tuned"], ["report", "--from", "tuned", "--out", "page.html"]],
    }
    for results, commands in readers.items():
        name = f"results: {results}"
        if given.only and given.only not in name:
            continue
        whole = bench.contents(made / results)
        for k, rng in bench.seeds(given, 6, 300):
            folder = shop.copy(BASE + ["plan.toml", "clip.y4m", "bad.y4m"])
            for other in readers:
                shutil.copytree(made / other, folder / other)
            file = rng.choice(files_of(made / results))
            path = folder / results / file
            clean = path.read_bytes()
            how = rng.choice(["damaged"] * 6 + ["missing", "one more"])
            if how == "damaged":
                how, content = mutate.damaged(clean, rng, path.suffix not in (".png", ".bin"))
                path.write_bytes(content)
            elif how == "missing":
                path.unlink()
            else:
                path.with_name(f"more{path.suffix}").write_bytes(clean)
            is_whole = str(file) == "manifest.json" and how != "one more" and says_the_same(path, clean)
            for words in commands:
                what = f"run {k}, {file} {how}, {words[0]}"
                before = bench.contents(folder / results)
                ran = run(given.binary, words, folder)
                if not table.judge(name, ran, what, folder) or is_whole:
                    continue
                after = bench.contents(folder / results)
                if words[0] == "campaign":
                    restored = {p: d for p, d in after.items() if p in whole} == whole
                    table.expect(name, ran.status == 2 or restored, f"{what}: {ran.told()}", folder)
                    continue
                table.expect(name, before == after, f"{what}: changed what it read", folder)
                refused = ran.status == 2 or (words[0] == "verify" and ran.status == 1)
                # What is there besides changes no result; it is for verify to name it.
                is_due = how != "one more" or words[0] == "verify"
                table.expect(name, refused or not is_due, f"{what}: {ran.told()}", folder)
            shop.drop(folder)


def says_the_same(manifest: Path, clean: bytes) -> bool:
    """Whether a manifest still vouches for the same results: nothing vouches for the manifest itself."""
    try:
        now, then = json.loads(manifest.read_bytes()), json.loads(clean)
        return now["outputs"] == then["outputs"]
    except (OSError, ValueError, KeyError, TypeError):
        return False


def damage_halves(given, shop, table):
    """A campaign that was broken off, with one of its files damaged: going on notices, or ends with the same bytes."""
    name = "campaign that goes on"
    if given.only and given.only not in name:
        return
    words = ["campaign", "--plan", "plan.toml", "--out", "campaign"]
    made = shop.copy()
    if run(given.binary, words, made).status not in (0, 1):
        sys.exit("the campaign cannot be made")
    whole = bench.contents(made / "campaign")
    half = shop.copy()
    # Between its first stretch and its end there are some milliseconds: on a quick machine most tries miss them.
    for _ in range(200):
        shutil.rmtree(half / "campaign", ignore_errors=True)
        child = bench.start(given.binary, words, half)
        while child.poll() is None and not list((half / "campaign").glob("**/progress.json")):
            time.sleep(0.002)
        child.kill()
        bench.finish(child)
        files = files_of(half / "campaign")
        if not (half / "campaign/manifest.json").exists() and any(f.name == "progress.json" for f in files):
            break
    else:
        sys.exit("the campaign is too quick to be broken off")
    for k, rng in bench.seeds(given, 8, 300):
        folder = shop.copy(BASE + ["plan.toml", "clip.y4m"])
        shutil.copytree(half / "campaign", folder / "campaign")
        file = rng.choice([f for f in files_of(half / "campaign") if f.suffix in (".json", ".jsonl", ".bin")])
        path = folder / "campaign" / file
        how, content = mutate.damaged(path.read_bytes(), rng, path.suffix != ".bin")
        path.write_bytes(content)
        what = f"run {k}, {file} {how}"
        ran = run(given.binary, words, folder)
        if table.judge(name, ran, what, folder):
            now = bench.contents(folder / "campaign")
            same = {p: d for p, d in now.items() if p in whole} == whole
            table.expect(name, ran.status == 2 or same, f"{what}: {ran.told()}", folder)
        shop.drop(folder)


def main():
    given = bench.options(__doc__)
    table = bench.Table("Damage", given)
    short = bench.Workshop(given.binary, 0.6)
    damage_inputs(given, short, table)
    if not given.only or given.only in "raw pixels on standard input":
        damage_raw(given, short, table)
    long = bench.Workshop(given.binary, 3.6)
    damage_results(given, long, table)
    damage_halves(given, long, table)
    return table.end()


if __name__ == "__main__":
    sys.exit(main())
