"""The unit's text engine: FreeType glyphs through cairo, hinted and on whole pixels, or exact.

Upright words: every line is drawn once into a mask and put at whole pixels. Turned words and words without
hinting are filled outlines. Kerning comes from the font's own table.
"""

import hashlib
import math
import os
import struct
import sys
import tempfile
from pathlib import Path

import cairo

FONTS = Path(__file__).resolve().parents[3] / "reference_frames" / "fonts"
_HINTS = {"full": cairo.HINT_STYLE_FULL, "slight": cairo.HINT_STYLE_SLIGHT, "none": cairo.HINT_STYLE_NONE}
_PARTS_OF_WIDTH = {"left": 0.0, "center": 0.5, "right": 1.0}

FACES = {
    "label": ("B612", False, "B612-Regular.ttf"),
    "strong": ("B612", True, "B612-Bold.ttf"),
    "digits": ("B612 Mono", True, "B612Mono-Bold.ttf"),
}
OTHER_TYPEFACE = {
    "label": ("DejaVu Sans", False, "DejaVuSans.ttf"),
    "strong": ("DejaVu Sans", True, "DejaVuSans-Bold.ttf"),
    "digits": ("DejaVu Sans Mono", True, "DejaVuSansMono-Bold.ttf"),
}
OPENTYPE = {
    "label": ("TeX Gyre Heros", False, "texgyreheros-regular.otf"),
    "strong": ("TeX Gyre Heros", True, "texgyreheros-bold.otf"),
    "digits": ("TeX Gyre Cursor", True, "texgyrecursor-bold.otf"),
}
DEJAVU = Path("/usr/share/fonts/truetype/dejavu")


def find_fonts():
    """Tells fontconfig of the fonts; has to come before the first word is drawn."""
    if not FONTS.is_dir():
        sys.exit(f"the unit's fonts are not in {FONTS}: run it from its place in the tree")
    # A folder for each place that the fonts come from: checkouts beside each other do not share one.
    place = hashlib.sha256(str(FONTS).encode()).hexdigest()[:12]
    folder = Path(tempfile.gettempdir()) / f"unit-fonts-{os.getuid()}-{place}"
    folder.mkdir(exist_ok=True)
    config = folder / "fonts.conf"
    config.write_text(
        '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig>'
        f"<dir>{FONTS}</dir><dir>/usr/share/fonts</dir><dir>/usr/share/texmf/fonts/opentype</dir><cachedir>{folder}</cachedir></fontconfig>"
    )
    os.environ["FONTCONFIG_FILE"] = str(config)


def have_opentype():
    """Whether the OpenType faces are installed."""
    return all(opentype_file(name) for _, _, name in OPENTYPE.values())


def opentype_file(name):
    """Where the system keeps an OpenType file; None without it."""
    for folder in ("/usr/share/texmf/fonts/opentype/public/tex-gyre", "/usr/share/fonts/opentype/texgyre"):
        if (Path(folder) / name).exists():
            return Path(folder) / name
    return None


def read_kerning(path):
    """Pairs of glyph indices and what they are moved by, em, from the `kern` table; none without it."""
    data = Path(path).read_bytes()
    tables = {}
    for k in range(struct.unpack(">H", data[4:6])[0]):
        tag, _, start, length = struct.unpack(">4sIII", data[12 + 16 * k : 28 + 16 * k])
        tables[tag] = (start, length)
    if b"kern" not in tables:
        return {}
    em = struct.unpack(">H", data[tables[b"head"][0] + 18 : tables[b"head"][0] + 20])[0]
    at = tables[b"kern"][0]
    pairs = {}
    count = struct.unpack(">H", data[at + 2 : at + 4])[0]
    at += 4
    for _ in range(count):
        _, length, coverage = struct.unpack(">HHH", data[at : at + 6])
        if coverage >> 8 == 0 and coverage & 1:
            n = struct.unpack(">H", data[at + 6 : at + 8])[0]
            for k in range(n):
                left, right, value = struct.unpack(">HHh", data[at + 14 + 6 * k : at + 20 + 6 * k])
                pairs[left, right] = value / em
        at += length
    return pairs


find_fonts()


