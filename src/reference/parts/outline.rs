//! From the shape of a part to closed contours in its own coordinates.
//!
//! Curves become chords that stray less than 0.01 px. Lines along curves come from `kurbo`; their points are rounded to
//! 1/4096 px, so that machines whose sines differ in the last bit draw the same bytes.

use kurbo::{BezPath, PathEl, Shape as _};

use crate::artwork::{Paint, Plate};
use crate::colour::Stop;
use crate::definition::Definition;
use crate::definition::parts::{Area, Cap, Join, ShadeStop, Shading, Shape, Stroke};
use crate::picture::{Point, Rgb};
use crate::reference::scene::{arc_points, circle_steps, on_clock};

/// Closed contours, non-zero rule.
pub(crate) type Contours = Vec<Vec<Point>>;

/// How far chords may stray from curves, px.
const FLATNESS_PX: f64 = 0.01;
/// Steps of a pixel that points of strokes are rounded to.
const STEPS: f64 = 4096.0;
/// Longest point of a corner, against the width of the line.
const MITER_LIMIT: f64 = 4.0;
/// Control points of an arc lie so far along its tangent, against its radius (a quarter circle).
const PATH_TOLERANCE_PX: f64 = 1e-3;

fn point([x, y]: [f64; 2]) -> Point {
    Point::new(x, y)
}

fn rectangle([x, y, w, h]: [f64; 4]) -> Vec<Point> {
    [[x, y], [x + w, y], [x + w, y + h], [x, y + h]]
        .map(point)
        .to_vec()
}

fn rounded([x, y, w, h]: [f64; 4], radius: f64) -> Vec<Point> {
    let r = radius.max(0.0).min(w / 2.0).min(h / 2.0);
    if r == 0.0 {
        return rectangle([x, y, w, h]);
    }
    let corners = [
        [x + w - r, y + r],
        [x + w - r, y + h - r],
        [x + r, y + h - r],
        [x + r, y + r],
    ];
    let mut points = Vec::new();
    for (k, corner) in corners.into_iter().enumerate() {
        let from = 90.0 * k as f64;
        let count = circle_steps(r, 90.0);
        for step in 0..=count {
            points.push(on_clock(
                point(corner),
                r,
                from + 90.0 * step as f64 / count as f64,
            ));
        }
    }
    points
}

fn circle(center: [f64; 2], radius: f64) -> Vec<Point> {
    let mut points = Vec::new();
    arc_points(point(center), radius, 0.0, 360.0, false, &mut points);
    points
}

/// The filled outline of a shape; none for words and for what has none.
pub(crate) fn filled(shape: &Shape) -> Contours {
    match shape {
        Shape::Rect(r) => vec![rectangle(*r)],
        Shape::Rounded(r) => vec![rounded(r.rect, r.radius)],
        Shape::Circle(c) => vec![circle(c.center, c.radius)],
        Shape::Arc(a) => band(point(a.center), a.radii, a.from_deg, a.to_deg),
        Shape::Polygon(points) => vec![points.iter().copied().map(point).collect()],
        Shape::Path(data) => BezPath::from_svg(data)
            .map(|p| flat(&p))
            .unwrap_or_default(),
        Shape::Frame(f) => frame(f.rect, f.width),
        Shape::Line(_)
        | Shape::Artwork(_)
        | Shape::Words(_)
        | Shape::Readout(_)
        | Shape::Drum(_)
        | Shape::Label(_)
        | Shape::Slots(_)
        | Shape::Blink(_)
        | Shape::Unchecked(_) => Vec::new(),
    }
}

/// An area of an artwork file, with its paint.
pub(crate) struct Plated {
    pub contours: Contours,
    /// A name of the definition, or `#rrggbb`.
    pub color: String,
    pub shade: Option<Shading>,
    pub opacity: f64,
}

/// What `name`, or `name#id`, draws, where the definition puts it; nothing when there is no such element.
pub(crate) fn artwork(name: &str, d: &Definition) -> Vec<Plated> {
    let (file, id) = name
        .split_once('#')
        .map_or((name, None), |(file, id)| (file, Some(id)));
    let Some(source) = d.file().artwork.get(file) else {
        return Vec::new();
    };
    let artwork = d.artwork(file);
    let Some(plates) = id.map_or_else(|| Some(artwork.whole()), |id| artwork.element(id)) else {
        return Vec::new();
    };
    let [x, y] = source.at;
    let place = |p: Point| Point::new(x + source.scale * p.x, y + source.scale * p.y);
    let hex = |Rgb([r, g, b]): Rgb| format!("#{r:02x}{g:02x}{b:02x}");
    let area = |plate: &Plate| {
        let (color, shade) = match &plate.paint {
            Paint::Flat(own) => (plate.color_name.clone().unwrap_or_else(|| hex(*own)), None),
            Paint::Linear(shade) => {
                let stop = |s: &Stop| ShadeStop {
                    offset: s.offset,
                    color: hex(s.color),
                    opacity: s.opacity,
                };
                let [from, to] = [shade.from(), shade.to()].map(place).map(|p| [p.x, p.y]);
                (
                    hex(shade.middle()),
                    Some(Shading {
                        from,
                        to,
                        stop: shade.stops().iter().map(stop).collect(),
                    }),
                )
            }
        };
        Plated {
            contours: plate
                .contours
                .iter()
                .map(|c| c.iter().map(|&p| place(p)).collect())
                .collect(),
            color,
            shade,
            opacity: plate.opacity,
        }
    };
    plates.iter().map(area).collect()
}

