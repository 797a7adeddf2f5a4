"""Looks of the group "tapes": what of the base's definition changes (region, what stands there, what stands there instead).

The tapes are written out in parts, and each look draws something of them otherwise.
"""

from types import SimpleNamespace

import cairo

from ..text import Writer
from .pieces import base, base_symbols, channels, colors, group, poly, rect, symbol


class Tape:
    """A tape of the base's definition, and its pieces."""

    def __init__(self, region, step, places):
        self.region, self.step, self.places = region, step, places
        self.base = base(region)[1]
        self.x, self.y, self.w, self.h = self.base["rect"]
        self.zero, self.channel = self.base["reference"], self.base["channel"]
        self.window, self.readout = self.base["window"]["rect"], self.base["window"]["readout"]
        self.edge, self.inward = (self.x + self.w, -1) if self.base["edge"] == "right" else (self.x, 1)

    def lane(self, color, across, y, height):
        """A rectangle from the edge inwards."""
        return rect(color, self.edge if self.inward > 0 else self.edge - across, y, across, height)

    def scale(self, px, high, minor, labels):
        """Bands, marks and numbers, moved by the value."""
        low, ticks = self.base["min"], self.base["ticks"]
        parts = []
        for band in self.base.get("bands", ()):
            parts.append(self.lane(band["color"], 6, self.zero - px * band["to"], px * (band["to"] - band["from"])))
        every = {"from": low, "to": high, "shift_along": [0, 1], "per_unit": -px}
        place = [self.edge + self.inward * ticks["labels"]["distance"], self.zero]
        for part, steps in (
            (self.lane("chalk", 7, self.zero - 1, 2), {"step": minor, "except_step": ticks["major_step"]}),
            (self.lane("chalk", 12, self.zero - 1, 2), {"step": ticks["major_step"]}),
            ({"shape": {"label": {"position": place, "font": "digits", "size": 15, "color": "chalk"}}}, {"step": labels}),
        ):
            parts.append({**part, "repeat": {**steps, **every}})
        motion = {"name": "scale", "channel": self.channel, "range": [low, high], "per_unit": px, "shift_along": [0, 1]}
        return group(*parts, motion=[motion])

    def bug(self, color, motion):
        """A block with a notch."""
        corners = [(0, -8), (10, -8), (10, 8), (0, 8), (0, 4), (5, 0), (0, -4)]
        outline = [[self.edge + self.inward * across, self.zero + down] for across, down in corners]
        return {**poly(color, outline), "motion": [{"name": "bug", "shift_along": [0, 1], **motion}]}

    def plain_window(self):
        """Ground and border of the window."""
        return [rect("night", *self.window), {"shape": {"frame": {"rect": self.window, "width": 2}}, "fill": "chalk"}]

    def figure(self, place, size, right, y=None, **more):
        """What stands in the window from a place of the number on: 0 for ones, 1 for tens, ..."""
        unit = 10**place
        cut = {"quantum": self.step}
        if unit >= self.step:  # rounded to steps, then cut behind the place
            cut = {"scale": 1 / unit, "offset": (self.step - unit) / (2 * unit)}
        # Without valid data the failure flag stands here, no dashes.
        shown = {**self.readout, "size": size, "position": [right, y or self.zero], "invalid_text": ""}
        return {"shape": {"readout": {**shown, "format": {**cut, **more}}}}

    def outline(self, place, middle, size):
        """A dark line round a figure: which one it is follows from a channel of its own."""
        stroke = {"color": "black", "width": 5, "join": "round"}
        parts = [{"shape": {"path": _outline(digit, size, middle, self.zero)}, "stroke": stroke} for digit in "0123456789"]
        if 10**place < self.step:
            return parts[0]
        shown = [{"when": [{"channel": f"{self.channel}_{place}", "equals": digit}]} for digit in range(10)]
        return group(*({**part, **when} for part, when in zip(parts, shown)), choose=True)

    def at_least(self, number):
        """Whether so much is written, or more."""
        return {"when": [{"channel": self.channel, "at_least": number - self.step / 2}]}

    def single_figures(self, size, pitch, boxed=False, outlined=False):
        """Figures at a distance of their own, each in a box or outlined if asked for, as many as the number has."""
        parts = []
        for place in range(self.places):
            middle = self.readout["position"][0] - pitch * (place + 0.5)
            one = {**self.figure(place, size, middle, wrap=10), **(self.at_least(10**place) if place else {})}
            one["shape"]["readout"]["align"] = "center"
            if boxed:
                box = rect("slate", middle - pitch / 2, self.zero - 0.55 * size, pitch - 1, 1.1 * size)
                one = group(box, {"shape": one.pop("shape")}, **one)
            if outlined:
                one = group(self.outline(place, middle, size), {"shape": one.pop("shape")}, **one)
            parts.append(one)
        return parts

    def change(
        self, over_scale=(), over_bug=(), over=(), window=None, figures=None, px=None, high=None, minor=None, labels=None
    ):  # fmt: skip
        """The change to a tape in parts; `figures` stand in place of the window's readout."""
        ticks, px, high = self.base["ticks"], px or self.base["px_per_unit"], high or self.base["max"]
        scale = self.scale(px, high, minor or ticks["minor_step"], labels or ticks["labels"]["step"])
        reach, bug = self.h / 2, self.base["bugs"][0]
        way = {"channel": bug["channel"], "minus": self.channel, "minus_range": [self.base["min"], high]}
        way["scale"] = [[-reach / px, reach], [reach / px, -reach]]
        cut = group(scale, *over_scale, self.bug(bug["color"], way), *over_bug, clip={"rect": self.base["rect"]})
        window = self.plain_window() if window is None else window
        figures = figures or [{"id": "window", "shape": {"readout": self.readout}}]
        failure = {"channels": [self.channel], "flag": self.base["failure"]}
        shown = group(cut, *over, *window, *figures, failure=failure)
        return self.region, base_symbols(self.region)[1], symbol(rect("slate", *self.base["rect"]), shown)


