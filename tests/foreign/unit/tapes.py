"""Airspeed and altitude: moving scales with windows."""

import math
from dataclasses import dataclass

import cairo


@dataclass(frozen=True)
class Tape:
    """A moving vertical scale; values grow upwards. `edge` is left or right."""

    x: int
    y: int
    w: int
    h: int
    at: float
    edge: str
    px: float
    low: float
    high: float
    step: float
    minor: float
    labels: float
    label_distance: float
    bands: tuple = ()


AIRSPEED = Tape(176, 66, 70, 258, 195, "right", 2.6, 0, 160, 10, 5, 20, 40,
                bands=((10, 100, "leaf"), (100, 125, "gold"), (125, 160, "crimson")))  # fmt: skip
ALTITUDE = Tape(554, 66, 86, 258, 195, "left", 0.3, -1000, 20000, 100, 50, 200, 50)
ALTITUDE_LONG = Tape(554, 66, 86, 258, 195, "left", 0.9, -1000, 52000, 100, 20, 100, 50)
SPEED_WINDOW = (176, 176, 58, 38)
HEIGHT_WINDOW = (568, 176, 72, 38)
MAX_SPEED_BUG_KT = 90.0


def altitude_tape(pen):
    """The altitude's scale in this look."""
    return ALTITUDE_LONG if pen.has("tape_long") else ALTITUDE


def ground(pen, tape):
    """What lies under the scale."""
    pen.rect("slate", tape.x, tape.y, tape.w, tape.h)


def shade(pen, tape):
    """Darkens the scale to its ends."""
    fade = cairo.LinearGradient(0, tape.y, 0, tape.y + tape.h)
    for at, alpha in ((0, 0.85), (0.3, 0), (0.7, 0), (1, 0.85)):
        fade.add_color_stop_rgba(at, *pen.color("night"), alpha)
    pen.ctx.rectangle(tape.x, tape.y, tape.w, tape.h)
    pen.ctx.set_source(fade)
    pen.ctx.fill()


def scale(pen, tape, value):
    """Bands, marks and numbers at a value."""
    value = min(max(value, tape.low), tape.high)
    ctx = pen.ctx
    ctx.save()
    ctx.rectangle(tape.x, tape.y, tape.w, tape.h)
    ctx.clip()
    edge, inward = (tape.x + tape.w, -1) if tape.edge == "right" else (tape.x, 1)

    def along(v):
        return tape.at - (v - value) * tape.px

    first = max(tape.low, value - (tape.y + tape.h - tape.at + 20) / tape.px)
    last = min(tape.high, value + (tape.at - tape.y + 20) / tape.px)
    for low, high, color in tape.bands:
        a, b = along(min(high, last)), along(max(low, first))
        if a < b:
            pen.rect(color, min(edge, edge + inward * 6), a, 6, b - a)
    pen.ink("chalk")
    for k in range(math.ceil(first / tape.minor), math.floor(last / tape.minor) + 1):
        v = k * tape.minor
        length = 7 if v % tape.step else 12
        ctx.rectangle(min(edge, edge + inward * length), along(v) - 1, length, 2)
    ctx.fill()
    for k in range(math.ceil(first / tape.labels), math.floor(last / tape.labels) + 1):
        v = k * tape.labels
        pen.words("chalk", "digits", 15, edge + inward * tape.label_distance, along(v), "center", f"{v:.0f}")
    if pen.has("tape_shaded"):
        shade(pen, tape)
    ctx.restore()


def bug(pen, tape, value, at, color):
    """A block with a notch at a value, or without."""
    value = min(max(value, tape.low), tape.high)
    y = min(max(tape.at - (at - value) * tape.px, tape.y), tape.y + tape.h)
    edge, inward = (tape.x + tape.w, -1) if tape.edge == "right" else (tape.x, 1)
    pen.ctx.save()
    pen.ctx.rectangle(tape.x, tape.y, tape.w, tape.h)
    pen.ctx.clip()
    half, deep = 8, 10
    points = [(0, -half), (deep, -half), (deep, half), (0, half)]
    if not pen.has("bug_plain"):
        points += [(0, half / 2), (deep / 2, 0), (0, -half / 2)]
    pen.poly(color, [(edge + inward * across, y + down) for across, down in points])
    pen.ctx.restore()


def trend(pen, tape, rate, seconds=6.0):
    """An arrow from the present value to the one that is coming."""
    reach = min(max(rate * seconds * tape.px, -110.0), 110.0)
    if abs(reach) < 4:
        return
    edge, inward = (tape.x + tape.w, -1) if tape.edge == "right" else (tape.x, 1)
    x, tip = edge + inward * 16, tape.at - reach
    away = math.copysign(7, reach)
    pen.lines("aqua", [((x, tape.at), (x, tip + away))], 3)
    pen.poly("aqua", [(x, tip), (x - 5, tip + away), (x + 5, tip + away)])