/// A band between two radii, clock angles.
pub(crate) fn band(
    center: Point,
    [inner, outer]: [f64; 2],
    from_deg: f64,
    to_deg: f64,
) -> Contours {
    let mut first = Vec::new();
    if to_deg - from_deg >= 360.0 {
        let mut second = Vec::new();
        arc_points(center, outer, 0.0, 360.0, false, &mut first);
        arc_points(center, inner, 0.0, 360.0, true, &mut second);
        return vec![first, second];
    }
    arc_points(center, outer, from_deg, to_deg, false, &mut first);
    arc_points(center, inner, from_deg, to_deg, true, &mut first);
    vec![first]
}

fn frame([x, y, w, h]: [f64; 4], width: f64) -> Contours {
    let outer = rectangle([x, y, w, h]);
    let (l, t, r, b) = (x + width, y + width, x + w - width, y + h - width);
    if l >= r || t >= b {
        return vec![outer];
    }
    let inner = [[l, t], [l, b], [r, b], [r, t]].map(point).to_vec();
    vec![outer, inner]
}

/// The line along the outline of a shape.
pub(crate) fn stroked(shape: &Shape, stroke: &Stroke) -> Contours {
    let dashed = !stroke.dash.is_empty();
    if let (Shape::Line(points), false, Cap::Butt) = (shape, dashed, stroke.cap)
        && let [from, to] = points[..]
    {
        return straight(point(from), point(to), stroke.width)
            .into_iter()
            .collect();
    }
    let path = path_of(shape);
    let style = kurbo::Stroke::new(stroke.width)
        .with_caps(match stroke.cap {
            Cap::Butt => kurbo::Cap::Butt,
            Cap::Round => kurbo::Cap::Round,
            Cap::Square => kurbo::Cap::Square,
        })
        .with_join(match stroke.join {
            Join::Miter => kurbo::Join::Miter,
            Join::Round => kurbo::Join::Round,
            Join::Bevel => kurbo::Join::Bevel,
        })
        .with_miter_limit(MITER_LIMIT);
    let style = if dashed {
        style.with_dashes(0.0, stroke.dash.iter().copied())
    } else {
        style
    };
    let options = kurbo::StrokeOpts::default();
    let mut contours = flat(&kurbo::stroke(
        path.elements().iter().copied(),
        &style,
        &options,
        PATH_TOLERANCE_PX,
    ));
    for p in contours.iter_mut().flatten() {
        *p = Point::new(
            libm::round(p.x * STEPS) / STEPS,
            libm::round(p.y * STEPS) / STEPS,
        );
    }
    contours
}

/// A straight line with butt ends.
fn straight(from: Point, to: Point, width: f64) -> Option<Vec<Point>> {
    let (dx, dy) = (to.x - from.x, to.y - from.y);
    let length = libm::hypot(dx, dy);
    if length <= 0.0 {
        return None;
    }
    let (nx, ny) = (-dy / length * width / 2.0, dx / length * width / 2.0);
    Some(vec![
        Point::new(from.x + nx, from.y + ny),
        Point::new(to.x + nx, to.y + ny),
        Point::new(to.x - nx, to.y - ny),
        Point::new(from.x - nx, from.y - ny),
    ])
}

fn path_of(shape: &Shape) -> BezPath {
    let at = |[x, y]: [f64; 2]| kurbo::Point::new(x, y);
    match shape {
        Shape::Path(data) => BezPath::from_svg(data).unwrap_or_default(),
        Shape::Circle(c) => kurbo::Circle::new(at(c.center), c.radius).to_path(PATH_TOLERANCE_PX),
        Shape::Rounded(r) => {
            let [x, y, w, h] = r.rect;
            kurbo::RoundedRect::new(x, y, x + w, y + h, r.radius).to_path(PATH_TOLERANCE_PX)
        }
        Shape::Line(points) => run(points.iter().map(|p| at(*p)), false),
        other => {
            let mut path = BezPath::new();
            for contour in filled(other) {
                path.extend(run(
                    contour.iter().map(|p| kurbo::Point::new(p.x, p.y)),
                    true,
                ));
            }
            path
        }
    }
}

fn run(points: impl Iterator<Item = kurbo::Point>, closed: bool) -> BezPath {
    let mut path = BezPath::new();
    for (k, p) in points.enumerate() {
        if k == 0 {
            path.move_to(p)
        } else {
            path.line_to(p)
        }
    }
    if closed && !path.elements().is_empty() {
        path.close_path();
    }
    path
}

