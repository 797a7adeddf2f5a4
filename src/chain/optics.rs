//! What a lens does to the whole picture: it blurs, and light falls off towards its edges.
//!
//! *The question*: how soft, and how much darker from place to place, is what a camera makes of a good picture? *The method*:
//! the blur that leaves none between reference and capture, rounds of one least-squares step each; a gain of second order over
//! the picture, by least squares on static artwork. References are drawn with both. *What it cannot see*: blur that differs
//! from place to place, light that falls off otherwise than smoothly.

use nalgebra::{SMatrix, SVector};

use super::register::LumaReference;
use super::stretch::Stretch;
use crate::capture::profile::{DRAWN_BLUR_PX, Profile};
use crate::chain::constants::optics::{
    BLUR_AT_REST, BLUR_ROUNDS, LEAST_FALL, LIT_LEVELS, MOST_BLUR_PX2, MOST_FALL, SHADED_LEVELS,
    SHADING_STEP,
};
use crate::picture::{Point, Rgb};
use crate::reference::canvas::Geometry;
use crate::reference::shading::Shading;

/// A blur of a variance, px, in steps that no rounding on another machine can change.
pub(super) fn blur_of(variance_px2: f64) -> f64 {
    libm::round(variance_px2.max(0.0).sqrt() * 1e4) / 1e4
}

/// The blur of references that leaves none in the captured pictures, px; begins with that of the profile, which was told
/// from its first step alone.
pub(super) fn drawn_blur(stretch: &Stretch, profile: &Profile) -> f64 {
    let mut look = profile.look();
    let mut variance_px2 = look.blur_px * look.blur_px;
    for _ in 0..BLUR_ROUNDS {
        let mut left = stretch.each(|f, inputs, painter| {
            LumaReference::draw(stretch.subject, inputs, &look, stretch.size(), painter)
                .blur_variance_px2(&f.picture)
        });
        left.sort_by(f64::total_cmp);
        let left = left.get(left.len() / 2).copied().unwrap_or(0.0);
        variance_px2 = (variance_px2 + left).clamp(DRAWN_BLUR_PX * DRAWN_BLUR_PX, MOST_BLUR_PX2);
        look.blur_px = blur_of(variance_px2);
        if libm::fabs(left) < BLUR_AT_REST * variance_px2 {
            break;
        }
    }
    look.blur_px
}

/// Light at the corners of a display, where that in its middle is 1.
pub(super) fn lights(
    shading: &Shading,
    geometry: &Geometry,
    (width, height): (usize, usize),
) -> [f64; 4] {
    let (width, height) = (width as f64, height as f64);
    let middle = geometry.map(Point::new(width / 2.0, height / 2.0));
    let whole = shading.gain(middle.x, middle.y);
    let corners = geometry.corners((width, height));
    corners.map(|p| shading.gain(p.x, p.y) / whole)
}

/// How light falls off over the display, by static artwork against what the colours of the profile make due; none where it does
/// not, or is not told: what is left must be less everywhere.
pub(super) fn shading(stretch: &Stretch, profile: &Profile) -> Shading {
    let size = stretch.size();
    let mut look = profile.look();
    look.shading = Shading::NONE;
    let black = f64::from(look.levels(Rgb([0; 3]))[0]);
    let samples = stretch.each(|f, inputs, painter| {
        let reference = LumaReference::draw(stretch.subject, inputs, &look, size, painter);
        let luma = &f.picture.planes()[0];
        let mut samples: Vec<[f64; 4]> = Vec::new();
        for y in (0..size.1).step_by(SHADING_STEP) {
            for x in (0..size.0).step_by(SHADING_STEP) {
                let due = f64::from(reference.plane().at(x, y)) - black;
                let shown = f64::from(luma.at(x, y)) - black;
                let tells = due > LIT_LEVELS && (due - shown).abs() < SHADED_LEVELS;
                if tells && reference.is_static(x, y) {
                    samples.push([x as f64 + 0.5, y as f64 + 0.5, due, shown]);
                }
            }
        }
        samples
    });
    let samples = samples.concat();
    let (width, height) = (size.0 as f64, size.1 as f64);
    // Of like size, so that the sums are well behaved.
    let scaled = |x: f64, y: f64| Shading::terms(x / width, y / height);
    let mut normal = SMatrix::<f64, 6, 6>::zeros();
    let mut right = SVector::<f64, 6>::zeros();
    for [x, y, due, shown] in &samples {
        let row = SVector::<f64, 6>::from(scaled(*x, *y)) * *due;
        normal += row * row.transpose();
        right += row * *shown;
    }
    let Some(solver) = normal.cholesky() else {
        return Shading::NONE;
    };
    let found = solver.solve(&right);
    let (w, h) = (width, height);
    let per = [1.0, w, h, w * w, w * h, h * h];
    let shading = Shading(std::array::from_fn(|k| found[k] / per[k]));
    let own = stretch.subject.definition().size();
    let lights = lights(&shading, &look.geometry, own);
    let [least, most] = [f64::min, f64::max].map(|pick| lights.into_iter().fold(1.0, pick));
    let middle = look
        .geometry
        .map(Point::new(own.0 as f64 / 2.0, own.1 as f64 / 2.0));
    let is_told =
        shading.gain(middle.x, middle.y) > 0.0 && (LEAST_FALL..MOST_FALL).contains(&(most - least));
    let mut left = [[0.0; 2]; 4];
    for [x, y, due, shown] in &samples {
        let quarter = &mut left[usize::from(*x < middle.x) + 2 * usize::from(*y < middle.y)];
        quarter[0] += (shown - due).powi(2);
        quarter[1] += (shown - due * shading.gain(*x, *y)).powi(2);
    }
    if is_told && left.iter().all(|[before, after]| after <= before) {
        shading
    } else {
        Shading::NONE
    }
}
