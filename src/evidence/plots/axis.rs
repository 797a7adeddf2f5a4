//! Axes: where a value is placed, and at which round values there are ticks.

use std::ops::Range;

use plotters::chart::ChartContext;
use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, ValueFormatter};
use plotters::element::{Drawable, PointCollection};
use plotters::prelude::*;

use super::Error;
use super::page::{Anchor, Area, FAINT, INK, TEXT_PX, number, px, size, stroke, text, trimmed};

/// Ticks at most on an axis.
const MAX_TICKS: f64 = 9.0;

/// Part of a logarithmic axis that lies between no rate at all and the least one.
const NONE_PART: f64 = 0.12;

/// An axis: even, or by the decimal logarithm. What lies beyond an end is placed at that end.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Axis {
    is_log: bool,
    /// Place of the first end.
    low: f64,
    /// Place of the last end.
    high: f64,
    /// Values with a tick.
    ticks: Vec<f64>,
    /// Decimals that tell even ticks apart.
    decimals: usize,
    /// Place of 0 on a logarithmic axis.
    none: Option<f64>,
}

impl Axis {
    /// An even axis from `low` to `high`.
    pub(super) fn linear(low: f64, high: f64) -> Self {
        let span = (high - low).abs().max(f64::MIN_POSITIVE);
        let decade = 10_f64.powf((span / MAX_TICKS).log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|part| part * decade);
        let step = step
            .into_iter()
            .find(|step| span / step <= MAX_TICKS)
            .unwrap_or(span);
        let (first, last) = (
            (low / step - 1e-9).ceil() as i64,
            (high / step + 1e-9).floor() as i64,
        );
        let ticks = (first..=last).map(|k| rounded(k as f64 * step)).collect();
        Self {
            is_log: false,
            low,
            high,
            ticks,
            decimals: (-step.log10().floor()).clamp(0.0, 12.0) as usize,
            none: None,
        }
    }

    /// A logarithmic axis from `low` to `high`, both above 0: ticks at powers of ten, at 1, 2 and 5 times these when
    /// the axis is short, and further apart when it is long.
    pub(super) fn log(low: f64, high: f64) -> Self {
        let (low, high) = (low.log10(), high.log10());
        let parts: &[f64] = if high - low < 2.5 {
            &[1.0, 2.0, 5.0]
        } else {
            &[1.0]
        };
        let every = ((high - low) / MAX_TICKS).ceil().max(1.0) as i64;
        let ticks = (low.floor() as i64..=high.ceil() as i64)
            .filter(|power| power.rem_euclid(every) == 0)
            .flat_map(|power| {
                parts
                    .iter()
                    .map(move |part| rounded(part * 10_f64.powi(power as i32)))
            })
            .filter(|tick| (low - 1e-9..=high + 1e-9).contains(&tick.log10()));
        Self {
            is_log: true,
            low,
            high,
            ticks: ticks.collect(),
            decimals: 0,
            none: None,
        }
    }

    /// The same logarithmic axis with a place for 0 at its start.
    pub(super) fn with_none(mut self) -> Self {
        let span = self.high - self.low;
        self.none = Some(self.low - NONE_PART * span);
        self.low -= 1.3 * NONE_PART * span;
        self.ticks.insert(0, 0.0);
        self
    }

    /// First and last value.
    pub(super) fn range(&self) -> Range<f64> {
        if self.is_log {
            10_f64.powf(self.low)..10_f64.powf(self.high)
        } else {
            self.low..self.high
        }
    }
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (first, last): (i32, i32)) -> i32 {
        let place = match self.none {
            Some(none) if *value <= 0.0 => none,
            _ if self.is_log => value.log10(),
            _ => *value,
        };
        let part = (place.clamp(self.low, self.high) - self.low) / (self.high - self.low);
        first + (f64::from(last - first) * part).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        if hint.weight().allow_light_points() {
            Vec::new()
        } else {
            self.ticks.clone()
        }
    }

    fn range(&self) -> Range<f64> {
        self.range()
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        match self.none {
            Some(_) if *value == 0.0 => "none".to_owned(),
            _ if self.is_log || value.abs() >= 1e5 => number(*value),
            _ => trimmed(&format!("{value:.*}", self.decimals)).to_owned(),
        }
    }
}

