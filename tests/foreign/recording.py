"""Recorded inputs as columns over time, read without the program under test."""

import csv

import numpy as np


class Recording:
    """A CSV recording: `t_s` and numeric columns; what is not a number is NaN."""

    def __init__(self, path):
        self.path = path
        with open(path, newline="") as file:
            rows = list(csv.reader(file))
        self.names = rows[0]
        self.cells = rows[1:]
        self.columns = {}
        for k, name in enumerate(self.names):
            self.columns[name] = np.array([number(row[k]) for row in self.cells])
        self.times = self.columns["t_s"]

    @property
    def length_s(self):
        """Seconds from the first row to the last."""
        return float(self.times[-1] - self.times[0])

    def has(self, channel):
        """Whether the recording carries the column that feeds a channel of the definition."""
        return channel["column"] in self.columns

    def at(self, channel, t):
        """Values of a channel at instants `t` (s), interpolated as the definition says."""
        t = np.asarray(t, dtype=float)
        values = self.columns[channel["column"]]
        kind = channel.get("interpolation", "linear")
        if kind == "linear":
            return np.interp(t, self.times, values)
        if kind == "angular":
            return np.interp(t, self.times, np.unwrap(values, period=360.0)) % 360.0
        return values[np.clip(np.searchsorted(self.times, t, side="right") - 1, 0, len(values) - 1)]

    def write_biased(self, path, column, bias, t0, t1, is_angle):
        """Writes the rows about [t0, t1] with `bias` added to one column."""
        k = self.names.index(column)
        kept = (self.times >= t0 - 5.0) & (self.times <= t1 + 5.0)
        with open(path, "w", newline="") as file:
            out = csv.writer(file, lineterminator="\n")
            out.writerow(self.names)
            for row, keep in zip(self.cells, kept):
                if keep:
                    value = number(row[k]) + bias
                    out.writerow([*row[:k], f"{value % 360.0 if is_angle else value:.9g}", *row[k + 1 :]])


def number(text):
    """A cell as a number; NaN when it is none."""
    try:
        return float(text)
    except ValueError:
        return float("nan")
