//! Where in the capture the display stands: as somebody said, or as it is found.

use crate::capture::CapturedFrame;
use crate::chain::locate::{Found, LEAST_AGREEMENT, edges, locate};
use crate::chain::register::{self, shown_share};
use crate::chain::stretch::spread;
use crate::examine::subject::Subject;
use crate::picture::{Picture, Rect};
use crate::recording::Recording;
use crate::recording::inputs::Inputs;
use crate::reference::canvas::{Geometry, Look};
use crate::reference::painter::Painter;
use crate::reference::scene::Bounds;

use super::{Error, Offset};
pub(super) use crate::check::constants::place::LEAST_SEEN;
use crate::check::constants::place::{ELSEWHERE_PX, LOOKED_AT};

/// Where the display stands in the capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// Its corners are the picture's, give or take what is measured of every chain; a profile may say otherwise. Where it
    /// is not there, it is looked for, and [`Error::Elsewhere`] says where it is.
    Usual,
    /// It is looked for, and taken to be where it is found.
    Auto,
    /// As given.
    Given(Geometry),
}

/// A geometry in words that `--place` understands.
#[must_use]
pub fn in_words(geometry: &Geometry, size: (usize, usize)) -> String {
    let own = (size.0 as f64, size.1 as f64);
    let corners = geometry.corners(own);
    let number = |v: f64| hundredths(v).to_string();
    if geometry.is_upright() {
        let [a, _, c, _] = corners;
        return [a.x, a.y, c.x - a.x, c.y - a.y].map(number).join(",");
    }
    let each = corners.iter().flat_map(|p| [number(p.x), number(p.y)]);
    each.collect::<Vec<_>>().join(",")
}

/// To hundredths of a pixel, with a zero that has no sign.
fn hundredths(px: f64) -> f64 {
    libm::round(px * 100.0) / 100.0 + 0.0
}

/// A geometry as a person says it.
fn described(geometry: &Geometry, size: (usize, usize)) -> String {
    if !geometry.is_upright() {
        return "seen at an angle".to_owned();
    }
    let [sx, sy] = [geometry.sx, geometry.sy].map(|v| format!("{v:.3}"));
    let [x, y] = [geometry.tx, geometry.ty].map(hundredths);
    let far = libm::fabs(geometry.sx / geometry.sy - 1.0) * size.0.max(size.1) as f64;
    // The same scale, unless its sides come out a pixel apart.
    let scale = if far < 1.0 {
        format!("scale {sx}")
    } else {
        format!("scale {sx} across and {sy} down")
    };
    format!("at {scale}, shifted by {x},{y} px")
}

/// Where the display stands in the frames of a stretch, to within what measuring the chain finds by itself.
///
/// # Errors
/// [`Error::Elsewhere`] where nobody said so, and it is not where it usually is; where it is to be found, and is not.
pub fn settle_place(
    subject: Subject,
    recording: &Recording,
    frames: &[CapturedFrame],
    place: Place,
    offset: Offset,
    painter: &mut Painter,
) -> Result<Geometry, Error> {
    let Some(first) = frames.first() else {
        return Ok(Geometry::IDENTITY);
    };
    let all: Vec<&CapturedFrame> = frames.iter().collect();
    let picked = spread(&all, LOOKED_AT).into_iter();
    let offset_s = offset.or_zero();
    let seen: Vec<(&Picture, Inputs)> = picked
        .map(|f| (&f.picture, recording.inputs(f.time_s + offset_s)))
        .collect();
    let seen: Vec<(&Picture, &Inputs)> = seen.iter().map(|(p, i)| (*p, i)).collect();
    let own = subject.definition().size();
    let captured = (first.picture.width(), first.picture.height());
    let find = |painter: &mut Painter| locate(subject, &seen, painter);
    match place {
        Place::Given(geometry) => Ok(geometry),
        Place::Auto => match find(painter) {
            Some(found) => Ok(found.geometry),
            None => Err(nowhere(captured, own)),
        },
        Place::Usual => {
            let look = Look::new(first.picture.encoding());
            let mut is_here = |(picture, inputs): &(&Picture, &Inputs)| {
                let edges = edges(subject, inputs, &look, &picture.planes()[0], painter);
                // The cheaper question first: it holds for nearly every capture.
                shown_share(&edges) > LEAST_AGREEMENT
                    || register::register(subject, inputs, &look, picture, painter).is_some()
            };
            if captured == own && seen.iter().any(&mut is_here) {
                return Ok(Geometry::IDENTITY);
            }
            match find(painter) {
                Some(found) if captured != own || is_elsewhere(&found, own) => {
                    Err(elsewhere(&found, captured, own))
                }
                None if captured != own => Err(nowhere(captured, own)),
                // Whatever is wrong with the picture, it is not that.
                Some(_) | None => Ok(Geometry::IDENTITY),
            }
        }
    }
}

