"""A campaign folder as one with 100,000 trials would leave it, to see how results and page take it.

The trials of a real campaign are repeated under new numbers. Usage: many_trials.py RESULTS OUT [COUNT], where
RESULTS is a folder that a finished campaign left. Call `framevouch campaign` with the same plan and `--out OUT`
then: it finds all trials done and draws its conclusions from them."""

import json
import shutil
import sys
from pathlib import Path


def main(results: Path, out: Path, count: int) -> None:
    shutil.copytree(results, out, dirs_exist_ok=True)
    for name in ("campaign.json", "manifest.json"):
        (out / name).unlink(missing_ok=True)
    trials = [json.loads(line) for line in (results / "trials.jsonl").read_text().splitlines()]
    with open(out / "trials.jsonl", "w") as lines:
        for n in range(count):
            lines.write(json.dumps(trials[n % len(trials)] | {"trial": n}, separators=(",", ":")) + "\n")
    progress = json.loads((out / "progress.json").read_text())
    if not progress["is_finished"]:
        sys.exit(f"{results}: the campaign is not finished")
    progress["trials_bytes"] = (out / "trials.jsonl").stat().st_size
    (out / "progress.json").write_text(json.dumps(progress))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 100_000)
