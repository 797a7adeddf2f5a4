"""A campaign folder as one with 100,000 trials would leave it, to see how results and page take it.

The trials of a real campaign are repeated under new numbers. Usage: many_trials.py RESULTS OUT [COUNT], where
RESULTS is a folder that a finished campaign left, and OUT one that a campaign of at least COUNT trials left which was
broken off by its time budget. Call that campaign again then: it finds all trials done and draws its conclusions
from them."""

import hashlib
import json
import shutil
import sys
import zlib
from pathlib import Path


def content(data: bytes) -> dict:
    return {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest(), "crc32": zlib.crc32(data)}


def main(results: Path, out: Path, count: int) -> None:
    finished = json.loads((results / "progress.json").read_text())["progress"]
    if not finished["is_finished"]:
        sys.exit(f"{results}: the campaign is not finished")
    progress = json.loads((out / "progress.json").read_text())["progress"]
    trials = [json.loads(line) for line in (results / "trials.jsonl").read_text().splitlines()]
    for trial in trials:
        trial["outcome"].pop("picture", None)
    with open(out / "trials.jsonl", "w") as lines:
        for n in range(count):
            lines.write(json.dumps(trials[n % len(trials)] | {"trial": n}, separators=(",", ":")) + "\n")
    for name in ("stretches.jsonl", "measurements.bin"):
        shutil.copy(results / name, out / name)
    progress |= {
        "pass": 2, "capture": 0, "stretch": 0, "is_begun": False, "is_finished": True,
        "trials": content((out / "trials.jsonl").read_bytes()), "misses": content(b""),
        "stretches": finished["stretches"], "measurements": finished["measurements"],
    }
    sealed = {"progress": progress,
              "sha256": hashlib.sha256(json.dumps(progress, separators=(",", ":")).encode()).hexdigest()}
    (out / "progress.json").write_text(json.dumps(sealed, indent=2) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 100_000)
