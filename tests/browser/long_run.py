"""A result folder as a check of three hours would leave it, to see how the page takes it.

270,000 frames at 25 a second, twenty regions, readings, blind stretches, and a fault every five minutes. No
pictures. Usage: long_run.py RESULTS OUT, where RESULTS is a folder that a check made (its display and summary
are taken over)."""

import functools
import hashlib
import json
import random
import sys
import zlib
from pathlib import Path

FRAMES, RATE_HZ = 270_000, 25.0
CLASSES = ["blank", "garbled", "late", "frozen", "misleading"]


@functools.cache
def region_text(region: str, verdict: str, phase: int) -> str:
    """A region's part of a line; kept, since making 5.4 million of them takes minutes."""
    value = 100 + phase / 10
    reading = {"channel": "c", "what": "pointer", "displayed": value + 0.01, "expected": value,
               "error": 0.01, "standard_error": 0.02, "unit": "kt", "px_per_unit": 3.0}
    record = {"verdict": verdict, "staleness_ms": 40.0, "staleness_se_ms": 1.0, "readings": [reading]}
    return f"{json.dumps(region)}:{json.dumps(record, separators=(',', ':'))}"


def main(results: Path, out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    display = json.loads((results / "display.json").read_text())
    summary = json.loads((results / "summary.json").read_text())
    rng = random.Random(7)
    regions = [r["id"] for r in display["regions"]]
    faults = {}
    events = []
    for n, start in enumerate(range(3000, FRAMES - 200, 7500)):
        region, kind, frames = rng.choice(regions), CLASSES[n % 5], rng.randint(20, 120)
        faults.update({f: (region, kind) for f in range(start, start + frames)})
        t = start / RATE_HZ
        events.append({
            "class": kind, "regions": [region], "onset_s": t, "detected_s": round(t + 0.32, 3),
            "end_s": round(t + frames / RATE_HZ, 3), "first_frame": start, "last_frame": start + frames - 1,
            "hazard": "hazardous", "action": "revert", "worst_error": None, "requirement": "",
            "remarks": [], "best_frame": start})
    counts = {r: {} for r in regions}
    whole = {}
    blind_until = dict.fromkeys(regions, 0)
    is_blind = dict.fromkeys(regions, False)
    with open(out / "frames.jsonl", "w") as lines:
        for f in range(FRAMES):
            fault = faults.get(f)
            row = []
            for r in regions:
                if f >= blind_until[r]:
                    is_blind[r] = not is_blind[r]
                    blind_until[r] = f + rng.randint(5, 4000)
                verdict = fault[1] if fault and fault[0] == r else "blind" if is_blind[r] else "agrees"
                row.append(region_text(r, verdict, f % 500))
                counts[r][verdict] = counts[r].get(verdict, 0) + 1
            verdict = fault[1] if fault else "agrees"
            whole[verdict] = whole.get(verdict, 0) + 1
            crc = zlib.crc32(str(f).encode())
            lines.write(f'{{"frame":{f},"time_s":{round(f / RATE_HZ, 6)},"crc32":{crc},"verdict":"{verdict}",'
                        f'"regions":{{{",".join(row)}}}}}\n')
    summary.update(frames=FRAMES, span_s=[0.0, (FRAMES - 1) / RATE_HZ], frame_verdicts=whole, region_verdicts=counts,
                   result="faults found", blind_s={r: counts[r].get("blind", 0) / RATE_HZ for r in regions})
    for name, value in {"display": display, "summary": summary, "events": events,
                        "stills": {"records_version": 1, "events": [], "events_without": len(events)}}.items():
        (out / f"{name}.json").write_text(json.dumps(value, indent=2))
    manifest = json.loads((results / "manifest.json").read_text())
    manifest["outputs"] = []
    for path in sorted(out.glob("*.json*")):
        if path.name != "manifest.json":
            content = path.read_bytes()
            manifest["outputs"].append({"path": path.name, "bytes": len(content), "crc32": zlib.crc32(content),
                                        "sha256": hashlib.sha256(content).hexdigest()})
    (out / "manifest.json").write_text(json.dumps(manifest, indent=2))


main(Path(sys.argv[1]), Path(sys.argv[2]))
