//! Where in a captured picture the display stands, when nobody says so.
//!
//! Coarse to fine. On a reduced picture, a few hundred static edges of the reference are laid over the captured edges at
//! every scale and place; edges that run the same way count, whatever the levels are (a generalised Hough transform: D.
//! Ballard 1981). The best places are then brought to rest by Gauss-Newton on pictures of growing size, first with a scale
//! and shift of each axis, then, where that leaves edges beside, with all eight numbers of a homography.

use rayon::prelude::*;

use super::register::{self, Detail, LumaReference, Motion, SeenEdge, shown_share};
pub use crate::chain::constants::locate::LEAST_AGREEMENT;
pub(super) use crate::chain::constants::locate::LEAST_NEAR;
use crate::chain::constants::locate::{
    AT_AN_ANGLE_PX, CLOSE_LOOKS, EDGES, HALF_SLOPE, LEAST_KNOWN, REDUCED_PX, SCALE_STEP, SCALES,
    SOFT_STEP, SURE_AGREEMENT, TILES,
};
use crate::examine::subject::Subject;
use crate::picture::{Picture, Plane};
use crate::recording::inputs::Inputs;
use crate::reference::canvas::{Geometry, Look};
use crate::reference::painter::Painter;

/// Where a display was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The way from the display to the picture.
    pub geometry: Geometry,
    /// Share of the static edges, of those inside the picture, at which the picture has an edge that runs the same way.
    pub agreement: f64,
}

/// Slopes of a picture as vectors shorter than 1.
struct Slopes {
    width: usize,
    height: usize,
    x: Vec<f32>,
    y: Vec<f32>,
}

/// A static edge of the reduced reference: where it is, and its slope.
#[derive(Clone, Copy)]
struct Edge {
    x: usize,
    y: usize,
    slope: [f32; 2],
}

/// A place to look at closely.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    likeness: f32,
    geometry: Geometry,
}

/// Looks for the display in pictures that were taken while it showed what `inputs` say, all through the same chain. `None`
/// where it is in none of them.
#[must_use]
pub fn locate(
    subject: Subject,
    frames: &[(&Picture, &Inputs)],
    painter: &mut Painter,
) -> Option<Found> {
    let (picture, inputs) = *frames.first()?;
    let definition = subject.definition();
    let look = Look::new(picture.encoding());
    let native = LumaReference::draw(subject, inputs, &look, definition.size(), painter);
    let captured: Vec<&Plane> = frames.iter().map(|(p, _)| &p.planes()[0]).collect();
    let size = (picture.width(), picture.height());
    let step = size.0.max(size.1).div_ceil(REDUCED_PX).max(1);
    let mut candidates = coarse(&native, &captured, step);
    candidates.truncate(CLOSE_LOOKS);
    let mut best: Option<Found> = None;
    for candidate in candidates {
        let mut look = look.clone();
        look.geometry = candidate.geometry;
        let Some(found) = settle(subject, frames, look, step, painter) else {
            continue;
        };
        if best.is_none_or(|b| found.agreement > b.agreement) {
            best = Some(found);
        }
        if found.agreement > SURE_AGREEMENT {
            break;
        }
    }
    let best = best?;
    (best.agreement >= LEAST_AGREEMENT).then_some(best)
}

/// The likeliest places by the reduced picture, best first, no two of them alike.
fn coarse(native: &LumaReference, captured: &[&Plane], step: usize) -> Vec<Candidate> {
    let reduced: Vec<Vec<f32>> = captured.iter().map(|p| reduced(p, step)).collect();
    let (width, height) = reduced_size(captured[0], step);
    let mean = |k: usize| reduced.iter().map(|r| r[k]).sum::<f32>() / reduced.len() as f32;
    let levels: Vec<f32> = (0..width * height).map(mean).collect();
    let shown = slopes(&levels, width, height);
    let sums = Sums::of(native);
    let (own_width, own_height) = (
        native.plane().width() as f64,
        native.plane().height() as f64,
    );
    let fit = |w: f64, h: f64| (width as f64 / w).min(height as f64 / h);
    let mut stretches = vec![1.0];
    // A picture that was stretched to fill the frame.
    let filled = (width as f64 / own_width) / (height as f64 / own_height);
    if libm::fabs(filled - 1.0) > 0.02 {
        stretches.push(filled);
    }
    let mut tried = Vec::new();
    for stretch in stretches {
        let fit = fit(own_width * stretch, own_height);
        let mut scale = SCALES[0] * fit;
        while scale <= SCALES[1] * fit {
            tried.push([scale * stretch, scale]);
            scale *= SCALE_STEP;
        }
    }
    let mut found: Vec<Candidate> = tried
        .into_par_iter()
        .flat_map_iter(|scale| places(&sums, &shown, scale, step as f64))
        .collect();
    found.sort_by(|a, b| b.likeness.total_cmp(&a.likeness));
    let mut apart: Vec<Candidate> = Vec::new();
    let near = 3.0 * step as f64;
    for candidate in found {
        let corners = |g: &Geometry| g.corners((own_width, own_height));
        let is_apart = |other: &Candidate| {
            let pairs = corners(&other.geometry)
                .into_iter()
                .zip(corners(&candidate.geometry));
            let mut far = pairs.map(|(a, b)| libm::hypot(a.x - b.x, a.y - b.y));
            far.any(|d| d > near)
        };
        if apart.len() < CLOSE_LOOKS && apart.iter().all(is_apart) {
            apart.push(candidate);
        }
    }
    apart
}

