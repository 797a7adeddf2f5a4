"""The compass card with its bugs, the wind, and the course."""

import math

import cairo

from .pen import clock

CENTER = (400, 484)
RADIUS = 96
LETTERS = {0: "N", 90: "E", 180: "S", 270: "W"}
WIND = (210, 372)


def geometry(pen):
    """Centre, radius and radius of the numbers."""
    return ((400, 560), 172, 146) if pen.has("arc_120") else (CENTER, RADIUS, 72)


def draw_card(pen, v):
    """Marks and letters, turned by the heading."""
    center, radius, label_radius = geometry(pen)
    heading, only = v["heading"], 60.5 if pen.has("arc_120") else 181
    ctx = pen.ctx
    if pen.has("arc_120"):
        ctx.save()
        ctx.rectangle(250, 374, 300, 130)
        ctx.clip()
        pen.arc("chalk", center, radius, 2, -60, 60)
    pairs = []
    for bearing in range(0, 360, 5):
        off = (bearing - heading + 180) % 360 - 180
        if abs(off) <= only:
            length = 6 if bearing % 10 else 12
            pairs.append((clock(center, radius - length, off), clock(center, radius, off)))
    pen.lines("chalk", pairs, 2)
    for bearing in range(0, 360, 30):
        off = (bearing - heading + 180) % 360 - 180
        if abs(off) <= only:
            text = f"{bearing // 10 or 36}"
            text = text if pen.has("rose_numbers") else LETTERS.get(bearing, text)
            x, y = clock(center, label_radius, off)
            pen.writer.turned(pen, "chalk", "strong", 18, x, y, "center", math.radians(off), text)
    if pen.has("arc_120"):
        ctx.restore()


def draw_bugs(pen, v):
    """Track and selected heading at the rim."""
    center, radius, _ = geometry(pen)
    only = 60 if pen.has("arc_120") else 181
    for channel, color in (("track", "leaf"), ("selected_heading", "aqua")):
        off = (v[channel] - v["heading"] + 180) % 360 - 180
        if abs(off) > only:
            continue
        side = clock((0, 0), 1, off + 90)
        points = [(-8, 0), (-8, 11), (8, 11), (8, 0)]
        if not pen.has("bug_plain"):
            points += [(4, 0), (0, 5.5), (-4, 0)]
        outline = []
        for along, across in points:
            p = clock(center, radius + across, off)
            outline.append((p[0] + along * side[0], p[1] + along * side[1]))
        pen.poly(color, outline)


def draw_course(pen, v):
    """The course needle with its deviation bar."""
    if not pen.has("course_needle"):
        return
    ctx = pen.ctx
    ctx.save()
    ctx.translate(*CENTER)
    ctx.rotate(math.radians(v["course"] - v["heading"]))
    pen.lines("aqua", [((0, -54), (0, -30)), ((0, 30), (0, 54))], 4)
    pen.poly("aqua", [(0, -60), (7, -48), (-7, -48)])
    for dot in (-2, -1, 1, 2):
        pen.disc("chalk", (dot * 13, 0), 2.5)
    x = 13 * v["deviation"]
    pen.rect("aqua", x - 2, -26, 4, 52)
    ctx.restore()


def draw_lubber(pen, v):
    """What the heading is read against, and the aircraft in the middle."""
    center, radius, _ = geometry(pen)
    x, top = center[0], center[1] - radius
    if pen.has("lubber_triangle"):
        pen.poly("gold", [(x, top + 1), (x - 8, top - 12), (x + 8, top - 12)])
    else:
        pen.rect("gold", x - 1, top - 14, 2, 14)
    if pen.has("course_needle") or pen.has("arc_120"):
        return
    s, h = 20, 1.0
    half = [(h, -s), (h, -0.15 * s - h), (s, -0.15 * s - h), (s, -0.15 * s + h), (h, -0.15 * s + h)]
    half += [(h, 0.8 * s - h), (0.4 * s, 0.8 * s - h), (0.4 * s, 0.8 * s + h), (h, 0.8 * s + h), (h, s)]
    y = center[1]
    pen.poly("gold", [(x + a, y + b) for a, b in half] + [(x - a, y + b) for a, b in reversed(half)])


def draw_wind(pen, v):
    """The arrow that points where the wind blows to, and its figures; with the look all goes when it is calm."""
    if v["wind_speed"] < 3 and pen.has("wind_hidden"):
        return
    if v["wind_speed"] >= 3 or pen.has("wind_hidden"):
        arrow(pen, v["wind_direction"] + 180 - v["heading"])
    direction = math.floor(v["wind_direction"] / 10 + 0.5) * 10 % 360 or 360
    pen.words("chalk", "digits", 17, 186, 416, "left", f"{direction:03.0f}°")
    pen.words("chalk", "digits", 17, 186, 438, "left", f"{math.floor(v['wind_speed'] + 0.5):02d}KT")


def arrow(pen, angle):
    """A filled arrow, or an open one."""
    ctx = pen.ctx
    ctx.save()
    ctx.translate(*WIND)
    ctx.rotate(math.radians(angle))
    if pen.has("wind_open"):
        pen.ink("chalk")
        ctx.set_line_width(2)
        ctx.set_line_cap(cairo.LINE_CAP_ROUND)
        pen.path([(0, 19), (0, -18)], close=False)
        pen.path([(-8, -8), (0, -18), (8, -8)], close=False)
        ctx.stroke()
    else:
        tip, half = -19, 2
        neck = tip + 16
        pen.poly("chalk", [(0, tip), (8, neck), (half, neck), (half, 19), (-half, 19), (-half, neck), (-8, neck)])
    ctx.restore()


def draw_figures(pen, v):
    """The heading as digits."""
    shown = math.floor(v["heading_shown"] + 0.5) % 360 or 360
    pen.words("chalk", "digits", 26, 400, 348, "center", f"{shown:03d}°")
