"""Sky and ground, pitch ladder, bank scale, slip, the aircraft's symbol."""

import math

import cairo

from .pen import clock

BOX = (250, 44, 300, 280)
CENTER = (400, 195)
PX_PER_DEG = 5.0
BAND = 80
RADIUS = 116
MARKS = (10, 20, 30, 45, 60)
LINE = 2.0


def clip(pen):
    """Nothing is drawn outside the picture."""
    if pen.has("attitude_round"):
        pen.round_path(*BOX, 26)
    else:
        pen.ctx.rectangle(*BOX)
    pen.ctx.clip()


def turned(pen, roll):
    """From here on the drawing turns with the world."""
    pen.ctx.translate(*CENTER)
    pen.ctx.rotate(-math.radians(roll))


def draw_horizon(pen, v):
    """Sky, ground and the line between them."""
    ctx = pen.ctx
    ctx.save()
    clip(pen)
    turned(pen, v["roll"])
    y, far = v["pitch"] * PX_PER_DEG, 420
    if pen.has("attitude_shaded"):
        sky = cairo.LinearGradient(0, y - 300, 0, y)
        sky.add_color_stop_rgb(0, *pen.color("high_sky"))
        sky.add_color_stop_rgb(1, *pen.color("sky"))
        earth = cairo.LinearGradient(0, y, 0, y + 300)
        earth.add_color_stop_rgb(0, *pen.color("earth"))
        earth.add_color_stop_rgb(1, *pen.color("low_earth"))
        for source, top, high in ((sky, -far * 2, y + far * 2), (earth, y, far * 3)):
            ctx.set_source(source)
            ctx.rectangle(-far, top, 2 * far, high)
            ctx.fill()
    else:
        pen.rect("sky", -far, -far, 2 * far, 2 * far)
        if y < far:
            pen.rect("earth", -far, y, 2 * far, far - y + 1)
    if pen.has("attitude_dark_edges"):
        pen.rect("black", -far, y - 2.5, 2 * far, 5)
    pen.rect("chalk", -far, y - LINE / 2, 2 * far, LINE)
    if pen.has("second_horizon") and abs(y) > 105:
        # Where the horizon leaves the picture a dashed one stays at its edge.
        edge = math.copysign(105, y)
        pen.ink("chalk")
        ctx.set_line_width(2)
        ctx.set_dash([12, 8], 0)
        ctx.move_to(-far, edge)
        ctx.line_to(far, edge)
        ctx.stroke()
        ctx.set_dash([], 0)
    ctx.restore()


def rung(pen, y, half, degrees, is_major):
    """One line of the ladder in the world's axes."""
    ctx, dark = pen.ctx, pen.has("attitude_dark_edges")
    whole, ends = pen.has("ladder_whole"), pen.has("ladder_ends")
    special = pen.has("ladder_dashed") or pen.has("ladder_converging") or ends
    if whole and abs(y) > BAND:
        return
    if not (special or dark or whole):
        top, bottom = max(y - LINE / 2, -BAND), min(y + LINE / 2, BAND)
        if top < bottom:
            pen.rect("chalk", -half, top, 2 * half, bottom - top)
        return
    ctx.save()
    if not whole:
        ctx.rectangle(-200, -BAND, 400, 2 * BAND)
        ctx.clip()
    toward = 6 if degrees > 0 else -6
    for color, extra in (("black", 3), ("chalk", 0)) if dark else (("chalk", 0),):
        pen.ink(color)
        ctx.set_line_width(LINE + extra)
        ctx.set_line_cap(cairo.LINE_CAP_BUTT)
        if pen.has("ladder_dashed") and degrees < 0:
            ctx.set_dash([7, 5], 0)
        grow = extra / 2
        if pen.has("ladder_converging"):
            for side in (-1, 1):
                slope = half / 6 if degrees > 0 else -half / 6
                ctx.move_to(side * (half / 3 - grow), y + slope)
                ctx.line_to(side * (half + grow), y)
        else:
            ctx.move_to(-half - grow, y)
            ctx.line_to(half + grow, y)
        ctx.stroke()
        ctx.set_dash([], 0)
        if ends and is_major:
            for side in (-1, 1):
                ctx.move_to(side * (half - 1), y)
                ctx.line_to(side * (half - 1), y + toward)
            ctx.stroke()
    ctx.restore()


