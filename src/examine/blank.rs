//! Is the picture gone: one colour, or a chain's test bars, where ink is due?

use super::view::View;
use crate::examine::constants::blank::{
    GROUND, INK, INK_SHARE, REST_PX, REST_SHARE, UNIFORM, UNIFORM_SHARE,
};

/// Counts of the levels. Four tables in turn: runs of one level would wait for the count before.
fn histogram(view: View) -> [u32; 256] {
    let mut counts = [[0u32; 256]; 4];
    for y in 0..view.height() {
        let (fours, rest) = view.row(y).as_chunks::<4>();
        for four in fours {
            for (counts, level) in counts.iter_mut().zip(four) {
                counts[usize::from(*level)] += 1;
            }
        }
        for level in rest {
            counts[0][usize::from(*level)] += 1;
        }
    }
    std::array::from_fn(|level| counts.iter().map(|c| c[level]).sum())
}

/// Share of pixels within [`UNIFORM`] of the most common level.
fn uniform_share(view: View) -> f64 {
    let counts = histogram(view);
    let total: u32 = counts.iter().sum();
    if total == 0 {
        return 1.0;
    }
    let (mut most, mut mode) = (0, 0i32);
    for (level, &count) in (0..).zip(&counts) {
        if count > most {
            (most, mode) = (count, level);
        }
    }
    let near: u32 = (0..)
        .zip(&counts)
        .filter(|(level, _)| (*level - mode).abs() <= UNIFORM)
        .map(|(_, c)| *c)
        .sum();
    f64::from(near) / f64::from(total)
}

/// True when nothing stands out: a blank area would look the same.
#[must_use]
pub fn is_uniform(reference: [View; 3]) -> bool {
    reference
        .iter()
        .all(|v| uniform_share(*v) >= 1.0 - INK_SHARE)
}

fn most_common(view: View) -> i32 {
    let counts = histogram(view);
    (0..)
        .zip(&counts)
        .max_by_key(|(level, c)| (**c, -*level))
        .map_or(0, |(level, _)| level)
}

/// True when the captured area is one colour and either that colour is not the ground of the
/// reference, or artwork that is always due (`fixed`) is gone too. A list whose only line is missing is
/// not blank: it says that there is nothing to say. Nor is a region in which a word still stands as it should.
#[must_use]
pub fn is_blank(captured: [View; 3], reference: [View; 3], fixed: [View; 3]) -> bool {
    if !is_one_colour(captured, reference) || has_ink_left(captured[0], reference[0]) {
        return false;
    }
    let is_same_ground =
        (0..3).all(|k| (most_common(captured[k]) - most_common(reference[k])).abs() < GROUND);
    !is_same_ground || !is_uniform(fixed)
}

/// True when areas that are blank each are parts of one blank picture, whose luma is `whole`: of one level, or of bars.
#[must_use]
pub fn is_one_picture<'v>(whole: View, parts: impl Iterator<Item = View<'v>>) -> bool {
    let mut levels = parts.map(most_common);
    let first = levels.next();
    levels.all(|level| first.is_none_or(|first| (level - first).abs() < GROUND))
        || (repeats_downwards(whole) && is_in_steps(whole))
}

/// True when some of the reference's ink still stands in the captured area.
fn has_ink_left(captured: View, reference: View) -> bool {
    let (ground, due_ground) = (most_common(captured), most_common(reference));
    let (mut ink, mut due) = (0u32, 0u32);
    for y in 0..captured.height() {
        for (a, b) in captured.row(y).iter().zip(reference.row(y)) {
            let (a, b) = (i32::from(*a), i32::from(*b));
            if (a - ground).abs() >= INK {
                ink += 1;
                due += u32::from((b - due_ground).abs() >= INK && (a - b).abs() < INK);
            }
        }
    }
    ink >= REST_PX && f64::from(due) >= REST_SHARE * f64::from(ink)
}

/// True when the captured area is one colour, or equal vertical bars (a chain's no-signal picture),
/// and the reference is not.
fn is_one_colour(captured: [View; 3], reference: [View; 3]) -> bool {
    let is_uniform_now = captured.iter().all(|v| uniform_share(*v) >= UNIFORM_SHARE);
    let are_bars = || {
        captured.iter().all(|v| repeats_downwards(*v))
            && captured.iter().any(|v| is_in_steps(*v))
            && !reference.iter().all(|v| repeats_downwards(*v))
    };
    (is_uniform_now || are_bars()) && !is_uniform(reference)
}

/// True when levels along the lines change in steps, as those of bars do, and not little by little, as those of a slope.
fn is_in_steps(view: View) -> bool {
    // The mean of a column, since noise is no change.
    let mut means = vec![0.0f64; view.width()];
    for y in 0..view.height() {
        for (mean, level) in means.iter_mut().zip(view.row(y)) {
            *mean += f64::from(*level) / view.height() as f64;
        }
    }
    let changes = means.windows(2).map(|w| (w[1] - w[0]).abs());
    let steps: f64 = changes
        .clone()
        .filter(|change| *change > f64::from(UNIFORM))
        .sum();
    2.0 * steps > changes.sum()
}

/// True when all lines are equal.
fn repeats_downwards(view: View) -> bool {
    let total = view.width() * view.height().saturating_sub(1);
    let limit = (1.0 - UNIFORM_SHARE) * total as f64;
    let mut different = 0usize;
    for y in 1..view.height() {
        let pairs = view.row(y).iter().zip(view.row(0));
        let off = pairs.filter(|(a, b)| i32::from(a.abs_diff(**b)) > 2 * UNIFORM);
        different += off.count();
        if different as f64 >= limit {
            return false;
        }
    }
    total > 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Plane, Rect};

    #[test]
    fn places_of_one_level_are_one_blank_picture_and_those_of_a_mosaic_are_not() {
        let of = |level: &dyn Fn(usize, usize) -> usize| {
            let levels = (0..80 * 60).map(|k| level(k % 80, k / 80) as u8).collect();
            Plane::from_levels(80, 60, levels)
        };
        let is_one = |plane: &Plane| {
            let whole = View::whole(plane);
            let areas = [(2, 2), (42, 2), (2, 32), (42, 32)];
            let areas = areas.map(|(x, y)| Rect::new(x, y, 36, 26));
            is_one_picture(whole, areas.iter().map(|a| whole.crop(*a)))
        };
        assert!(is_one(&of(&|_, _| 16)));
        assert!(is_one(&of(&|x, _| x / 10 * 30)), "bars");
        assert!(
            !is_one(&of(&|x, y| 40 + 60 * (x / 40) + 30 * (y / 30))),
            "a mosaic"
        );
    }
}
