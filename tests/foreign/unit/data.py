"""The unit's way from recorded inputs to shown values: sampled on a bus of its own, late, quantised.

The bus takes every channel 40 times a second and rounds it to its own steps (64 times finer unless it is
coarse, since the program holds readouts to what was recorded, without tolerance); what is drawn lies between two
samples and is `latency` old, with a jitter that is drawn anew for every frame. Data never go back in time.
"""

import csv
import math
import random
from bisect import bisect_right

BUS_HZ = 40.0
BUS_PHASE_S = 0.007

# Kind and step of every channel on the coarse bus, by the column that it comes from.
COLUMNS = {
    "pitch": ("pitch_deg", "linear", 0.01), "roll": ("roll_deg", "linear", 0.01),
    "heading": ("heading_true_deg", "angular", 0.02), "track": ("track_true_deg", "angular", 0.02),
    "slip": ("lateral_accel_g", "linear", 0.0005), "airspeed": ("airspeed_kt", "linear", 0.03125),
    "ground_speed": ("groundspeed_kt", "linear", 0.0625), "altitude": ("altitude_ft", "linear", 0.25),
    "radio_altitude": ("radio_altitude_ft", "linear", 0.125), "vertical_speed": ("vertical_speed_fpm", "linear", 1.0),
    "wind_direction": ("wind_dir_deg", "angular", 0.1), "wind_speed": ("wind_speed_kt", "linear", 0.05),
    "outside_air": ("oat_c", "linear", 0.05), "rotor_speed": ("rotor_speed_pct", "linear", 0.01),
    "engine_speed": ("engine_speed_pct", "linear", 0.01), "torque": ("torque_pct", "linear", 0.02),
    "power": ("power_hp", "linear", 0.1), "collective": ("collective_pct", "linear", 0.02),
    "lateral_mode": ("lateral_mode", "hold", 1.0), "vertical_mode": ("vertical_mode", "hold", 1.0),
    "light_mode": ("light_mode", "hold", 1.0), "selected_heading": ("selected_heading_deg", "hold", 1.0),
    "selected_altitude": ("selected_altitude_ft", "hold", 1.0), "course": ("course_deg", "hold", 1.0),
    "deviation": ("deviation_dots", "linear", 0.001), "acknowledged": ("acknowledged", "hold", 1.0),
    "torque_valid": ("torque_valid", "hold", 1.0),
}  # fmt: skip


def number(cell):
    """The number in a cell; None for words and empty ones."""
    try:
        return float(cell)
    except ValueError:
        return None


def read(path):
    """A recording: its times and its columns of numbers."""
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))
    columns = {name: [number(row[name]) for row in rows] for name in rows[0]}
    columns = {name: values for name, values in columns.items() if None not in values}
    return columns.pop("t_s"), columns


def write(path, times, columns):
    """A recording as the program reads it."""
    with open(path, "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["t_s", *columns])
        out.writerows([f"{t:.3f}", *(f"{c[k]:.6g}" for c in columns.values())] for k, t in enumerate(times))


def between(a, b, part, how):
    """A value between two others."""
    if how == "hold":
        return a
    if how == "angular":
        return (a + ((b - a + 180.0) % 360.0 - 180.0) * part) % 360.0
    return a + (b - a) * part


class Bus:
    """Samples of every channel."""

    def __init__(self, times, columns, is_coarse=False):
        self.times = times
        self.columns = columns
        self.is_coarse = is_coarse
        self._samples = {}

    def recorded(self, channel, t):
        """What was recorded at a time."""
        column, how, _ = COLUMNS[channel]
        k = min(max(bisect_right(self.times, t) - 1, 0), len(self.times) - 2)
        part = min(max((t - self.times[k]) / (self.times[k + 1] - self.times[k]), 0.0), 1.0)
        values = self.columns[column]
        return values[k + 1] if part == 1.0 else between(values[k], values[k + 1], part, how)

    def _sample(self, channel, k):
        key = channel, k
        if key not in self._samples:
            if len(self._samples) > 50000:
                self._samples.clear()
            step = COLUMNS[channel][2] / (1 if self.is_coarse or COLUMNS[channel][1] == "hold" else 64)
            self._samples[key] = math.floor(self.recorded(channel, k / BUS_HZ + BUS_PHASE_S) / step + 0.5) * step
        return self._samples[key]

    def value(self, channel, t):
        """What the bus gives for a data time."""
        at = (t - BUS_PHASE_S) * BUS_HZ
        k = math.floor(at)
        how = COLUMNS[channel][1]
        return between(self._sample(channel, k), self._sample(channel, k + 1), at - k, how)


class Clock:
    """Which data time every frame shows."""

    def __init__(self, latency_ms=65.0, jitter_ms=25.0, seed=1):
        self.latency_s = latency_ms / 1000
        self.jitter_s = jitter_ms / 1000
        self._random = random.Random(seed)
        self._last = -math.inf

    def data_time(self, t):
        """The data time that a frame at `t` shows."""
        late = self.latency_s + self.jitter_s * self._random.uniform(-1.0, 1.0)
        self._last = max(self._last, t - late)
        return self._last
