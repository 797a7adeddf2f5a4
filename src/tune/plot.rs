//! The trade-off as a plot.

use super::search::Tuned;
use crate::evidence::plots::{Choice, Error, TradeOff, trade_off};
use crate::evidence::results_folder::NOT_VERIFIED;

/// Misses against nuisance trips, by detection time.
///
/// # Errors
/// When there is nothing to draw, or a figure cannot be drawn.
pub fn trade_off_plot(tuned: &Tuned) -> Result<String, Error> {
    let choices: Vec<Choice> = tuned
        .front
        .iter()
        .filter_map(|p| {
            Some(Choice {
                nuisance_per_hour: p.nuisance_at_most_per_hour,
                missed_share: p.missed,
                detection_time_s: p.detection_p95_ms? / 1000.0,
                is_on_front: p.is_on_front,
                is_present: p.factor == 1.0 && p.confirm_factor == 1.0,
            })
        })
        .collect();
    let title = "All tolerances and confirmation times changed together; marked: as they are";
    let marked = format!("{NOT_VERIFIED}: {title}");
    trade_off(&TradeOff {
        title: if tuned.unverified.is_empty() {
            title
        } else {
            &marked
        },
        misses_name: "share of faults missed",
        nuisance_name: "nuisance trips, upper bound",
        choices: &choices,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tune::patch::tests::tuned;
    use crate::tune::search::FrontPoint;

    #[test]
    fn a_plot_of_material_that_changed_says_so() {
        let mut tuned = tuned();
        tuned.front = vec![FrontPoint {
            factor: 1.0,
            confirm_factor: 1.0,
            missed: 0.1,
            nuisance_per_hour: 0.1,
            nuisance_at_most_per_hour: 1.0,
            detection_p95_ms: Some(300.0),
            is_on_front: true,
        }];
        assert!(!trade_off_plot(&tuned).unwrap().contains(NOT_VERIFIED));
        tuned.unverified = vec!["changed  measurements.bin".into()];
        assert!(trade_off_plot(&tuned).unwrap().contains(NOT_VERIFIED));
    }
}