def window_frame(pen, box, points_right):
    """The window's ground and border: a plain box, or with a pointed side and round corners."""
    x, y, w, h = box
    if pen.has("digit_outline"):
        return  # outlined figures stand on the scale itself
    if not pen.has("window_pointed"):
        pen.rect("night", x, y, w, h)
        pen.frame("chalk", x, y, w, h, 2)
        return
    ctx, r, mid = pen.ctx, 5, y + h / 2
    inner = [x + 1, y + 1, x + w - 1, y + h - 1]
    tip = 10
    ctx.new_path()
    if points_right:
        ctx.arc(inner[0] + r, inner[1] + r, r, math.pi, 1.5 * math.pi)
        for p in ((inner[2], inner[1]), (inner[2], mid - 9), (inner[2] + tip, mid), (inner[2], mid + 9)):
            ctx.line_to(*p)
        ctx.line_to(inner[2], inner[3])
        ctx.arc(inner[0] + r, inner[3] - r, r, 0.5 * math.pi, math.pi)
    else:
        ctx.arc(inner[2] - r, inner[1] + r, r, 1.5 * math.pi, 2 * math.pi)
        ctx.arc(inner[2] - r, inner[3] - r, r, 0, 0.5 * math.pi)
        for p in ((inner[0], inner[3]), (inner[0], mid + 9), (inner[0] - tip, mid), (inner[0], mid - 9)):
            ctx.line_to(*p)
        ctx.line_to(inner[0], inner[1])
    ctx.close_path()
    pen.ink("night")
    ctx.fill_preserve()
    pen.ink("chalk")
    ctx.set_line_width(2)
    ctx.stroke()


def rounded(pen, value, step):
    """The number that is written: to the nearest step, or cut."""
    for look, other in (("round_5", 5), ("round_20", 20)):
        if step == 10 and pen.has(look):
            step = other
    if pen.has("truncated"):
        return math.trunc(value / step) * step
    return math.floor(value / step + 0.5) * step


def digits(pen, color, face, size, right, y, text):
    """Figures of a window, the right end at `right`, as the looks say."""
    if pen.has("pitch_wide") or pen.has("digit_boxes"):
        size = 20
    pitch = 3 if pen.has("pitch_wide") else -2 if pen.has("pitch_narrow") else 0
    boxed, outlined, small = pen.has("digit_boxes"), pen.has("digit_outline"), pen.has("digits_small")
    if not (pitch or boxed or outlined or small):
        pen.words(color, face, size, right, y, "right", text)
        return
    x = right
    for k, character in enumerate(reversed(text)):
        s = round(size * 0.72) if small and k < 2 and len(text) > 3 else size
        level = y + 0.38 * (size - s)  # figures of both sizes stand on one base line
        width = pen.writer.width(face, s, character) + pitch + (3 if boxed else 0)
        if boxed:
            pen.rect("slate", x - width, y - s * 0.55, width - 1, s * 1.1)
        if outlined:
            pen.writer.outline(pen, face, s, x - width / 2, level, "center", character)
            pen.ink("black")
            pen.ctx.set_line_width(5)
            pen.ctx.set_line_join(cairo.LINE_JOIN_ROUND)
            pen.ctx.stroke()
        pen.words(color, face, s, x - width / 2, level, "center", character)
        x -= width


def rolling(pen, color, face, size, right, y, value, box):
    """Figures that roll like a drum: the last two go by twenties, and carry into the places before."""
    advance = round(pen.writer.width(face, size, "0"))
    ctx = pen.ctx
    ctx.save()
    ctx.rectangle(box[0] + 2, box[1] + 2, box[2] - 4, box[3] - 4)
    ctx.clip()
    value = max(value, 0.0)
    pair = value % 100.0 / 20.0
    low = math.floor(pair)
    for k in (-1, 0, 1, 2):
        pen.words(color, face, size, right, y - (k - (pair - low)) * size, "right", f"{(low + k) % 5 * 20:02d}")
    carry = max(0.0, (value % 100.0 - 80.0) / 20.0)
    place, x = 100, right - 2 * advance
    while place == 100 or value >= place * (1.0 if carry < 1 else 0.99):
        digit = math.floor(value / place) % 10
        is_blank = digit == 0 and value < place and place > 100
        if not is_blank:
            pen.words(color, face, size, x, y + carry * size, "right", f"{digit}")
        if carry > 0:
            pen.words(color, face, size, x, y - (1 - carry) * size, "right", f"{(digit + 1) % 10}")
        if digit != 9:
            carry = 0.0
        place, x = place * 10, x - advance
    ctx.restore()


def speed_color(v):
    """Colour of the speed's figures."""
    return "crimson" if v >= 125 else "gold" if v >= 100 else "chalk"


def draw_speed_scale(pen, v):
    """The airspeed's scale and bugs."""
    scale(pen, AIRSPEED, v["airspeed"])


def draw_speed_bug(pen, v):
    """The ground speed on the airspeed's scale."""
    bug(pen, AIRSPEED, v["airspeed"], v["ground_speed"], "aqua")
    if pen.has("bug_constant"):
        bug(pen, AIRSPEED, v["airspeed"], MAX_SPEED_BUG_KT, "gold")
    if pen.has("trend_arrow"):
        trend(pen, AIRSPEED, v["airspeed_rate"])


def draw_speed_window(pen, v):
    """The airspeed's figures."""
    window_frame(pen, SPEED_WINDOW, True)
    shown = v["airspeed_shown"]
    digits(pen, speed_color(shown), "digits", 26, 228, 195, f"{rounded(pen, shown, 1):.0f}")


def draw_height_scale(pen, v):
    """The altitude's scale."""
    scale(pen, altitude_tape(pen), v["altitude"])


def draw_height_bug(pen, v):
    """The selected altitude."""
    bug(pen, altitude_tape(pen), v["altitude"], v["selected_altitude"], "aqua")


def draw_height_window(pen, v):
    """The altitude's figures."""
    window_frame(pen, HEIGHT_WINDOW, False)
    if pen.has("digits_rolling"):
        rolling(pen, "chalk", "digits", 22, 634, 195, v["altitude_shown"], HEIGHT_WINDOW)
        return
    digits(pen, "chalk", "digits", 22, 634, 195, f"{rounded(pen, v['altitude_shown'], 10):.0f}")
