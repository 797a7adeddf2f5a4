//! Probability of detection against size.

use plotters::prelude::*;

use super::Error;
use super::axis::{Axis, Chart};
use super::legend::{Dashes, Entry, Shape, Sign, band, legend, line, mark};
use super::page::{COLOURS, HEIGHT_PX, INK, WIDTH_PX, notes, number, page, size, stroke};
use crate::campaign::statistics::Confidence;
use crate::campaign::statistics::binomial::{Sides, clopper_pearson};
use crate::campaign::statistics::detection::{Curve, Detection, Scale, Trial};

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct DetectionCurve<'a> {
    /// Title.
    pub title: &'a str,
    /// What the size is: `error`, ...
    pub size_name: &'a str,
    /// Its unit.
    pub unit: &'a str,
    /// Hits and misses.
    pub trials: &'a [Trial],
    /// The curve, or why there is none: its words are drawn then.
    pub detection: &'a Detection,
    /// Tolerance that is allowed to the display.
    pub tolerance: Option<f64>,
}

/// Draws the probability of detection against size: curve with band, hits and misses, a90 and a90/95, tolerance.
///
/// Hits stand as strokes above the axes, misses below. Where sizes repeat, the share found at each stands with its
/// exact 95 % bounds.
///
/// # Errors
/// [`Error::Empty`] without trials, [`Error::Unplaceable`] when a size is not finite.
pub fn detection_curve(plot: &DetectionCurve<'_>) -> Result<String, Error> {
    let curve = match plot.detection {
        Detection::Fitted(curve) => Some(curve.as_ref()),
        Detection::Refused(_) => None,
    };
    if plot.trials.is_empty() {
        return Err(Error::Empty {
            title: plot.title.to_owned(),
        });
    }
    if let Some(trial) = plot.trials.iter().find(|trial| !trial.size.is_finite()) {
        return Err(Error::Unplaceable {
            title: plot.title.to_owned(),
            what: "size",
            value: trial.size,
        });
    }
    let x = size_axis(plot, curve);
    // Strokes of hits and misses lie outside of 0 and 1.
    let y = Axis::linear(-0.12, 1.12);
    let words = description(plot);
    page((WIDTH_PX, HEIGHT_PX), plot.title, &words, |area| {
        let area = legend(area, &entries(plot, curve))?;
        let area = notes(&area, &remarks(plot.detection))?;
        let size_name = match plot.unit {
            "" => plot.size_name.to_owned(),
            unit => format!("{} ({unit})", plot.size_name),
        };
        let mut chart = Chart::on(&area, (&x, &size_name), (&y, "probability of detection"))?;
        if let Some(curve) = curve {
            let upper = curve.band.iter().map(|point| (point.size, point.upper));
            let lower = curve
                .band
                .iter()
                .rev()
                .map(|point| (point.size, point.lower));
            chart.draw(Polygon::new(
                upper.chain(lower).collect::<Vec<_>>(),
                band(COLOURS[0]),
            ))?;
            let middle = curve
                .band
                .iter()
                .map(|point| (point.size, point.probability))
                .collect();
            chart.draw(line(middle, Dashes::Full, stroke(COLOURS[0], 2.5)))?;
            for (size, dashes) in [(curve.a90, Dashes::Short), (curve.a90_95, Dashes::Long)] {
                chart.draw(line(
                    vec![(size, 0.0), (size, 0.9)],
                    dashes,
                    stroke(INK, 1.8),
                ))?;
                chart.draw(mark((size, 0.9), Shape::Circle, 3.5, INK))?;
            }
        }
        if let Some(tolerance) = plot.tolerance {
            chart.draw(line(
                vec![(tolerance, 0.0), (tolerance, 1.0)],
                Dashes::Dotted,
                stroke(COLOURS[2], 3.0),
            ))?;
        }
        for trial in plot.trials {
            let (from, to) = if trial.is_detected {
                (1.025, 1.095)
            } else {
                (-0.095, -0.025)
            };
            let style = stroke_of(trial.is_detected)
                .mix(0.7)
                .stroke_width(size(1.2));
            chart.draw(PathElement::new(
                vec![(trial.size, from), (trial.size, to)],
                style,
            ))?;
        }
        for (size, share, lower, upper) in repeated(plot.trials) {
            chart.draw(line(
                vec![(size, lower), (size, upper)],
                Dashes::Full,
                stroke(INK, 1.0),
            ))?;
            chart.draw(mark((size, share), Shape::Diamond, 4.0, INK))?;
        }
        Ok(())
    })
}

/// What must be read with the curve, or instead of it.
fn remarks(detection: &Detection) -> Vec<String> {
    match detection {
        Detection::Fitted(curve) => curve
            .cautions
            .iter()
            .map(|caution| format!("Caution: {caution}."))
            .collect(),
        Detection::Refused(refusal) => vec![format!("No curve: {refusal}.")],
    }
}

