"""Looks of the group "bars": what of the base's definition changes (region, what stands there, what stands there instead).

The bar of the collective is written out in parts; its ground, frame, marks and numbers are those of the base.
"""

from .dials import TORQUE
from .pieces import base, base_symbols, channels, group, rect, symbol

_X, _Y, _W, _H = 734, 78, 20, 228
_BAR = base("collective")[1]
_TICKS, _SCALE = _BAR["ticks"], [[0, _H], [100, 0]]


def _filled(color, channel, x, width, **more):
    """A bar that a value from 0 to 100 fills from below."""
    strip = {"rect": [x, _Y, width, _H], "direction": "up"}
    motion = {"name": "length", "channel": channel, "scale": [[0, 0], [100, 1]], "strip": strip}
    return {**rect(color, x, _Y, width, _H), "motion": [motion], **more}


def _collective(*shown):
    """The change to a bar of these parts."""

    def every(step, part, **more):
        ends = {"from": 0, "to": 100, "shift_along": [0, 1], "scale": _SCALE}
        return {**part, "repeat": {"step": step, **more, **ends}}

    def mark(length):
        return rect("chalk", _X + _W, _Y - 1, length, 2)

    frame = {"shape": {"frame": {"rect": [_X - 1, _Y - 1, _W + 2, _H + 2], "width": 1}}, "fill": "steel"}
    label = {"position": [_X + _W + 22, _Y], "font": "label", "size": 14, "color": "chalk"}
    marks = [every(10, mark(5), except_step=20), every(20, mark(9)), every(20, {"shape": {"label": label}})]
    failure = {"channels": ["collective"], "flag": _BAR["failure"]}
    ground = rect("slate", _X, _Y, _W, _H)
    return "collective", base_symbols("collective")[1], symbol(ground, frame, *marks, group(*shown, failure=failure))


def _round_end():
    """A bar with half a circle on top, cut by the ground's edge."""
    shape = {"path": f"M {_X} {_Y + 2 * _H} V {_Y + _W / 2} a 10 10 0 0 1 {_W} 0 V {_Y + 2 * _H} Z"}
    motion = {"name": "length", "channel": "collective", "scale": _SCALE, "shift_along": [0, 1]}
    return {"shape": shape, "fill": "leaf", "clip": {"rect": [_X, _Y, _W, _H]}, "motion": [motion]}


def _segments():
    """As many segments as fives are full, each with a gap of a pixel on both sides."""
    segment = rect("leaf", _X, _Y + _H - 10.4, _W, 9.4)
    segment["repeat"] = {"step": 5, "from": 0, "to": 95, "shift_along": [0, 1], "per_unit": -2.28}
    strip = {"strip": {"rect": [_X, _Y, _W, _H], "direction": "up"}, "scale": [[0, 0], [100, 1]]}
    return group(segment, motion=[{"name": "length", "channel": "full_fives", **strip}])


def _filled_arc():
    """A ring, from the scale's beginning to the value."""
    motion = {"name": "arc", "channel": "torque", "scale": TORQUE.stops, "sector": {"about": TORQUE.at, "from_deg": -130}}
    ring = {"shape": {"arc": {"center": TORQUE.at, "radii": [19, 27], "from_deg": -130, "to_deg": 130}}, "fill": "leaf"}
    return {**ring, "motion": [motion]}


def _blinking():
    """The lit half of a mark: one square, as large as half of it."""
    blink = {"rect": [772, 14, 32, 16], "on": "leaf", "off": "night", "period_ms": 240, "max_hold_ms": 600}
    return {"shape": {"blink": blink}, "clip": {"rect": [772, 14, 16, 16]}}


CHANGES = {
    "bar_round_end": [_collective(_round_end())],
    "bar_segments": [
        channels(full_fives={"expression": "5.0 * floor(collective / 5.0)", "unit": "%"}),
        ("collective", "collective = 2.0", "full_fives = 2.0"),
        _collective(_segments()),
    ],
    "live_blink": [("liveness", base_symbols("liveness")[0], symbol(_blinking()))],
    "bar_limit_tick": [_collective(_filled("leaf", "collective", _X, _W), rect("crimson", _X - 5, 122.6, _W + 5, 2))],
    "bars_shared": [
        ("collective", "collective = 2.0", "collective = 2.0, torque = 2.0"),
        _collective(_filled("leaf", "collective", _X, _W // 2), _filled("aqua", "torque", _X + _W // 2, _W // 2)),
    ],
    "arc_filled": [TORQUE.change(under=[_filled_arc()])],
}
