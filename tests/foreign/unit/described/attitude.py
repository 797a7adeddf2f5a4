"""Looks of the group "attitude": what of the base's definition changes (region, what stands there, what stands there instead).

The picture is written out in parts, and each look draws something of it otherwise.
"""

from .pieces import base, base_symbols, colors, disc, group, line, poly, rect, symbol

_X, _Y = 400, 195
_BOX = [250, 44, 300, 280]
_BAND = 80
_RADIUS = 116
_PX_PER_DEG = 5
_FAR = 840
_ROLL = {
    "name": "roll", "channel": "roll", "with_pitch": "pitch", "period": 360, "per_unit": -1, "turn_about": [_X, _Y],
}  # fmt: skip
_PITCH = {"name": "pitch", "channel": "pitch", "with_bank": "roll", "per_unit": _PX_PER_DEG, "shift_along": [0, 1]}
_FAILURE = {"channels": ["pitch", "roll"], "flag": base("attitude")[0]["failure"]}


# Sky and ground, as they stand at no pitch.
_GROUND = [rect("earth", _X - _FAR, _Y, 2 * _FAR, _FAR)]
_HORIZON = [rect("chalk", _X - _FAR, _Y - 1, 2 * _FAR, 2)]


def _shade(y, from_y, from_color, to_y, to_color):
    stops = [{"offset": 0, "color": from_color}, {"offset": 1, "color": to_color}]
    shade = {"from": [_X, from_y], "to": [_X, to_y], "stop": stops}
    return {"shape": {"rect": [_X - _FAR, y, 2 * _FAR, _FAR]}, "shade": shade}


# The ladder: rungs and numbers, as they stand at the horizon; the rungs of a side are drawn alike.
def _level(half, side):
    return [line("chalk", 2, [[_X - half, _Y], [_X + half, _Y]])]


def _dark(half, side):
    grown = half + 1.5
    return [line("black", 5, [[_X - grown, _Y], [_X + grown, _Y]]), *_level(half, side)]


def _dashed(half, side):
    points = [[_X - half, _Y], [_X + half, _Y]]
    return [line("chalk", 2, points, dash=[7, 5]) if side < 0 else line("chalk", 2, points)]


def _with_ends(half, side):
    ticks = [[[_X + at, _Y], [_X + at, _Y + 6 * side]] for at in (1 - half, half - 1)] if half == 30 else []
    return _level(half, side) + [line("chalk", 2, points) for points in ticks]


def _converging(half, side):
    outward = (-1, 1)
    return [line("chalk", 2, [[_X + o * half / 3, _Y + side * half / 6], [_X + o * half, _Y]]) for o in outward]


def _chevron(side):
    points = [[_X - 26, _Y - 20 * side], [_X, _Y + 14 * side], [_X + 26, _Y - 20 * side]]
    return line("crimson", 6, points)


def _at_pitch(parts, step, reach, first, last, **more):
    """Parts at pitches, that come and go where the pitch axis leaves what is visible."""
    place = {"shift_along": [0, -1], "per_unit": _PX_PER_DEG, "within": [-reach, reach]}
    repeat = {"step": step, "from": min(first, last), "to": max(first, last), **place, **more}
    return group(*parts, repeat=repeat, motion=[_PITCH])


def _rungs(draw=_level, reach=_BAND + 2, clip=True):
    parts = []
    for side in (-1, 1):
        parts.append(_at_pitch(draw(14, side), 5, reach, 5 * side, 80 * side, except_step=10))
        parts.append(_at_pitch(draw(30, side), 10, reach, 10 * side, 80 * side))
    return [group(*parts, clip={"rect": [_X - 200, _Y - _BAND, 400, 2 * _BAND]}) if clip else group(*parts)]


def _numbers(reach=_BAND, clip=False):
    parts = []
    for side, align in ((-1, "right"), (1, "left")):
        place = {"position": [_X + 34.9 * side, _Y], "align": align}
        look = {"font": "strong", "size": 14, "color": "chalk", "absolute": True}
        parts.append({"shape": {"label": {**place, **look}}})
    numbers = _at_pitch(parts, 10, reach, -80, 80, **{"except": [0]})
    return [group(numbers, clip={"rect": [_X - 200, _Y - _BAND, 400, 2 * _BAND]}) if clip else numbers]


# Bank marks, about the aircraft's symbol.
def _at_bank(part, mark):
    return [{**part, "at": [_X, _Y], "turned_deg": angle} for angle in (-mark, mark)]


def _tick(mark, color="chalk", width=2, cap="butt"):
    return _at_bank(line(color, width, [[0, -_RADIUS], [0, -_RADIUS - 10]], cap=cap), mark)


def _dot(mark):
    return _at_bank(disc("chalk", 0, -_RADIUS - 4, 3), mark)


def _wedge(mark):
    return _at_bank(poly("chalk", [[0, -_RADIUS], [4.5, -_RADIUS - 9], [-4.5, -_RADIUS - 9]]), mark)


def _marks(**others):
    """Marks of bank: `_20=draw` for one that is drawn otherwise."""
    parts = [part for mark in (10, 20, 30, 45, 60) for part in others.get(f"_{mark}", _tick)(mark)]
    return [*parts, poly("chalk", [[_X, _Y - _RADIUS], [_X + 5, _Y - _RADIUS - 10], [_X - 5, _Y - _RADIUS - 10]])]


