"""Looks of the group "dials": what of the base's definition changes (region, what stands there, what stands there instead).

The dials are written out in parts, and each look draws something of them otherwise.
"""

import math

from .pieces import base, base_symbols, channels, colors, disc, group, line, poly, symbol, words

_RADIUS, _MAJOR, _MINOR, _BAND = 72, 12, 7, 6
_NEEDLE = [[0, -66], [3, -57], [3, 14], [-3, 14], [-3, -57]]
_TAPERED = [[0.6, -66], [3, 0], [2.1, 10], [5, 10], [5, 18], [-5, 18], [-5, 10], [-2.1, 10], [-3, 0], [-0.6, -66]]
_LABEL = {"font": "label", "size": 15, "color": "chalk"}


class Dial:
    """A dial of the base's definition, and its pieces."""

    def __init__(self, region, label_radius):
        self.region, self.label_radius = region, label_radius
        self.base = base(region)[0]
        self.at, self.stops = self.base["center"], self.base["breakpoints"]
        self.low, self.high = self.stops[0][0], self.stops[-1][0]

    def angle(self, value):
        """Where a value stands, deg."""
        for (v0, a0), (v1, a1) in zip(self.stops, self.stops[1:]):
            if value <= v1:
                return a0 + (a1 - a0) * (value - v0) / (v1 - v0)
        return self.stops[-1][1]

    def arc(self, color, low, high, inner, outer):
        """A stretch of the scale."""
        ends = {"from_deg": self.angle(low), "to_deg": self.angle(high)}
        return {"shape": {"arc": {"center": self.at, "radii": [inner, outer], **ends}}, "fill": color}

    def every(self, step, part, **more):
        """A part at every step of the scale; it stands round the middle of the dial."""
        repeat = {"step": step, "from": self.low, "to": self.high, **more, "turn_about": self.at, "scale": self.stops}
        return {**part, "at": self.at, "repeat": repeat}

    def pointing(self, part, channel=None):
        """A part round the middle of the dial, turned to where a value stands."""
        motion = {"name": "pointer", "channel": channel or self.base["pointers"][-1]["channel"], "scale": self.stops}
        return {**part, "at": self.at, "motion": [{**motion, "turn_about": self.at}]}

    def line(self, color="chalk", width=2.0):
        """The line of the scale."""
        return self.arc(color, self.low, self.high, _RADIUS - width / 2, _RADIUS + width / 2)

    def ticks(self, color="chalk", width=2, longer=0.0, **stroke):
        """Short and long marks."""

        def mark(length):
            return line(color, width, [[0, -_RADIUS + length + longer], [0, -_RADIUS - longer]], **stroke)

        ticks = self.base["ticks"]
        short = self.every(ticks["minor_step"], mark(_MINOR), except_step=ticks["major_step"])
        return [short, self.every(ticks["major_step"], mark(_MAJOR))]

    def numbers(self, **more):
        """Numbers, turned with the scale."""
        label = {"shape": {"label": {"position": [0, -self.label_radius], **_LABEL}}, **more}
        return [self.every(self.base["ticks"]["labels"]["step"], label)]

    def upright(self):
        """Numbers that stay level."""
        return self.numbers(upright=True)

    def outer_edge(self):
        """Numbers whose edge towards the scale keeps its distance; figures are 10 px wide and 11 px high."""
        parts = []
        for value in range(self.low, self.high + 1, self.base["ticks"]["labels"]["step"]):
            a = math.radians(self.angle(value))
            x, y = math.sin(a), -math.cos(a)
            half = 5 * len(str(value))
            r = _RADIUS - _MAJOR - 4 - min(half / max(abs(x), 1e-9), 5.5 / max(abs(y), 1e-9))
            parts.append(words("chalk", "label", 15, self.at[0] + r * x, self.at[1] + r * y, "center", str(value)))
        return parts

    def needle(self, outline=None, under=None):
        """The needle, coloured by its value, over what turns with it."""
        needle = {**poly("chalk", outline or _NEEDLE), "color_rules": self.base["pointers"][-1]["color_rules"]}
        return self.pointing(group(under, needle) if under else needle)

    def change(self, edges=(), marks=None, numbers=upright, limit=None, under=(), needle=None, over=()):
        """The change to a dial in parts. `edges` lie under its line and marks, `under` under the needle, `over` over it."""
        bands = [self.arc(b["color"], b["from"], b["to"], _RADIUS - _BAND, _RADIUS) for b in self.base["bands"]]
        limit = limit or line("crimson", 3, [[0, -_RADIUS + _MAJOR], [0, -_RADIUS - 0.4 * _MAJOR]])
        limits = [{**limit, "at": self.at, "turned_deg": self.angle(one["at"])} for one in self.base["limits"]]
        still = [*bands, *edges, self.line(), *(marks or self.ticks()), *limits, *(numbers(self) if numbers else ())]
        moving = [*under, needle or self.needle(), *over]
        if self.region == "rotor":
            engine = poly("steel", [[0, -74], [6.5, -86], [-6.5, -86]])
            moving = [self.pointing(engine, "engine_speed"), *moving, {"shape": {"readout": self.base["readout"]}}]
        shown = [pointer["channel"] for pointer in self.base["pointers"]]
        failure = {"channels": shown, "all": True, "flag": self.base["failure"]}
        return self.region, base_symbols(self.region)[0], symbol(*still, group(*moving, failure=failure))