/// Without the last bits that a power of ten or a multiple of a step leaves.
fn rounded(value: f64) -> f64 {
    format!("{value:.9e}")
        .parse()
        .expect("a number that was just written")
}

/// What stands between two axes.
pub(super) struct Chart<'a, 'b>(ChartContext<'b, SVGBackend<'a>, Cartesian2d<Axis, Axis>>);

impl<'a, 'b> Chart<'a, 'b> {
    /// Draws two axes with their names and ticks on an area.
    pub(super) fn on(
        area: &'b Area<'a>,
        (x, x_name): (&Axis, &str),
        (y, y_name): (&Axis, &str),
    ) -> Result<Self, Error> {
        let mut chart = ChartBuilder::on(area)
            .margin_top(size(6.0))
            .margin_right(size(20.0))
            .x_label_area_size(size(48.0))
            .y_label_area_size(size(74.0))
            .build_cartesian_2d(x.clone(), y.clone())
            .map_err(Error::drawing)?;
        chart
            .configure_mesh()
            .bold_line_style(stroke(FAINT, 1.0))
            .axis_style(stroke(INK, 1.0))
            .set_all_tick_mark_size(size(5.0))
            .label_style(
                ("sans-serif", f64::from(px(TEXT_PX)) * 1.24)
                    .into_font()
                    .color(&INK),
            )
            .draw()
            .map_err(Error::drawing)?;
        // The library would place the names by a guess at the width of the labels.
        let (columns, rows) = chart.plotting_area().get_pixel_range();
        let (left, top) = area.get_base_pixel();
        let middle = |range: Range<i32>, base: i32| (range.start + range.end) / 2 - base;
        let upright = text(INK, Anchor::Middle);
        let turned = TextStyle {
            font: upright.font.transform(FontTransform::Rotate270),
            ..upright
        };
        let foot = area.dim_in_pixel().1 as i32 - px(TEXT_PX / 2.0 + 2.0);
        area.draw_text(
            x_name,
            &text(INK, Anchor::Middle),
            (middle(columns, left), foot),
        )
        .map_err(Error::drawing)?;
        area.draw_text(y_name, &turned, (px(TEXT_PX / 2.0), middle(rows, top)))
            .map_err(Error::drawing)?;
        Ok(Self(chart))
    }

    /// Draws an element at values of both axes.
    pub(super) fn draw<E>(&mut self, element: E) -> Result<(), Error>
    where
        for<'e> &'e E: PointCollection<'e, (f64, f64)>,
        E: Drawable<SVGBackend<'a>>,
    {
        self.0
            .draw_series(std::iter::once(element))
            .map(|_| ())
            .map_err(Error::drawing)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<String> {
        axis.ticks
            .iter()
            .map(|tick| axis.format_ext(tick))
            .collect()
    }

    #[test]
    fn ticks_are_round() {
        assert_eq!(
            labels(&Axis::linear(0.0, 1.0)),
            ["0", "0.2", "0.4", "0.6", "0.8", "1"]
        );
        assert_eq!(
            labels(&Axis::linear(-0.1, 1.1)),
            ["0", "0.2", "0.4", "0.6", "0.8", "1"]
        );
        let fine = labels(&Axis::linear(1000.0, 1000.2));
        assert_eq!(fine.last().map(String::as_str), Some("1000.2"));
        assert_eq!(labels(&Axis::log(0.3, 12.0)), ["0.5", "1", "2", "5", "10"]);
        assert_eq!(
            labels(&Axis::log(1e-4, 10.0)),
            ["1e-4", "0.001", "0.01", "0.1", "1", "10"]
        );
        assert!(Axis::log(1e-12, 1e3).ticks.len() <= 10);
    }

    #[test]
    fn nothing_has_a_place_before_the_least() {
        let axis = Axis::log(0.1, 10.0).with_none();
        assert_eq!(
            labels(&axis),
            ["none", "0.1", "0.2", "0.5", "1", "2", "5", "10"]
        );
        // Two decades and 1.3 times 0.12 of them before: 0 at 0.3 times 0.24 of 2.312.
        let places = [0.0, 0.1, 10.0].map(|value| axis.map(&value, (0, 1000)));
        assert_eq!(places, [31, 135, 1000]);
    }
}
