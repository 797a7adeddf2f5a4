//! The inputs of the whole display: a helicopter sets a load down at a hut, in wind, with others in the air.

use std::fmt::Write;

use crate::demo::scenario::{over_ground, rate, step, through, wave, within};

/// Length of the scenario, s.
pub const LENGTH_S: f64 = 78.0;

/// Rows a second of the inputs, and of the table of traffic.
const RATES_HZ: [u32; 2] = [50, 10];

const COLUMNS: &str = "t_s,pitch_deg,roll_deg,heading_deg,track_deg,lateral_accel_g,airspeed_kt,ground_speed_kt,altitude_ft,\
vertical_speed_fpm,wind_from_deg,wind_speed_kt,rotor_speed_pct,engine_speed_pct,power_pct,fuel_kg,fuel_flow_kg_h,fuel_unit,\
hook_load_kg,oil_temperature_c,oil_pressure_bar,gearbox_temperature_c,hydraulic_pressure_bar,bus_voltage_v,lateral_mode,\
lateral_armed,vertical_mode,vertical_armed,com_active,com_standby,transponder_code,ident,warning_lamp,caution_lamp,stopwatch_s,\
plot_range_nm,acknowledged,page_choice,reset";

/// Key points of what moves: time, s, and value.
const AIRSPEED_KT: &[(f64, f64)] = &[
    (0.0, 72.0),
    (9.0, 96.0),
    (19.0, 33.0),
    (27.0, 30.0),
    (37.0, 82.0),
    (50.0, 104.0),
    (64.0, 80.0),
    (78.0, 58.0),
];
const ALTITUDE_FT: &[(f64, f64)] = &[
    (0.0, 6180.0),
    (10.0, 6760.0),
    (19.0, 6900.0),
    (28.0, 6790.0),
    (40.0, 7330.0),
    (56.0, 7480.0),
    (78.0, 7060.0),
];
const POWER_PCT: &[(f64, f64)] = &[
    (0.0, 84.0),
    (11.0, 90.0),
    (12.5, 106.0),
    (28.0, 104.0),
    (30.0, 88.0),
    (44.0, 93.0),
    (60.0, 82.0),
    (78.0, 86.0),
];
/// How far the engine runs below the rotor, %: a drill with the clutch open.
const SPLIT_PCT: &[(f64, f64)] = &[
    (0.0, 0.0),
    (3.5, 0.0),
    (5.0, 7.0),
    (8.5, 7.5),
    (10.0, 0.0),
    (78.0, 0.0),
];
const HOOK_KG: &[(f64, f64)] = &[
    (0.0, 420.0),
    (29.0, 418.0),
    (32.0, 6.0),
    (58.0, 8.0),
    (61.0, 366.0),
    (78.0, 368.0),
];
const GEARBOX_C: &[(f64, f64)] = &[
    (0.0, 92.0),
    (22.0, 112.0),
    (30.0, 113.0),
    (44.0, 96.0),
    (78.0, 90.0),
];
const BUS_V: &[(f64, f64)] = &[
    (0.0, 28.2),
    (22.0, 28.0),
    (23.5, 25.2),
    (29.0, 25.0),
    (31.0, 28.1),
    (78.0, 28.3),
];
const WIND_KT: &[(f64, f64)] = &[
    (0.0, 13.0),
    (18.0, 19.5),
    (32.0, 20.5),
    (44.0, 12.0),
    (78.0, 10.0),
];

/// The inputs as the bench would have logged them: CSV.
#[must_use]
pub fn inputs_csv() -> String {
    rows(COLUMNS, RATES_HZ[0], push_row)
}

/// The table of traffic: CSV, a row a target and time.
#[must_use]
pub fn traffic_csv() -> String {
    rows(
        "t_s,id,bearing_deg,distance_nm,height_ft,climb_fpm,threat",
        RATES_HZ[1],
        push_targets,
    )
}

fn rows(head: &str, rate_hz: u32, push: fn(&mut String, f64)) -> String {
    let mut out = format!("{head}\n");
    for row in 0..=(LENGTH_S * f64::from(rate_hz)) as u32 {
        push(&mut out, f64::from(row) / f64::from(rate_hz));
    }
    out
}

