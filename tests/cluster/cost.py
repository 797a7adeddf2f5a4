"""What sharding costs: CPU of all shards and of putting them together, against that of one run on the same cores.

Shards are carried out one after another, each on all cores. Every result is held against that of the one run, which is measured
before and after: on a machine with other work the two tell how far CPU can be compared.
Usage: cost.py --binary PROGRAM --demo FOLDER (what `framevouch demo` wrote) [--repeats N] [--shards N ...]."""

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

import material


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
    with tempfile.TemporaryDirectory(prefix="cost-") as folder:
        work = Path(folder)
        plan = material.write(program, demo, work, given.repeats, given.seconds)
        _, one_s = material.run(program, "campaign", "--plan", plan, "--out", work / "one", "--quiet", good=(0, 1))
        trials = (work / "one/trials.jsonl").read_bytes().count(b"\n")
        print(f"{trials} trials, {given.seconds:.0f} s of video; one run: {one_s:.1f} s of CPU\n", flush=True)
        print("| shards | CPU of shards, s | the longest, s | CPU of merge, s | trials left to it | all against one run |")
        print("| ---: | ---: | ---: | ---: | ---: | ---: |", flush=True)
        for count in given.shards:
            parts = [work / f"shard_{k}" for k in range(1, count + 1)]
            spent_s = []
            for k, part in enumerate(parts, 1):
                words = ("campaign", "--plan", plan, "--shard", f"{k}/{count}", "--out", part, "--quiet")
                spent_s.append(material.run(program, *words)[1])
            done = sum((p / "trials.jsonl").read_bytes().count(b"\n") for p in parts)
            _, merge_s = material.run(program, "merge", *parts, "--out", work / "merged", "--quiet", good=(0, 1))
            other = material.differences(work / "one", work / "merged")
            failed += bool(other)
            print(f"| {count} | {sum(spent_s):.1f} | {max(spent_s):.1f} | {merge_s:.1f} | {trials - done} | "
                  f"{(sum(spent_s) + merge_s) / one_s:.3f} |{f' OTHER BYTES: {other[:5]}' if other else ''}", flush=True)
            for part in [*parts, work / "merged"]:
                shutil.rmtree(part)
        _, after_s = material.run(program, "campaign", "--plan", plan, "--out", work / "again", "--quiet", good=(0, 1))
        print(f"\none run, afterwards: {after_s:.1f} s of CPU")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
