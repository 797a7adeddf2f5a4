//! The demo's own inputs: a helicopter turns down to a lake, takes a water sample and leaves.
//!
//! Everything is a smooth function of time (cosine steps between key points, and sines), so
//! that every symbol moves nearly all the time: where nothing moves, a freeze cannot be seen.
//! The rates are those of a light helicopter; the hover is slow flight into the wind.
//! Portable sines make the file the same on every machine.

use std::f64::consts::TAU;
use std::fmt::Write;

/// Length of the scenario, s.
pub const LENGTH_S: f64 = 70.0;

/// Rows a second.
pub const RATE_HZ: u32 = 50;

/// Height of the lake, ft.
const LAKE_FT: f64 = 4150.0;

const COLUMNS: &str = "t_s,pitch_deg,roll_deg,heading_true_deg,track_true_deg,lateral_accel_g,normal_accel_g,\
airspeed_kt,groundspeed_kt,altitude_ft,radio_altitude_ft,radio_altitude_valid,vertical_speed_fpm,\
vertical_speed_valid,wind_dir_deg,wind_speed_kt,oat_c,rotor_speed_pct,engine_speed_pct,torque_pct,power_hp,\
collective_pct,fuel_kg,lateral_mode,vertical_mode,float_state,low_fuel_sensor,bottle_number,pump_state,\
sample_volume_ml,sample_volume_valid,com_active,com_standby,transponder_code,selected_heading_deg";

/// Airspeed, kt, at given times, s.
const AIRSPEED_KT: &[(f64, f64)] = &[
    (0.0, 72.0),
    (12.0, 96.0),
    (26.0, 62.0),
    (38.0, 24.0),
    (53.0, 22.0),
    (70.0, 78.0),
];

/// Height above the lake, ft, at given times, s.
const HEIGHT_FT: &[(f64, f64)] = &[
    (0.0, 560.0),
    (24.0, 240.0),
    (40.0, 32.0),
    (53.0, 27.0),
    (70.0, 330.0),
];

/// The scenario as the bench would have logged it: CSV, [`RATE_HZ`] rows a second.
#[must_use]
pub fn inputs_csv() -> String {
    let mut out = String::from(COLUMNS);
    out.push('\n');
    let rows = (LENGTH_S * f64::from(RATE_HZ)) as u32;
    for row in 0..=rows {
        push_row(&mut out, f64::from(row) / f64::from(RATE_HZ));
    }
    out
}

fn push_row(out: &mut String, t: f64) {
    let airspeed = airspeed(t);
    let (heading, wind_from, wind) = (
        heading(t),
        310.0 + wave(t, 12.0, 29.0, 0.0),
        11.0 + wave(t, 2.5, 19.0, 0.3),
    );
    let (ground_speed, track) = over_ground(airspeed, heading, wind, wind_from);
    let height = height(t);
    let climb = rate(height_of, t) * 60.0;
    let yaw_rate = rate(heading_of, t);
    let rotor = rotor(t);
    let torque = torque(t);
    // A string takes every write.
    let mut put = |text: std::fmt::Arguments| out.write_fmt(text).unwrap_or_default();
    put(format_args!("{t:.2}"));
    put(format_args!(
        ",{:.3}",
        1.5 - 1.7 * rate(airspeed_of, t) + wave(t, 1.8, 8.1, 0.1)
    ));
    put(format_args!(
        ",{:.3}",
        1.3 * yaw_rate + wave(t, 3.0, 5.3, 0.4)
    ));
    put(format_args!(",{heading:.3},{track:.3}"));
    put(format_args!(
        ",{:.4}",
        wave(t, 0.03, 4.7, 0.0) + wave(t, 0.012, 2.9, 0.2)
    ));
    put(format_args!(",{:.4}", 1.0 + wave(t, 0.08, 3.3, 0.0)));
    put(format_args!(",{airspeed:.3},{ground_speed:.3}"));
    put(format_args!(
        ",{:.2},{height:.2},{}",
        LAKE_FT + height,
        valid(!within(t, 21.0, 22.8))
    ));
    put(format_args!(
        ",{climb:.1},{}",
        valid(!within(t, 48.2, 50.2))
    ));
    put(format_args!(",{wind_from:.2},{wind:.3}"));
    put(format_args!(",{:.3}", 7.0 + wave(t, 3.6, 60.0, 0.0)));
    put(format_args!(
        ",{rotor:.3},{:.3}",
        rotor + wave(t, 0.7, 6.3, 0.0)
    ));
    put(format_args!(
        ",{torque:.3},{:.1},{:.3}",
        torque * rotor / 100.0 * 6.4,
        torque * 0.62 + 4.0
    ));
    put(format_args!(
        ",{:.3}",
        186.0 - 0.06 * t + wave(t, 3.0, 8.3, 0.0)
    ));
    put(format_args!(
        ",{}",
        step(t, &[(0.0, 1), (26.0, 2), (54.0, 0)])
    ));
    put(format_args!(
        ",{}",
        step(t, &[(0.0, 1), (21.5, 0), (31.0, 2), (54.0, 0)])
    ));
    put(format_args!(",{},0", step(t, &[(0.0, 0), (25.5, 1)])));
    put(format_args!(",{}", step(t, &[(0.0, 3), (54.0, 4)])));
    put(format_args!(
        ",{}",
        step(t, &[(0.0, 0), (40.0, 1), (53.0, 2), (54.0, 0)])
    ));
    put(format_args!(
        ",{:.2},{}",
        volume(t),
        valid(!within(t, 57.6, 59.6))
    ));
    let (active, standby) = if t < 12.0 {
        ("118.305", "121.755")
    } else {
        ("121.755", "118.305")
    };
    let code = if t < 31.0 { "7000" } else { "2641" };
    put(format_args!(",{active},{standby},{code}"));
    put(format_args!(
        ",{}\n",
        10 * step(
            t,
            &[
                (0.0, 25),
                (7.5, 26),
                (8.0, 27),
                (40.0, 30),
                (40.6, 31),
                (58.6, 33)
            ]
        )
    ));
}

