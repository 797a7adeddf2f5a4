"""Faults inside the unit, with their times, and the truth about them.

| kind | target | size |
| --- | --- | --- |
| bias | channel | how far the shown value is off, in the channel's unit |
| freeze | channel | none |
| late | channel | how much older the data are, ms |
| color | part | the part's colours (`+` between) and the one that stands in their place |
| missing | part | none |
| moved | part | px right and down |
"""

from dataclasses import dataclass

from .data import COLUMNS
from .page import PART

KINDS_OF_CHANNELS = ("bias", "freeze", "late")
KINDS_OF_PARTS = ("color", "missing", "moved")
# Which part shows a channel; for the place of a fault in the picture.
SHOWN_BY = {
    "pitch": "horizon", "roll": "horizon", "slip": "slip", "airspeed": "speed_scale", "altitude": "height_scale",
    "ground_speed": "speed_bug", "heading": "card", "track": "heading_bugs", "selected_heading": "heading_bugs",
    "selected_altitude": "height_bug", "vertical_speed": "vertical_speed", "collective": "collective",
    "power": "power", "torque": "torque_needle", "rotor_speed": "rotor_needle", "engine_speed": "engine_pointer",
    "wind_direction": "wind", "wind_speed": "wind", "radio_altitude": "radio_altitude", "outside_air": "outside_air",
    "course": "course", "deviation": "course",
}  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """A fault between two times of the recording, s."""

    kind: str
    target: str
    size: object
    start_s: float
    end_s: float

    def is_on(self, t):
        """Whether the fault shows at a time."""
        return self.start_s <= t < self.end_s

    @property
    def is_of_channel(self):
        """Whether a channel is wrong, not a part."""
        return self.kind in KINDS_OF_CHANNELS

    def changed(self, data_s, bias):
        """Data time and bias of the channel while the fault is on."""
        if self.kind == "bias":
            return data_s, bias + self.size
        if self.kind == "freeze":
            return min(data_s, self.start_s), bias
        return data_s - self.size / 1000, bias

    def box(self):
        """`[x, y, w, h]` outside of which the fault changes nothing that shows it itself."""
        part = PART[SHOWN_BY[self.target] if self.is_of_channel else self.target]
        x, y, w, h = part.box
        if self.kind == "moved":
            right, down = self.size
            x, y, w, h = x + min(right, 0), y + min(down, 0), w + abs(right), h + abs(down)
        return [x, y, w, h]

    def truth(self, start_s):
        """The fault as it is written down; times are those of the video, which begins at `start_s`."""
        name = "channel" if self.is_of_channel else "part"
        part = PART[SHOWN_BY[self.target] if self.is_of_channel else self.target]
        return {
            "fault": self.kind, name: self.target, "size": self.size, "start_s": round(self.start_s - start_s, 3),
            "end_s": round(self.end_s - start_s, 3), "region": part.region, "box": self.box(),
        }  # fmt: skip


def parse(text, start_s):
    """A fault from `kind:target:size:from:to`; times are those of the video.

    Sizes: a number (bias, late), `from>to` (color), `right,down` (moved), nothing (missing, freeze).
    """
    kind, target, size, begin, end = text.split(":")
    if kind not in KINDS_OF_CHANNELS + KINDS_OF_PARTS:
        raise ValueError(f"{kind}: no kind of fault; there are {', '.join(KINDS_OF_CHANNELS + KINDS_OF_PARTS)}")
    known = COLUMNS if kind in KINDS_OF_CHANNELS else PART
    if target not in known:
        raise ValueError(f"{target}: not known; there are {', '.join(known)}")
    if kind in ("bias", "late"):
        size = float(size)
    elif kind == "color":
        size = tuple(size.split(">"))
    elif kind == "moved":
        size = tuple(int(n) for n in size.split(","))
    else:
        size = None
    return Fault(kind, target, size, start_s + float(begin), start_s + float(end))