/// The best places at one scale, in px of the reduced picture for 1 px of the display.
fn places(sums: &Sums, shown: &Slopes, scale: [f64; 2], step: f64) -> Vec<Candidate> {
    let (width, height) = sums.size_at(scale);
    if width < 16 || height < 16 {
        return Vec::new();
    }
    let edges = sums.edges(scale, (width, height));
    let weight: f32 = edges
        .iter()
        .map(|e| e.slope[0] * e.slope[0] + e.slope[1] * e.slope[1])
        .sum();
    if edges.len() < EDGES / 4 {
        return Vec::new();
    }
    // A quarter of the display may lie outside the picture, or of the picture outside the display.
    let range = |own: usize, picture: usize| {
        let (own, picture) = (own as i32, picture as i32);
        let beside = own.min(picture) / 4;
        (
            (picture - own).min(0) - beside,
            (picture - own).max(0) + beside,
        )
    };
    let ((left, right), (top, bottom)) = (range(width, shown.width), range(height, shown.height));
    let columns = (right - left + 1) as usize;
    // The picture with empty margins, so that every edge finds something everywhere.
    let padded_width = columns + width;
    let padded_height = (bottom - top + 1) as usize + height;
    let pad = |from: &[f32]| {
        let mut out = vec![0.0; padded_width * padded_height];
        for y in 0..shown.height {
            let row = y as i32 - top;
            if !(0..padded_height as i32).contains(&row) {
                continue;
            }
            for x in 0..shown.width {
                let column = x as i32 - left;
                if (0..padded_width as i32).contains(&column) {
                    out[row as usize * padded_width + column as usize] = from[y * shown.width + x];
                }
            }
        }
        out
    };
    let (slopes_x, slopes_y) = (pad(&shown.x), pad(&shown.y));
    let mut best: Vec<(f32, i32, i32)> = Vec::new();
    let mut row = vec![0.0f32; columns];
    for y in top..=bottom {
        row.fill(0.0);
        for edge in &edges {
            let first = ((y - top) as usize + edge.y) * padded_width + edge.x;
            let [u, v] = edge.slope;
            let along = slopes_x[first..first + columns]
                .iter()
                .zip(&slopes_y[first..first + columns]);
            for (sum, (x, y)) in row.iter_mut().zip(along) {
                *sum += u * x + v * y;
            }
        }
        let top_of_row = row.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((x, sum)) = top_of_row {
            best.push((sum / weight, left + x as i32, y));
        }
    }
    best.sort_by(|a, b| b.0.total_cmp(&a.0));
    best.truncate(3);
    let candidate = |(likeness, x, y): (f32, i32, i32)| Candidate {
        likeness,
        geometry: Geometry::upright(
            scale.map(|s| s * step),
            [f64::from(x) * step, f64::from(y) * step],
        ),
    };
    best.into_iter().map(candidate).collect()
}

/// Size of a picture reduced by a whole factor; what is left over at its right and lower edge is cut off.
fn reduced_size(plane: &Plane, factor: usize) -> (usize, usize) {
    (plane.width() / factor, plane.height() / factor)
}

/// Mean levels of squares of `factor` px.
fn reduced(plane: &Plane, factor: usize) -> Vec<f32> {
    let (width, height) = reduced_size(plane, factor);
    let mut sums = vec![0u32; width * height];
    for y in 0..height * factor {
        let out = &mut sums[y / factor * width..(y / factor + 1) * width];
        for (sum, levels) in out.iter_mut().zip(plane.row(y).chunks_exact(factor)) {
            *sum += levels.iter().map(|v| u32::from(*v)).sum::<u32>();
        }
    }
    let area = (factor * factor) as f32;
    sums.into_iter().map(|sum| sum as f32 / area).collect()
}