fn stroke_of(is_detected: bool) -> RGBColor {
    if is_detected { COLOURS[0] } else { COLOURS[1] }
}

/// Over all sizes and what is marked, with a little room.
fn size_axis(plot: &DetectionCurve<'_>, curve: Option<&Curve>) -> Axis {
    let marked = curve
        .map(|curve| [curve.a90, curve.a90_95])
        .into_iter()
        .flatten()
        .chain(plot.tolerance);
    let sizes: Vec<f64> = plot
        .trials
        .iter()
        .map(|trial| trial.size)
        .chain(marked)
        .collect();
    let low = sizes.iter().copied().fold(f64::INFINITY, f64::min);
    let high = sizes.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let is_log = low > 0.0 && curve.map_or(high > 20.0 * low, |curve| curve.scale == Scale::Log);
    if is_log {
        Axis::log(low / 1.1, high * 1.1)
    } else {
        let room = ((high - low) * 0.03).max(high.abs() * 1e-3).max(1e-9);
        Axis::linear(low - room, high + room)
    }
}

fn entries(plot: &DetectionCurve<'_>, curve: Option<&Curve>) -> Vec<Entry> {
    let with_unit = |value: f64| with_unit(value, plot.unit);
    let mut entries = Vec::new();
    if let Some(curve) = curve {
        let percent = number(100.0 * curve.confidence.share());
        entries.extend([
            Entry::new(Sign::Line(Dashes::Full, 2.5), COLOURS[0], "fitted curve"),
            Entry::new(
                Sign::Band,
                COLOURS[0],
                format!("{percent} % bounds, one-sided"),
            ),
            Entry::new(
                Sign::Line(Dashes::Short, 1.8),
                INK,
                format!("a90: {}", with_unit(curve.a90)),
            ),
            Entry::new(
                Sign::Line(Dashes::Long, 1.8),
                INK,
                format!("a90/{percent}: {}", with_unit(curve.a90_95)),
            ),
        ]);
    }
    if let Some(tolerance) = plot.tolerance {
        entries.push(Entry::new(
            Sign::Line(Dashes::Dotted, 3.0),
            COLOURS[2],
            format!("tolerance: {}", with_unit(tolerance)),
        ));
    }
    let hits = plot.trials.iter().filter(|trial| trial.is_detected).count();
    entries.push(Entry::new(
        Sign::Tick,
        stroke_of(true),
        format!("{hits} found (above)"),
    ));
    entries.push(Entry::new(
        Sign::Tick,
        stroke_of(false),
        format!("{} missed (below)", plot.trials.len() - hits),
    ));
    if !repeated(plot.trials).is_empty() {
        entries.push(Entry::new(
            Sign::Mark(Shape::Diamond),
            INK,
            "share found at one size, exact 95 % bounds",
        ));
    }
    entries
}

/// Size, share found and its bounds, where sizes are repeated: five trials a size on average.
fn repeated(trials: &[Trial]) -> Vec<(f64, f64, f64, f64)> {
    let mut rising = trials.to_vec();
    rising.sort_by(|a, b| a.size.total_cmp(&b.size));
    let groups: Vec<_> = rising.chunk_by(|a, b| a.size == b.size).collect();
    if trials.len() < 5 * groups.len() {
        return Vec::new();
    }
    let point = |same: &&[Trial]| {
        let (k, n) = (
            same.iter().filter(|trial| trial.is_detected).count() as u64,
            same.len() as u64,
        );
        let bounds = clopper_pearson(k, n, Confidence::USUAL, Sides::Both)
            .ok()
            .flatten()?;
        Some((
            same[0].size,
            k as f64 / n as f64,
            bounds.lower,
            bounds.upper,
        ))
    };
    groups.iter().filter_map(point).collect()
}

/// A size with its unit, where it has one.
fn with_unit(value: f64, unit: &str) -> String {
    match unit {
        "" => number(value),
        unit => format!("{} {unit}", number(value)),
    }
}

fn description(plot: &DetectionCurve<'_>) -> String {
    let found = match plot.detection {
        Detection::Fitted(curve) => format!(
            "a90 is {}, a90/{} is {}",
            with_unit(curve.a90, plot.unit),
            number(100.0 * curve.confidence.share()),
            with_unit(curve.a90_95, plot.unit)
        ),
        Detection::Refused(refusal) => format!("no curve was fitted: {refusal}"),
    };
    format!(
        "Probability of detection against {}{}, {} trials; {found}.",
        plot.size_name,
        match plot.unit {
            "" => String::new(),
            unit => format!(" in {unit}"),
        },
        plot.trials.len()
    )
}
