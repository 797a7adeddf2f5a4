"""The display definition as the harness needs it: where symbols stand and how far they move.

Reads the TOML itself, so that nothing of the program under test decides what a trial does.
"""

import copy
import json
import math
import tomllib


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

    def channels_of(self, region):
        """Names of all channels that a region's symbols look at."""
        return {name for name in _channel_names(region) if name in self.channels}

    def is_fed(self, region, recording):
        """Whether the recording has every channel of a region: others are not judged."""
        return all(recording.has(self.channels[c]) for c in self.channels_of(region))

    def px_per_unit(self, region):
        """Pixels that each continuous channel of a region moves its symbol by for one unit."""
        found = {}
        for symbol in region.get("symbol", []):
            for channel, px in _scales(symbol):
                found[channel] = max(found.get(channel, 0.0), abs(px))
        return found

    def travel_px(self, region, recording, t0, t1):
        """How far the fastest symbol of a region moves in [t0, t1], px."""
        return max(
            (
                px * recording.travel(self.channels[name], t0, t1)
                for name, px in self.px_per_unit(region).items()
                if recording.has(self.channels[name])
            ),
            default=0.0,
        )

    def without(self, region_id, part):
        """The file with one part (see `parts`) of a region left out."""
        file = copy.deepcopy(self.file)
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


def _slope(breakpoints):
    """Steepest slope of a broken line."""
    return max(abs((b[1] - a[1]) / (b[0] - a[0])) for a, b in zip(breakpoints, breakpoints[1:]))


def _scales(symbol):
    """(channel, px per unit) of the moving parts of a symbol."""
    kind = symbol["kind"]
    radian = math.pi / 180.0
    if kind == "attitude":
        yield symbol["pitch"], symbol["px_per_deg"]
        # The far end of the horizon, or the bank pointer, whichever is farther out.
        reach = max(symbol["rect"][2] / 2.0, symbol.get("bank", {}).get("radius", 0.0))
        yield symbol["roll"], reach * radian
        if "slip" in symbol:
            yield symbol["slip"]["channel"], symbol["slip"]["px_per_unit"]
    elif kind == "dial":
        for pointer in symbol["pointers"]:
            yield pointer["channel"], pointer["tip_radius"] * _slope(symbol["breakpoints"]) * radian
    elif kind == "tape":
        yield symbol["channel"], symbol["px_per_unit"]
        for bug in symbol.get("bugs", []):
            yield bug["channel"], symbol["px_per_unit"]
    elif kind == "rose":
        yield symbol["channel"], symbol["radius"] * radian
        if "wind" in symbol:
            yield symbol["wind"]["direction"], symbol["wind"]["length"] / 2.0 * radian
    elif kind == "bar":
        along = symbol["rect"][3] if symbol["direction"] in ("up", "down") else symbol["rect"][2]
        yield symbol["channel"], along * _slope(symbol["breakpoints"])


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
