"""Parts as Python has them, and their text; what stands in the base's definition.

A part is a table of the definition: `{"shape": {"rect": [0, 0, 9, 9]}, "fill": "gold"}`.
"""

import json
import tomllib
from pathlib import Path

_TEXT = Path(__file__).parents[1].joinpath("base.toml").read_text()
_COLORS = 'earth = "#75502d"\n'
_CHANNELS = "[channels.pitch]\n"


def text(value):
    """A value as it is written in TOML, on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {text(v)}" for key, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(text(v) for v in value) + "]"
    return f"{round(value, 6):g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


def symbol(*parts):
    """The text of a symbol in parts."""
    return '[[region.symbol]]\nkind = "parts"\npart = [\n' + "".join(f"  {text(p)},\n" for p in parts) + "]\n\n"


def base_symbols(region):
    """The texts of a region's symbols in the base's definition."""
    begin = _TEXT.index(f'id = "{region}"\n')
    end = _TEXT.find("[[region]]", begin)
    whole = _TEXT[begin:] if end < 0 else _TEXT[begin:end]
    return ["[[region.symbol]]\n" + one for one in whole.split("[[region.symbol]]\n")[1:]]


def base_kind(region, kind):
    """The text of a region's first symbol of a kind in the base's definition."""
    return next(one for one in base_symbols(region) if f'kind = "{kind}"\n' in one)


def base(region):
    """A region's symbols in the base's definition, as tables."""
    return next(r for r in tomllib.loads(_TEXT)["region"] if r["id"] == region)["symbol"]


def colors(**more):
    """The change that adds colours."""
    return None, _COLORS, _COLORS + "".join(f'{name} = "{rgb}"\n' for name, rgb in more.items())


def channels(**more):
    """The change that adds channels."""
    return None, _CHANNELS, "".join(_channel(*one) for one in more.items()) + _CHANNELS


def _channel(name, keys):
    return f"[channels.{name}]\n" + "".join(f"{key} = {text(v)}\n" for key, v in keys.items()) + "\n"


def rect(color, x, y, w, h):
    """A filled rectangle."""
    return {"shape": {"rect": [x, y, w, h]}, "fill": color}


def rounded(x, y, w, h, radius):
    """The shape of a rectangle with round corners."""
    return {"rounded": {"rect": [x, y, w, h], "radius": radius}}


def disc(color, x, y, radius):
    """A filled circle."""
    return {"shape": {"circle": {"center": [x, y], "radius": radius}}, "fill": color}


def poly(color, points):
    """A filled polygon."""
    return {"shape": {"polygon": points}, "fill": color}


def line(color, width, points, **more):
    """A line; `more` is of its stroke."""
    return {"shape": {"line": points}, "stroke": {"color": color, "width": width, **more}}


def words(color, font, size, x, y, align, what):
    """Fixed words."""
    return {"shape": {"words": {"text": what, "position": [x, y], "align": align, "font": font, "size": size, "color": color}}}


def group(*parts, **more):
    """Parts that belong together."""
    return {**more, "part": parts}
