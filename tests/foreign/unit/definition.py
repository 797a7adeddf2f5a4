"""The definition of each look: what of `base.toml` changes.

A look is described by changes (`region`, what stands there, what stands there instead; in `described/` by group), or by
nothing when the base's definition holds for it as it is.
"""

import shutil
from pathlib import Path

from .described import alerts, attitude, bars, dials, heading, tapes
from .text import DEJAVU, OPENTYPE, OTHER_TYPEFACE, opentype_file

BASE = Path(__file__).with_name("base.toml")

# A dial has to have a pointer: this one is covered by the real one.
_OUTER_BANDS = """[[region.symbol]]
kind = "dial"
center = [88, {y}]
radius = 79
breakpoints = {stops}
line_width = 0
band_width = 6
bands = {bands}
pointers = [{{ channel = "{channel}", shape = "line", tip_radius = 50, tail_radius = 0, width = 1, color = "chalk" }}]

[region.symbol.ticks]
major_step = 1000
major_length = 0
color = "chalk"

[region.symbol.failure]
rect = [10, {y}, 4, 4]
font = "strong"
size = 4
color = "gold"
background = "night"

"""
_THIN_MINOR = """[[region.symbol]]
kind = "dial"
center = [88, {y}]
radius = 72
breakpoints = {stops}
line_width = 0
band_width = 6
bands = {bands}
pointers = [{{ channel = "{channel}", shape = "line", tip_radius = 50, tail_radius = 0, width = 1, color = "chalk" }}]

[region.symbol.ticks]
major_step = {step}
major_length = 7
width = 1
color = "chalk"

[region.symbol.failure]
rect = [10, {y}, 4, 4]
font = "strong"
size = 4
color = "gold"
background = "night"

"""
_ROTOR = {"y": 130, "stops": "[[0, -130], [80, -20], [120, 130]]", "step": 10, "channel": "rotor_speed"}
_TORQUE = {"y": 312, "stops": "[[0, -130], [150, 130]]", "step": 5, "channel": "torque"}
_ROTOR_BANDS = """bands = [
  { from = 88, to = 96, color = "gold" },
  { from = 96, to = 104, color = "leaf" },
  { from = 104, to = 108, color = "gold" },
]"""
_TORQUE_BANDS = 'bands = [{ from = 0, to = 100, color = "leaf" }, { from = 100, to = 115, color = "gold" }]'
_FIRST_SYMBOL = '[[region.symbol]]\nkind = "dial"'


def _coarse():
    steps = {"outside_air": 0.05, "ground_speed": 0.0625, "radio_altitude": 0.125, "power": 0.1}
    ends = {"outside_air": "size = 20", "ground_speed": "size = 20", "radio_altitude": "size = 34", "power": "size = 20"}
    return [(region, ends[region], f"{ends[region]}\ntolerance = {step}") for region, step in steps.items()]


def _slow():
    return [
        (region, "confirm_ms = ", "max_latency_ms = 400\nconfirm_ms = ")
        for region in ("ground_speed", "rotor", "torque", "power", "radio_altitude", "airspeed", "altitude", "heading")
    ]


# What changes in the base's definition; nothing when the base says it already.
CHANGES = {
    "bands_outside": [
        ("rotor", _ROTOR_BANDS, ""),
        ("torque", _TORQUE_BANDS, ""),
        ("rotor", _FIRST_SYMBOL, _OUTER_BANDS.format(bands=_ROTOR_BANDS[7:], **_ROTOR) + _FIRST_SYMBOL),
        ("torque", _FIRST_SYMBOL, _OUTER_BANDS.format(bands=_TORQUE_BANDS[7:], **_TORQUE) + _FIRST_SYMBOL),
    ],
    "tick_thin": [
        ("rotor", "minor_step = 10\n", ""),
        ("torque", "minor_step = 5\n", ""),
        ("rotor", _ROTOR_BANDS, ""),
        ("torque", _TORQUE_BANDS, ""),
        ("rotor", _FIRST_SYMBOL, _THIN_MINOR.format(bands=_ROTOR_BANDS[7:], **_ROTOR) + _FIRST_SYMBOL),
        ("torque", _FIRST_SYMBOL, _THIN_MINOR.format(bands=_TORQUE_BANDS[7:], **_TORQUE) + _FIRST_SYMBOL),
    ],
    "needle_aliased": [],
    "truncated": [
        ("altitude", "format = { quantum = 10.0 }", "format = { quantum = 10.0, offset = -5.0 }"),
        ("airspeed", 'size = 26\ncolor = "chalk"\n', 'size = 26\ncolor = "chalk"\nformat = { offset = -0.5 }\n'),
        ("radio_altitude", "format = { quantum = 10.0 }", "format = { quantum = 10.0, offset = -5.0 }"),
    ],
    "round_5": [
        ("altitude", "format = { quantum = 10.0 }", "format = { quantum = 5.0 }"),
        ("radio_altitude", "format = { quantum = 10.0 }", "format = { quantum = 5.0 }"),
    ],
    "round_20": [
        ("altitude", "format = { quantum = 10.0 }", "format = { quantum = 20.0 }"),
        ("radio_altitude", "format = { quantum = 10.0 }", "format = { quantum = 20.0 }"),
    ],
    "update_4hz": _slow(),
    "update_10hz": [],
    "update_25hz": [],
    "bar_middle_zero": [
        ("vertical_speed", 'style = "pointer"\ncolor = "chalk"', 'style = "fill"\norigin = 0\ncolor = "leaf"')
    ],
    "typeface": [],
    "typeface_opentype": [],
    "kerning": [],
    "text_unhinted": [],
    "text_full_hinting": [],
    "text_turned_whole": [],
    "bus_coarse": _coarse(),
}  # fmt: skip

for _group in (dials, tapes, attitude, heading, alerts, bars):
    CHANGES |= _group.CHANGES


def _changed(text, region, old, new):
    """A region's text with something else in place of `old`; without a region that of the head, before all regions."""
    begin = 0 if region is None else text.index(f'id = "{region}"\n')
    end = text.find("[[region]]", begin)
    end = len(text) if end < 0 else end
    part = text[begin:end]
    if old not in part:
        raise ValueError(f"{region}: no {old!r} in the base's definition")
    return text[:begin] + part.replace(old, new, 1) + text[end:]


def write(look, folder):
    """Writes `display.toml` (and fonts) for a look into a folder; its path."""
    text = BASE.read_text()
    for region, old, new in CHANGES.get(look, []):
        text = _changed(text, region, old, new)
    faces = {"typeface": OTHER_TYPEFACE, "kerning": OTHER_TYPEFACE, "typeface_opentype": OPENTYPE}.get(look, {})
    for face, (_, _, name) in faces.items():
        file = opentype_file(name) or DEJAVU / name
        shutil.copy(file, Path(folder) / name)
        start = text.index(f"{face} = {{ builtin")
        text = text[:start] + f'{face} = {{ file = "{name}" }}' + text[text.index("\n", start) :]
    path = Path(folder) / "display.toml"
    path.write_text(text)
    return path
