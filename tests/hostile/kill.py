"""Runs that are ended at random moments: what then stands in the folder is whole, or says that it is not.

The folder holds an earlier run's results of another outcome. After SIGKILL nothing of them may vouch for the new
run; after SIGINT and SIGTERM the program ends with 2 and says that it was broken off. What verifies afterwards is the
old run as it was, the new one as it ends by itself, or marked as broken off. The same command then ends as if
nothing had been.
Usage: kill.py --binary PROGRAM [--quick] [--seed N] [--runs N] [--only CASE] [--keep FOLDER]"""

import shutil
import signal
import sys
import time

import bench
from bench import check, run

DEMAND = ["--nuisance-per-hour", 1e6, "--coverage", 0.1, "--detection-ms", 2000]
CASES = {
    # Case, the earlier run's words, the words of the run that is ended, what they write.
    "check": (check("bad.y4m"), check("clip.y4m"), "out"),
    "check of H.264": (check("bad.y4m"), check("clip.mp4"), "out"),
    "campaign": (None, ["campaign", "--plan", "plan.toml", "--out", "out"], "out"),
    "shard": (None, ["campaign", "--plan", "plan.toml", "--shard", "2/2", "--out", "out"], "out"),
    "merge": (None, ["merge", "shard_1", "shard_2", "--out", "out"], "out"),
    "tune": (None, ["tune", "--display", "display.toml", "--from", "made", "--out", "out", *DEMAND], "out"),
    "report": (["report", "--from", "checked", "--out", "page.html"],
               ["report", "--from", "made", "--out", "page.html"], "page.html"),
    "draw": (None, bench.command("draw", "--fps", 50, "--format", "png", "--out", "out"), "out"),
}


def main():
    given = bench.options(__doc__)
    table = bench.Table("Kill", given)
    shop = bench.Workshop(given.binary, 3.6)
    base = shop.copy()
    bench.must(run(given.binary, check("bad.y4m", "checked"), base), 1)
    run(given.binary, ["campaign", "--plan", "plan.toml", "--out", "made"], base)
    for k in (1, 2):
        bench.must(run(given.binary, ["campaign", "--plan", "plan.toml", "--shard", f"{k}/2", "--out", f"shard_{k}"], base))
    for name, (earlier, words, target) in CASES.items():
        if given.only and given.only not in name:
            continue
        whole, before = base / f"whole {name}", {}
        shutil.copytree(base, whole, ignore=shutil.ignore_patterns("whole*"))
        began = time.monotonic()
        ended = run(given.binary, words, whole)
        lasts_s = time.monotonic() - began
        if ended.status not in (0, 1):
            sys.exit(f"{name} cannot be run: {ended.told()}")
        after = state(whole, target)
        start = base / f"whole earlier {name}"
        shutil.copytree(base, start, ignore=shutil.ignore_patterns("whole*"))
        if earlier:
            run(given.binary, earlier, start)
            before = state(start, target)
        for how in (signal.SIGKILL, signal.SIGTERM, signal.SIGINT):
            case = f"{name}, {how.name}"
            for k, rng in bench.seeds(given, 2, 20):
                folder = shop.path / "killed"
                shutil.copytree(start, folder)
                pause_s = rng.uniform(0.0, lasts_s)
                child = bench.start(given.binary, words, folder)
                time.sleep(pause_s)
                # One that has ended by itself is a run like any other.
                is_hit = child.poll() is None
                child.send_signal(how)
                ran = bench.finish(child)
                what = f"run {k}, after {pause_s:.3f} of {lasts_s:.3f} s"
                # What writes in one step may simply end, and so may what has not begun.
                may_end = how == signal.SIGKILL or name in ("tune", "report", "draw") or pause_s < 0.03
                table.judge(case, ran, what, folder, may_be_killed=may_end)
                if is_hit and how != signal.SIGKILL and ran.status == 2:
                    table.expect(case, "broken off" in ran.stderr + ran.stdout, f"{what}: not said: {ran.told()}", folder)
                look(given, table, case, what, folder, target, before, after, how)
                shutil.rmtree(folder)
        shutil.rmtree(whole)
        shutil.rmtree(start)
    return table.end()


def state(folder, target):
    path = folder / target
    return bench.contents(path) if path.is_dir() else bench.contents(folder) if path.exists() else {}


def look(given, table, case, what, folder, target, before, after, how):
    """Whether what stands there claims no more than it is, and the same command makes it whole."""
    name = case.split(",")[0]
    _, words, _ = CASES[name]
    now = state(folder, target)
    left = f"{what}: left {sorted(now)[:6]}"
    if name == "report":
        # A page stands whole or not at all: the old one, the new one, none.
        pages = {s.get("page.html") for s in (before, after, {})}
        table.expect(case, now.get("page.html") in pages, f"{left}: half a page", folder)
    elif name != "draw" and (folder / target).is_dir() and now:
        seen = run(given.binary, ["verify", target], folder)
        table.judge(case, seen, f"{what}, then verify", folder)
        summary = bench.read_json(folder / target / "summary.json") or {}
        is_marked = how != signal.SIGKILL and "broken off" in str(summary)
        if seen.status == 0:
            table.expect(case, now in (before, after) or is_marked, f"{left}: verifies", folder)
        # An earlier run's conclusions do not stand beside the new one's frames.
        old = {p for p in ("summary.json", "junit.xml", "events.json") if before.get(p) and now.get(p) == before[p]}
        table.expect(case, not old or now == before, f"{left}: {sorted(old)} of the earlier run among others", folder)
    again = run(given.binary, words, folder)
    table.judge(case, again, f"{what}, then again", folder)
    last = {p: d for p, d in state(folder, target).items() if p in after}
    table.expect(case, again.status in (0, 1) and last == after, f"{what}, then again: {again.told()}", folder)


if __name__ == "__main__":
    sys.exit(main())
