//! Lines, marks, and the legend that names them.

use plotters::element::{DashedPathElement, Drawable, PointCollection};
use plotters::prelude::*;
use plotters_backend::{BackendCoord, DrawingErrorKind};

use super::Error;
use super::page::{Anchor, Area, INK, TEXT_PX, px, size, stroke, text, width_px};

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Dashes {
    Full,
    Long,
    Short,
    Dotted,
}

/// All of them, in the order in which series take them.
pub(super) const DASHES: [Dashes; 4] = [Dashes::Full, Dashes::Long, Dashes::Short, Dashes::Dotted];

impl Dashes {
    /// Lengths of ink and gap, px.
    fn lengths_px(self) -> Option<(f64, f64)> {
        match self {
            Self::Full => None,
            Self::Long => Some((10.0, 4.0)),
            Self::Short => Some((5.0, 3.0)),
            Self::Dotted => Some((1.8, 3.2)),
        }
    }
}

/// A line through points, in the coordinates of a chart or of an area.
pub(super) struct Line<C> {
    points: Vec<C>,
    dashes: Dashes,
    style: ShapeStyle,
}

/// A line through points.
pub(super) fn line<C>(points: Vec<C>, dashes: Dashes, style: ShapeStyle) -> Line<C> {
    Line {
        points,
        dashes,
        style,
    }
}

impl<'a, C> PointCollection<'a, C> for &'a Line<C> {
    type Point = &'a C;
    type IntoIter = &'a [C];

    fn point_iter(self) -> &'a [C] {
        &self.points
    }
}

impl<C, B: DrawingBackend> Drawable<B> for Line<C> {
    fn draw<I: Iterator<Item = BackendCoord>>(
        &self,
        points: I,
        backend: &mut B,
        page: (u32, u32),
    ) -> Result<(), DrawingErrorKind<B::ErrorType>> {
        let none: [BackendCoord; 0] = [];
        match self.dashes.lengths_px() {
            None => backend.draw_path(points, &self.style),
            Some((ink, gap)) => DashedPathElement::new(none, size(ink), size(gap), self.style)
                .draw(points, backend, page),
        }
    }
}

/// Shape of a mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Shape {
    Circle,
    Ring,
    Square,
    Triangle,
    Diamond,
    Cross,
}

/// Corners of a shape about its middle, in parts of its radius; none for round ones.
fn corners(shape: Shape) -> &'static [(f64, f64)] {
    match shape {
        Shape::Circle | Shape::Ring => &[],
        Shape::Square => &[(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)],
        Shape::Triangle => &[(0.0, -1.1), (1.0, 0.8), (-1.0, 0.8)],
        Shape::Diamond => &[(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)],
        Shape::Cross => &[(-0.9, -0.9), (0.9, 0.9), (0.9, -0.9), (-0.9, 0.9)],
    }
}

/// A mark at a point, in the coordinates of a chart or of an area.
pub(super) struct Mark<C> {
    at: C,
    shape: Shape,
    radius_px: f64,
    colour: RGBColor,
}

/// A mark at a point.
pub(super) fn mark<C>(at: C, shape: Shape, radius_px: f64, colour: RGBColor) -> Mark<C> {
    Mark {
        at,
        shape,
        radius_px,
        colour,
    }
}

impl<'a, C> PointCollection<'a, C> for &'a Mark<C> {
    type Point = &'a C;
    type IntoIter = std::iter::Once<&'a C>;

    fn point_iter(self) -> Self::IntoIter {
        std::iter::once(&self.at)
    }
}

impl<C, B: DrawingBackend> Drawable<B> for Mark<C> {
    fn draw<I: Iterator<Item = BackendCoord>>(
        &self,
        points: I,
        backend: &mut B,
        _: (u32, u32),
    ) -> Result<(), DrawingErrorKind<B::ErrorType>> {
        let outline = stroke(self.colour, 2.0);
        for (x, y) in points {
            let corner =
                |&(dx, dy): &(f64, f64)| (x + px(dx * self.radius_px), y + px(dy * self.radius_px));
            let corners: Vec<BackendCoord> = corners(self.shape).iter().map(corner).collect();
            match self.shape {
                Shape::Circle => {
                    backend.draw_circle((x, y), size(self.radius_px), &self.colour, true)?
                }
                Shape::Ring => {
                    backend.draw_circle((x, y), size(self.radius_px), &outline, false)?
                }
                Shape::Cross => {
                    for leg in corners.chunks(2) {
                        backend.draw_path(leg.iter().copied(), &outline)?;
                    }
                }
                Shape::Square | Shape::Triangle | Shape::Diamond => {
                    backend.fill_polygon(corners, &self.colour)?
                }
            }
        }
        Ok(())
    }
}

/// What a legend shows beside a name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Sign {
    /// A line.
    Line(Dashes, f64),
    /// A mark.
    Mark(Shape),
    /// A band.
    Band,
    /// A short upright stroke.
    Tick,
}

/// An entry of a legend.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Entry {
    pub(super) sign: Sign,
    pub(super) colour: RGBColor,
    pub(super) name: String,
}

impl Entry {
    pub(super) fn new(sign: Sign, colour: RGBColor, name: impl Into<String>) -> Self {
        Self {
            sign,
            colour,
            name: name.into(),
        }
    }
}

const SIGN_PX: f64 = 30.0;
const GAP_PX: f64 = 18.0;
const LINE_PX: f64 = 20.0;

/// Draws a legend at the top of an area, in as many lines as it takes, and returns what lies below it.
pub(super) fn legend<'a>(area: &Area<'a>, entries: &[Entry]) -> Result<Area<'a>, Error> {
    let within_px = f64::from(area.dim_in_pixel().0) / f64::from(px(1.0));
    let (mut x, mut y) = (0.0, LINE_PX / 2.0);
    for entry in entries {
        let width = SIGN_PX + 6.0 + width_px(&entry.name);
        if x > 0.0 && x + width > within_px {
            (x, y) = (0.0, y + LINE_PX);
        }
        draw_sign(area, entry, x, y)?;
        area.draw_text(
            &entry.name,
            &text(INK, Anchor::Start),
            (px(x + SIGN_PX + 6.0), px(y)),
        )
        .map_err(Error::drawing)?;
        x += width + GAP_PX;
    }
    let height = if entries.is_empty() {
        0.0
    } else {
        y + LINE_PX / 2.0 + 4.0
    };
    Ok(area.split_vertically(px(height)).1)
}

fn draw_sign(area: &Area<'_>, entry: &Entry, x: f64, y: f64) -> Result<(), Error> {
    let at = |dx: f64, dy: f64| (px(x + dx), px(y + dy));
    match entry.sign {
        Sign::Line(dashes, width) => area.draw(&line(
            vec![at(0.0, 0.0), at(SIGN_PX, 0.0)],
            dashes,
            stroke(entry.colour, width),
        )),
        Sign::Mark(shape) => area.draw(&mark(at(SIGN_PX / 2.0, 0.0), shape, 4.5, entry.colour)),
        Sign::Band => area.draw(&Rectangle::new(
            [at(0.0, -TEXT_PX / 2.0), at(SIGN_PX, TEXT_PX / 2.0)],
            band(entry.colour),
        )),
        Sign::Tick => area.draw(&PathElement::new(
            vec![at(SIGN_PX / 2.0, -6.0), at(SIGN_PX / 2.0, 6.0)],
            stroke(entry.colour, 1.5),
        )),
    }
    .map_err(Error::drawing)
}

/// Filling of a band.
pub(super) fn band(colour: RGBColor) -> ShapeStyle {
    colour.mix(0.18).filled()
}
