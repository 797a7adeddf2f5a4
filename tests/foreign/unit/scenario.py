"""Inputs of a clip: a recording, what the crew does, and what a look needs to be seen."""

import math

SCENARIOS = {
    "plain": "as recorded",
    "failure": "torque invalid for two seconds of every eight",
    "extreme": "pitch 6 times, roll 3 times as large",
    "calm": "wind between 0 and 8 kt",
    "high": "30,000 ft higher",
    "cold": "about freezing",
    "strained": "torque 1.25 times as large",
}


def crew(times):
    """Columns that no recording has."""
    return {
        "lateral_mode": [float(int(t // 9) % 3) for t in times],
        "vertical_mode": [float(int((t + 4) // 11) % 3) for t in times],
        "light_mode": [float(int(t // 6) % 2) for t in times],
        "selected_heading_deg": [float((180 + 10 * int(t // 5)) % 360) for t in times],
        "selected_altitude_ft": [float(2500 + 100 * (int(t // 7) % 12)) for t in times],
        "course_deg": [float((20 * int(t // 8)) % 360) for t in times],
        "deviation_dots": [1.6 * math.sin(t / 2.5) for t in times],
        "acknowledged": [float(t % 6 >= 3) for t in times],
        "torque_valid": [1.0 for _ in times],
    }


def made(times, columns, names=()):
    """The recording's columns with the crew's, changed as the scenarios say. What it lacks is made of waves."""
    out = {**waves(times), **columns, **crew(times)}
    if "failure" in names:
        out["torque_valid"] = [float(not 3 <= t % 8 < 5) for t in times]
    if "extreme" in names:
        out["pitch_deg"] = [min(max(6 * p, -75.0), 75.0) for p in out["pitch_deg"]]
        out["roll_deg"] = [min(max(3 * r, -70.0), 70.0) for r in out["roll_deg"]]
    if "calm" in names:
        out["wind_speed_kt"] = [4 + 4 * math.sin(t / 1.7) for t in times]
    if "high" in names:
        out["altitude_ft"] = [a + 30000 for a in out["altitude_ft"]]
        out["selected_altitude_ft"] = [a + 30000 for a in out["selected_altitude_ft"]]
    if "cold" in names:
        out["oat_c"] = [1.8 * math.sin(t / 3) for t in times]
    if "strained" in names:
        out["torque_pct"] = [1.25 * q for q in out["torque_pct"]]
    return out


def cut(times, columns, begin, end):
    """The rows between two times."""
    kept = [k for k, t in enumerate(times) if begin <= t <= end]
    return [times[k] for k in kept], {name: [c[k] for k in kept] for name, c in columns.items()}


def synthetic(length_s=20.0, rate_hz=50.0):
    """A flight made of waves, for tests: (times, columns)."""
    times = [k / rate_hz for k in range(int(length_s * rate_hz))]
    return times, waves(times)


def waves(times):
    """All columns that the unit draws, made of waves."""

    def wave(middle, reach, period):
        return [middle + reach * math.sin(2 * math.pi * t / period) for t in times]

    return {
        "pitch_deg": wave(2, 9, 11), "roll_deg": wave(0, 24, 13), "heading_true_deg": [(8 * t) % 360 for t in times],
        "track_true_deg": [(8 * t + 12) % 360 for t in times], "lateral_accel_g": wave(0, 0.06, 5),
        "airspeed_kt": wave(70, 35, 17), "groundspeed_kt": wave(72, 33, 16), "altitude_ft": wave(2700, 320, 19),
        "radio_altitude_ft": wave(420, 320, 19), "vertical_speed_fpm": wave(0, 1500, 12),
        "wind_dir_deg": wave(240, 20, 9), "wind_speed_kt": wave(12, 5, 7), "oat_c": wave(9, 3, 8),
        "rotor_speed_pct": wave(99, 5, 6), "engine_speed_pct": wave(98, 6, 7), "torque_pct": wave(75, 45, 8),
        "power_hp": wave(600, 450, 8), "collective_pct": wave(50, 40, 9),
    }  # fmt: skip