class Writer:
    """Lays out and draws words. `hinting` is full, slight or none."""

    def __init__(self, hinting="slight", kerning=False, faces=None, whole_turned=False):
        self.hinting = hinting
        self.kerning = kerning
        self.faces = faces or FACES
        self.whole_turned = whole_turned
        self._scaled = {}
        self._lines = {}
        self._kerning = {}

    def font(self, face, size, hinting):
        """A scaled font and the height of its capitals, px."""
        key = face, size, hinting
        if key not in self._scaled:
            family, is_bold, _ = self.faces[face]
            weight = cairo.FONT_WEIGHT_BOLD if is_bold else cairo.FONT_WEIGHT_NORMAL
            options = cairo.FontOptions()
            options.set_antialias(cairo.ANTIALIAS_GRAY)
            options.set_hint_style(_HINTS[hinting])
            options.set_hint_metrics(cairo.HINT_METRICS_OFF if hinting == "none" else cairo.HINT_METRICS_ON)
            toy = cairo.ToyFontFace(family, cairo.FONT_SLANT_NORMAL, weight)
            font = cairo.ScaledFont(toy, cairo.Matrix(size, 0, 0, size, 0, 0), cairo.Matrix(), options)
            exact = cairo.FontOptions()
            exact.set_hint_style(cairo.HINT_STYLE_NONE)
            exact.set_hint_metrics(cairo.HINT_METRICS_OFF)
            big = cairo.ScaledFont(toy, cairo.Matrix(1000, 0, 0, 1000, 0, 0), cairo.Matrix(), exact)
            self._scaled[key] = font, -big.text_extents("H").y_bearing / 1000 * size
        return self._scaled[key]

    def layout(self, face, size, text, hinting):
        """Glyph indices with their places along the line, and the line's width, px."""
        font, _ = self.font(face, size, hinting)
        glyphs, x, last = [], 0.0, None
        for character in text:
            index = font.text_to_glyphs(0, 0, character, False)[0].index
            if self.kerning and last is not None:
                moved = self._pairs(face).get((last, index), 0.0) * size
                x += moved if hinting == "none" else round(moved)
            glyphs.append((index, x))
            advance = font.text_extents(character).x_advance
            x += advance if hinting == "none" else round(advance)
            last = index
        return glyphs, x

    def _pairs(self, face):
        if face not in self._kerning:
            name = self.faces[face][2]
            file = FONTS / name if (FONTS / name).exists() else DEJAVU / name
            self._kerning[face] = read_kerning(file)
        return self._kerning[face]

    def width(self, face, size, text):
        """Width of an upright line, px."""
        return self.layout(face, size, text, self.hinting)[1]

    def _line(self, face, size, text):
        key = face, size, text
        if key not in self._lines:
            if len(self._lines) > 4000:
                self._lines.clear()
            font, cap = self.font(face, size, self.hinting)
            glyphs, width = self.layout(face, size, text, self.hinting)
            pad, up = 4, int(size * 1.2)
            mask = cairo.ImageSurface(cairo.FORMAT_A8, int(width) + 2 * pad + int(size), up + int(size * 0.5))
            ctx = cairo.Context(mask)
            ctx.set_scaled_font(font)
            ctx.show_glyphs([cairo.Glyph(i, pad + x, up) for i, x in glyphs])
            self._lines[key] = mask, width, cap, pad, up
        return self._lines[key]

    def upright(self, pen, color, face, size, x, y, align, text):
        """A line whose end or middle stands at `x`, the middle of its capitals at `y`."""
        if not text:
            return
        if self.hinting == "none":
            self.turned(pen, color, face, size, x, y, align, 0.0, text, hinting="none")
            return
        mask, width, cap, pad, up = self._line(face, size, text)
        left = int(x - _PARTS_OF_WIDTH[align] * width + 0.5)
        base = int(y + cap / 2 + 0.5)
        pen.ink(color)
        pen.ctx.mask_surface(mask, left - pad, base - up)

    def outline(self, pen, face, size, x, y, align, text):
        """The path of an upright line's characters, where `upright` puts them."""
        font, cap = self.font(face, size, self.hinting)
        glyphs, width = self.layout(face, size, text, self.hinting)
        left, base = x - _PARTS_OF_WIDTH[align] * width, y + cap / 2
        if self.hinting != "none":
            left, base = int(left + 0.5), int(base + 0.5)
        pen.ctx.set_scaled_font(font)
        pen.ctx.glyph_path([cairo.Glyph(i, left + gx, base) for i, gx in glyphs])

    def turned(self, pen, color, face, size, x, y, align, angle, text, hinting=None):
        """A line turned by `angle` radians (clockwise) about its holding point; outlines, never hinted."""
        font, cap = self.font(face, size, "none")
        rule = "none" if hinting == "none" or not self.whole_turned else self.hinting
        glyphs, width = self.layout(face, size, text, rule)
        ctx = pen.ctx
        ctx.save()
        if rule != "none":
            x, y = math.floor(x + 0.5), math.floor(y + 0.5)
        ctx.translate(x, y)
        ctx.rotate(angle)
        ctx.set_scaled_font(font)
        ctx.set_font_size(size)
        pen.ink(color)
        ctx.glyph_path([cairo.Glyph(i, gx - _PARTS_OF_WIDTH[align] * width, cap / 2) for i, gx in glyphs])
        ctx.fill()
        ctx.restore()
