"""All looks of the unit, one switch each: name, group, what it changes, where, and in which flight it is seen."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Look:
    """One way to draw something. `box` holds every pixel that it may change."""

    name: str
    group: str
    changes: str
    box: tuple
    scenario: str = "plain"
    marked: bool = False


_DIALS, _ROTOR, _TORQUE = (6, 40, 166, 340), (6, 40, 166, 150), (6, 220, 166, 160)
_SPEED, _HEIGHT, _TAPES = (174, 64, 76, 262), (550, 64, 92, 262), (174, 64, 468, 262)
_SPEED_WINDOW, _HEIGHT_WINDOW, _WINDOWS = (174, 170, 84, 50), (550, 170, 92, 50), (174, 170, 468, 50)
_ATTITUDE, _CARD, _ALL = (250, 44, 300, 280), (250, 362, 300, 232), (0, 0, 800, 600)
_ALERTS, _FIGURES = (556, 330, 238, 180), (0, 0, 800, 600)

LOOKS = (
    Look("needle_tapered", "dials", "tapered needle with counterweight", _DIALS, marked=True),
    Look("hub", "dials", "hub over the axle", _DIALS, marked=True),
    Look("label_turned", "dials", "numbers turned with the scale", _DIALS, marked=True),
    Look("label_outer_edge", "dials", "numbers aligned by their outer edge", _DIALS, marked=True),
    Look("bands_outside", "dials", "coloured bands outside the scale line", _DIALS, marked=True),
    Look("limit_triangle", "dials", "limit as a triangle outside the line", _DIALS, marked=True),
    Look("tick_thin", "dials", "minor ticks 1 px wide", _DIALS, marked=True),
    Look("trend_line", "dials", "trend line from the pointer's tip", _TORQUE, marked=True),
    Look("tick_round", "dials", "round tick ends", _DIALS),
    Look("dial_dark_edges", "dials", "lines with a dark edge", _DIALS),
    Look("limit_thin", "dials", "thin red line across the scale", _DIALS),
    Look("pointer_hides_labels", "dials", "pointer that hides numerals under it", _DIALS),
    Look("listed_order", "dials", "numbers over the pointers", _DIALS),
    Look("needle_aliased", "dials", "needle without anti-aliasing", _DIALS),
    Look("window_pointed", "tapes", "window with a pointed side and round corners", _WINDOWS, marked=True),
    Look("digits_small", "tapes", "last two digits of the altitude smaller", _WINDOWS, marked=True),
    Look("digits_rolling", "tapes", "digits that roll like a drum, with carry", _HEIGHT_WINDOW, marked=True),
    Look("digit_boxes", "tapes", "each digit of a window in a box", _WINDOWS, marked=True),
    Look("pitch_wide", "tapes", "wider digit pitch", _WINDOWS, marked=True),
    Look("pitch_narrow", "tapes", "narrower digit pitch", _WINDOWS, marked=True),
    Look("truncated", "tapes", "windows and radio altitude truncated instead of rounded", _FIGURES, marked=True),
    Look("round_5", "tapes", "altitude and radio altitude rounded to 5", _FIGURES),
    Look("round_20", "tapes", "altitude and radio altitude rounded to 20", _FIGURES),
    Look("digit_outline", "tapes", "dark outline round the digits of windows", _WINDOWS, marked=True),
    Look("plus_zero", "tapes", "+0 instead of 0", (60, 6, 110, 32), "cold"),
    Look("tape_long", "tapes", "a tape of 52,000 ft with marks in steps of 20", _HEIGHT, "high"),
    Look("tape_shaded", "tapes", "shading to the tapes' ends", _TAPES),
    Look("bug_constant", "tapes", "a bug at a constant value", _SPEED),
    Look("trend_arrow", "tapes", "trend arrow", _SPEED),
    Look("update_4hz", "tapes", "readouts change 4 times a second", _FIGURES),
    Look("update_10hz", "tapes", "readouts change 10 times a second", _FIGURES),
    Look("update_25hz", "tapes", "readouts change 25 times a second", _FIGURES),
    Look("aircraft_dot", "attitude", "aircraft symbol: wings and dot", _ATTITUDE, marked=True),
    Look("aircraft_v", "attitude", "aircraft symbol: a V", _ATTITUDE, marked=True),
    Look("aircraft_bar", "attitude", "aircraft symbol: a bar with a gap", _ATTITUDE, marked=True),
    Look("ladder_ends", "attitude", "ladder with end ticks", _ATTITUDE, marked=True),
    Look("ladder_dashed", "attitude", "ladder dashed below the horizon", _ATTITUDE, marked=True),
    Look("ladder_converging", "attitude", "ladder lines converging to the nose", _ATTITUDE, marked=True),
    Look("ladder_whole", "attitude", "ladder lines appear whole at the band's edge", _ATTITUDE),
    Look("ladder_cut_labels", "attitude", "ladder numbers are cut by the band's edge", _ATTITUDE),
    Look("slip_ball", "attitude", "slip as a ball between two lines", _ATTITUDE, marked=True),
    Look("bank_dots", "attitude", "bank marks as dots", _ATTITUDE, marked=True),
    Look("bank_triangles", "attitude", "bank marks as triangles", _ATTITUDE, marked=True),
    Look("bank_hollow", "attitude", "hollow bank pointer", _ATTITUDE, marked=True),
    Look("attitude_round", "attitude", "round corners", _ATTITUDE, marked=True),
    Look("attitude_dark_edges", "attitude", "dark edges along white lines", _ATTITUDE, marked=True),
    Look("attitude_shaded", "attitude", "shaded sky and ground", _ATTITUDE),
    Look("second_horizon", "attitude", "a second horizon line at extreme pitch", _ATTITUDE, "extreme"),
    Look("chevrons", "attitude", "chevrons at unusual attitudes", _ATTITUDE, "extreme"),
    Look("lubber_triangle", "heading", "triangular lubber line", _CARD, marked=True),
    Look("bug_plain", "heading", "bugs without notch", _ALL, marked=True),
    Look("wind_open", "heading", "open wind arrow", (178, 340, 72, 110), marked=True),
    Look("wind_hidden", "heading", "wind hidden when calm", (178, 340, 72, 110), "calm", marked=True),
    Look("arc_120", "heading", "arc of 120 degrees instead of a whole rose", _CARD),
    Look("rose_numbers", "heading", "numbers instead of letters", _CARD),
    Look("course_needle", "heading", "course needle with deviation bar", _CARD),
    Look("reverse_video", "alerts", "reverse video for warnings", _ALERTS, "strained", marked=True),
    Look("boxes_round", "alerts", "boxes with round corners", _ALL, marked=True),
    Look("flashing", "alerts", "warnings flash until acknowledged", _ALERTS, "strained"),
    Look("two_columns", "alerts", "alerts in two columns", _ALERTS),
    Look("cross_thick", "alerts", "thick failure cross", _TORQUE, "failure", marked=True),
    Look("failure_boxed", "alerts", "boxed failure text", _TORQUE, "failure", marked=True),
    Look("typeface", "alerts", "another typeface from a TrueType file", _ALL, marked=True),
    Look("typeface_opentype", "alerts", "another typeface from an OpenType file", _ALL, marked=True),
    Look("kerning", "alerts", "kerning on, in the other typeface", _ALL, marked=True),
    Look("bus_coarse", "data", "values rounded to the steps of a bus (0.0625 kt, 0.05 degrees C ...)", _ALL),
    Look("text_unhinted", "text", "words without hinting, characters between pixels", _ALL),
    Look("text_full_hinting", "text", "stems of upright words moved sideways to whole pixels (full hinting)", _ALL),
    Look("text_turned_whole", "text", "turned words begin at whole pixels and have whole advances", _ALL),
    Look("bar_round_end", "bars", "round bar end", (728, 70, 32, 242), marked=True),
    Look("bar_middle_zero", "bars", "bar from a middle zero", (650, 64, 24, 254)),
    Look("bar_segments", "bars", "segmented bar", (728, 70, 32, 242)),
    Look("live_blink", "bars", "one square that blinks as liveness", (764, 8, 32, 28), marked=True),
    Look("bar_limit_tick", "bars", "tick at a limit", (728, 70, 32, 242)),
    Look("bars_shared", "bars", "two bars sharing a scale", (728, 70, 32, 242)),
    Look("arc_filled", "bars", "arc that fills", _TORQUE),
)
LOOK = {look.name: look for look in LOOKS}