/// The same, rounded to levels.
fn reduced_plane(plane: &Plane, factor: usize) -> Plane {
    let (width, height) = reduced_size(plane, factor);
    let mut out = Plane::filled(width, height, 0);
    let levels = out.levels_mut().iter_mut();
    for (level, mean) in levels.zip(reduced(plane, factor)) {
        *level = (mean + 0.5) as u8;
    }
    out
}

/// Slopes of levels, as vectors that grow to length 1.
fn slopes(levels: &[f32], width: usize, height: usize) -> Slopes {
    let (mut x, mut y) = (vec![0.0; width * height], vec![0.0; width * height]);
    for row in 1..height.saturating_sub(1) {
        for column in 1..width.saturating_sub(1) {
            let at = row * width + column;
            let [u, v] = short([
                (levels[at + 1] - levels[at - 1]) / 2.0,
                (levels[at + width] - levels[at - width]) / 2.0,
            ]);
            (x[at], y[at]) = (u, v);
        }
    }
    Slopes {
        width,
        height,
        x,
        y,
    }
}

fn short([x, y]: [f32; 2]) -> [f32; 2] {
    let whole = (x * x + y * y).sqrt() + HALF_SLOPE;
    [x / whole, y / whole]
}

/// Sums over the reference from its top left corner, from which the mean of any rectangle follows.
struct Sums {
    width: usize,
    height: usize,
    /// Of levels where nothing moves, and of such pixels; one row and column more than the reference has.
    levels: Vec<f64>,
    known: Vec<f64>,
}

impl Sums {
    fn of(reference: &LumaReference) -> Self {
        let plane = reference.plane();
        let (width, height) = (plane.width(), plane.height());
        let stride = width + 1;
        let mut levels = vec![0.0; stride * (height + 1)];
        let mut known = levels.clone();
        for y in 0..height {
            let (mut level, mut count) = (0.0, 0.0);
            for (x, value) in plane.row(y).iter().enumerate() {
                if !reference.is_moving(x, y) {
                    level += f64::from(*value);
                    count += 1.0;
                }
                let at = (y + 1) * stride + x + 1;
                levels[at] = levels[at - stride] + level;
                known[at] = known[at - stride] + count;
            }
        }
        Self {
            width,
            height,
            levels,
            known,
        }
    }

    /// Size of the whole at a scale, px.
    fn size_at(&self, [x, y]: [f64; 2]) -> (usize, usize) {
        (
            (self.width as f64 * x) as usize,
            (self.height as f64 * y) as usize,
        )
    }

    /// A sum up to a fractional corner.
    fn up_to(&self, sums: &[f64], x: f64, y: f64) -> f64 {
        let (x, y) = (x.min(self.width as f64), y.min(self.height as f64));
        let (column, row) = (
            (x as usize).min(self.width.saturating_sub(1)),
            (y as usize).min(self.height.saturating_sub(1)),
        );
        let (fx, fy) = (x - column as f64, y - row as f64);
        let stride = self.width + 1;
        let at = |dx: usize, dy: usize| sums[(row + dy) * stride + column + dx];
        (at(0, 0) * (1.0 - fx) + at(1, 0) * fx) * (1.0 - fy)
            + (at(0, 1) * (1.0 - fx) + at(1, 1) * fx) * fy
    }