_POINTER = [[_X, _Y - _RADIUS], [_X + 6.5, _Y - _RADIUS + 13], [_X - 6.5, _Y - _RADIUS + 13]]
_HANGS = [{"name": "slip", "channel": "slip", "scale": [[-1 / 7, 60], [1 / 7, -60]], "shift_along": [1, 0]}]
_SLIP = [{**rect("chalk", _X - 13, 102, 26, 8), "motion": _HANGS}]
_BALL = [
    {**disc("chalk", _X, 304, 7), "motion": _HANGS},
    rect("night", _X - 11, 294, 2, 20),
    rect("night", _X + 9, 294, 2, 20),
]


# The aircraft's symbol, with a dark border.
def _bordered(*rects):
    out = []
    for color, g in (("black", 1.5), ("gold", 0)):
        out += [rect(color, _X + x - g, _Y + y - g, w + 2 * g, h + 2 * g) for x, y, w, h in rects]
    return out


def _wings():
    half, span = 2.5, 76
    inner, step = span * 0.45, span * 0.16
    for color, g in (("black", 1.5), ("gold", 0)):
        for side in (-1, 1):
            points = [(span + g, -half - g), (inner - g, -half - g), (inner - g, step + g)]
            points += [(inner + 2 * half + g, step + g), (inner + 2 * half + g, half + g), (span + g, half + g)]
            yield poly(color, [[_X + side * x, _Y + y] for x, y in points])
        yield rect(color, _X - half - g, _Y - half - g, 2 * (half + g), 2 * (half + g))


_DOT = [*_bordered((-70, -2.5, 44, 5), (26, -2.5, 44, 5)), disc("black", _X, _Y, 6), disc("gold", _X, _Y, 4.5)]
_BARS = _bordered((-80, -3, 60, 6), (-4, -3, 8, 6), (20, -3, 60, 6))
_V_POINTS = [[_X - 56, _Y + 26], [_X, _Y], [_X + 56, _Y + 26]]
_V = [line("black", 8, _V_POINTS), line("gold", 5, _V_POINTS)]


def _attitude(
    sky=(), ground=_GROUND, horizon=_HORIZON, second=(), rungs=None, numbers=None, over=(), pointer=None, slip=_SLIP,
    marks=None, aircraft=None, clip=None, **more_colors,
):  # fmt: skip
    world = [group(*sky, *ground, *horizon, motion=[_PITCH]), *second, *(rungs or _rungs()), *(numbers or _numbers()), *over]
    pointer = pointer or poly("chalk", _POINTER)
    picture = [rect("sky", *_BOX), group(*world, motion=[_ROLL]), group(pointer, motion=[_ROLL])]
    picture += [*slip, *(marks or _marks()), *(aircraft or _wings())]
    new = symbol(group(group(*picture, clip=clip or {"rect": _BOX}), failure=_FAILURE))
    return [colors(black="#000000", **more_colors), ("attitude", base_symbols("attitude")[0], new)]


# Where the horizon leaves the picture a dashed line stays at its edge; the dashes begin at the left end.
_SECOND = [
    line("chalk", 2, [[_X - 420, _Y + 105 * side], [_X + 420, _Y + 105 * side]], dash=[12, 8])
    | {"when": [{"channel": "pitch", key: 21 * side}]}
    for side, key in ((1, "above"), (-1, "below"))
]
_CHEVRONS = [_at_pitch([_chevron(side)], 20, 140, 40 * side, 60 * side) for side in (-1, 1)]
_EDGES = [part for mark in (10, 20, 30, 45, 60) for part in _tick(mark, "black", 5, "square")]

CHANGES = {
    "aircraft_dot": _attitude(aircraft=_DOT),
    "aircraft_v": _attitude(aircraft=_V),
    "aircraft_bar": _attitude(aircraft=_BARS),
    "ladder_ends": _attitude(rungs=_rungs(_with_ends)),
    "ladder_dashed": _attitude(rungs=_rungs(_dashed)),
    "ladder_converging": _attitude(rungs=_rungs(_converging)),
    "ladder_whole": _attitude(rungs=_rungs(reach=_BAND, clip=False)),
    "ladder_cut_labels": _attitude(numbers=_numbers(_BAND + 2, clip=True)),
    "slip_ball": _attitude(slip=_BALL),
    "bank_dots": _attitude(marks=_marks(_10=_dot, _20=_dot, _45=_dot)),
    "bank_triangles": _attitude(marks=_marks(_30=_wedge, _45=_wedge, _60=_wedge)),
    "bank_hollow": _attitude(pointer={"shape": {"polygon": _POINTER}, "stroke": {"color": "chalk", "width": 2}}),
    "attitude_round": _attitude(clip={"rounded": {"rect": _BOX, "radius": 26}}),
    "attitude_dark_edges": _attitude(
        horizon=[rect("black", _X - _FAR, _Y - 2.5, 2 * _FAR, 5), *_HORIZON],
        rungs=_rungs(_dark),
        marks=_EDGES + _marks(),
    ),
    "attitude_shaded": _attitude(
        sky=[_shade(_Y - _FAR, _Y - 300, "high_sky", _Y, "sky")],
        ground=[_shade(_Y, _Y, "earth", _Y + 300, "low_earth")],
        high_sky="#123e6b",
        low_earth="#452c16",
    ),
    "second_horizon": _attitude(second=_SECOND),
    "chevrons": _attitude(over=_CHEVRONS),
}
