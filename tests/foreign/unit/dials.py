"""Round scales: rotor and engine speed, torque."""

import math
from dataclasses import dataclass, field

import cairo

from .pen import clock


@dataclass(frozen=True)
class Dial:
    """A round scale. `stops` are values and the clock angles where they stand."""

    center: tuple
    radius: float
    stops: tuple
    step: float
    minor: float
    labels: float
    label_radius: float
    bands: tuple = ()
    limits: tuple = ()
    fail: tuple = field(default=(0, 0, 0, 0, "", 0))
    major_length: float = 12.0
    minor_length: float = 7.0
    band_width: float = 6.0

    def angle(self, value):
        """Where a value stands; beyond the ends it stays there."""
        stops = self.stops
        value = min(max(value, stops[0][0]), stops[-1][0])
        for (v0, a0), (v1, a1) in zip(stops, stops[1:]):
            if value <= v1:
                return a0 + (a1 - a0) * (value - v0) / (v1 - v0)
        return stops[-1][1]

    def marks(self, step):
        """Values with a mark."""
        k = math.ceil(self.stops[0][0] / step)
        while k * step <= self.stops[-1][0]:
            yield k * step
            k += 1


ROTOR = Dial(
    center=(88, 130), radius=72, stops=((0, -130), (80, -20), (120, 130)), step=20, minor=10, labels=40,
    label_radius=45, bands=((88, 96, "gold"), (96, 104, "leaf"), (104, 108, "gold")),
    limits=((88, "crimson"), (108, "crimson")), fail=(10, 50, 156, 140, "RPM", 24),
)  # fmt: skip
TORQUE = Dial(
    center=(88, 312), radius=72, stops=((0, -130), (150, 130)), step=25, minor=5, labels=50, label_radius=44,
    bands=((0, 100, "leaf"), (100, 115, "gold")), limits=((115, "crimson"),), fail=(10, 234, 156, 140, "TRQ", 24),
)  # fmt: skip


def scale(pen, dial):
    """Bands, line, marks, numbers and limits: what never moves."""
    outside = pen.has("bands_outside")
    for low, high, color in dial.bands:
        r = dial.radius + 1 + dial.band_width / 2 if outside else dial.radius - dial.band_width / 2
        pen.arc(color, dial.center, r, dial.band_width, dial.angle(low), dial.angle(high))
    ends = dial.angle(dial.stops[0][0]), dial.angle(dial.stops[-1][0])
    cap = cairo.LINE_CAP_ROUND if pen.has("tick_round") else cairo.LINE_CAP_BUTT

    def ticks(values, length, width, color, grow):
        pairs = []
        for v in values:
            a = dial.angle(v)
            outer = clock(dial.center, dial.radius + grow / 2, a)
            pairs.append((clock(dial.center, dial.radius - length - grow / 2, a), outer))
        pen.lines(color, pairs, width + grow, cap)

    minor = [v for v in dial.marks(dial.minor) if v % dial.step]
    # All dark edges lie under all lines.
    for color, grow in (("black", 2.5), ("chalk", 0)) if pen.has("dial_dark_edges") else (("chalk", 0),):
        pen.arc(color, dial.center, dial.radius, 2 + grow, *ends)
        ticks(minor, dial.minor_length, 1 if pen.has("tick_thin") else 2, color, grow)
        ticks(dial.marks(dial.step), dial.major_length, 2, color, grow)
    for at, color in dial.limits:
        limit(pen, dial, at, color)
    if not pen.has("listed_order"):
        numbers(pen, dial)


def limit(pen, dial, at, color):
    """A marked value."""
    a = dial.angle(at)
    if pen.has("limit_triangle"):
        base, side = clock(dial.center, dial.radius + 11, a), clock((0, 0), 5, a + 90)
        pen.poly(
            color,
            [
                clock(dial.center, dial.radius + 2, a),
                (base[0] + side[0], base[1] + side[1]),
                (base[0] - side[0], base[1] - side[1]),
            ],
        )
        return
    if pen.has("limit_thin"):
        inner, outer, width = dial.radius - 20, dial.radius + 2, 1
    else:
        inner, outer, width = dial.radius - dial.major_length, dial.radius + 0.4 * dial.major_length, 3
    pen.lines(color, [(clock(dial.center, inner, a), clock(dial.center, outer, a))], width)


