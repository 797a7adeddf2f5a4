//! Readings against inputs over time: what was due as a line with its band, what was shown as dots.
//!
//! Colours are names for the page's style sheet ([`INK`] and so on): it maps them to what suits light, dark
//! and print.

use plotters::prelude::*;

/// Axes and words.
pub const INK: RGBColor = RGBColor(1, 2, 3);
/// Grid lines.
pub const FAINT: RGBColor = RGBColor(4, 5, 6);
/// What was due.
pub const DUE: RGBColor = RGBColor(7, 8, 9);
/// What was shown.
pub const SHOWN: RGBColor = RGBColor(10, 11, 12);
/// What is permitted.
pub const BAND: RGBColor = RGBColor(13, 14, 15);
/// The event.
pub const SPAN: RGBColor = RGBColor(16, 17, 18);

const SIZE: (u32, u32) = (720, 200);

/// What is drawn beside the readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Largest permitted error.
    pub tolerance: Option<f64>,
    /// From onset to end, s.
    pub event_s: [f64; 2],
    /// When it was confirmed, s.
    pub detected_s: f64,
    /// From where to where is drawn, s.
    pub span_s: [f64; 2],
}

/// An SVG of `points` (time s, shown, due) with `title`.
///
/// # Errors
/// When the library cannot draw it.
pub fn plot(title: &str, points: &[[f64; 3]], limits: &Limits) -> Result<String, String> {
    let mut svg = String::new();
    draw(&mut svg, title, points, limits).map_err(|e| e.to_string())?;
    // Scaled by the page: a size in the file would fix it.
    let fixed = format!("width=\"{}\" height=\"{}\" viewBox", SIZE.0, SIZE.1);
    Ok(svg.replacen(&fixed, "aria-hidden=\"true\" viewBox", 1))
}

fn draw(
    svg: &mut String,
    title: &str,
    points: &[[f64; 3]],
    limits: &Limits,
) -> Result<(), Box<dyn std::error::Error>> {
    let band = limits.tolerance.unwrap_or(0.0);
    let (mut low, mut high) = points.iter().fold((f64::MAX, f64::MIN), |(l, h), p| {
        (l.min(p[1]).min(p[2] - band), h.max(p[1]).max(p[2] + band))
    });
    let room = ((high - low) * 0.06).max(1e-3);
    (low, high) = (low - room, high + room);
    let [from, to] = limits.span_s;
    let root = SVGBackend::with_string(svg, SIZE).into_drawing_area();
    let style = |size: i32| ("sans-serif", size).into_font().color(&INK);
    let mut chart = ChartBuilder::on(&root)
        .margin(6)
        .caption(title, style(15))
        .x_label_area_size(32)
        .y_label_area_size(56)
        .build_cartesian_2d(from..to, low..high)?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(FAINT)
        .axis_style(INK)
        .label_style(style(12))
        .x_desc("capture time, s")
        .axis_desc_style(style(12))
        .x_label_formatter(&|v| format!("{v:.2}"))
        .draw()?;
    let [onset, end] = limits.event_s.map(|t| t.clamp(from, to));
    chart.draw_series([Rectangle::new([(onset, low), (end, high)], SPAN.filled())])?;
    if limits.tolerance.is_some() {
        let upper = points.iter().map(|p| (p[0], p[2] + band));
        let lower = points.iter().rev().map(|p| (p[0], p[2] - band));
        let outline: Vec<(f64, f64)> = upper.chain(lower).collect();
        chart.draw_series([Polygon::new(outline, BAND.filled())])?;
    }
    if limits.detected_s <= to {
        let line = [(limits.detected_s, low), (limits.detected_s, high)];
        chart.draw_series(DashedLineSeries::new(line, 4, 4, INK.stroke_width(1)))?;
    }
    let due = points.iter().map(|p| (p[0], p[2]));
    chart.draw_series(LineSeries::new(due, DUE.stroke_width(2)))?;
    chart.draw_series(
        points
            .iter()
            .map(|p| Circle::new((p[0], p[1]), 2, SHOWN.filled())),
    )?;
    root.present()?;
    drop(chart);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reading_is_a_dot_and_text_is_escaped() {
        let points: Vec<[f64; 3]> = (0..20).map(|k| [k as f64 * 0.04, 5.0, 4.0]).collect();
        let limits = Limits {
            tolerance: Some(2.0),
            event_s: [0.2, 0.4],
            detected_s: 0.3,
            span_s: [0.0, 0.8],
        };
        let svg = plot("a <b>", &points, &limits).unwrap();
        assert_eq!(svg.matches("<circle").count(), 20, "{svg}");
        assert!(
            svg.contains("a &lt;b&gt;") && !svg.contains("width=\"720\""),
            "{svg}"
        );
        assert_eq!(svg, plot("a <b>", &points, &limits).unwrap());
    }
}
