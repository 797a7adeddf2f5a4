"""Drawing in named colours on a cairo surface. Angles are degrees, clockwise, 0 up."""

import math

import cairo

COLORS = {
    "night": "#080b12", "slate": "#19212c", "steel": "#93a0ac", "chalk": "#eef1f2", "crimson": "#ff3b30",
    "gold": "#ffb000", "leaf": "#35d46a", "aqua": "#4fd0ff", "sky": "#2d78b4", "earth": "#75502d",
    "black": "#000000", "high_sky": "#123e6b", "low_earth": "#452c16",
}  # fmt: skip


def rgb(text):
    """`#rrggbb` as three parts of one."""
    return tuple(int(text[k : k + 2], 16) / 255 for k in (1, 3, 5))


def clock(center, radius, degrees):
    """The point at a clock angle."""
    angle = math.radians(degrees)
    return center[0] + radius * math.sin(angle), center[1] - radius * math.cos(angle)


class Pen:
    """Holds the cairo context, the looks that are on and the writer of words."""

    def __init__(self, surface, looks, writer):
        self.ctx = cairo.Context(surface)
        self.looks = looks
        self.writer = writer
        self.swap = {}
        self._rgb = {name: rgb(text) for name, text in COLORS.items()}

    def has(self, look):
        """Whether a look is on."""
        return look in self.looks

    def color(self, name):
        """A colour's parts, as a fault may have changed them."""
        return self._rgb[self.swap.get(name, name)]

    def ink(self, name, alpha=1.0):
        """What is drawn next has this colour."""
        self.ctx.set_source_rgba(*self.color(name), alpha)

    def rect(self, color, x, y, w, h):
        """A filled rectangle."""
        self.ink(color)
        self.ctx.rectangle(x, y, w, h)
        self.ctx.fill()

    def frame(self, color, x, y, w, h, width):
        """A frame that lies inside the rectangle."""
        self.ink(color)
        self.ctx.set_line_width(width)
        self.ctx.set_line_join(cairo.LINE_JOIN_MITER)
        self.ctx.rectangle(x + width / 2, y + width / 2, w - width, h - width)
        self.ctx.stroke()

    def path(self, points, close=True):
        """The outline of what is filled or stroked next."""
        self.ctx.move_to(*points[0])
        for p in points[1:]:
            self.ctx.line_to(*p)
        if close:
            self.ctx.close_path()

    def poly(self, color, points):
        """A filled polygon."""
        self.ink(color)
        self.path(points)
        self.ctx.fill()

    def lines(self, color, pairs, width, cap=cairo.LINE_CAP_BUTT):
        """Straight lines in one stroke."""
        self.ink(color)
        self.ctx.set_line_width(width)
        self.ctx.set_line_cap(cap)
        for p, q in pairs:
            self.ctx.move_to(*p)
            self.ctx.line_to(*q)
        self.ctx.stroke()

    def edged(self, color, pairs, width, is_edged, cap=cairo.LINE_CAP_BUTT):
        """Lines, with a dark edge when asked for."""
        if is_edged:
            self.lines("black", pairs, width + 3, cairo.LINE_CAP_SQUARE if cap == cairo.LINE_CAP_BUTT else cap)
        self.lines(color, pairs, width, cap)

    def arc(self, color, center, radius, width, a, b):
        """A stretch of a ring between two clock angles, `width` wide about `radius`."""
        self.ink(color)
        self.ctx.set_line_width(width)
        self.ctx.set_line_cap(cairo.LINE_CAP_BUTT)
        self.ctx.new_sub_path()
        self.ctx.arc(*center, radius, math.radians(min(a, b) - 90), math.radians(max(a, b) - 90))
        self.ctx.stroke()

    def disc(self, color, center, radius):
        """A filled circle."""
        self.ink(color)
        self.ctx.new_sub_path()
        self.ctx.arc(*center, radius, 0, 2 * math.pi)
        self.ctx.fill()

    def round_path(self, x, y, w, h, r):
        """The outline of a rectangle with round corners."""
        c = self.ctx
        c.new_sub_path()
        c.arc(x + w - r, y + r, r, -math.pi / 2, 0)
        c.arc(x + w - r, y + h - r, r, 0, math.pi / 2)
        c.arc(x + r, y + h - r, r, math.pi / 2, math.pi)
        c.arc(x + r, y + r, r, math.pi, 3 * math.pi / 2)
        c.close_path()

    def words(self, color, face, size, x, y, align, text):
        """An upright line of words, `y` the middle of its capitals."""
        self.writer.upright(self, color, face, size, x, y, align, text)

    def failure(self, x, y, w, h, text, size):
        """What stands in place of a symbol whose data are invalid."""
        wide = 7.0 if self.has("cross_thick") else 3.0
        boxed = self.has("failure_boxed")
        self.rect("night", x, y, w, h)
        self.ctx.save()
        self.ctx.rectangle(x, y, w, h)
        self.ctx.clip()
        if not boxed:
            self.lines("gold", [((x, y), (x + w, y + h)), ((x, y + h), (x + w, y))], wide)
        half = self.writer.width("strong", size, text) / 2 + 0.3 * size
        tall = 0.8 * size
        cx, cy = x + w / 2, y + h / 2
        self.rect("night", cx - half, cy - tall, 2 * half, 2 * tall)
        if boxed:
            self.frame("gold", round(cx - half), round(cy - tall), round(2 * half), round(2 * tall), 2)
        self.words("gold", "strong", size, cx, cy, "center", text)
        self.ctx.restore()
