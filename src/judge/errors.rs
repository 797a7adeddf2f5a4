//! How far may a good reading lie off, and what is a stretch of readings worth?
//!
//! The one error model of all decisions here. A reading is off by what its stated error says ([`crate::chain::error_model`]),
//! and, against the inputs of any one age, by what the age of the data varies times the speed of the inputs. Errors hang
//! together for a while, so what counts is how many independent readings a stretch is worth, whatever the frame rate; and their
//! tails are long, so a hypothesis is charged by Student's t and not by squares: one reading that was misread does not decide.
//!
//! One thing the model lacks: a codec at a loss for bits holds slow motion back, for as long as that lasts. Nothing is called held
//! or late for less than that ([`HELD_BACK_PX`]); what is told of values beyond their tolerance needs no such allowance.
//!
//! # Source
//! Student's t for observations with outliers: Lange, Little and Taylor, Robust statistical modeling using the t distribution,
//! Journal of the American Statistical Association 84 (1989) 881-896 (from memory), who use four degrees of freedom.

use super::constants::{HELD_BACK_PX, MEMORY_S, TAIL_DEGREES};

/// Standard deviation of what a codec holds back, px: anything up to [`HELD_BACK_PX`] is as likely.
#[must_use]
pub fn held_back_sigma_px() -> f64 {
    HELD_BACK_PX / 12f64.sqrt()
}

/// Standard deviation of the age of what is shown, s: as measured, or evenly spread over a frame.
#[must_use]
pub fn age_scatter_s(measured_s: Option<f64>, interval_s: f64) -> f64 {
    measured_s.unwrap_or(interval_s / 12f64.sqrt())
}

/// Time between the youngest and the oldest data of a healthy display, s: an age that is evenly spread with this scatter.
#[must_use]
pub fn age_spread_s(scatter_s: f64) -> f64 {
    scatter_s * 12f64.sqrt()
}

/// Share of an independent reading that one is worth which comes `interval_s` after the one before.
#[must_use]
pub fn worth(interval_s: f64) -> f64 {
    (interval_s / (2.0 * MEMORY_S)).min(1.0)
}

/// How many independent readings `count` of one symbol are worth that moved along `path_px` in `stretch_s`: one that hardly
/// moves keeps its error.
#[must_use]
pub fn independent(count: f64, stretch_s: f64, path_px: f64) -> f64 {
    (stretch_s / (2.0 * MEMORY_S)).min(1.0 + path_px).min(count)
}

/// What a departure of so many standard errors counts against a hypothesis: twice a log-likelihood.
#[must_use]
pub fn misfit(sigmas: f64) -> f64 {
    (TAIL_DEGREES + 1.0) * libm::log1p(sigmas * sigmas / TAIL_DEGREES)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_departures_count_by_squares_and_large_ones_hardly_more() {
        assert!((misfit(0.1) - 0.0125).abs() < 1e-4);
        assert!(misfit(100.0) < 2.0 * misfit(10.0) + 10.0);
        assert!(misfit(3.0) > misfit(2.0));
    }

    #[test]
    fn a_second_is_worth_the_same_at_every_rate() {
        for fps in [12.5, 25.0, 29.97, 50.0, 60.0] {
            let sum = fps * worth(1.0 / fps);
            assert!((sum - 5.0).abs() < 1e-9, "{sum} at {fps}");
            assert!((independent(fps, 1.0, 100.0) - 5.0).abs() < 1e-9);
        }
        assert_eq!(independent(25.0, 1.0, 0.0), 1.0);
    }
}
