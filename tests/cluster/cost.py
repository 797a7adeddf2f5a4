"""What sharding costs: CPU of all shards and of putting them together, against that of one run.

Shards are carried out one after another, on one thread, and the one run at the same time, on another: so other work on the machine
slows both alike. Every result is held against that of the one run.
Usage: cost.py --binary PROGRAM --demo FOLDER (what `framevouch demo` wrote) [--repeats N] [--shards N ...]."""

import argparse
import shutil
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import material

ALONE = {"RAYON_NUM_THREADS": "1"}


def in_shards(program, plan, work, count):
    """CPU of each of so many shards, and of putting them together, s; and the trials that were left to that."""
    parts = [work / f"shard_{k}" for k in range(1, count + 1)]
    spent_s = []
    for k, part in enumerate(parts, 1):
        words = ("campaign", "--plan", plan, "--shard", f"{k}/{count}", "--out", part, "--quiet")
        spent_s.append(material.run(program, *words, env=ALONE)[1])
    done = sum(trials(p) for p in parts)
    words = ("merge", *parts, "--out", work / "merged", "--quiet")
    _, merge_s = material.run(program, *words, good=(0, 1), env=ALONE)
    for part in parts:
        shutil.rmtree(part)
    return spent_s, merge_s, trials(work / "merged") - done


def trials(folder):
    return (folder / "trials.jsonl").read_bytes().count(b"\n")


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--binary", required=True, type=Path)
    parser.add_argument("--demo", required=True, type=Path)
    parser.add_argument("--repeats", type=int, default=25, help="208 trials each")
    parser.add_argument("--seconds", type=float, default=70, help="of the capture")
    parser.add_argument("--shards", type=int, nargs="+", default=[1, 2, 4, 8])
    given = parser.parse_args()
    program, demo = given.binary.resolve(), given.demo.resolve()
    failed = 0
    with tempfile.TemporaryDirectory(prefix="cost-") as folder, ThreadPoolExecutor() as beside:
        work = Path(folder)
        plan = material.write(program, demo, work, given.repeats, given.seconds)
        print("| shards | CPU of shards, s | the longest, s | CPU of merge, s | trials left to it | CPU of one run, s | all against it |")
        print("| ---: | ---: | ---: | ---: | ---: | ---: | ---: |", flush=True)
        for count in given.shards:
            words = ("campaign", "--plan", plan, "--out", work / "one", "--quiet")
            one = beside.submit(material.run, program, *words, good=(0, 1), env=ALONE)
            spent_s, merge_s, left = in_shards(program, plan, work, count)
            _, one_s = one.result()
            other = material.differences(work / "one", work / "merged")
            failed += bool(other)
            print(f"| {count} | {sum(spent_s):.1f} | {max(spent_s):.1f} | {merge_s:.1f} | {left} of {trials(work / 'one')} | "
                  f"{one_s:.1f} | {(sum(spent_s) + merge_s) / one_s:.3f} |{f' OTHER BYTES: {other[:5]}' if other else ''}", flush=True)
            for done in ("one", "merged"):
                shutil.rmtree(work / done)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
