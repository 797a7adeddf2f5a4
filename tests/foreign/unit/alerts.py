"""Alerts in slots, modes and flags, and plain figures."""

import math

ALERTS = (
    ("ROTOR LOW", 0, 0, (("rotor_speed", -math.inf, 88),)),
    ("TORQUE LIMIT", 0, 1, (("torque", 115, math.inf),)),
    ("SPEED LIMIT", 0, 2, (("airspeed", 125, math.inf),)),
    ("TORQUE HIGH", 1, 0, (("torque", 100, 115),)),
    ("DESCENT FAST", 1, 1, (("vertical_speed", -math.inf, -700), ("radio_altitude", -math.inf, 1600))),
    ("HEIGHT LOW", 1, 2, (("radio_altitude", -math.inf, 100), ("airspeed", 20, math.inf))),
    ("BANK RIGHT", 1, 3, (("roll", 25, math.inf),)),
    ("ROTOR FREE", 2, 0, (("torque", -math.inf, 36),)),
    ("HOVER", 2, 1, (("ground_speed", -math.inf, 12), ("radio_altitude", 10, math.inf))),
    ("CLIMB", 2, 2, (("vertical_speed", 800, math.inf),)),
)
CLASS_COLORS = ("crimson", "gold", "aqua")
MODES = {
    "lateral_mode": ((178, 6, 144, 32), (("HAND", "chalk"), ("HEADING", "leaf"), ("TRACK", "leaf"))),
    "vertical_mode": ((328, 6, 144, 32), (("HAND", "chalk"), ("HEIGHT", "leaf"), ("CLIMB", "leaf"))),
    "light_mode": ((478, 6, 144, 32), (("LIGHT OFF", "chalk"), ("SEARCH", "aqua"))),
}


class Active:
    """Which alerts are on, and since when."""

    def __init__(self):
        self.since = {}

    def update(self, t, v):
        """Takes the values of a moment; returns indices of alerts in the order of their slots."""
        for k, (_, _, _, conditions) in enumerate(ALERTS):
            on = all(v[c] is not None and low <= v[c] < high for c, low, high in conditions)
            if on:
                self.since.setdefault(k, t)
            else:
                self.since.pop(k, None)
        return sorted(self.since, key=lambda k: (ALERTS[k][1], ALERTS[k][2], -self.since[k]))


def draw_alerts(pen, v):
    """The active alerts, the most urgent first."""
    for slot, k in enumerate(v["alerts"][:6]):
        text, kind = ALERTS[k][0], ALERTS[k][1]
        color = CLASS_COLORS[kind]
        x, y = 566, 352 + 26 * slot
        if pen.has("two_columns"):
            x, y = 566 + 118 * (slot % 2), 352 + 26 * (slot // 2)
        size = 14 if pen.has("two_columns") else 18
        if pen.has("flashing") and kind == 0 and not v["acknowledged"] and v["time"] % 1.0 >= 0.5:
            continue
        wide = (112 if pen.has("two_columns") else 218, 23)
        if pen.has("reverse_video") and kind == 0:
            pen.rect(color, x - 5, y - 12, *wide)
            color = "night"
        elif pen.has("boxes_round"):
            pen.round_path(x - 4, y - 11, wide[0] - 2, wide[1] - 2, 6)
            pen.ink(color)
            pen.ctx.set_line_width(1.5)
            pen.ctx.stroke()
        pen.words(color, "digits", size, x, y, "left", text)


def draw_mode(pen, v, channel):
    """One of several annunciations."""
    (x, y, w, h), states = MODES[channel]
    text, color = states[int(v[channel])]
    if pen.has("boxes_round"):
        pen.round_path(x, y, w, h, 8)
        pen.ink("slate")
        pen.ctx.fill()
    else:
        pen.rect("slate", x, y, w, h)
    pen.words(color, "strong", 16, x + w / 2, y + h / 2, "center", text)


def draw_outside_air(pen, v):
    """Temperature outside; the sign stands before zero too with its look."""
    n = math.floor(v["outside_air"] + 0.5)
    sign = "+" if n > 0 or (n == 0 and pen.has("plus_zero")) else ""
    pen.words("chalk", "digits", 20, 164, 22, "right", f"{sign}{n}°C")


def draw_ground_speed(pen, v):
    """Speed over the ground."""
    pen.words("chalk", "digits", 20, 726, 22, "right", f"{math.floor(v['ground_speed_shown'] + 0.5)}")


def draw_radio_altitude(pen, v):
    """Height over the ground, in tens or as the look says."""
    step = 20 if pen.has("round_20") else 5 if pen.has("round_5") else 10
    value = v["radio_altitude_shown"] / step
    n = (math.trunc(value) if pen.has("truncated") else math.floor(value + 0.5)) * step
    color = "gold" if v["radio_altitude_shown"] < 100 else "leaf"
    pen.words(color, "digits", 34, 162, 562, "right", f"{n}")


def draw_selected(pen, v):
    """What the crew selected."""
    pen.words("aqua", "digits", 22, 786, 542, "right", f"{int(v['selected_heading']) or 360:03d}°")
    pen.words("aqua", "digits", 22, 786, 574, "right", f"{v['selected_altitude']:.0f}")


def draw_rotor_figures(pen, v, color):
    """Rotor speed in tenths."""
    pen.words(color, "digits", 24, 164, 202, "right", f"{math.floor(v['rotor_speed_shown'] * 10 + 0.5) / 10:.1f}")


def draw_torque_figures(pen, v, color):
    """Torque."""
    text = "---" if v["torque"] is None else f"{math.floor(v['torque_shown'] + 0.5)}"
    pen.words(color, "digits", 24, 164, 386, "right", text)


def draw_power_figures(pen, v):
    """Power in fives."""
    pen.words("chalk", "digits", 20, 162, 428, "right", f"{math.floor(v['power_shown'] / 5 + 0.5) * 5:.0f}")