    /// Edges of the reference at a scale at which it has `size` px, the clearest of each part of the display first.
    fn edges(&self, scale: [f64; 2], (width, height): (usize, usize)) -> Vec<Edge> {
        let (across, down) = (1.0 / scale[0], 1.0 / scale[1]);
        let corners = |sums: &[f64]| -> Vec<f64> {
            let rows = (0..=height).map(|y| y as f64 * down);
            rows.flat_map(|y| (0..=width).map(move |x| (x as f64 * across, y)))
                .map(|(x, y)| self.up_to(sums, x, y))
                .collect()
        };
        let (levels, known) = (corners(&self.levels), corners(&self.known));
        let stride = width + 1;
        let cell = |sums: &[f64], x: usize, y: usize| {
            let at = y * stride + x;
            sums[at + stride + 1] - sums[at + stride] - sums[at + 1] + sums[at]
        };
        let least = LEAST_KNOWN * across * down;
        let mut mean = vec![f32::NAN; width * height];
        for y in 0..height {
            for x in 0..width {
                let count = cell(&known, x, y);
                if count >= least {
                    mean[y * width + x] = (cell(&levels, x, y) / count) as f32;
                }
            }
        }
        let mut tiles: Vec<Vec<(f32, Edge)>> = vec![Vec::new(); TILES * TILES];
        for y in 1..height - 1 {
            for x in 1..width - 1 {
                let at = y * width + x;
                let slope = [
                    (mean[at + 1] - mean[at - 1]) / 2.0,
                    (mean[at + width] - mean[at - width]) / 2.0,
                ];
                let size = slope[0] * slope[0] + slope[1] * slope[1];
                // What is next to something unknown is not a number, and larger than nothing.
                if size > HALF_SLOPE * HALF_SLOPE {
                    let tile = (y * TILES / height) * TILES + x * TILES / width;
                    tiles[tile].push((
                        size,
                        Edge {
                            x,
                            y,
                            slope: short(slope),
                        },
                    ));
                }
            }
        }
        for tile in &mut tiles {
            tile.sort_by(|a, b| b.0.total_cmp(&a.0));
        }
        let deepest = tiles.iter().map(Vec::len).max().unwrap_or(0);
        let by_turns = (0..deepest).flat_map(|k| tiles.iter().filter_map(move |t| t.get(k)));
        by_turns.map(|(_, edge)| *edge).take(EDGES).collect()
    }
}

/// Brings a candidate to rest, from the reduced picture to the whole one.
fn settle(
    subject: Subject,
    frames: &[(&Picture, &Inputs)],
    mut look: Look,
    step: usize,
    painter: &mut Painter,
) -> Option<Found> {
    let (picture, inputs) = frames[frames.len() / 2];
    let whole = &picture.planes()[0];
    let first = 2 * step;
    let mut size = first;
    loop {
        let luma = reduced_plane(whole, size);
        let detail = if size == 1 {
            Detail::Whole
        } else {
            Detail::Reduced
        };
        let mut small = look.clone();
        small.geometry = look.geometry.scaled(1.0 / size as f64);
        for motion in [Motion::Upright, Motion::Free] {
            let is_first = size == first;
            if is_first || motion == Motion::Free {
                register::refine(subject, inputs, &mut small, &luma, motion, detail, painter)?;
            }
        }
        look.geometry = small.geometry.scaled(size as f64);
        // A place that is not near on a reduced picture is not worth the larger ones; the smallest has too few edges to say.
        let edges = edges(subject, inputs, &small, &luma, painter);
        if size < first && shown_share(&edges) < LEAST_NEAR {
            return None;
        }
        if size == 1 {
            break;
        }
        size = size.div_ceil(2);
    }
    let definition = subject.definition();
    let own = (definition.size().0 as f64, definition.size().1 as f64);
    let mut upright = look.clone();
    upright.geometry = look.geometry.nearest_upright(own);
    register::refine(
        subject,
        inputs,
        &mut upright,
        whole,
        Motion::Upright,
        Detail::Whole,
        painter,
    )?;
    let corners = |l: &Look| l.geometry.corners(own);
    let pairs = corners(&look).into_iter().zip(corners(&upright));
    let most = pairs
        .map(|(a, b)| libm::hypot(a.x - b.x, a.y - b.y))
        .fold(0.0, f64::max);
    if most < AT_AN_ANGLE_PX {
        look = upright;
    }
    let edges = edges(subject, inputs, &look, whole, painter);
    (edges.len() >= EDGES).then(|| Found {
        geometry: look.geometry,
        agreement: shown_share(&edges),
    })
}

/// Whether a reduced picture has the display where `look` says that the whole one has it, however soft that may be.
#[must_use]
pub fn is_there_softly(
    subject: Subject,
    inputs: &Inputs,
    look: &Look,
    captured: &Plane,
    painter: &mut Painter,
) -> bool {
    let mut small = look.clone();
    small.geometry = look.geometry.scaled(1.0 / SOFT_STEP as f64);
    let luma = reduced_plane(captured, SOFT_STEP);
    let edges = edges(subject, inputs, &small, &luma, painter);
    edges.len() >= Detail::Reduced.least() && shown_share(&edges) >= LEAST_AGREEMENT
}

/// The static edges of the reference that lie inside a captured luma plane, and whether it shows them.
#[must_use]
pub fn edges(
    subject: Subject,
    inputs: &Inputs,
    look: &Look,
    captured: &Plane,
    painter: &mut Painter,
) -> Vec<SeenEdge> {
    let size = (captured.width(), captured.height());
    LumaReference::draw(subject, inputs, look, size, painter).seen_edges(captured)
}
