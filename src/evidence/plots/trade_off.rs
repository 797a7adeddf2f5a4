//! What fewer nuisance trips cost in misses.

use super::Error;
use super::axis::{Axis, Chart};
use super::legend::{Dashes, Entry, Shape, Sign, legend, line, mark};
use super::page::{COLOURS, GREY, HEIGHT_PX, INK, WIDTH_PX, number, page, stroke};

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct TradeOff<'a> {
    /// Title.
    pub title: &'a str,
    /// What the share of misses is: estimate, or upper bound and its confidence.
    pub misses_name: &'a str,
    /// What the nuisance rate is, without unit.
    pub nuisance_name: &'a str,
    /// Sets of thresholds.
    pub choices: &'a [Choice],
}

/// What one set of thresholds gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Choice {
    /// Nuisance trips an hour.
    pub nuisance_per_hour: f64,
    /// Share of faults missed.
    pub missed_share: f64,
    /// Detection time, s: what the caller sorts by, such as the 95th percentile.
    pub detection_time_s: f64,
    /// Whether no other choice is better in all respects.
    pub is_on_front: bool,
    /// Whether it is the one that stands in the definition now.
    pub is_present: bool,
}

/// Looks of detection times, from short to long.
const LOOKS: [(Shape, usize); 4] = [
    (Shape::Circle, 0),
    (Shape::Square, 2),
    (Shape::Triangle, 4),
    (Shape::Diamond, 1),
];

/// Draws misses against nuisance rate; shape and colour say the detection time. The front is joined by a line, what
/// is not on it is faint, and the present choice has a ring.
///
/// Choices without a nuisance trip have a place of their own on the logarithmic axis, at its left end.
///
/// # Errors
/// [`Error::Empty`] without choices, [`Error::Unplaceable`] when a figure is not finite or negative.
pub fn trade_off(plot: &TradeOff<'_>) -> Result<String, Error> {
    if plot.choices.is_empty() {
        return Err(Error::Empty {
            title: plot.title.to_owned(),
        });
    }
    for choice in plot.choices {
        for (what, value) in [
            ("nuisance rate", choice.nuisance_per_hour),
            ("share of misses", choice.missed_share),
            ("detection time", choice.detection_time_s),
        ] {
            if !value.is_finite() || value < 0.0 {
                return Err(Error::Unplaceable {
                    title: plot.title.to_owned(),
                    what,
                    value,
                });
            }
        }
    }
    let x = nuisance_axis(plot.choices);
    let worst = plot
        .choices
        .iter()
        .map(|choice| choice.missed_share)
        .fold(0.0, f64::max)
        .max(1e-3);
    let y = Axis::linear(-0.04 * worst, worst * 1.06);
    let ends_s = time_ends_s(plot.choices);
    let look = |choice: &Choice| {
        let (shape, colour) = LOOKS[ends_s.partition_point(|&end| end < choice.detection_time_s)];
        (shape, COLOURS[colour])
    };
    let words = description(plot);
    page((WIDTH_PX, HEIGHT_PX), plot.title, &words, |area| {
        let area = legend(area, &entries(plot, &ends_s))?;
        let nuisance_name = format!("{} (1/h)", plot.nuisance_name);
        let mut chart = Chart::on(&area, (&x, &nuisance_name), (&y, plot.misses_name))?;
        let at = |choice: &Choice| (choice.nuisance_per_hour, choice.missed_share);
        let mut front: Vec<_> = plot
            .choices
            .iter()
            .filter(|choice| choice.is_on_front)
            .map(at)
            .collect();
        front.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)));
        chart.draw(line(front, Dashes::Short, stroke(GREY, 1.5)))?;
        for choice in plot.choices.iter().filter(|choice| !choice.is_on_front) {
            chart.draw(mark(at(choice), Shape::Cross, 2.5, GREY))?;
        }
        for choice in plot.choices.iter().filter(|choice| choice.is_on_front) {
            let (shape, colour) = look(choice);
            chart.draw(mark(at(choice), shape, 5.0, colour))?;
        }
        for choice in plot.choices.iter().filter(|choice| choice.is_present) {
            chart.draw(mark(at(choice), Shape::Ring, 10.0, INK))?;
        }
        Ok(())
    })
}

/// Logarithmic over all rates above 0, with a place a little to the left for none.
fn nuisance_axis(choices: &[Choice]) -> Axis {
    let above = || {
        choices
            .iter()
            .map(|choice| choice.nuisance_per_hour)
            .filter(|&rate| rate > 0.0)
    };
    let (low, high) = (
        above().fold(f64::INFINITY, f64::min),
        above().fold(0.0, f64::max),
    );
    if high == 0.0 {
        return Axis::log(0.1, 10.0).with_none();
    }
    let axis = Axis::log(low / 1.3, high * 1.3);
    let has_none = choices.iter().any(|choice| choice.nuisance_per_hour == 0.0);
    if has_none { axis.with_none() } else { axis }
}

/// Detection times that divide the choices on the front into parts of nearly equal number.
fn time_ends_s(choices: &[Choice]) -> Vec<f64> {
    let mut times: Vec<f64> = choices
        .iter()
        .filter(|choice| choice.is_on_front)
        .map(|choice| choice.detection_time_s)
        .collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let parts = LOOKS.len().min(times.len());
    (1..parts)
        .map(|part| times[part * times.len() / parts - 1])
        .collect()
}

fn entries(plot: &TradeOff<'_>, ends_s: &[f64]) -> Vec<Entry> {
    let mut entries = Vec::new();
    for (k, (shape, colour)) in LOOKS.into_iter().enumerate().take(ends_s.len() + 1) {
        let name = match (k.checked_sub(1).map(|k| ends_s[k]), ends_s.get(k)) {
            (None, None) => "on the front".to_owned(),
            (None, Some(&end)) => format!("detection time up to {} s", number(end)),
            (Some(start), Some(&end)) => format!("{} to {} s", number(start), number(end)),
            (Some(start), None) => format!("above {} s", number(start)),
        };
        entries.push(Entry::new(Sign::Mark(shape), COLOURS[colour], name));
    }
    entries.push(Entry::new(Sign::Line(Dashes::Short, 1.5), GREY, "front"));
    if plot.choices.iter().any(|choice| !choice.is_on_front) {
        entries.push(Entry::new(
            Sign::Mark(Shape::Cross),
            GREY,
            "not on the front",
        ));
    }
    for choice in plot.choices.iter().filter(|choice| choice.is_present) {
        entries.push(Entry::new(
            Sign::Mark(Shape::Ring),
            INK,
            format!("as they are: {}", figures(choice)),
        ));
    }
    entries
}

fn figures(choice: &Choice) -> String {
    format!(
        "missed {}, {} nuisance trips/h, {} s",
        number(choice.missed_share),
        number(choice.nuisance_per_hour),
        number(choice.detection_time_s)
    )
}

fn description(plot: &TradeOff<'_>) -> String {
    let present: Vec<String> = plot
        .choices
        .iter()
        .filter(|choice| choice.is_present)
        .map(figures)
        .collect();
    let front = plot
        .choices
        .iter()
        .filter(|choice| choice.is_on_front)
        .count();
    let present = if present.is_empty() {
        "not among them".to_owned()
    } else {
        present.join("; ")
    };
    format!(
        "{} against {} per hour for {} sets of thresholds, {front} of them on the trade-off front. As they are: {present}.",
        plot.misses_name,
        plot.nuisance_name,
        plot.choices.len(),
    )
}