fn is_elsewhere(found: &Found, own: (usize, usize)) -> bool {
    let moved = found.geometry.corners_from(&Geometry::IDENTITY, own);
    moved.iter().any(|p| libm::hypot(p.x, p.y) > ELSEWHERE_PX)
}

fn elsewhere(found: &Found, captured: (usize, usize), own: (usize, usize)) -> Error {
    let place = in_words(&found.geometry, own);
    let size = if captured == own {
        String::new()
    } else {
        let ((w, h), (width, height)) = (captured, own);
        format!(" of {width}x{height} in frames of {w}x{h}")
    };
    Error::Elsewhere {
        words: format!(
            "the display{size} does not fill the capture; it fits {} ({:.0} % of its edges): give --place {place}, or write a profile with `framevouch locate`",
            described(&found.geometry, own),
            100.0 * found.agreement,
        ),
        geometry: found.geometry,
    }
}

fn nowhere((w, h): (usize, usize), (width, height): (usize, usize)) -> Error {
    Error::Nowhere(format!(
        "the display of {width}x{height} is not found in the first frames of the capture, which have {w}x{h}: give --place X,Y,WIDTH,HEIGHT or its four corners, and check that the definition is the display's and that these frames show it"
    ))
}

/// A note on a display that stands elsewhere than it was said to, `None` where it does not: `measured` is taken out.
pub(super) fn displaced(
    measured: &Geometry,
    expected: &Geometry,
    size: (usize, usize),
) -> Option<String> {
    let moved = measured.corners_from(expected, size);
    let most = moved
        .iter()
        .map(|p| libm::hypot(p.x, p.y))
        .fold(0.0, f64::max);
    if most <= crate::chain::change::CHAIN_SHIFT_PX {
        return None;
    }
    let [x, y] = [moved[0].x, moved[0].y];
    Some(format!(
        "from the first frame on the whole picture lies up to {most:.2} px from where it is expected ({x:+.2} px across and {y:+.2} px down at its top left corner): this is taken for the capture's doing, and is taken out; if it may be the display's, check against a profile of this chain"
    ))
}

/// Share of a part of the display that lies inside a picture of `size` px; 1 where less than a pixel of it is cut off.
pub(super) fn seen_share(part: Rect, geometry: &Geometry, size: (usize, usize)) -> f64 {
    let all = geometry.map_bounds(&Bounds::from_rect([
        part.x,
        part.y,
        part.width,
        part.height,
    ]));
    let picture = Bounds {
        left: 0.0,
        top: 0.0,
        right: size.0 as f64,
        bottom: size.1 as f64,
    };
    let seen = all.intersection(&picture);
    let sides = [
        seen.left - all.left,
        seen.top - all.top,
        all.right - seen.right,
        all.bottom - seen.bottom,
    ];
    if sides.iter().all(|cut| *cut < 1.0) {
        return 1.0;
    }
    let area = |b: &Bounds| (b.right - b.left).max(0.0) * (b.bottom - b.top).max(0.0);
    if seen.is_empty() {
        0.0
    } else {
        area(&seen) / area(&all)
    }
}