fn flat(path: &BezPath) -> Contours {
    let mut contours: Contours = Vec::new();
    kurbo::flatten(
        path.elements().iter().copied(),
        FLATNESS_PX,
        |el| match el {
            PathEl::MoveTo(p) => contours.push(vec![Point::new(p.x, p.y)]),
            PathEl::LineTo(p) => {
                if let Some(last) = contours.last_mut() {
                    last.push(Point::new(p.x, p.y));
                }
            }
            PathEl::QuadTo(..) | PathEl::CurveTo(..) | PathEl::ClosePath => {}
        },
    );
    contours.retain(|c| c.len() > 2);
    contours
}

/// The corners of an area without dents.
pub(crate) fn area(area: &Area) -> Vec<Point> {
    match area {
        Area::Rect(r) => rectangle(*r),
        Area::Rounded(r) => rounded(r.rect, r.radius),
        Area::Circle(c) => circle(c.center, c.radius),
        Area::Polygon(points) => points.iter().copied().map(point).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twice the signed area of contours, by the shoelace formula.
    fn size(contours: &Contours) -> f64 {
        let twice = |c: &Vec<Point>| {
            let next = c.iter().cycle().skip(1);
            c.iter()
                .zip(next)
                .map(|(a, b)| a.x * b.y - b.x * a.y)
                .sum::<f64>()
        };
        contours.iter().map(twice).sum::<f64>().abs() / 2.0
    }

    #[test]
    fn areas_of_shapes_are_those_of_geometry() {
        let pi = std::f64::consts::PI;
        let of = |text: &str| {
            #[derive(serde::Deserialize)]
            struct Holder {
                shape: Shape,
            }
            let held: Holder = toml::from_str(text).expect("a shape");
            size(&filled(&held.shape))
        };
        for (text, want, within) in [
            ("shape = { rect = [1, 2, 10, 4] }", 40.0, 1e-9),
            (
                "shape = { rounded = { rect = [0, 0, 20, 10], radius = 3 } }",
                200.0 - (4.0 - pi) * 9.0,
                0.2,
            ),
            (
                "shape = { circle = { center = [5, 5], radius = 10 } }",
                pi * 100.0,
                0.5,
            ),
            (
                "shape = { arc = { center = [0, 0], radii = [8, 10], from_deg = 0, to_deg = 90 } }",
                9.0 * pi,
                0.2,
            ),
            (
                "shape = { frame = { rect = [0, 0, 10, 10], width = 1 } }",
                36.0,
                1e-9,
            ),
            ("shape = { path = 'M0 0 L10 0 L10 10 Z' }", 50.0, 1e-9),
            (
                "shape = { path = 'M0 0 h10 v10 h-10 z M2 2 v6 h6 v-6 z' }",
                64.0,
                1e-9,
            ),
        ] {
            let got = of(text);
            assert!((got - want).abs() <= within, "{text}: {got} {want}");
        }
    }

    #[test]
    fn strokes_are_as_long_and_wide_as_svg_says() {
        let stroke = |cap: Cap, dash: &[f64]| Stroke {
            color: "x".into(),
            width: 2.0,
            cap,
            join: Join::Miter,
            dash: dash.to_vec(),
        };
        let line = Shape::Line(vec![[0.0, 0.0], [10.0, 0.0]]);
        assert!((size(&stroked(&line, &stroke(Cap::Butt, &[]))) - 20.0).abs() < 1e-9);
        assert!((size(&stroked(&line, &stroke(Cap::Square, &[]))) - 24.0).abs() < 1e-6);
        let round = size(&stroked(&line, &stroke(Cap::Round, &[])));
        assert!(
            (round - 20.0 - std::f64::consts::PI).abs() < 0.05,
            "{round}"
        );
        // Two px on, three off: at 0, 5: two dashes of 2 px.
        assert!((size(&stroked(&line, &stroke(Cap::Butt, &[2.0, 3.0]))) - 8.0).abs() < 1e-6);
        // Contours of a stroke may overlap within it; what counts is the covered area: 12 x 12 less 8 x 8 px.
        let square = Shape::Rect([2.0, 2.0, 10.0, 10.0]);
        let contours = stroked(&square, &stroke(Cap::Butt, &[]));
        let mut scene = crate::reference::scene::Scene::default();
        scene.fill(Rgb([255; 3]), contours.iter().map(Vec::as_slice));
        let area = crate::picture::Rect::new(0, 0, 16, 16);
        let canvas = crate::reference::painter::tests::drawn(
            &scene,
            &crate::reference::canvas::Look::rgb(),
            area,
        );
        let covered: f64 = canvas.planes()[0]
            .levels()
            .iter()
            .map(|&v| f64::from(v) / 255.0)
            .sum();
        assert!((covered - 80.0).abs() < 0.1, "{covered}");
    }
}
