//! How often a threshold would be passed, by the fitted tail.

use plotters::prelude::*;

use super::Error;
use super::axis::{Axis, Chart};
use super::legend::{Dashes, Entry, Shape, Sign, band, legend, line, mark};
use super::page::{
    COLOURS, HEIGHT_PX, MARGIN_PX, WIDTH_PX, notes, notes_height_px, number, page, px, stroke,
};
use crate::campaign::statistics::extremes::{Exceedance, Tail};

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct TailFit<'a> {
    /// Title.
    pub title: &'a str,
    /// What the values are, with unit.
    pub value_name: &'a str,
    /// The fitted tail. The curve and its band go through the levels that it was asked for: fifty or so make it smooth.
    pub tail: &'a Tail,
    /// Peaks that it was fitted to, in any order.
    pub peaks: &'a [f64],
    /// The threshold that the monitor uses now.
    pub current: Option<f64>,
}

/// Rates below this are not drawn, 1/h.
const LEAST_PER_HOUR: f64 = 1e-12;

/// Space between the axes and the caution, px.
const FOOT_GAP_PX: f64 = 12.0;

/// Draws the rate at which each threshold is passed: peaks that occurred, fitted tail, band. Beyond the largest peak
/// the line is dashed. The caution that it is an extrapolation stands below.
///
/// # Errors
/// [`Error::Empty`] without peaks or levels, [`Error::Unplaceable`] when a peak is not finite.
pub fn tail(plot: &TailFit<'_>) -> Result<String, Error> {
    let per_hour = plot.tail.peaks.per_hour.filter(|&rate| rate > 0.0);
    let mut levels = plot.tail.exceedances.clone();
    levels.retain(|point| point.per_hour >= LEAST_PER_HOUR);
    levels.sort_by(|a, b| a.level.total_cmp(&b.level));
    let (Some(per_hour), false, false) = (per_hour, levels.is_empty(), plot.peaks.is_empty())
    else {
        return Err(Error::Empty {
            title: plot.title.to_owned(),
        });
    };
    if let Some(&value) = plot.peaks.iter().find(|peak| !peak.is_finite()) {
        return Err(Error::Unplaceable {
            title: plot.title.to_owned(),
            what: "peak",
            value,
        });
    }
    let mut falling = plot.peaks.to_vec();
    falling.sort_by(|a, b| b.total_cmp(a));
    let hours = plot.tail.peaks.hours;

    let highest = levels
        .iter()
        .map(|point| point.level)
        .chain(plot.current)
        .chain(falling.first().copied());
    let highest = highest.fold(plot.tail.threshold, f64::max);
    let room = 0.03 * (highest - plot.tail.threshold);
    let x = Axis::linear(
        plot.tail
            .threshold
            .min(plot.current.unwrap_or(f64::INFINITY))
            - room,
        highest + room,
    );
    let least = levels
        .iter()
        .map(|point| point.per_hour)
        .chain([0.5 / hours])
        .fold(per_hour, f64::min);
    let y = Axis::log(least.max(LEAST_PER_HOUR) / 2.0, per_hour * 2.0);
    let entries = entries(plot);
    let caution = [plot.tail.caution.clone()];
    let foot = FOOT_GAP_PX + notes_height_px(&caution, WIDTH_PX - 2.0 * MARGIN_PX);
    let words = description(plot);
    page((WIDTH_PX, HEIGHT_PX + foot), plot.title, &words, |area| {
        let (above, below) = area.split_vertically(area.dim_in_pixel().1 as i32 - px(foot));
        notes(&below.split_vertically(px(FOOT_GAP_PX)).1, &caution)?;
        let area = legend(&above, &entries)?;
        let mut chart = Chart::on(
            &area,
            (&x, plot.value_name),
            (&y, "times passed an hour (1/h)"),
        )?;
        let bands: Vec<_> = levels
            .iter()
            .filter_map(|point| Some((point.level, point.band_per_hour?)))
            .collect();
        let upper = bands.iter().map(|&(level, band)| (level, band.upper));
        let lower = bands.iter().rev().map(|&(level, band)| (level, band.lower));
        let around: Vec<_> = upper.chain(lower).collect();
        if around.len() > 2 {
            chart.draw(Polygon::new(around, band(COLOURS[0])))?;
        }
        let fitted = |point: &Exceedance| (point.level, point.per_hour);
        let seen = levels.partition_point(|point| point.level <= plot.tail.largest);
        chart.draw(line(
            levels[..seen].iter().map(fitted).collect(),
            Dashes::Full,
            stroke(COLOURS[0], 2.5),
        ))?;
        let beyond = levels[seen.saturating_sub(1)..]
            .iter()
            .map(fitted)
            .collect();
        chart.draw(line(beyond, Dashes::Long, stroke(COLOURS[0], 2.5)))?;
        if let Some(current) = plot.current {
            let ends = [y.range().start, y.range().end].map(|end| (current, end));
            chart.draw(line(ends.to_vec(), Dashes::Dotted, stroke(COLOURS[2], 3.0)))?;
        }
        for (k, &peak) in falling.iter().enumerate() {
            chart.draw(mark(
                (peak, (k + 1) as f64 / hours),
                Shape::Circle,
                2.6,
                COLOURS[1],
            ))?;
        }
        Ok(())
    })
}

fn entries(plot: &TailFit<'_>) -> Vec<Entry> {
    let percent = number(100.0 * plot.tail.confidence.share());
    let mut entries = vec![
        Entry::new(
            Sign::Mark(Shape::Circle),
            COLOURS[1],
            format!(
                "{} peaks in {} h",
                plot.peaks.len(),
                number(plot.tail.peaks.hours)
            ),
        ),
        Entry::new(Sign::Line(Dashes::Full, 2.5), COLOURS[0], "fitted tail"),
        Entry::new(Sign::Line(Dashes::Long, 2.5), COLOURS[0], "extrapolated"),
    ];
    if plot
        .tail
        .exceedances
        .iter()
        .any(|point| point.band_per_hour.is_some())
    {
        entries.push(Entry::new(
            Sign::Band,
            COLOURS[0],
            format!("{percent} % band"),
        ));
    }
    if let Some(current) = plot.current {
        let rate = plot.tail.exceedances_per_hour(current);
        let rate = rate.map_or(String::new(), |rate| format!(" ({}/h)", number(rate)));
        let name = format!("threshold now: {}{rate}", number(current));
        entries.push(Entry::new(
            Sign::Line(Dashes::Dotted, 3.0),
            COLOURS[2],
            name,
        ));
    }
    entries
}

fn description(plot: &TailFit<'_>) -> String {
    let tail = plot.tail;
    let now = plot.current.and_then(|current| {
        let rate = tail.exceedances_per_hour(current)?;
        Some(format!(
            " The threshold in use, {}, would be passed {} times an hour.",
            number(current),
            number(rate)
        ))
    });
    format!(
        "Times an hour that a threshold on {} is passed: {} peaks above {} in {} h, tail of shape {} and scale {}.{} {}",
        plot.value_name,
        plot.peaks.len(),
        number(tail.threshold),
        number(tail.peaks.hours),
        number(tail.distribution.shape),
        number(tail.distribution.scale),
        now.unwrap_or_default(),
        tail.caution,
    )
}
