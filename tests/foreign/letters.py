"""Where the letters of a line stand in an SVG with text kept as text, by the advances of its font alone."""

import re
import xml.etree.ElementTree
from functools import cache
from pathlib import Path

from PIL import ImageFont

# The fonts that the program has with it.
BUNDLED = sorted((Path(__file__).resolve().parents[2] / "reference_frames" / "fonts").glob("*.ttf"))
# Share of a line that stands before the place it is held at.
BEFORE = {"start": 0.0, "middle": 0.5, "end": 1.0}
# A font is asked at this size for what a letter takes: hinting leaves a thousandth.
SIZE = 1000


@cache
def _font(family, weight, files):
    style = "Bold" if int(weight) >= 600 else "Regular"
    for path in (*files, *BUNDLED):
        font = ImageFont.truetype(path, SIZE)
        if font.getname() == (family, style):
            return font
    raise RuntimeError(f"no font {family} {style} among {', '.join(str(f) for f in (*files, *BUNDLED))}")


def letters(node, files=()):
    """(x of each letter and of the end, base line, size) of a text element, px. `files`: fonts that are not bundled."""
    size, y = float(node.attrib["font-size"].removesuffix("px")), float(node.attrib["y"])
    font = _font(node.attrib["font-family"], node.attrib.get("font-weight", "400"), tuple(files))
    advances = [font.getlength(letter) * size / SIZE for letter in node.text]
    x = float(node.attrib["x"]) - BEFORE[node.attrib.get("text-anchor", "start")] * sum(advances)
    return [x + sum(advances[:k]) for k in range(len(advances) + 1)], y, size


def line_at(path, position, files=()):
    """(words, x of each letter and of the end, base line, size) of the upright line nearest to `position`, the middle
    of its height and the place it is held at; None when none stands within its size."""
    best = None
    for node in xml.etree.ElementTree.parse(path).iter():
        if not node.tag.endswith("text") or not node.text or "transform" in node.attrib:
            continue
        xs, base, size = letters(node, files)
        x, y = position
        apart = abs(base - 0.35 * size - y) + abs(float(node.attrib["x"]) - x)
        if apart < size and (best is None or apart < best[0]):
            best = (apart, (node.text, xs, base, size))
    return best and best[1]


def digit_cell(own, other, place):
    """The cell of the digit of 10^`place` where both lines show one, and not the same; None when the lines do not
    stand alike."""
    if own is None or other is None or len(own[0]) != len(other[0]):
        return None
    if max(abs(a - b) for a, b in zip(own[1], other[1])) > 0.05:
        return None
    words, xs, base, size = own
    number = re.search(r"\d+(\.\d+)?", words)
    if not number:
        return None
    point = number.start() + len(number.group().split(".")[0])
    k = point - 1 - place if place >= 0 else point - place
    if not number.start() <= k < number.end() or not other[0][k].isdigit() or words[k] == other[0][k]:
        return None
    top, bottom = round(base - 0.85 * size), round(base + 0.15 * size)
    return [round(xs[k]), top, round(xs[k + 1]) - round(xs[k]), bottom - top]
