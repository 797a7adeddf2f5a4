"""The display definition as the harness needs it: where symbols stand and how far they move.

Reads the TOML itself, so that nothing of the program under test decides what a trial does.
"""

import copy
import json
import math
import tomllib
from pathlib import Path

import numpy as np


class Definition:
    """A display definition."""

    def __init__(self, path):
        with open(path, "rb") as file:
            self.file = tomllib.load(file)
        self.path = path
        self.width = self.file["display"]["width"]
        self.height = self.file["display"]["height"]
        self.channels = self.file.get("channels", {})
        self.regions = {region["id"]: region for region in self.file.get("region", [])}

    def color(self, name):
        """A named colour as (red, green, blue)."""
        text = self.file["colors"][name].lstrip("#")
        return tuple(int(text[k : k + 2], 16) for k in (0, 2, 4))

    @property
    def background(self):
        """Colour of the empty canvas."""
        return self.color(self.file["display"]["background"])

    def _beside(self, file):
        return (Path(self.path).parent / file).resolve()

    @property
    def font_files(self):
        """Files of the definition's own fonts; the others are bundled."""
        return [self._beside(font["file"]) for font in self.file.get("fonts", {}).values() if "file" in font]

    def channels_of(self, region):
        """Names of all channels that a region's symbols look at."""
        return {name for name in _channel_names(region) if name in self.channels}

    def is_fed(self, region, recording):
        """Whether the recording has every channel of a region: others are not judged."""
        return all(recording.has(self.channels[c]) for c in self.channels_of(region))

    def px_per_unit(self, region):
        """Most pixels that each continuous channel of a region moves its symbol by for one unit."""
        found = {}
        for symbol in region.get("symbol", []):
            for channel, values, px in _scales(symbol):
                slope = float(np.abs(np.diff(px) / np.diff(values)).max())
                found[channel] = max(found.get(channel, 0.0), slope)
        return found

    def ends(self, region):
        """Lowest and highest value that each continuous channel of a region can be shown at; scales stop there."""
        scales = [scale for symbol in region.get("symbol", []) for scale in _scales(symbol)]
        return {channel: (float(np.min(values)), float(np.max(values))) for channel, values, _ in scales}

    def travel_px(self, region, recording, t0, t1):
        """How far the fastest symbol of a region moves in [t0, t1], px; it stops at the ends of its scale."""
        far = 0.0
        times = np.linspace(t0, t1, max(2, int((t1 - t0) * 50) + 1))
        for symbol in region.get("symbol", []):
            for name, values, px in _scales(symbol):
                channel = self.channels[name]
                if not recording.has(channel):
                    continue
                shown = recording.at(channel, times)
                if channel.get("interpolation") == "angular":
                    shown = np.unwrap(shown, period=360.0)
                if np.isfinite(shown).all():
                    far = max(far, float(np.ptp(np.interp(shown, values, px))))
        return far

    def without(self, region_id, part):
        """The file with one part (see `parts`) of a region left out."""
        file = copy.deepcopy(self.file)
        for font in file.get("fonts", {}).values():
            if "file" in font:  # the changed definition stands in another folder
                font["file"] = str(self._beside(font["file"]))
        region = next(r for r in file["region"] if r["id"] == region_id)
        target = region["symbol"]
        for step in part[:-1]:
            target = target[step]
        del target[part[-1]]
        return file


# Parts of a symbol that can be left out alone, with the rest of the region still drawn.
_OPTIONAL = {
    "attitude": ["ladder", "bank", "slip"],
    "dial": ["readout"],
    "tape": ["window"],
    "rose": ["wind", "readout"],
    "bar": [],
}


def parts(region):
    """Ways into `region["symbol"]` to what can be erased without emptying the region."""
    symbols = region.get("symbol", [])
    found = []
    for k, symbol in enumerate(symbols):
        if len(symbols) > 1 and symbol["kind"] not in ("unchecked", "liveness"):
            found.append((k,))
        found += [(k, name) for name in _OPTIONAL.get(symbol["kind"], []) if name in symbol]
        if len(symbol.get("pointers", [])) > 1:
            found += [(k, "pointers", n) for n in range(len(symbol["pointers"]))]
        found += [(k, "bugs", n) for n in range(len(symbol.get("bugs", [])))]
    return found


def readouts(region):
    """All number readouts of a region."""
    found = []

    def walk(node):
        if isinstance(node, dict):
            if "position" in node and "channel" in node and "size" in node:
                found.append(node)
            for value in node.values():
                walk(value)
        elif isinstance(node, list):
            for value in node:
                walk(value)

    walk(region.get("symbol", []))
    return found


def _channel_names(node):
    if isinstance(node, list):
        for value in node:
            yield from _channel_names(value)
    elif isinstance(node, dict):
        for key, value in node.items():
            if isinstance(value, str) and key in ("channel", "pitch", "roll", "direction", "speed"):
                yield value
            else:
                yield from _channel_names(value)


# Scales that are not cut anywhere, units.
_ENDLESS = 1e6


def _even(px_per_unit, limit_px=None):
    """An even scale about 0, cut at a distance from 0 when it has a limit."""
    end = _ENDLESS if limit_px is None else limit_px / abs(px_per_unit)
    return [-end, end], [-end * px_per_unit, end * px_per_unit]


def _scales(symbol):
    """(channel, values, px): where values stand on the scales of a symbol's moving parts, px along the way."""
    kind = symbol["kind"]
    radian = math.pi / 180.0
    if kind == "attitude":
        yield symbol["pitch"], *_even(symbol["px_per_deg"])
        # The far end of the horizon, or the bank pointer, whichever is farther out.
        reach = max(symbol["rect"][2] / 2.0, symbol.get("bank", {}).get("radius", 0.0))
        yield symbol["roll"], *_even(reach * radian)
        if "slip" in symbol:
            yield symbol["slip"]["channel"], *_even(symbol["slip"]["px_per_unit"], symbol["slip"]["travel"])
    elif kind == "dial":
        values, degrees = np.array(symbol["breakpoints"], float).T
        for pointer in symbol["pointers"]:
            yield pointer["channel"], values, degrees * pointer["tip_radius"] * radian
    elif kind == "tape":
        yield symbol["channel"], *_even(symbol["px_per_unit"])
        # Bugs move against the scale, which moves itself: no scale of their own.
    elif kind == "rose":
        yield symbol["channel"], *_even(symbol["radius"] * radian)
        if "wind" in symbol:
            yield symbol["wind"]["direction"], *_even(symbol["wind"]["length"] / 2.0 * radian)
    elif kind == "bar":
        along = symbol["rect"][3] if symbol["direction"] in ("up", "down") else symbol["rect"][2]
        values, shares = np.array(symbol["breakpoints"], float).T
        yield symbol["channel"], values, shares * along


def write_toml(file, path):
    """Writes a definition: top tables and regions in full, all below them inline."""
    lines = []
    for name, table in file.items():
        if name == "region":
            for region in table:
                lines.append("\n[[region]]")
                lines += [f"{_key(k)} = {_inline(v)}" for k, v in region.items()]
        else:
            lines.append(f"\n[{_key(name)}]")
            lines += [f"{_key(k)} = {_inline(v)}" for k, v in table.items()]
    with open(path, "w") as out:
        out.write("\n".join(lines) + "\n")


def _key(name):
    return json.dumps(name)


def _inline(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_inline(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_inline(v) for v in value) + "]"
    return repr(value)