def _outline(character, size, x, y):
    """SVG path data of a character of the font of the figures."""
    pen = SimpleNamespace(ctx=cairo.Context(cairo.ImageSurface(cairo.FORMAT_A8, 800, 600)))
    Writer().outline(pen, "digits", size, x, y, "center", character)
    pieces = list(pen.ctx.copy_path())[:-1]  # but for the move behind the last outline
    return " ".join("MLCZ"[kind] + " ".join(f"{n:.2f}" for n in points) for kind, points in pieces)


def _digits(tape):
    """Channels of the digits of the written number."""
    half = tape.step / 2
    moving = (k for k in range(tape.places) if 10**k >= tape.step)
    return {f"{tape.channel}_{k}": {"expression": f"floor(({tape.channel} + {half}) / {10.0**k}) % 10.0"} for k in moving}


_SPEED, _HEIGHT = Tape("airspeed", 1, 3), Tape("altitude", 10, 5)


def _both(of):
    """The changes of both tapes."""
    return [tape.change(**of(tape)) for tape in (_SPEED, _HEIGHT)]


def _pointed(tape):
    """A window with two round corners and a point at the scale's edge, drawn from the middle of its border."""
    x, y, w, h = tape.window
    left, top, right, bottom = x + 1, y + 1, x + w - 1, y + h - 1
    if tape.inward < 0:
        path = f"M {left} {top + 5} a 5 5 0 0 1 5 -5 H {right} v 9 l 10 9 -10 9 V {bottom} H {left + 5} a 5 5 0 0 1 -5 -5 Z"
    else:
        path = f"M {right - 5} {top} a 5 5 0 0 1 5 5 V {bottom - 5} a 5 5 0 0 1 -5 5 H {left} v -9 l -10 -9 10 -9 V {top} Z"
    return {"window": [{"shape": {"path": path}, "fill": "night", "stroke": {"color": "chalk", "width": 2}}]}


def _small(tape):
    """Of four figures and more the last two smaller, on one base line with the others."""
    right, low = tape.readout["position"][0], tape.zero + 0.38 * (22 - 16)
    two = group(tape.figure(2, 22, right - 20), tape.figure(0, 16, right, low, digits=2, wrap=100), **tape.at_least(1000))
    return {"figures": [group(two, {"shape": {"readout": tape.readout}}, choose=True)]}


def _rolling(tape):
    """Figures that roll by twenties within the window's border."""
    x, y, w, h = tape.window
    drum = {key: tape.readout[key] for key in ("channel", "position", "font", "size", "color")}
    drum |= {"pitch": 14, "row_height": 22, "places": 4, "unit": 20, "last_digits": 2}
    return {"figures": [group({"shape": {"drum": drum}}, clip={"rect": [x + 2, y + 2, w - 4, h - 4]})]}


