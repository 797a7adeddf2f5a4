"""Bars, and the mark that shows that the display lives."""

import math
from dataclasses import dataclass



@dataclass(frozen=True)
class Bar:
    """A straight fixed scale from `low` to `high`."""

    x: int
    y: int
    w: int
    h: int
    low: float
    high: float

    def up(self, value):
        """y of a value, growing upwards."""
        part = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.y + self.h * (1 - part)

    def right(self, value):
        """x of a value, growing to the right."""
        part = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.x + self.w * part


VERTICAL_SPEED = Bar(652, 78, 18, 228, -2000, 2000)
COLLECTIVE = Bar(734, 78, 20, 228, 0, 100)
POWER = Bar(24, 452, 128, 14, 0, 1200)
LIVE = (768, 12, 24, 20)
LIVE_PERIOD_S = 0.24


def upright_scale(pen, bar, step, minor, labels, texts):
    """Marks and numbers to the right of an upright bar."""
    edge = bar.x + bar.w
    for k in range(math.ceil(bar.low / minor), math.floor(bar.high / minor) + 1):
        v = k * minor
        pen.rect("chalk", edge, bar.up(v) - 1, 9 if v % step == 0 else 5, 2)
    for k in range(math.ceil(bar.low / labels), math.floor(bar.high / labels) + 1):
        v = k * labels
        pen.words("chalk", "label", 14, edge + 22, bar.up(v), "center", texts(v))


def scales(pen):
    """Grounds, frames, marks and numbers."""
    b = VERTICAL_SPEED
    pen.rect("slate", b.x, b.y, b.w, b.h)
    upright_scale(pen, b, 500, 250, 1000, lambda v: f"{v / 1000:.0f}")
    b = COLLECTIVE
    pen.rect("slate", b.x, b.y, b.w, b.h)
    pen.frame("steel", b.x - 1, b.y - 1, b.w + 2, b.h + 2, 1)
    upright_scale(pen, b, 20, 10, 20, lambda v: f"{v:.0f}")
    b = POWER
    pen.rect("slate", b.x, b.y, b.w, b.h)
    pen.frame("steel", b.x - 1, b.y - 1, b.w + 2, b.h + 2, 1)
    for v in range(0, 1201, 200):
        pen.rect("chalk", b.right(v) - 1, b.y + b.h, 2, 8 if v % 400 == 0 else 5)
    for v in range(0, 1201, 400):
        pen.words("chalk", "label", 14, b.right(v), b.y + b.h + 16, "center", f"{v}")
    pen.rect("crimson", b.right(1000) - 1.5, b.y + b.h, 3, 10)


def draw_vertical_speed(pen, v):
    """A pointer on the scale, or a bar from its middle."""
    b = VERTICAL_SPEED
    y = b.up(v["vertical_speed"])
    if pen.has("bar_middle_zero"):
        zero = b.up(0)
        pen.rect("leaf", b.x, min(y, zero), b.w, abs(y - zero))
        return
    half = b.w / 2
    pen.poly("chalk", [(b.x + b.w, y), (b.x, y - half), (b.x, y + half)])


def draw_collective(pen, v):
    """A filled length."""
    b = COLLECTIVE
    y = b.up(v["collective"])
    tall = b.y + b.h - y
    ctx = pen.ctx
    if pen.has("bar_round_end"):
        ctx.save()
        ctx.rectangle(b.x, b.y, b.w, b.h)
        ctx.clip()
        pen.ink("leaf")
        r = b.w / 2
        ctx.move_to(b.x, b.y + b.h)
        ctx.line_to(b.x, y + r)
        ctx.arc(b.x + r, y + r, r, math.pi, 2 * math.pi)
        ctx.line_to(b.x + b.w, b.y + b.h)
        ctx.close_path()
        ctx.fill()
        ctx.restore()
        return
    if pen.has("bar_segments"):
        for k in range(int(v["collective"] / 5)):
            pen.rect("leaf", b.x, b.up(5 * k + 5) + 1, b.w, b.h / 20 - 2)
        return
    wide = b.w / 2 if pen.has("bars_shared") else b.w
    pen.rect("leaf", b.x, y, wide, tall)
    if pen.has("bars_shared"):
        other = b.up(min(v["torque"] or 0.0, 100.0))
        pen.rect("aqua", b.x + wide, other, wide, b.y + b.h - other)


def draw_limit(pen, v):
    """A tick at the collective's limit, across the bar."""
    if pen.has("bar_limit_tick"):
        b = COLLECTIVE
        pen.rect("crimson", b.x - 5, b.up(80) - 1, b.w + 5, 2)


def draw_power(pen, v):
    """A filled length to the right, under its limit."""
    b = POWER
    color = "crimson" if v["power"] >= 1000 else "leaf"
    pen.rect(color, b.x, b.y, b.right(v["power"]) - b.x, b.h)
    pen.rect("crimson", b.right(1000) - 1.5, b.y, 3, b.h)


def draw_live(pen, v):
    """Two halves lit in turn, or one square that blinks."""
    x, y, w, h = LIVE
    first = math.floor(v["time"] / LIVE_PERIOD_S) % 2 == 0
    if pen.has("live_blink"):
        pen.rect("leaf" if first else "night", x + 4, y + 2, 16, 16)
        return
    pen.rect("leaf" if first else "slate", x, y, w / 2, h)
    pen.rect("slate" if first else "leaf", x + w / 2, y, w / 2, h)