def numbers(pen, dial):
    """Numbers of the scale."""
    for v in dial.marks(dial.labels):
        a, text = dial.angle(v), f"{v:.0f}"
        x, y = clock(dial.center, dial.label_radius, a)
        if pen.has("label_turned"):
            pen.writer.turned(pen, "chalk", "label", 15, x, y, "center", math.radians(a), text)
        elif pen.has("label_outer_edge"):
            # The edge that faces the scale stands at one distance from it.
            half = pen.writer.width("label", 15, text) / 2, 5.5
            out = math.sin(math.radians(a)), -math.cos(math.radians(a))
            reach = min(half[k] / abs(out[k]) if abs(out[k]) > 1e-6 else 1e9 for k in (0, 1))
            x, y = clock(dial.center, dial.radius - dial.major_length - 4 - reach, a)
            pen.words("chalk", "label", 15, x, y, "center", text)
        else:
            pen.words("chalk", "label", 15, x, y, "center", text)


def needle(pen, dial, value, color, tip, tail, width):
    """A bar with a pointed end, or the tapered shape with a counterweight."""
    a = dial.angle(value)
    side = clock((0, 0), 1, a + 90)

    def at(radius, sides):
        p = clock(dial.center, radius, a)
        return p[0] + sides * side[0], p[1] + sides * side[1]

    if pen.has("needle_aliased"):
        pen.ctx.set_antialias(cairo.ANTIALIAS_NONE)
    half = width / 2
    if pen.has("needle_tapered"):
        outline = [at(tip, 0.6), at(0, half), at(-10, half * 0.7), at(-10, 5), at(-18, 5)]
        outline += [at(-18, -5), at(-10, -5), at(-10, -half * 0.7), at(0, -half), at(tip, -0.6)]
    else:
        shoulder = tip - 1.5 * width
        outline = [at(tip, 0), at(shoulder, half), at(tail, half), at(tail, -half), at(shoulder, -half)]
    if pen.has("dial_dark_edges"):
        pen.ink("black")
        pen.path(outline)
        pen.ctx.set_line_width(3)
        pen.ctx.stroke()
    if pen.has("pointer_hides_labels"):
        # The number under the pointer gives way: a clear field round the pointer's outer half.
        pen.poly("night", [at(dial.label_radius - 12, 13), at(dial.label_radius - 12, -13),
                           at(dial.label_radius + 12, -13), at(dial.label_radius + 12, 13)])  # fmt: skip
    pen.poly(color, outline)
    pen.ctx.set_antialias(cairo.ANTIALIAS_DEFAULT)
    if pen.has("hub"):
        pen.disc("steel", dial.center, 9)
        pen.disc("night", dial.center, 4)


def triangle(pen, dial, value, color, tip, base, width):
    """A pointer outside the scale, or within."""
    a = dial.angle(value)
    side, end = clock((0, 0), width / 2, a + 90), clock(dial.center, base, a)
    pen.poly(
        color, [clock(dial.center, tip, a), (end[0] + side[0], end[1] + side[1]), (end[0] - side[0], end[1] - side[1])]
    )


def rotor_color(v):
    """Colour of the rotor's pointer and figures."""
    if v < 88 or v >= 108:
        return "crimson"
    return "gold" if v < 96 or v >= 104 else "chalk"


def torque_color(v):
    """Colour of the torque's pointer and figures."""
    return "crimson" if v >= 115 else "gold" if v >= 100 else "chalk"


def draw_engine(pen, v):
    """The engine's pointer, outside the scale."""
    triangle(pen, ROTOR, v["engine_speed"], "steel", 74, 86, 13)


def draw_rotor(pen, v):
    """The rotor's needle."""
    needle(pen, ROTOR, v["rotor_speed"], rotor_color(v["rotor_speed"]), 66, -14, 6)
    if pen.has("listed_order"):
        numbers(pen, ROTOR)


def draw_torque(pen, v):
    """The torque's needle, its trend and the arc that fills."""
    if v["torque"] is None:
        pen.failure(*TORQUE.fail)
        return
    now = v["torque"]
    if pen.has("arc_filled"):
        pen.arc("leaf", TORQUE.center, 23, 8, TORQUE.angle(0), TORQUE.angle(now))
    needle(pen, TORQUE, now, torque_color(now), 66, -14, 6)
    if pen.has("trend_line"):
        ahead = now + 3.0 * v["torque_rate"]
        pen.arc("aqua", TORQUE.center, 63, 4, TORQUE.angle(now), TORQUE.angle(ahead))
    if pen.has("listed_order"):
        numbers(pen, TORQUE)
