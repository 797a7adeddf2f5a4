"""Looks of the group "alerts": what of the base's definition changes (region, what stands there, what stands there instead).

An alert stands in the slot whose number is how many alerts of a higher rank are on: channels count those. Alerts without
a place of their own (one column, no flashing) stay slots, with grounds and frames of parts beneath them.
"""

from .pieces import base, base_kind, base_symbols, channels, group, line, rect, rounded, symbol, words

_LIST = base("alerts")[0]
_CLASSES = ("warning", "caution", "advisory")
_ALERTS = sorted(_LIST["alert"], key=lambda a: (_CLASSES.index(a["class"]), a["priority"]))
_COLORS = _LIST["colors"]
_X, _Y, _ROW, _SLOTS = 566, 352, 26, 6
_SIGNS = {"at_least": ">=", "below": "<"}


def _count(alerts):
    """The expression that counts those that are on; one whose data are invalid is not on."""
    terms = []
    for alert in alerts:
        tests = []
        for condition in alert["when"]:
            channel = condition["channel"]
            bounds = [f"{channel} {sign} {float(condition[key])}" for key, sign in _SIGNS.items() if key in condition]
            tests += [f"valid({channel})", *bounds]
        terms.append(f"({' && '.join(tests)} ? 1.0 : 0.0)")
    return {"expression": " + ".join(terms) or "0.0"}


def _up_to(last):
    """How many alerts are on whose class is as urgent as this one or more so."""
    classes = _CLASSES[: _CLASSES.index(last) + 1]
    return _count(a for a in _ALERTS if a["class"] in classes)


def _has(channel, slot):
    return [{"channel": channel, "above": slot + 0.5}]


# Grounds and frames of slots, beneath the words.
def _reversed(slot):
    ground = rect(_COLORS["warning"], _X - 5, _Y + _ROW * slot - 12, 218, 23)
    return {**ground, "when": _has("warnings", slot)}


def _framed(slot):
    frame = {"shape": rounded(_X - 4, _Y + _ROW * slot - 11, 216, 21, 6)}
    counts = zip(("warnings", "warnings_cautions", "alerts"), _COLORS.values())
    return group(
        *({**frame, "stroke": {"color": color, "width": 1.5}, "when": _has(count, slot)} for count, color in counts),
        choose=True,
    )


def _on(*parts):
    """The change that puts the slots on parts."""
    (slots,) = base_symbols("alerts")
    return "alerts", slots, symbol(*parts) + slots


# Alerts that stand by themselves: each in every slot that it can come to.
def _placed(size, places, when=None):
    parts = []
    for n, alert in enumerate(_ALERTS):
        color, own = _COLORS[alert["class"]], [*alert["when"], *(when or {}).get(alert["class"], [])]
        for slot, (x, y) in enumerate(places[: n + 1]):
            here = {"channel": f"before_{n}", "equals": slot}
            parts.append({**words(color, "digits", size, x, y, "left", alert["text"]), "when": [*own, here]})
    counts = {f"before_{n}": _count(_ALERTS[:n]) for n in range(len(_ALERTS))}
    return [channels(**counts), ("alerts", base_symbols("alerts")[0], symbol(*parts))]


_COLUMN = [(_X, _Y + _ROW * slot) for slot in range(_SLOTS)]
_COLUMNS = [(_X + 118 * (slot % 2), _Y + _ROW * (slot // 2)) for slot in range(_SLOTS)]
# Warnings flash by the unit's clock, which is that of the recording, until they are acknowledged.
_CLOCK = {"clock": {"column": "t_s", "unit": "s"}, "flash": {"expression": "clock % 1.0"}}
_CREW = {"acknowledged": {"column": "acknowledged", "range": [0, 1], "interpolation": "hold"}}
_SHOWN = {"any": [{"channel": "acknowledged", "equals": 1}, {"channel": "flash", "below": 0.5}]}


# Modes on grounds with round corners.
def _round_mode(flag):
    x, y, w, h = flag["rect"]
    middle = (x + w / 2, y + h / 2, "center")

    def look(state, ground, **more):
        return group(ground, words(state["color"], flag["font"], flag["size"], *middle, state["text"]), **more)

    ground = {"shape": rounded(x, y, w, h, 8), "fill": "slate"}
    frame = {"shape": {"frame": {"rect": [x, y, w, h], "width": 2}}, "fill": "gold"}
    looks = [
        look(state, ground, when=[{"channel": flag["channel"], "equals": state["value"]}]) for state in flag["state"]
    ]
    return symbol(group(*looks, look(flag["invalid"], frame), choose=True))


# What stands over the cleared dial of the torque while it is invalid; the words stand on a ground of their own.
_FLAG = base("torque")[0]["failure"]["rect"]
_FLAG_BOX = (56.3, 284.8, 63.4, 38.4)


def _flag(*parts):
    x, y, w, h = _FLAG
    gone = [{"channel": "torque", "valid": False}]
    text = words("gold", "strong", 24, x + w / 2, y + h / 2, "center", "TRQ")
    old = base_kind("torque", "dial")
    return "torque", old, old.replace("cross = true", "cross = false") + symbol(
        group(*parts, text, when=gone, clip={"rect": _FLAG})
    )


def _cross(width):
    x, y, w, h = _FLAG
    return [line("gold", width, [[x, y], [x + w, y + h]]), line("gold", width, [[x, y + h], [x + w, y]])]


_FRAME = {"shape": {"frame": {"rect": [56, 285, 63, 38], "width": 2}}, "fill": "gold"}
CHANGES = {
    "reverse_video": [
        channels(warnings=_up_to("warning")),
        _on(*map(_reversed, range(3))),
        ("alerts", 'warning = "crimson"', 'warning = "night"'),
    ],
    "boxes_round": [
        channels(warnings=_up_to("warning"), warnings_cautions=_up_to("caution"), alerts=_up_to("advisory")),
        _on(*map(_framed, range(_SLOTS))),
        *(("modes", old, _round_mode(flag)) for old, flag in zip(base_symbols("modes"), base("modes"))),
    ],
    "flashing": [
        channels(**_CLOCK, **_CREW),
        # One that does not flash is wrong for less than `confirm_ms` at a time.
        ("alerts", "confirm_ms = 300\n", "confirm_ms = 300\nconfirm_frames = [7, 25]\n"),
        *_placed(18, _COLUMN, {"warning": [_SHOWN]}),
    ],
    "two_columns": _placed(14, _COLUMNS),
    "cross_thick": [_flag(*_cross(7), rect("night", *_FLAG_BOX))],
    "failure_boxed": [_flag(rect("night", *_FLAG_BOX), _FRAME)],
}
