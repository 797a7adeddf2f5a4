//! How finely the clock of a recording tells time: by the digits that its times are written with.
//!
//! A time that is written with two decimals may lie five thousandths to each side of what is written. Whether a frame
//! lies within the recording cannot be asked more finely than that.
//!
//! What this cannot see: a clock that is finer than its samples show. Times of 0, 1, 2 s may be whole seconds or rounded.

use crate::check::constants::clock::DECIMALS_MAX;

/// The step in which `times_s` are written, s: one second, or a tenth, a hundredth and so on.
pub(super) fn step_s(times_s: &[f64]) -> f64 {
    let mut decimals = 0;
    for time_s in times_s {
        while decimals < DECIMALS_MAX && !is_written_with(*time_s, decimals) {
            decimals += 1;
        }
    }
    1.0 / steps_a_second(decimals)
}

fn steps_a_second(decimals: i32) -> f64 {
    10_f64.powi(decimals)
}

/// Whether so many decimals give this very number. Both parts of the quotient are whole, so it is the number nearest to
/// the decimal, as reading it is.
fn is_written_with(time_s: f64, decimals: i32) -> bool {
    let steps = steps_a_second(decimals);
    (time_s * steps).round() / steps == time_s
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_step_is_that_of_the_finest_time() {
        for (times, step_s) in [
            ("0 1 2", 1.0),
            ("0.00 0.02 0.04 1.00", 0.01),
            ("-3.5 17 86399.9", 0.1),
            ("0 0.033 0.067 0.1", 0.001),
            ("1700000000.123456 1700000000.5", 1e-6),
            ("", 1.0),
        ] {
            let times: Vec<f64> = times
                .split_whitespace()
                .map(|t| t.parse().unwrap())
                .collect();
            assert_eq!(super::step_s(&times), step_s, "{times:?}");
        }
        assert_eq!(super::step_s(&[1.0 / 3.0]), 1e-9);
    }

    #[test]
    fn every_decimal_is_known() {
        for k in 0..200_000 {
            let time_s: f64 = format!("{}.{:03}", k / 1000, k % 1000).parse().unwrap();
            assert!(is_written_with(time_s, 3), "{time_s}");
        }
    }
}