def draw_ladder(pen, v):
    """Lines of equal pitch with their numbers."""
    ctx, pitch = pen.ctx, v["pitch"]
    ctx.save()
    clip(pen)
    turned(pen, v["roll"])
    for half_tens in range(-18, 19):
        degrees = half_tens * 5
        y = (pitch - degrees) * PX_PER_DEG
        if degrees == 0 or abs(y) > BAND + LINE or abs(degrees) > 80:
            continue
        is_major = degrees % 10 == 0
        rung(pen, y, 30 if is_major else 14, degrees, is_major)
        if is_major and abs(y) <= BAND + (12 if pen.has("ladder_cut_labels") else 0):
            ctx.save()
            if pen.has("ladder_cut_labels"):
                ctx.rectangle(-200, -BAND, 400, 2 * BAND)
                ctx.clip()
            out = 30 + 0.35 * 14
            for side, align in ((-1, "right"), (1, "left")):
                pen.writer.turned(pen, "chalk", "strong", 14, side * out, y, align, 0.0, f"{abs(degrees)}")
            ctx.restore()
    if pen.has("chevrons"):
        for degrees in (-60, -40, 40, 60):
            y, d = (pitch - degrees) * PX_PER_DEG, math.copysign(1, degrees)
            if abs(y) < 140:
                pen.ink("crimson")
                ctx.set_line_width(6)
                ctx.set_line_join(cairo.LINE_JOIN_MITER)
                pen.path([(-26, y - 20 * d), (0, y + 14 * d), (26, y - 20 * d)], close=False)
                ctx.stroke()
    ctx.restore()


def wedge(pen, color, angle, tip, base, width, is_hollow=False):
    """A triangle on the ray at a clock angle."""
    end, side = clock(CENTER, base, angle), clock((0, 0), width / 2, angle + 90)
    outline = [clock(CENTER, tip, angle), (end[0] + side[0], end[1] + side[1]), (end[0] - side[0], end[1] - side[1])]
    if not is_hollow:
        pen.poly(color, outline)
        return
    pen.ink(color)
    pen.path(outline)
    pen.ctx.set_line_width(2)
    pen.ctx.stroke()


def draw_bank_pointer(pen, v):
    """The pointer that turns with the sky, its tip on the marks from within."""
    pen.ctx.save()
    clip(pen)
    wedge(pen, "chalk", -v["roll"], RADIUS, RADIUS - 13, 13, pen.has("bank_hollow"))
    pen.ctx.restore()


def draw_bank_marks(pen, v):
    """The marks, which stay."""
    pen.ctx.save()
    clip(pen)
    pairs = []
    for mark in MARKS:
        for angle in (-mark, mark):
            if pen.has("bank_dots") and mark in (10, 20, 45):
                pen.disc("chalk", clock(CENTER, RADIUS + 4, angle), 3)
            elif pen.has("bank_triangles") and mark in (30, 45, 60):
                wedge(pen, "chalk", angle, RADIUS, RADIUS + 9, 9)
            else:
                pairs.append((clock(CENTER, RADIUS, angle), clock(CENTER, RADIUS + 10, angle)))
    pen.edged("chalk", pairs, LINE, pen.has("attitude_dark_edges"))
    wedge(pen, "chalk", 0, RADIUS, RADIUS + 10, 10)
    pen.ctx.restore()


def draw_slip(pen, v):
    """A box under the pointer, or a ball between two lines, that hangs away from the acceleration."""
    moved = min(max(v["slip"] * 420.0, -60.0), 60.0)
    x, y = CENTER[0] - moved, 106
    if pen.has("slip_ball"):
        pen.disc("chalk", (x, 304), 7)
        pen.rect("night", CENTER[0] - 11, 294, 2, 20)
        pen.rect("night", CENTER[0] + 9, 294, 2, 20)
        return
    pen.rect("chalk", x - 13, y - 4, 26, 8)


def draw_aircraft(pen, v):
    """The aircraft's symbol with a dark border."""
    x, y = CENTER
    ctx = pen.ctx
    if pen.has("aircraft_dot"):
        for color, grow in (("black", 1.5), ("gold", 0)):
            for left in (x - 70, x + 26):
                pen.rect(color, left - grow, y - 2.5 - grow, 44 + 2 * grow, 5 + 2 * grow)
            pen.disc(color, CENTER, 4.5 + grow)
        return
    if pen.has("aircraft_v"):
        for color, width in (("black", 8), ("gold", 5)):
            pen.ink(color)
            ctx.set_line_width(width)
            ctx.set_line_join(cairo.LINE_JOIN_MITER)
            pen.path([(x - 56, y + 26), (x, y), (x + 56, y + 26)], close=False)
            ctx.stroke()
        return
    if pen.has("aircraft_bar"):
        for color, grow in (("black", 1.5), ("gold", 0)):
            for left, wide in ((x - 80, 60), (x - 4, 8), (x + 20, 60)):
                pen.rect(color, left - grow, y - 3 - grow, wide + 2 * grow, 6 + 2 * grow)
        return
    half, span = 2.5, 76
    inner, step = span * 0.45, span * 0.16
    for color, g in (("black", 1.5), ("gold", 0.0)):
        for side in (-1, 1):
            points = [(span + g, -half - g), (inner - g, -half - g), (inner - g, step + g)]
            points += [(inner + 2 * half + g, step + g), (inner + 2 * half + g, half + g), (span + g, half + g)]
            pen.poly(color, [(x + side * right, y + down) for right, down in points])
        pen.rect(color, x - half - g, y - half - g, 2 * (half + g), 2 * (half + g))
