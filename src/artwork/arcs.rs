//! Arcs of path data, cut into short ones.
//!
//! The SVG reader turns an arc into cubics that may stray by 0.0003 of its radius, a level or more of an edge pixel on a
//! large dial. Of arcs up to a sixteenth of a turn they stray by less than a millionth.

use std::fmt::Write as _;

use svgtypes::{PathParser, PathSegment};

/// Longest arc that is left as it is, radians.
const ARC_MAX: f64 = std::f64::consts::TAU / 16.0;

/// `data` with every arc as arcs of at most a sixteenth of a turn; `None` when it has none, or cannot be read.
pub(super) fn cut(data: &str) -> Option<String> {
    if !data.contains(['A', 'a']) {
        return None;
    }
    let mut out = String::new();
    let (mut at, mut start) = (kurbo::Point::ZERO, kurbo::Point::ZERO);
    for segment in PathParser::from(data) {
        let segment = segment.ok()?;
        let to = end(&segment, at, start);
        match segment {
            PathSegment::EllipticalArc {
                rx,
                ry,
                x_axis_rotation,
                large_arc,
                sweep,
                ..
            } => {
                let svg_arc = kurbo::SvgArc {
                    from: at,
                    to,
                    radii: kurbo::Vec2::new(rx, ry),
                    x_rotation: x_axis_rotation.to_radians(),
                    large_arc,
                    sweep,
                };
                short_arcs(&svg_arc, x_axis_rotation, &mut out);
            }
            other => write_segment(&other, &mut out),
        }
        if let PathSegment::MoveTo { .. } = segment {
            start = to;
        }
        at = to;
    }
    Some(out)
}

fn short_arcs(whole: &kurbo::SvgArc, rotation_deg: f64, out: &mut String) {
    let to = whole.to;
    let Some(arc) = kurbo::Arc::from_svg_arc(whole) else {
        let _ = write!(out, "L{} {} ", to.x, to.y);
        return;
    };
    let count = libm::ceil(libm::fabs(arc.sweep_angle) / ARC_MAX).max(1.0) as u32;
    let (s, c) = libm::sincos(arc.x_rotation);
    for k in 1..=count {
        let angle = arc.start_angle + arc.sweep_angle * f64::from(k) / f64::from(count);
        let (sin, cos) = libm::sincos(angle);
        let (along, across) = (arc.radii.x * cos, arc.radii.y * sin);
        let p = if k == count {
            to
        } else {
            kurbo::Point::new(
                arc.center.x + along * c - across * s,
                arc.center.y + along * s + across * c,
            )
        };
        let (rx, ry, sweep) = (arc.radii.x, arc.radii.y, u8::from(whole.sweep));
        let _ = write!(out, "A{rx} {ry} {rotation_deg} 0 {sweep} {} {} ", p.x, p.y);
    }
}

/// Where a segment ends.
fn end(segment: &PathSegment, at: kurbo::Point, start: kurbo::Point) -> kurbo::Point {
    let (abs, x, y) = match *segment {
        PathSegment::MoveTo { abs, x, y }
        | PathSegment::LineTo { abs, x, y }
        | PathSegment::CurveTo { abs, x, y, .. }
        | PathSegment::SmoothCurveTo { abs, x, y, .. }
        | PathSegment::Quadratic { abs, x, y, .. }
        | PathSegment::SmoothQuadratic { abs, x, y }
        | PathSegment::EllipticalArc { abs, x, y, .. } => (abs, x, y),
        PathSegment::HorizontalLineTo { abs, x } => (abs, x, if abs { at.y } else { 0.0 }),
        PathSegment::VerticalLineTo { abs, y } => (abs, if abs { at.x } else { 0.0 }, y),
        PathSegment::ClosePath { .. } => return start,
    };
    if abs {
        kurbo::Point::new(x, y)
    } else {
        kurbo::Point::new(at.x + x, at.y + y)
    }
}

fn write_segment(segment: &PathSegment, out: &mut String) {
    let mut put = |abs: bool, command: char, numbers: &[f64]| {
        out.push(if abs {
            command
        } else {
            command.to_ascii_lowercase()
        });
        for v in numbers {
            let _ = write!(out, "{v} ");
        }
    };
    match *segment {
        PathSegment::MoveTo { abs, x, y } => put(abs, 'M', &[x, y]),
        PathSegment::LineTo { abs, x, y } => put(abs, 'L', &[x, y]),
        PathSegment::HorizontalLineTo { abs, x } => put(abs, 'H', &[x]),
        PathSegment::VerticalLineTo { abs, y } => put(abs, 'V', &[y]),
        PathSegment::CurveTo {
            abs,
            x1,
            y1,
            x2,
            y2,
            x,
            y,
        } => put(abs, 'C', &[x1, y1, x2, y2, x, y]),
        PathSegment::SmoothCurveTo { abs, x2, y2, x, y } => put(abs, 'S', &[x2, y2, x, y]),
        PathSegment::Quadratic { abs, x1, y1, x, y } => put(abs, 'Q', &[x1, y1, x, y]),
        PathSegment::SmoothQuadratic { abs, x, y } => put(abs, 'T', &[x, y]),
        PathSegment::EllipticalArc {
            abs,
            rx,
            ry,
            x_axis_rotation,
            large_arc,
            sweep,
            x,
            y,
        } => put(
            abs,
            'A',
            &[
                rx,
                ry,
                x_axis_rotation,
                f64::from(large_arc),
                f64::from(sweep),
                x,
                y,
            ],
        ),
        PathSegment::ClosePath { abs } => put(abs, 'Z', &[]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_of_a_circle_becomes_four_arcs_on_it() {
        let short = cut("m10 0 a10 10 0 0 1 -10 10 l0-10z").expect("it has an arc");
        let mut at = Vec::new();
        for segment in PathParser::from(short.as_str()) {
            if let Ok(PathSegment::EllipticalArc { x, y, rx, .. }) = segment {
                assert_eq!(rx, 10.0);
                at.push((x, y));
            }
        }
        assert_eq!(at.len(), 4);
        assert!(at.iter().all(|(x, y)| (x.hypot(*y) - 10.0).abs() < 1e-9));
        assert_eq!(at[3], (0.0, 10.0));
        assert!(short.ends_with("l0 -10 z"), "{short}");
    }

    #[test]
    fn what_has_no_arc_stays() {
        assert_eq!(cut("M1 2L3 4Z"), None);
    }

    /// SVG 1.1, F.6.6: radii that are too small are enlarged; without a radius it is a straight line.
    #[test]
    fn odd_radii_are_taken_as_svg_takes_them() {
        let short = cut("M0 0A1 1 0 0 1 20 0").expect("it has an arc");
        assert!(short.contains("A10 10 0 0 1 20 0"), "{short}");
        let straight = cut("M0 0A0 5 0 0 1 20 0").expect("it has an arc");
        assert!(straight.contains("L20 0"), "{straight}");
    }
}
