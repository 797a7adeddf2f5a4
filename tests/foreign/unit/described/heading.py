"""Looks of the group "heading": what of the base's definition changes (region, what stands there, what stands there instead).

The compass card is written out in parts, and each look draws something of it otherwise.
"""

from .pieces import base, base_kind, channels, disc, group, line, poly, rect, symbol

_X, _Y = 400, 484
_ROSE = base("heading")[1]
_LETTERS = {0: "N", 90: "E", 180: "S", 270: "W"}
_CALM = [{"channel": "wind_speed", "at_least": 3}]
_PLANE = [(1, -20), (1, -4), (20, -4), (20, -2), (1, -2), (1, 15), (8, 15), (8, 17), (1, 17), (1, 20)]


def _card_turn(y):
    return {"name": "card", "channel": "heading", "period": 360, "per_unit": -1, "turn_about": [_X, y]}


def _on_card(name, channel, about, offset=0):
    """Turned to where a bearing stands on the card."""
    turn = {"name": name, "channel": channel, "minus": "heading", "offset": offset, "period": 360, "turn_about": about}
    return {"motion": [turn]}


def _card(y=_Y, radius=96, label_radius=72, named=_LETTERS, within=None):
    """Marks and letters, turned by the heading; with an end to both sides marks come and go there whole."""
    top, turn = y - radius, {"motion": [_card_turn(y)]}
    own = turn if within else {}

    def every(step, *parts, **more):
        repeat = {"step": step, "from": 0, "to": 359, "turn_about": [_X, y], **more}
        return group(*parts, repeat=repeat | ({"within": within} if within else {}), **own)

    label = {"position": [_X, y - label_radius], "font": "strong", "size": 18, "color": "chalk", "format": {"scale": 0.1}}
    label["named"] = [{"at": at, "text": text} for at, text in named.items()]
    long, short = (line("chalk", 2, [[_X, top + length], [_X, top]]) for length in (12, 6))
    marks = [every(30, long, {"shape": {"label": label}}), every(10, long, except_step=30), every(5, short, except_step=10)]
    return marks if within else [group(*marks, **turn)]


def _bugs(y=_Y, radius=96, has_notch=True, when=lambda channel: {}):
    """Track and selected heading at the rim."""
    points = [(-8, 0), (-8, 11), (8, 11), (8, 0)] + has_notch * [(4, 0), (0, 5.5), (-4, 0)]
    outline = [[_X + along, y - radius - across] for along, across in points]
    return [
        {**poly(color, outline), **_on_card("bug", channel, [_X, y]), **when(channel)}
        for channel, color in (("track", "leaf"), ("selected_heading", "aqua"))
    ]


_ARROW = poly("chalk", [[0, -19], [8, -3], [2, -3], [2, 19], [-2, 19], [-2, -3], [-8, -3]])
_OPEN_ARROW = {
    "shape": {"path": "M 0 19 L 0 -18 M -8 -8 L 0 -18 L 8 -8"},
    "stroke": {"color": "chalk", "width": 2, "cap": "round"},
}


def _wind(arrow=_ARROW, **figures):
    """The arrow that points where the wind blows to, and its figures."""
    arrow = {**arrow, "at": [210, 372], **_on_card("wind", "wind_direction", [210, 372], 180), "when": _CALM}
    return [arrow, *({"shape": {"readout": _ROSE["wind"][f"{of}_readout"]}, **figures} for of in ("direction", "speed"))]


_LUBBER = rect("gold", _X - 1, 374, 2, 14)
_AIRCRAFT = poly("gold", [[_X + x, _Y + y] for x, y in [*_PLANE, *((-x, y) for x, y in reversed(_PLANE))]])


def _heading(card=None, bugs=None, course=(), wind=None, lubber=_LUBBER, aircraft=(_AIRCRAFT,)):
    parts = [*(card or _card()), *(bugs or _bugs()), *course, *(wind or _wind())]
    parts += [{"shape": {"readout": _ROSE["readout"]}}, lubber, *aircraft]
    flag = {"channels": ["heading"], "flag": _ROSE["failure"]}
    return "heading", base_kind("heading", "rose"), symbol(group(*parts, failure=flag))


def _plain_bug(region, x, inward, limits, px_per_unit):
    """The changes that put a tape's bug in parts: it meets nothing of its tape but the ground and the marks."""
    tape = base(region)[1]
    (bug,), area = tape["bugs"], tape["rect"]
    motion = {"name": "bug", "channel": bug["channel"], "minus": region, "minus_range": limits, "shift_along": [0, 1]}
    motion["scale"] = [[-129 / px_per_unit, 129], [129 / px_per_unit, -129]]
    part = {**poly("aqua", [[x, 187], [x + inward, 187], [x + inward, 203], [x, 203]]), "clip": {"rect": area}}
    old = f'[[region.symbol.bugs]]\nchannel = "{bug["channel"]}"\ncolor = "aqua"\nsize = [16, 10]\n\n'
    whole = base_kind(region, "tape")
    return region, whole, whole.replace(old, "") + symbol({**part, "motion": [motion]})


# The arc: a stretch of a larger card about another middle.
_ARC = (560, 172)


def _seen(channel):
    return {"when": [{"channel": f"{channel}_off", "absolute": True, "at_most": 60}]}


def _off(channel):
    return {"expression": f"wrap180({channel} - heading)", "unit": "deg"}


_RIM = {"shape": {"arc": {"center": [_X, 560], "radii": [171, 173], "from_deg": -60, "to_deg": 60}}, "fill": "chalk"}
_WINDOW = {"rect": [250, 374, 300, 130]}

# The course needle, about the middle of the card.
_DEVIATION = {"name": "deviation", "channel": "deviation", "per_unit": 13, "shift_along": [1, 0]}
_COURSE = group(
    line("aqua", 4, [[0, -54], [0, -30]]),
    line("aqua", 4, [[0, 30], [0, 54]]),
    poly("aqua", [[0, -60], [7, -48], [-7, -48]]),
    *(disc("chalk", 13 * dot, 0, 2.5) for dot in (-2, -1, 1, 2)),
    {**rect("aqua", -2, -26, 4, 52), "motion": [_DEVIATION]},
    at=[_X, _Y],
    **_on_card("course", "course", [_X, _Y]),
)

CHANGES = {
    "lubber_triangle": [_heading(lubber=poly("gold", [[_X, 389], [_X - 8, 376], [_X + 8, 376]]))],
    "bug_plain": [
        _heading(bugs=_bugs(has_notch=False)),
        _plain_bug("airspeed", 246, -10, [0, 160], 2.6),
        _plain_bug("altitude", 554, 10, [-1000, 20000], 0.3),
    ],
    "wind_open": [_heading(wind=_wind(_OPEN_ARROW))],
    "wind_hidden": [_heading(wind=_wind(when=_CALM))],
    "arc_120": [
        channels(track_off=_off("track"), selected_heading_off=_off("selected_heading")),
        _heading(
            card=[group(_RIM, *_card(*_ARC, 146, within=[-60.5, 60.5]), clip=_WINDOW)],
            bugs=_bugs(*_ARC, when=_seen),
            aircraft=(),
        ),
    ],
    "rose_numbers": [_heading(card=_card(named={0: "36"}))],
    "course_needle": [
        channels(deviation={"column": "deviation_dots", "range": [-2.5, 2.5]}),
        ("heading", "wind_direction = 8.0", "wind_direction = 8.0, course = 4.0, deviation = 0.2"),
        _heading(course=[_COURSE], aircraft=()),
    ],
}
