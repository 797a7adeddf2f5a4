"""Recordings of a flight that others made, joined with what they lack from the whole display's own scenario.

The public recordings hold air data, attitude and speeds of rotor and engine; modes, radios, fuel, alerts and lamps come from the
inputs of `demo --which whole`, run to their end and back again, so that nothing jumps where they begin anew.
"""

import csv

import numpy as np

from recording import Recording, number

# Column of the scenario, and what a recording calls it.
FLIGHT = {
    "pitch_deg": "pitch_deg",
    "roll_deg": "roll_deg",
    "heading_deg": "heading_true_deg",
    "track_deg": "track_true_deg",
    "lateral_accel_g": "lateral_accel_g",
    "airspeed_kt": "airspeed_kt",
    "ground_speed_kt": "groundspeed_kt",
    "altitude_ft": "altitude_ft",
    "vertical_speed_fpm": "vertical_speed_fpm",
    "wind_from_deg": "wind_dir_deg",
    "wind_speed_kt": "wind_speed_kt",
    "rotor_speed_pct": "rotor_speed_pct",
    "engine_speed_pct": "engine_speed_pct",
}
TRAFFIC = {
    "t_s": "t_s",
    "id": "id",
    "bearing_deg": "bearing_true_deg",
    "distance_nm": "distance_nm",
    "height_ft": "relative_altitude_ft",
    "climb_fpm": "vertical_rate_fpm",
}


def join(scenario, recording, out):
    """Writes the recording's rows with the scenario's columns; returns the length, s."""
    flight, rest = Recording(recording), Recording(scenario)
    at = np.searchsorted(rest.times, to_and_fro(flight.times - flight.times[0], rest.length_s) + 1e-9, side="right") - 1
    with open(out, "w", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(rest.names)
        taken = [flight.names.index(FLIGHT[n]) if FLIGHT.get(n) in flight.columns else None for n in rest.names]
        for k, row in enumerate(flight.cells):
            cells = [rest.cells[at[k]][n] if column is None else row[column] for n, column in enumerate(taken)]
            cells[rest.names.index("t_s")] = f"{flight.times[k] - flight.times[0]:.2f}"
            rows.writerow(cells)
    return flight.length_s


def join_traffic(table, out):
    """Writes the targets of a table under the scenario's names; a target nearer than 2 NM is a threat (invented)."""
    with open(table, newline="") as file:
        found = list(csv.DictReader(file))
    with open(out, "w", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow([*TRAFFIC, "threat"])
        for row in found:
            rows.writerow([*(row[name] for name in TRAFFIC.values()), int(number(row["distance_nm"]) < 2.0)])


def to_and_fro(times, length):
    """Times folded into [0, length], back and forth."""
    folded = np.mod(times, 2.0 * length)
    return np.minimum(folded, 2.0 * length - folded)
