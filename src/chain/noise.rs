//! Noise of flat areas and blur of static edges, by frames that show what is due.

use super::optics::blur_of;
use super::register::FrameReference;
use super::stretch::Stretch;
use crate::capture::profile::Profile;
use crate::picture::{Plane, Rect};

/// Robust noise of flat areas by plane, levels, and blur of static edges, px: medians over the frames, so that
/// one bad frame does not make the check blind.
pub(super) fn residual(stretch: &Stretch, profile: &Profile) -> ([f64; 3], f64) {
    let planes = (profile.subsampling, profile.siting);
    let each = stretch.each(|f, inputs, painter| {
        let look = profile.look();
        let subject = stretch.subject;
        let drawn = FrameReference::draw(subject, inputs, &look, planes, stretch.size(), painter);
        let luma = &f.picture.planes()[0];
        let left_out = drawn.luma().outside();
        let noise = [0, 1, 2].map(|k| {
            let captured = &f.picture.planes()[k];
            noise_of(captured, drawn.planes()[k], luma, left_out)
        });
        (noise, drawn.luma().blur_variance_px2(&f.picture))
    });
    let median = |list: &mut dyn Iterator<Item = f64>| {
        let mut list: Vec<f64> = list.collect();
        list.sort_by(f64::total_cmp);
        list.get(list.len() / 2).copied().unwrap_or(0.0)
    };
    let noise = [0, 1, 2].map(|k| median(&mut each.iter().map(|(noise, _)| noise[k])));
    (
        noise,
        blur_of(median(&mut each.iter().map(|(_, blur)| *blur))),
    )
}

/// Noise of a plane outside of `left_out`, pixels of luma in rectangles that share none.
fn noise_of(captured: &Plane, drawn: &Plane, luma: &Plane, left_out: &[Rect]) -> f64 {
    let mut counts = [0u64; 256];
    let mut count = |rect: Rect, sign: i64| {
        for y in rect.y as usize..rect.bottom() as usize {
            let columns = rect.x as usize..rect.right() as usize;
            let pairs = captured.row(y)[columns.clone()]
                .iter()
                .zip(&drawn.row(y)[columns]);
            for (a, b) in pairs {
                let count = &mut counts[usize::from(a.abs_diff(*b))];
                *count = count.wrapping_add_signed(sign);
            }
        }
    };
    let whole = Rect::new(0, 0, captured.width() as i32, captured.height() as i32);
    count(whole, 1);
    // Colour planes have a sample for one or two columns and rows of luma.
    let columns = luma.width().div_ceil(captured.width().max(1)) as i32;
    let rows = luma.height().div_ceil(captured.height().max(1)) as i32;
    for r in left_out {
        // A sample that is partly inside counts as inside, so that rectangles beside each other share none.
        let up = |v: i32, step: i32| (v + step - 1) / step;
        let (left, top) = (up(r.x, columns), up(r.y, rows));
        let (right, bottom) = (r.right() / columns, r.bottom() / rows);
        count(
            Rect::new(left, top, right - left, bottom - top).intersection(&whole),
            -1,
        );
    }
    let total: u64 = counts.iter().sum();
    // The median of whole levels is too coarse for small noise: the mean of the lower nine tenths
    // of the sizes, which is 0.626 sigma for a Gaussian.
    let (mut seen, mut sum) = (0u64, 0u64);
    for (level, count) in (0u64..).zip(counts) {
        let take = count.min((total * 9 / 10).saturating_sub(seen));
        seen += take;
        sum += take * level;
    }
    (sum as f64 / seen.max(1) as f64) / 0.626
}
