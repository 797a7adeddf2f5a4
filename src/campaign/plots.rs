//! The figures of a campaign as plots.

use super::statistics::extremes::Outcome;
use super::summary::{Summary, place_name};
use crate::evidence::plots::{
    Count, CoverageMatrix, DetectionCurve, DetectionTimes, Error, TailFit, TimeSeries,
    confusion_matrix, coverage_matrix, detection_curve, detection_time, tail,
};
use crate::files::name;
use crate::inject::TOLERANCES;

/// A plot with its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plot {
    /// Name of its file, without the ending.
    pub name: String,
    /// What it shows.
    pub title: String,
    /// The picture.
    pub svg: String,
}

/// The plots of a campaign.
#[derive(Debug, Default)]
pub struct Plots {
    /// Those that could be drawn.
    pub drawn: Vec<Plot>,
    /// Names of those that could not, and why: one does not take the others with it.
    pub failed: Vec<(String, Error)>,
}

/// All plots of a campaign that its figures allow.
#[must_use]
pub fn plots(summary: &Summary) -> Plots {
    let mut plots = Plots::default();
    let mut add = |name: String, title: &str, svg: Result<String, Error>| {
        match svg {
            Ok(svg) => plots.drawn.push(Plot {
                name,
                title: title.to_owned(),
                svg,
            }),
            // Nothing to show is no failure.
            Err(Error::Empty { .. }) => {}
            Err(e) => plots.failed.push((name, e)),
        }
    };
    let title = "Faults raised in place as their class, by kind and region";
    add("coverage".into(), title, coverage(summary, title));
    let title = "Class that was given, by class that was due";
    add(
        "confusion".into(),
        title,
        confusion_matrix(title, &summary.confusion),
    );
    for times in &summary.detection_times {
        let title = format!("Detection time, {} regions", times.hazard);
        let times_s: Vec<f64> = times.times_ms.iter().map(|t| t / 1000.0).collect();
        let series = [TimeSeries {
            name: &times.hazard,
            times_s: &times_s,
            missed: times.missed,
        }];
        let plot = DetectionTimes {
            title: &title,
            series: &series,
            limit_s: times.limit_ms.map(|ms| ms / 1000.0),
        };
        add(
            format!("detection_time_{}", times.hazard),
            &title,
            detection_time(&plot),
        );
    }
    for curve in &summary.sizes {
        let place = match &curve.channel {
            Some(channel) => format!("{channel} in {}", curve.region),
            None => place_name(&curve.region).to_owned(),
        };
        let title = format!("Probability of detection: {} of {place}", curve.kind);
        let plot = DetectionCurve {
            title: &title,
            size_name: "size",
            unit: if curve.unit == TOLERANCES {
                "tolerances"
            } else {
                &curve.unit
            },
            trials: &curve.trials,
            detection: &curve.detection,
            tolerance: curve.tolerance.map(|_| 1.0),
        };
        let place = [Some(curve.region.as_str()), curve.channel.as_deref()];
        let place = name::of_ids(place.into_iter().flatten());
        let name = format!("size_{}.{place}", curve.kind.replace(' ', "_"));
        add(name, &title, detection_curve(&plot));
    }
    for region in &summary.nuisance.tails {
        if let Outcome::Fitted(fitted) = &region.fit {
            let title = format!("Tail of clean video: {}", region.region);
            let plot = TailFit {
                title: &title,
                value_name: "strength after confirmation, tolerances",
                tail: fitted,
                peaks: &region.peaks,
                current: Some(1.0),
            };
            add(
                format!("tail_{}", name::of_id(&region.region)),
                &title,
                tail(&plot),
            );
        }
    }
    plots
}

fn coverage(summary: &Summary, title: &str) -> Result<String, Error> {
    let kinds: Vec<&str> = summary
        .by_kind
        .iter()
        .filter_map(|c| c.kind.as_deref())
        .collect();
    let regions: Vec<&str> = summary
        .by_region
        .iter()
        .filter_map(|c| c.region.as_deref())
        .collect();
    let counts: Vec<Vec<Option<Count>>> = kinds
        .iter()
        .map(|kind| {
            regions
                .iter()
                .map(|region| {
                    summary
                        .by_kind_and_region
                        .iter()
                        .find(|c| {
                            c.kind.as_deref() == Some(kind) && c.region.as_deref() == Some(region)
                        })
                        .map(|c| Count {
                            found: c.as_class.k,
                            trials: c.as_class.n,
                        })
                })
                .collect()
        })
        .collect();
    let names: Vec<&str> = regions.iter().map(|r| place_name(r)).collect();
    coverage_matrix(&CoverageMatrix {
        title,
        kinds: &kinds,
        regions: &names,
        counts: &counts,
    })
}
