"""The page: which parts stand where, in drawing order, and the unit that draws a frame of them."""

from dataclasses import dataclass
from typing import Callable

import cairo

from . import alerts, attitude, bars, dials, heading, tapes
from .pen import Pen
from .text import FACES, OPENTYPE, OTHER_TYPEFACE, Writer

WIDTH, HEIGHT = 800, 600

LABELS = (
    ("OAT", 10, 22, "left"), ("GS", 634, 22, "left"), ("KT", 760, 22, "right"), ("% NR", 88, 176, "center"),
    ("NR", 12, 202, "left"), ("TORQUE %", 12, 386, "left"), ("KT", 211, 55, "center"), ("FT", 597, 55, "center"),
    ("FPM", 681, 55, "center"), ("COLL", 757, 55, "center"), ("POWER HP", 12, 428, "left"),
    ("RADIO ALT FT", 12, 526, "left"), ("WIND", 186, 344, "left"), ("SEL HDG", 566, 542, "left"),
    ("SEL ALT", 566, 574, "left"),
)  # fmt: skip


@dataclass(frozen=True)
class Part:
    """Something drawn that can be missing, of a wrong colour or in a wrong place.

    `box` holds all of its pixels; `color` is what it has, or all that it may have, with `+` between.
    """

    name: str
    region: str
    box: tuple
    color: str
    is_static: bool
    draw: Callable


def _labels(pen, v):
    for text, x, y, align in LABELS:
        pen.words("steel", "label", 14, x, y, align, text)


def _grounds(pen, v):
    tapes.ground(pen, tapes.AIRSPEED)
    tapes.ground(pen, tapes.ALTITUDE)


def _rotor_figures(pen, v):
    alerts.draw_rotor_figures(pen, v, dials.rotor_color(v["rotor_speed_shown"]))


def _torque_figures(pen, v):
    alerts.draw_torque_figures(pen, v, "chalk" if v["torque"] is None else dials.torque_color(v["torque_shown"]))


def _mode(channel):
    return lambda pen, v: alerts.draw_mode(pen, v, channel)


_SPEED, _HEIGHT = (176, 66, 70, 258), (554, 66, 86, 258)
_CARD, _ROTOR, _TORQUE = (250, 362, 300, 232), (6, 44, 164, 146), (6, 226, 164, 148)

PARTS = (
    Part("grounds", "airspeed", (176, 66, 464, 258), "slate", True, _grounds),
    Part("rotor_scale", "rotor", _ROTOR, "chalk", True, lambda pen, v: dials.scale(pen, dials.ROTOR)),
    Part("torque_scale", "torque", _TORQUE, "chalk", True, lambda pen, v: dials.scale(pen, dials.TORQUE)),
    Part("bar_scales", "vertical_speed", (0, 44, 800, 550), "chalk", True, lambda pen, v: bars.scales(pen)),
    Part("labels", "labels", (0, 0, 800, 600), "steel", True, _labels),
    Part("horizon", "attitude", attitude.BOX, "sky", False, attitude.draw_horizon),
    Part("ladder", "attitude", attitude.BOX, "chalk", False, attitude.draw_ladder),
    Part("bank_pointer", "attitude", attitude.BOX, "chalk", False, attitude.draw_bank_pointer),
    Part("slip", "attitude", (320, 95, 160, 220), "chalk", False, attitude.draw_slip),
    Part("bank_marks", "attitude", attitude.BOX, "chalk", False, attitude.draw_bank_marks),
    Part("aircraft", "attitude", (310, 180, 180, 50), "gold", False, attitude.draw_aircraft),
    Part("speed_scale", "airspeed", _SPEED, "chalk", False, tapes.draw_speed_scale),
    Part("speed_bug", "airspeed", _SPEED, "aqua", False, tapes.draw_speed_bug),
    Part("speed_window", "airspeed", (174, 174, 74, 42), "chalk", False, tapes.draw_speed_window),
    Part("height_scale", "altitude", _HEIGHT, "chalk", False, tapes.draw_height_scale),
    Part("height_bug", "altitude", _HEIGHT, "aqua", False, tapes.draw_height_bug),
    Part("height_window", "altitude", (554, 174, 88, 42), "chalk", False, tapes.draw_height_window),
    Part("engine_pointer", "rotor", _ROTOR, "steel", False, dials.draw_engine),
    Part("rotor_needle", "rotor", _ROTOR, "chalk", False, dials.draw_rotor),
    Part("rotor_figures", "rotor", (60, 186, 110, 34), "chalk", False, _rotor_figures),
    Part("torque_needle", "torque", _TORQUE, "chalk+gold+crimson", False, dials.draw_torque),
    Part("torque_figures", "torque", (90, 372, 80, 30), "chalk+gold+crimson", False, _torque_figures),
    Part("vertical_speed", "vertical_speed", (650, 64, 24, 254), "chalk", False, bars.draw_vertical_speed),
    Part("collective", "collective", (728, 70, 32, 242), "leaf", False, bars.draw_collective),
    Part("collective_limit", "collective", (728, 70, 32, 242), "crimson", False, bars.draw_limit),
    Part("power", "power", (20, 448, 140, 22), "leaf", False, bars.draw_power),
    Part("power_figures", "power", (90, 410, 80, 34), "chalk", False, alerts.draw_power_figures),
    Part("card", "heading", _CARD, "chalk", False, heading.draw_card),
    Part("heading_bugs", "heading", _CARD, "leaf", False, heading.draw_bugs),
    Part("course", "heading", (330, 414, 140, 140), "aqua", False, heading.draw_course),
    Part("wind", "heading", (178, 350, 70, 106), "chalk", False, heading.draw_wind),
    Part("heading_figures", "heading", (350, 332, 100, 34), "chalk", False, heading.draw_figures),
    Part("lubber", "heading", (376, 372, 48, 136), "gold", False, heading.draw_lubber),
    Part("alerts", "alerts", (556, 330, 238, 180), "crimson+gold+aqua", False, alerts.draw_alerts),
    Part("lateral_mode", "modes", (178, 6, 144, 32), "leaf+chalk", False, _mode("lateral_mode")),
    Part("vertical_mode", "modes", (328, 6, 144, 32), "leaf+chalk", False, _mode("vertical_mode")),
    Part("light_mode", "modes", (478, 6, 144, 32), "chalk+aqua", False, _mode("light_mode")),
    Part("outside_air", "outside_air", (60, 6, 110, 32), "chalk", False, alerts.draw_outside_air),
    Part("ground_speed", "ground_speed", (660, 6, 72, 32), "chalk", False, alerts.draw_ground_speed),
    Part("radio_altitude", "radio_altitude", (20, 540, 150, 46), "leaf", False, alerts.draw_radio_altitude),
    Part("selected", "selected", (650, 528, 144, 62), "aqua", False, alerts.draw_selected),
    Part("liveness", "liveness", (764, 8, 32, 28), "leaf", False, bars.draw_live),
)
PART = {part.name: part for part in PARTS}

