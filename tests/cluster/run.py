"""A campaign over two partitions of a Slurm cluster, of which one dies in the middle: the same bytes as on one machine.

The cluster is a real one (slurmctld, two slurmd) on this machine, see slurm.py. While a shard is being carried out on node
`left`, that node is killed with all that runs on it. Slurm queues the shard again, `right` goes on with it, and a job that
waits for all shards puts them together. Every file is held against those of one run on its own.
Usage: run.py --binary PROGRAM --demo FOLDER (what `framevouch demo` wrote) [--repeats N] [--shards N] [--work FOLDER]."""

import argparse
import json
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import material
from slurm import Cluster, wait_until

LIMIT_S = 3600


def progress(shard: Path):
    """How far a shard is; None where it has not begun."""
    try:
        return json.loads((shard / "progress.json").read_text())["progress"]
    except (OSError, ValueError):
        return None


def is_halfway(shard: Path):
    """Whether a shard has done some trials and not all."""
    now = progress(shard)
    return now and not now["is_finished"] and now["trials"]["bytes"]


def caught(cluster, job, out):
    """A shard on node `left` that is halfway, and stopped there."""
    for task, state, node in cluster.tasks(job):
        if (state, node) == ("R", "left") and is_halfway(out / f"shard_{task}"):
            cluster.send("left", signal.SIGSTOP)
            if is_halfway(out / f"shard_{task}"):
                return task
            cluster.send("left", signal.SIGCONT)
    return None


def suite_in_two(cluster, program, demo, work):
    """A suite as two shards on the node that is left, put together: how many files are those of one machine, and which are not."""
    plan = material.write_suite(demo, work)
    material.run(program, "suite", "--plan", plan, "--out", work / "suite")
    # Parts and whole lie side by side: captures stand in their manifests relative to them.
    job = cluster.run("sbatch", "--parsable", "--partition=right", "--array=1-2", material.HERE / "suite.sbatch", plan, work, 2,
                      cwd=work)
    wait_until("the shards of the suite are over", lambda: cluster.is_over(job), LIMIT_S)
    material.run(program, "merge", work / "shard_1", work / "shard_2", "--out", work / "suite_merged")
    other = material.differences(work / "suite", work / "suite_merged")
    return len(material.files(work / "suite")) - len(other), other


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--binary", required=True, type=Path)
    parser.add_argument("--demo", required=True, type=Path)
    parser.add_argument("--repeats", type=int, default=1, help="208 trials each; 25 for the whole form")
    parser.add_argument("--seconds", type=float, default=20, help="of the capture; 70 for the whole form")
    parser.add_argument("--shards", type=int, default=4)
    parser.add_argument("--work", type=Path, help="folder that is left; a temporary one else")
    given = parser.parse_args()
    program, demo = given.binary.resolve(), given.demo.resolve()
    spare = tempfile.TemporaryDirectory(prefix="cluster-")
    work = (given.work or Path(spare.name)).resolve()
    work.mkdir(parents=True, exist_ok=True)
    plan = material.write(program, demo, work, given.repeats, given.seconds)
    status, cpu_s = material.run(program, "campaign", "--plan", plan, "--out", work / "one", "--quiet", good=(0, 1))
    trials = (work / "one/trials.jsonl").read_bytes().count(b"\n")
    print(f"one machine: {trials} trials in {cpu_s:.0f} s of CPU, ended with {status}", flush=True)

    out = work / "parts"
    out.mkdir()
    with tempfile.TemporaryDirectory(prefix="slurm-") as folder, Cluster(Path(folder), ["left", "right"]) as cluster:
        # A node has one CPU.
        cluster.env |= {"FRAMEVOUCH": str(program), "RAYON_NUM_THREADS": "1"}
        began = time.monotonic()
        job = cluster.run("sbatch", "--parsable", "--partition=left,right", f"--array=1-{given.shards}",
                          material.HERE / "campaign.sbatch", plan, out, given.shards, cwd=work)
        merge = f'"$FRAMEVOUCH" merge {out}/shard_* --out {work}/merged; echo $? >{work}/merged.status'
        after = cluster.run("sbatch", "--parsable", "--partition=left,right", f"--dependency=afterok:{job}", "--job-name=merge",
                            "--output=%x_%A.log", "--wrap", merge, cwd=work)
        shard = wait_until("a shard is halfway on the left", lambda: caught(cluster, job, out), LIMIT_S)
        cluster.kill_node("left")
        path = out / f"shard_{shard}"
        then = progress(path)
        kept = (path / "trials.jsonl").read_bytes()[:then["trials"]["bytes"]]
        done = kept.count(b"\n")
        print(f"{time.monotonic() - began:.0f} s: left is dead, with shard {shard} after {done} trials", flush=True)
        right = wait_until("the shard is queued again, and runs on the right",
                           lambda: (shard, "R", "right") in cluster.tasks(job) or cluster.is_over(job), LIMIT_S)
        assert right
        restarts = cluster.run("scontrol", "show", "job", f"{job}_{shard}", check=False)
        assert "Restarts=1" in restarts, restarts
        print(f"{time.monotonic() - began:.0f} s: shard {shard} goes on, on the right", flush=True)
        wait_until("all shards and the merge are over", lambda: cluster.is_over(job) and cluster.is_over(after), LIMIT_S)
        print(f"{time.monotonic() - began:.0f} s: over", flush=True)
        suite = suite_in_two(cluster, program, demo, work)
        print(f"{time.monotonic() - began:.0f} s: the suite is over", flush=True)

    log = work / f"merge_{after}.log"
    told = log.read_text() if log.exists() else "no merge: a shard failed"
    assert (work / "merged.status").exists(), told + "".join(p.read_text() for p in work.glob("campaign_*.log"))
    assert int((work / "merged.status").read_text()) == status, told
    assert (path / "trials.jsonl").read_bytes().startswith(kept), f"shard {shard} lost trials that were done"
    for k in range(1, given.shards + 1):
        subprocess.run([program, "verify", out / f"shard_{k}"], check=True, stdout=subprocess.DEVNULL)
    other = material.differences(work / "one", work / "merged")
    same = len(material.files(work / "merged")) - len(other)
    print(f"{same} files are the same bytes as on one machine, {len(other)} are not {other[:5] or ''}")
    print(f"suite: {suite[0]} files are the same bytes, {len(suite[1])} are not {suite[1][:5] or ''}")
    return 1 if other or suite[1] else 0


if __name__ == "__main__":
    sys.exit(main())