const fn valid(is_valid: bool) -> &'static str {
    if is_valid { "1" } else { "0" }
}

pub(super) fn within(t: f64, from: f64, to: f64) -> bool {
    t >= from && t < to
}

/// A sine: height, period in s, phase in turns.
pub(super) fn wave(t: f64, height: f64, period_s: f64, phase: f64) -> f64 {
    height * libm::sin(TAU * (t / period_s + phase))
}

/// Through the key points with no slope at any of them.
pub(super) fn through(t: f64, keys: &[(f64, f64)]) -> f64 {
    let after = keys.partition_point(|k| k.0 <= t).clamp(1, keys.len() - 1);
    let ((t0, v0), (t1, v1)) = (keys[after - 1], keys[after]);
    let share = ((t - t0) / (t1 - t0)).clamp(0.0, 1.0);
    v0 + (v1 - v0) * (1.0 - libm::cos(share * TAU / 2.0)) / 2.0
}

/// The value of the last step at or before `t`.
pub(super) fn step(t: f64, steps: &[(f64, i32)]) -> i32 {
    steps
        .iter()
        .take_while(|s| s.0 <= t)
        .last()
        .map_or(0, |s| s.1)
}

/// Change a second.
pub(super) fn rate(value: fn(f64) -> f64, t: f64) -> f64 {
    (value(t + 0.01) - value(t - 0.01)) / 0.02
}

fn airspeed_of(t: f64) -> f64 {
    through(t, AIRSPEED_KT)
}

fn airspeed(t: f64) -> f64 {
    airspeed_of(t) + wave(t, 1.6, 3.7, 0.0)
}

fn height_of(t: f64) -> f64 {
    through(t, HEIGHT_FT) + wave(t, 3.0, 4.9, 0.2)
}

fn height(t: f64) -> f64 {
    height_of(t)
}

/// Unwrapped heading, deg: swings through north and back.
fn heading_of(t: f64) -> f64 {
    305.0 + wave(t, 75.0, 37.0, 0.0) + wave(t, 6.0, 9.0, 0.5)
}

fn heading(t: f64) -> f64 {
    let angle = heading_of(t).rem_euclid(360.0);
    // What would be written as 360.000 is north.
    if angle >= 359.9995 { 0.0 } else { angle }
}

fn rotor(t: f64) -> f64 {
    let droop = (t - 61.5) / 1.6;
    100.0 + wave(t, 1.1, 11.0, 0.0) + wave(t, 0.5, 3.7, 0.0) - 4.4 * libm::exp(-droop * droop)
}

fn torque(t: f64) -> f64 {
    let climb_fpm = rate(height_of, t) * 60.0;
    let slow = 1.0 - airspeed_of(t) / 100.0;
    58.0 + 26.0 * slow + climb_fpm / 60.0 + wave(t, 3.0, 4.3, 0.0)
}

/// The sample grows while the pump runs; the next bottle is empty.
fn volume(t: f64) -> f64 {
    if t >= 54.0 {
        0.0
    } else {
        ((t - 40.0) / 13.0).clamp(0.0, 1.0) * 480.0
    }
}

/// Ground speed and track from the wind triangle; the track is written below 360.
pub(super) fn over_ground(airspeed: f64, heading: f64, wind: f64, wind_from: f64) -> (f64, f64) {
    let (h, w) = (heading.to_radians(), wind_from.to_radians());
    let north = airspeed * libm::cos(h) - wind * libm::cos(w);
    let east = airspeed * libm::sin(h) - wind * libm::sin(w);
    let track = libm::atan2(east, north).to_degrees().rem_euclid(360.0);
    (
        libm::hypot(north, east),
        if track >= 359.9995 { 0.0 } else { track },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_every_column() {
        let csv = inputs_csv();
        let mut lines = csv.lines();
        let count = lines.next().map_or(0, |l| l.split(',').count());
        assert_eq!(count, 35);
        assert!(lines.clone().all(|l| l.split(',').count() == count));
        assert_eq!(lines.count(), 3501);
    }

    #[test]
    fn key_points_are_met_without_slope() {
        assert_eq!(through(12.0, AIRSPEED_KT), 96.0);
        assert!(rate(airspeed_of, 12.0).abs() < 0.1);
        assert_eq!(through(70.0, AIRSPEED_KT), 78.0);
    }

    #[test]
    fn a_headwind_slows() {
        let (speed, track) = over_ground(60.0, 310.0, 10.0, 310.0);
        assert!((speed - 50.0).abs() < 1e-9 && (track - 310.0).abs() < 1e-9);
    }
}
