"""Events against truth: what was found, where, as what, how soon, and what was raised for nothing."""

import collections
import statistics

# An event belongs to a trial when it overlaps [onset, end + this], s.
AFTER_S = 1.0
# Events that begin this long after a trial's end still count as its echo, s.
ECHO_S = 2.0


def _overlaps(event, trial, after_s):
    begins, ends = event["onset_s"], event.get("end_s")
    # Onset may be dated back to the last good frame.
    return begins <= trial["end_s"] + after_s and (ends is None or ends >= trial["onset_s"] - 0.05)


def _covers(event, trial):
    """Whether an event names a place where the trial changed the picture."""
    if event["regions"] == ["*"]:
        return trial["region"] == "*"
    return bool(set(event["regions"]) & set(trial["touched"] or [trial["region"]]))


def _names_all(events, trial):
    """Whether the events together say "whole frame", or name at least half of what was changed."""
    if trial["region"] != "*":
        return any(trial["region"] in e["regions"] for e in events)
    if any(e["regions"] == ["*"] for e in events):
        return True
    named = {r for e in events for r in e["regions"]}
    return 2 * len(named & set(trial["touched"])) >= max(1, len(trial["touched"]))


def judge(trial, events):
    """One trial: `found` in the right place at all, `right` as its class too, delays in s."""
    near = [e for e in events if _overlaps(e, trial, AFTER_S) and _detected(e, trial)]
    # A report of the whole frame for a fault of one region is an event, but not in the right place.
    here = [e for e in near if _covers(e, trial)]
    same = [e for e in here if e["class"] == trial["class"]]
    delay = lambda es: min((e["detected_s"] - trial["onset_s"] for e in es), default=None)
    return {
        "any": bool(near),
        "found": bool(here) and _names_all(here, trial),
        "right": bool(same) and _names_all(same, trial),
        "classes": sorted({e["class"] for e in here}),
        "elsewhere": sorted({r for e in near if not _covers(e, trial) for r in e["regions"]}),
        "delay_s": delay(here),
        "right_delay_s": delay(same),
    }


def _detected(event, trial):
    return trial["onset_s"] <= event["detected_s"] <= trial["end_s"] + AFTER_S


def score(passes):
    """`passes`: (name, truth, events) of each capture."""
    kinds = collections.defaultdict(list)
    missed, stray = [], []
    for name, truth, events in passes:
        for trial in truth["trials"]:
            verdict = judge(trial, events)
            kinds[trial["kind"]].append((trial, verdict))
            if not verdict["right"]:
                missed.append({"pass": name, "trial": trial, "judged": verdict})
        for event in events:
            echo = [t for t in truth["trials"] if _overlaps(event, t, ECHO_S)]
            if not any(_covers(event, t) for t in echo):
                stray.append({"pass": name, "during": [t["kind"] for t in echo], "event": event})
    return {
        "kinds": {kind: _summary(rows) for kind, rows in sorted(kinds.items())},
        "missed": missed,
        "stray_events": stray,
    }


def _summary(rows):
    delays = sorted(v["right_delay_s"] for _, v in rows if v["right"])
    confused = collections.Counter("+".join(v["classes"]) or "nothing" for _, v in rows if not v["right"])
    return {
        "class": rows[0][0]["class"],
        "trials": len(rows),
        "found": sum(v["found"] for _, v in rows),
        "right": sum(v["right"] for _, v in rows),
        "delay_median_s": statistics.median(delays) if delays else None,
        "delay_worst_s": delays[-1] if delays else None,
        "instead": dict(confused),
    }


def markdown(result):
    """The result as tables."""
    lines = ["| kind | class | in place | as class | delay median / worst, s | otherwise |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    seconds = lambda v: "-" if v is None else f"{v:.2f}"
    for kind, s in result["kinds"].items():
        instead = ", ".join(f"{n} x {c}" for c, n in s["instead"].items())
        lines.append(
            f"| {kind} | {s['class']} | {s['found']} of {s['trials']} | {s['right']} of {s['trials']} "
            f"| {seconds(s['delay_median_s'])} / {seconds(s['delay_worst_s'])} | {instead} |"
        )
    lines += ["", f"Missed, or found as something else: {len(result['missed'])}", ""]
    for m in result["missed"]:
        t, j = m["trial"], m["judged"]
        lines.append(
            f"- {m['pass']} at {t['onset_s']:.2f} s: {t['kind']} on {t['region']} {t['parameters']}, "
            f"visible px {_middle(t.get('visible_px'))}: seen here as {j['classes'] or 'nothing'}, "
            f"elsewhere {j['elsewhere'] or 'nothing'}"
        )
    lines += ["", f"Events with no fault there: {len(result['stray_events'])}", ""]
    for s in result["stray_events"]:
        e = s["event"]
        lines.append(
            f"- {s['pass']} at {e['onset_s']:.2f} s: {e['class']} in {', '.join(e['regions'])}, "
            f"during {s['during'] or 'clean video'}: {e.get('worst_error')}"
        )
    return "\n".join(lines) + "\n"


def _middle(values):
    return statistics.median(values) if values else None