fn push_row(out: &mut String, t: f64) {
    let airspeed = airspeed_of(t) + wave(t, 1.5, 3.7, 0.0);
    let heading = turned(335.0 + wave(t, 60.0, 41.0, 0.0) + wave(t, 5.0, 9.0, 0.5));
    let (wind_from, wind) = (
        290.0 + wave(t, 12.0, 29.0, 0.0),
        through(t, WIND_KT) + wave(t, 0.4, 6.1, 0.2),
    );
    let (ground_speed, track) = over_ground(airspeed, heading, wind, wind_from);
    let yaw_rate = rate(|t| wave(t, 60.0, 41.0, 0.0) + wave(t, 5.0, 9.0, 0.5), t);
    let rotor = 100.0 + wave(t, 1.0, 11.0, 0.0) + wave(t, 0.5, 3.7, 0.0);
    let engine = rotor - through(t, SPLIT_PCT) + wave(t, 0.5, 6.3, 0.0);
    let power = through(t, POWER_PCT) + wave(t, 1.2, 4.3, 0.0);
    let is_red = within(t, 21.0, 28.4);
    // A string takes every write.
    let mut put = |text: std::fmt::Arguments| out.write_fmt(text).unwrap_or_default();
    put(format_args!("{t:.2}"));
    put(format_args!(
        ",{:.3}",
        1.5 - 1.5 * rate(airspeed_of, t) + wave(t, 1.8, 8.1, 0.1)
    ));
    put(format_args!(
        ",{:.3}",
        1.3 * yaw_rate + wave(t, 3.0, 5.3, 0.4)
    ));
    put(format_args!(",{heading:.3},{:.3}", turned(track)));
    put(format_args!(
        ",{:.4}",
        wave(t, 0.03, 4.7, 0.0) + wave(t, 0.012, 2.9, 0.2)
    ));
    put(format_args!(",{airspeed:.3},{ground_speed:.3}"));
    put(format_args!(
        ",{:.2},{:.1}",
        altitude_of(t),
        60.0 * rate(altitude_of, t)
    ));
    put(format_args!(",{wind_from:.2},{wind:.3}"));
    put(format_args!(",{rotor:.3},{engine:.3},{power:.3}"));
    put(format_args!(
        ",{:.3},{:.2},{}",
        302.0 - 0.05 * t + wave(t, 2.0, 8.3, 0.0),
        170.0 + 0.6 * (power - 90.0) + wave(t, 6.0, 9.7, 0.0),
        if within(t, 47.0, 70.0) { "L" } else { "KG" }
    ));
    put(format_args!(
        ",{:.2}",
        through(t, HOOK_KG) + wave(t, 2.5, 5.1, 0.1)
    ));
    put(format_args!(
        ",{:.2},{:.3},{:.2},{:.2},{:.3}",
        84.0 + wave(t, 6.0, 23.0, 0.0),
        4.2 + wave(t, 0.5, 7.9, 0.0),
        through(t, GEARBOX_C) + wave(t, 0.8, 6.7, 0.0),
        104.0 + wave(t, 8.0, 5.9, 0.0),
        through(t, BUS_V) + wave(t, 0.2, 4.1, 0.0)
    ));
    put(format_args!(
        ",{},{},{},{}",
        step(t, &[(0.0, 1), (16.0, 2), (66.0, 0)]),
        step(t, &[(0.0, 0), (9.0, 2), (16.0, 0)]),
        step(t, &[(0.0, 1), (28.6, 2), (37.0, 0), (55.0, 1)]),
        step(t, &[(0.0, 0), (30.0, 1), (37.0, 0)])
    ));
    let (active, standby) = if t < 32.0 {
        ("119.705", "128.340")
    } else {
        ("128.340", "119.705")
    };
    put(format_args!(
        ",{active},{standby},{}",
        if t < 18.0 { "7000" } else { "4271" }
    ));
    put(format_args!(",{}", i32::from(within(t, 18.5, 21.0))));
    put(format_args!(
        ",{},{}",
        i32::from(is_red || within(t, 50.0, 54.5)),
        i32::from(within(t, 12.5, 31.0))
    ));
    put(format_args!(",{}", t.floor()));
    put(format_args!(",{}", if t < 15.0 { 6 } else { 3 }));
    let acknowledged = [4.0, 14.5, 23.0].iter().any(|at| within(t, *at, at + 0.4));
    put(format_args!(",{}", i32::from(acknowledged)));
    put(format_args!(",{}", i32::from(within(t, 41.0, 54.0))));
    put(format_args!(
        ",{}\n",
        i32::from(within(t, 28.0, 28.4) || within(t, 65.6, 66.0))
    ));
}

/// Others in the air: where, how high, and how they move.
fn push_targets(out: &mut String, t: f64) {
    let closing = through(t, &[(0.0, 4.6), (24.0, 1.5), (40.0, 2.6), (78.0, 5.2)]);
    let targets = [
        (
            "HUT01",
            318.0 + wave(t, 16.0, 31.0, 0.0),
            closing,
            420.0 - 8.0 * t,
            -480.0,
            step(t, &[(0.0, 1), (14.0, 2), (21.5, 3), (30.0, 1)]),
        ),
        (
            "HUT02",
            74.0 + 0.9 * t,
            2.3 + wave(t, 0.5, 37.0, 0.2),
            1150.0,
            0.0,
            0,
        ),
        (
            "HUT03",
            196.0 - 0.7 * t,
            1.6 + 0.02 * t,
            -640.0 + 6.0 * t,
            700.0,
            0,
        ),
    ];
    for (id, bearing, distance, height, climb, threat) in targets {
        // The third comes later.
        if id == "HUT03" && t < 10.0 {
            continue;
        }
        let row = format_args!(
            "{t:.1},{id},{:.2},{distance:.4},{height:.1},{climb:.0},{threat}\n",
            turned(bearing)
        );
        // A string takes every write.
        out.write_fmt(row).unwrap_or_default();
    }
}

fn airspeed_of(t: f64) -> f64 {
    through(t, AIRSPEED_KT)
}

fn altitude_of(t: f64) -> f64 {
    through(t, ALTITUDE_FT) + wave(t, 6.0, 4.9, 0.2)
}

/// An angle from 0 to 360 deg, as it is written: what would be 360.000 is north.
fn turned(angle: f64) -> f64 {
    let angle = angle.rem_euclid(360.0);
    if angle >= 359.9945 { 0.0 } else { angle }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_every_column() {
        for (csv, at_least) in [(inputs_csv(), 3900), (traffic_csv(), 2000)] {
            let columns = csv.lines().next().map_or(0, |l| l.split(',').count());
            assert!(csv.lines().all(|l| l.split(',').count() == columns));
            assert!(csv.lines().count() > at_least);
        }
    }
}