_PLAIN = (
    "pitch", "roll", "heading", "track", "slip", "airspeed", "ground_speed", "altitude", "vertical_speed",
    "wind_direction", "wind_speed", "outside_air", "rotor_speed", "engine_speed", "torque", "collective", "power",
    "radio_altitude", "lateral_mode", "vertical_mode", "light_mode", "selected_heading", "selected_altitude", "course",
    "deviation", "acknowledged",
)  # fmt: skip
_FIGURES = (
    "airspeed", "altitude", "heading", "ground_speed", "radio_altitude", "rotor_speed", "torque", "power",
)  # fmt: skip
_HINTINGS = {"text_unhinted": "none", "text_full_hinting": "full"}
_UPDATES_HZ = {"update_4hz": 4.0, "update_10hz": 10.0, "update_25hz": 25.0}


class Unit:
    """Draws frames. Times are seconds of the recording; faults are those of `faults.py`."""

    def __init__(self, bus, clock, looks=(), hinting="slight", faults=(), turned_whole=False):
        self.bus = bus
        bus.is_coarse = bus.is_coarse or "bus_coarse" in looks
        self.clock = clock
        self.faults = tuple(faults)
        looks = frozenset(looks)
        hinting = _HINTINGS.get(next((look for look in looks if look in _HINTINGS), None), hinting)
        turned_whole = turned_whole or "text_turned_whole" in looks
        faces = OPENTYPE if "typeface_opentype" in looks else FACES
        if looks & {"typeface", "kerning"}:
            faces = OTHER_TYPEFACE
        self.surface = cairo.ImageSurface(cairo.FORMAT_RGB24, WIDTH, HEIGHT)
        self.pen = Pen(self.surface, looks, Writer(hinting, "kerning" in looks, faces, turned_whole))
        self._updates_hz = next((hz for look, hz in _UPDATES_HZ.items() if look in looks), None)
        self._active = alerts.Active()
        self._still = {}

    def values(self, t, data_s):
        """What the unit shows at `t`, from data of `data_s`."""

        def value(channel, at):
            bias = 0.0
            for fault in self.faults:
                if fault.is_of_channel and fault.target == channel and fault.is_on(t):
                    at, bias = fault.changed(at, bias)
            return self.bus.value(channel, at) + bias

        v = {channel: value(channel, data_s) for channel in _PLAIN}
        v["time"] = t
        v["data_s"] = data_s
        held = data_s if self._updates_hz is None else int(data_s * self._updates_hz) / self._updates_hz
        for channel in _FIGURES:
            v[channel + "_shown"] = v[channel] if held == data_s else value(channel, held)
        for channel in ("airspeed", "torque"):
            v[channel + "_rate"] = (v[channel] - self.bus.value(channel, data_s - 0.5)) / 0.5
        if self.bus.value("torque_valid", data_s) < 0.5:
            v["torque"] = None
        v["alerts"] = self._active.update(data_s, v)
        return v

    def frame(self, t):
        """The surface as it stands at `t`; the next frame is drawn on the same one. Frames are drawn in order."""
        v = self.values(t, self.clock.data_time(t))
        on = tuple(f for f in self.faults if not f.is_of_channel and f.is_on(t))
        key = tuple(f for f in on if PART[f.target].is_static)
        pen = self.pen
        screen = pen.ctx
        if key not in self._still:
            still = cairo.ImageSurface(cairo.FORMAT_RGB24, WIDTH, HEIGHT)
            pen.ctx = cairo.Context(still)
            pen.ink("night")
            pen.ctx.paint()
            for part in PARTS:
                if part.is_static:
                    self._draw(part, v, on)
            self._still[key] = still
            pen.ctx = screen
        screen.set_source_surface(self._still[key])
        screen.paint()
        for part in PARTS:
            if not part.is_static:
                self._draw(part, v, on)
        self.surface.flush()
        return self.surface

    def _draw(self, part, v, on):
        mine = [f for f in on if f.target == part.name]
        pen = self.pen
        if not mine:
            part.draw(pen, v)
            return
        if any(f.kind == "missing" for f in mine):
            return
        pen.ctx.save()
        for fault in mine:
            if fault.kind == "moved":
                pen.ctx.translate(*fault.size)
            elif fault.kind == "color":
                pen.swap = dict.fromkeys(fault.size[0].split("+"), fault.size[1])
        part.draw(pen, v)
        pen.swap = {}
        pen.ctx.restore()
