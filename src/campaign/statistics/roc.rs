//! Alarms with a fault against alarms without one, for every threshold that a score could be held against.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Error;

/// One sample: its score, and whether there was a fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sample {
    /// Score; an alarm is raised when it is at or above the threshold.
    pub score: f64,
    /// Whether there was a fault.
    pub is_fault: bool,
}

/// Receiver operating characteristic.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Roc {
    /// From no alarm at all to all alarms; a point for every score that occurred.
    pub points: Vec<Point>,
    /// Area under the curve: the chance that a sample with a fault scores above one without, ties counting half.
    pub area: f64,
    /// The point with the greatest true minus false alarms (Youden's J), of equal ones the one with fewest alarms.
    pub youden: Point,
}

/// What one threshold does.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Point {
    /// Threshold; null for one above every score.
    pub threshold: Option<f64>,
    /// Share of the samples without a fault that raise an alarm.
    pub false_alarms: f64,
    /// Share of the samples with a fault that raise an alarm.
    pub true_alarms: f64,
}

impl Roc {
    /// The curve of some samples, in any order.
    ///
    /// # Errors
    /// [`Error::Range`] when a score is not finite, [`Error::OneSided`] unless there are samples with and without a
    /// fault.
    ///
    /// # Source
    /// Fawcett, "An introduction to ROC analysis", Pattern Recognition Letters 27 (2006), 861-874: equal scores make
    /// one step. Hanley and McNeil, Radiology 143 (1982), 29-36: the area by trapezoids is Mann and Whitney's
    /// statistic. Youden, Cancer 3 (1950), 32-35.
    pub fn new(samples: &[Sample]) -> Result<Self, Error> {
        for sample in samples {
            Error::finite("score", sample.score)?;
        }
        let with_fault = samples.iter().filter(|sample| sample.is_fault).count() as u64;
        let without_fault = samples.len() as u64 - with_fault;
        if with_fault == 0 || without_fault == 0 {
            return Err(Error::OneSided {
                with_fault,
                without_fault,
            });
        }
        let mut falling = samples.to_vec();
        falling.sort_by(|a, b| b.score.total_cmp(&a.score));

        let (mut hits, mut nuisances, mut twice_area) = (0_u64, 0_u64, 0_u64);
        let mut points = vec![Point {
            threshold: None,
            false_alarms: 0.0,
            true_alarms: 0.0,
        }];
        for equal in falling.chunk_by(|a, b| a.score == b.score) {
            let more_hits = equal.iter().filter(|sample| sample.is_fault).count() as u64;
            let more_nuisances = equal.len() as u64 - more_hits;
            twice_area += more_nuisances * (2 * hits + more_hits);
            hits += more_hits;
            nuisances += more_nuisances;
            points.push(Point {
                threshold: Some(equal[0].score),
                false_alarms: nuisances as f64 / without_fault as f64,
                true_alarms: hits as f64 / with_fault as f64,
            });
        }
        let gain = |point: &Point| point.true_alarms - point.false_alarms;
        let mut youden = points[0];
        for point in &points {
            if gain(point) > gain(&youden) {
                youden = *point;
            }
        }
        Ok(Self {
            area: twice_area as f64 / (2 * with_fault * without_fault) as f64,
            youden,
            points,
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn one_kind_of_samples_makes_no_curve() {
        let fault = [Sample {
            score: 1.0,
            is_fault: true,
        }];
        assert_eq!(
            Roc::new(&fault),
            Err(Error::OneSided {
                with_fault: 1,
                without_fault: 0
            })
        );
        assert!(
            Roc::new(&[Sample {
                score: f64::NAN,
                is_fault: true
            }])
            .is_err()
        );
    }

    proptest! {
        #[test]
        fn the_area_is_the_share_of_pairs_in_order(
            samples in prop::collection::vec((0..12_u8, any::<bool>()), 2..60)
        ) {
            let samples: Vec<Sample> =
                samples.iter().map(|&(score, is_fault)| Sample { score: f64::from(score), is_fault }).collect();
            prop_assume!(samples.iter().any(|s| s.is_fault) && samples.iter().any(|s| !s.is_fault));
            let (mut won, mut pairs) = (0.0, 0.0);
            for fault in samples.iter().filter(|sample| sample.is_fault) {
                for clean in samples.iter().filter(|sample| !sample.is_fault) {
                    pairs += 1.0;
                    won += match fault.score.total_cmp(&clean.score) {
                        std::cmp::Ordering::Greater => 1.0,
                        std::cmp::Ordering::Equal => 0.5,
                        std::cmp::Ordering::Less => 0.0,
                    };
                }
            }
            let found = Roc::new(&samples).unwrap();
            prop_assert!((found.area - won / pairs).abs() < 1e-12);
            for step in found.points.windows(2) {
                prop_assert!(step[0].false_alarms <= step[1].false_alarms);
                prop_assert!(step[0].true_alarms <= step[1].true_alarms);
            }
        }
    }
}
