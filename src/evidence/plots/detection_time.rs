//! How soon faults are found.

use super::Error;
use super::axis::{Axis, Chart};
use super::legend::{DASHES, Dashes, Entry, Shape, Sign, legend, line, mark};
use super::page::{COLOURS, HEIGHT_PX, INK, WIDTH_PX, number, page, stroke};
use crate::campaign::statistics::Confidence;
use crate::campaign::statistics::spread::percentile;

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct DetectionTimes<'a> {
    /// Title.
    pub title: &'a str,
    /// A curve each: kinds of faults, classes, ...
    pub series: &'a [TimeSeries<'a>],
    /// Time within which a fault must be found, s.
    pub limit_s: Option<f64>,
}

/// Times of one kind.
#[derive(Clone, Copy, Debug)]
pub struct TimeSeries<'a> {
    /// Its name.
    pub name: &'a str,
    /// Times from onset to detection of the faults that were found, s, in any order.
    pub times_s: &'a [f64],
    /// Faults that were not found; they keep the curve below 1.
    pub missed: u64,
}

/// Percentiles that are marked, of the faults that were found.
const MARKED: [(f64, &str, Shape); 3] = [
    (0.5, "median", Shape::Circle),
    (0.95, "95th percentile", Shape::Square),
    (0.99, "99th percentile", Shape::Triangle),
];

/// Draws the share of faults found within each time, a step curve each kind, with percentiles and the limit.
///
/// # Errors
/// [`Error::Empty`] without a trial, [`Error::Unplaceable`] when a time is not finite or negative.
pub fn detection_time(plot: &DetectionTimes<'_>) -> Result<String, Error> {
    let times = || plot.series.iter().flat_map(|series| series.times_s);
    let trials = |series: &TimeSeries<'_>| series.times_s.len() as u64 + series.missed;
    if plot.series.iter().map(trials).sum::<u64>() == 0 {
        return Err(Error::Empty {
            title: plot.title.to_owned(),
        });
    }
    if let Some(&value) = times().find(|time| !time.is_finite() || **time < 0.0) {
        return Err(Error::Unplaceable {
            title: plot.title.to_owned(),
            what: "time",
            value,
        });
    }
    let longest_s = times().copied().chain(plot.limit_s).fold(0.0, f64::max);
    let x = Axis::linear(
        0.0,
        if longest_s > 0.0 {
            longest_s * 1.08
        } else {
            1.0
        },
    );
    let y = Axis::linear(0.0, 1.0);
    let looks: Vec<_> = (0..plot.series.len())
        .map(|k| {
            (
                COLOURS[k % COLOURS.len()],
                DASHES[(k + k / COLOURS.len()) % DASHES.len()],
            )
        })
        .collect();
    let mut entries: Vec<Entry> = plot
        .series
        .iter()
        .zip(&looks)
        .map(|(series, &(colour, dashes))| {
            let name = format!(
                "{} ({} of {})",
                series.name,
                series.times_s.len(),
                trials(series)
            );
            Entry::new(Sign::Line(dashes, 2.2), colour, name)
        })
        .collect();
    entries.extend(MARKED.map(|(_, name, shape)| {
        Entry::new(Sign::Mark(shape), INK, format!("{name} of those found"))
    }));
    if let Some(limit_s) = plot.limit_s {
        entries.push(Entry::new(
            Sign::Line(Dashes::Full, 3.0),
            INK,
            format!("limit: {} s", number(limit_s)),
        ));
    }
    let words = description(plot);
    page((WIDTH_PX, HEIGHT_PX), plot.title, &words, |area| {
        let area = legend(area, &entries)?;
        let mut chart = Chart::on(
            &area,
            (&x, "time from onset to detection (s)"),
            (&y, "share of faults found"),
        )?;
        if let Some(limit_s) = plot.limit_s {
            chart.draw(line(
                vec![(limit_s, 0.0), (limit_s, 1.0)],
                Dashes::Full,
                stroke(INK, 3.0),
            ))?;
        }
        for (series, &(colour, dashes)) in plot
            .series
            .iter()
            .zip(&looks)
            .filter(|(series, _)| trials(series) > 0)
        {
            let mut rising = series.times_s.to_vec();
            rising.sort_by(f64::total_cmp);
            let share = |count: usize| count as f64 / trials(series) as f64;
            let steps = rising
                .iter()
                .enumerate()
                .flat_map(|(k, &time)| [(time, share(k)), (time, share(k + 1))]);
            let ends = [(x.range().end, share(rising.len()))];
            let steps = std::iter::once((0.0, 0.0))
                .chain(steps)
                .chain(ends)
                .collect();
            chart.draw(line(steps, dashes, stroke(colour, 2.2)))?;
            for (of_found, _, shape) in MARKED {
                let Ok(Some(found)) = percentile(&rising, of_found, Confidence::USUAL) else {
                    continue;
                };
                let count = rising.partition_point(|&time| time <= found.value);
                chart.draw(mark((found.value, share(count)), shape, 4.5, colour))?;
            }
        }
        Ok(())
    })
}

fn description(plot: &DetectionTimes<'_>) -> String {
    let of_series = |series: &TimeSeries<'_>| {
        let found = percentile(series.times_s, 0.95, Confidence::USUAL)
            .ok()
            .flatten();
        let p95 = found.map_or("nothing found".to_owned(), |p95| {
            format!("95th percentile {} s", number(p95.value))
        });
        format!("{}: {p95}, {} missed", series.name, series.missed)
    };
    let series: Vec<String> = plot.series.iter().map(of_series).collect();
    let limit = plot.limit_s.map_or(String::new(), |limit| {
        format!(" The limit is {} s.", number(limit))
    });
    format!(
        "Share of faults found against time from onset to detection in s. {}.{limit}",
        series.join("; ")
    )
}