def _shaded(tape):
    """Darker to both ends, over the scale and under the bug."""
    stops = [{"offset": at, "color": "night", "opacity": much} for at, much in ((0, 0.85), (0.3, 0), (0.7, 0), (1, 0.85))]
    shade = {"from": [0, tape.y], "to": [0, tape.y + tape.h], "stop": stops}
    return {"over_scale": [{"shape": {"rect": tape.base["rect"]}, "shade": shade}]}


def _fixed_bug(tape, at, px=2.6):
    """A bug at a number, which parks at the ends of the tape like the others."""
    reach = tape.h / 2
    scale = [[at - reach / px, -reach], [at + reach / px, reach]]
    return {"over_bug": [tape.bug("gold", {"channel": tape.channel, "scale": scale})]}


def _trend(tape, px=2.6):
    """An arrow from the middle to where the value will be, up to 110 px away; none that is shorter than 4 px."""
    x, y = tape.edge + tape.inward * 16, tape.zero
    both = []
    for way in (-1, 1):
        lengths = [[-110 / px, 110 * way], [110 / px, -110 * way]]
        head = poly("aqua", [[x, y], [x - 5, y - 7 * way], [x + 5, y - 7 * way]])
        head["motion"] = [{"name": "trend", "channel": "airspeed_trend", "scale": lengths, "shift_along": [0, way]}]
        strip = {"rect": [x - 1.5, y - 110, 3, 220], "direction": "down", "from": 0.5}
        ends = [[value, 0.5 + (place - 7) * way / 220] for value, place in lengths]
        shaft = rect("aqua", x - 1.5, y - 110, 3, 220)
        shaft["motion"] = [{"name": "trend", "channel": "airspeed_trend", "scale": ends, "strip": strip}]
        bound = {"at_least": 4 / px} if way < 0 else {"at_most": -4 / px}
        both.append(group(shaft, head, when=[{"channel": "airspeed_trend", **bound}]))
    return {"over": both}


_SIGNED = {key: value for key, value in base("outside_air")[1].items() if key != "kind"}
_PLUS_ZERO = group(
    {"shape": {"readout": {**_SIGNED, "format": {"suffix": "°C"}}}, "when": [{"channel": "outside_air", "below": -0.5}]},
    {"shape": {"readout": {**_SIGNED, "format": {"prefix": "+", "suffix": "°C"}}}},
    choose=True,
)

CHANGES = {
    "window_pointed": _both(_pointed),
    "digits_small": [_HEIGHT.change(**_small(_HEIGHT))],
    "digits_rolling": [_HEIGHT.change(**_rolling(_HEIGHT))],
    "digit_boxes": _both(lambda tape: {"figures": tape.single_figures(20, 16, boxed=True)}),
    "pitch_wide": _both(lambda tape: {"figures": tape.single_figures(20, 16)}),
    "pitch_narrow": [
        _SPEED.change(figures=_SPEED.single_figures(26, 15)),
        _HEIGHT.change(figures=_HEIGHT.single_figures(22, 12)),
    ],
    "digit_outline": [
        colors(black="#000000"),
        channels(**_digits(_SPEED), **_digits(_HEIGHT)),
        _SPEED.change(window=[], figures=_SPEED.single_figures(26, 17, outlined=True)),
        _HEIGHT.change(window=[], figures=_HEIGHT.single_figures(22, 14, outlined=True)),
    ],
    "plus_zero": [("outside_air", base_symbols("outside_air")[1], symbol(_PLUS_ZERO))],
    "tape_long": [_HEIGHT.change(px=0.9, high=52000, minor=20, labels=100)],
    "tape_shaded": _both(_shaded),
    "bug_constant": [_SPEED.change(**_fixed_bug(_SPEED, 90))],
    "trend_arrow": [
        channels(airspeed_trend={"expression": "6.0 * rate(airspeed, 0.5)", "unit": "kt"}),
        ("airspeed", "airspeed = 3.0,", "airspeed = 3.0, airspeed_trend = 3.0,"),
        _SPEED.change(**_trend(_SPEED)),
    ],
}