_ROTOR, TORQUE = Dial("rotor", 45), Dial("torque", 44)


def _both(of=lambda dial: {}, **same):
    """The changes of both dials."""
    return [dial.change(**of(dial), **same) for dial in (_ROTOR, TORQUE)]


def _dark_edges(dial):
    """Dark edges of line, marks and needle, under all of them."""
    dark = {"shape": {"polygon": _NEEDLE}, "stroke": {"color": "black", "width": 3}}
    return {"edges": [dial.line("black", 4.5), *dial.ticks("black", 4.5, 1.25)], "needle": dial.needle(under=dark)}


def _clear_field(dial):
    """A field round the needle that hides the numbers below it."""
    near, far = -dial.label_radius + 12, -dial.label_radius - 12
    return {"needle": dial.needle(under=poly("night", [[-13, near], [-13, far], [13, far], [13, near]]))}


def _trend(dial):
    """An arc from the needle to the value that is coming: what turns with the needle holds a ring, cut to a sector."""
    way = {"name": "trend", "channel": "torque_ahead", "minus": "torque", "range": [dial.low, dial.high]}
    way |= {"per_unit": 260 / 150, "sector": {"about": [0, 0], "from_deg": 0}}
    ring = {"shape": {"arc": {"center": [0, 0], "radii": [61, 65], "from_deg": -180, "to_deg": 180}}, "fill": "aqua"}
    return dial.pointing(group({**ring, "motion": [way]}))


CHANGES = {
    "needle_tapered": _both(lambda dial: {"needle": dial.needle(_TAPERED)}),
    "hub": _both(lambda dial: {"over": [disc("steel", *dial.at, 9), disc("night", *dial.at, 4)]}),
    "label_turned": _both(numbers=Dial.numbers),
    "label_outer_edge": _both(numbers=Dial.outer_edge),
    "limit_triangle": _both(limit=poly("crimson", [[0, -_RADIUS - 2], [5, -_RADIUS - 11], [-5, -_RADIUS - 11]])),
    "trend_line": [
        channels(torque_ahead={"expression": "torque + 3.0 * rate(torque, 0.5)", "unit": "%"}),
        ("torque", "torque = 2.0", "torque = 2.0, torque_ahead = 2.0"),
        TORQUE.change(over=[_trend(TORQUE)]),
    ],
    "tick_round": _both(lambda dial: {"marks": dial.ticks(cap="round")}),
    "dial_dark_edges": [colors(black="#000000"), *_both(_dark_edges)],
    "limit_thin": _both(limit=line("crimson", 1, [[0, -_RADIUS + 20], [0, -_RADIUS - 2]])),
    "pointer_hides_labels": _both(_clear_field),
    "listed_order": _both(lambda dial: {"numbers": None, "over": dial.upright()}),
}
