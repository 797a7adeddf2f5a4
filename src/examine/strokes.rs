//! Lines of pixels that are lost.
//!
//! Along upright strokes a displacement up or down changes nothing, and a line whose strokes are gone nearly everywhere,
//! between neighbours that have them, is lost. A line without upright strokes tells nothing.

use super::agreement::{CELL, for_each_run};
use super::view::View;
pub(super) use crate::examine::constants::strokes::LOST_PX;
use crate::examine::constants::strokes::{
    GONE, LOST_SHARE, LOST_TOGETHER, PARTLY_GONE, STROKE, UPRIGHT,
};
use crate::picture::Rect;

/// Pixels of upright strokes on line `y` of the reference, and how many of them are off by more than
/// `share` of their contrast with the line's ground. With `lost_only` a line that cannot be lost gives zeros.
fn strokes_gone(
    captured: View,
    reference: View,
    y: usize,
    (share, lost_only): (f32, bool),
    hot: &[bool],
    unchecked: &[Rect],
) -> (u32, u32) {
    let (above, here, below) = (reference.row(y - 1), reference.row(y), reference.row(y + 1));
    let cap = captured.row(y);
    if lost_only {
        // What may be gone at most: cheap, and few lines get further.
        let least = (share * f32::from(STROKE)) as u8;
        let mut most = 0;
        for_each_run(hot, |c0, c1| {
            let x = c0 * CELL..(c1 * CELL).min(here.len());
            let around = above[x.clone()].iter().zip(&below[x.clone()]);
            for ((level, seen), (up, down)) in here[x.clone()].iter().zip(&cap[x]).zip(around) {
                let leans = level.abs_diff(*up).max(level.abs_diff(*down));
                most += u32::from((leans <= UPRIGHT) & (level.abs_diff(*seen) > least));
            }
        });
        if most < LOST_PX {
            return (0, 0);
        }
    }
    let ground = most_common(here);
    let (mut strokes, mut gone) = (0u32, 0u32);
    for (c, _) in hot.iter().enumerate().filter(|(_, hot)| **hot) {
        for x in c * CELL..((c + 1) * CELL).min(here.len()) {
            let level = here[x];
            let contrast = level.abs_diff(ground);
            let leans = level.abs_diff(above[x]).max(level.abs_diff(below[x]));
            if contrast < STROKE
                || leans > UPRIGHT
                || unchecked.iter().any(|u| u.contains(x as i32, y as i32))
            {
                continue;
            }
            strokes += 1;
            gone += u32::from(f32::from(level.abs_diff(cap[x])) > share * f32::from(contrast));
        }
    }
    (strokes, gone)
}

fn most_common(line: &[u8]) -> u8 {
    // Neighbours are mostly equal: by turns they are counted in tables of their own, so that none waits
    // for the one before.
    let mut counts = [[0u32; 256]; 4];
    let (fours, rest) = line.as_chunks::<4>();
    for four in fours {
        for (table, level) in counts.iter_mut().zip(four) {
            table[usize::from(*level)] += 1;
        }
    }
    for level in rest {
        counts[0][usize::from(*level)] += 1;
    }
    let sums: [u32; 256] = std::array::from_fn(|k| counts.iter().map(|t| t[k]).sum());
    let most = sums.iter().copied().fold(0, u32::max);
    sums.iter().rposition(|c| *c == most).map_or(0, |k| k as u8)
}

/// Pixels that are gone from line `y`, where it is lost; asked in the cells that are `hot` alone.
pub(super) fn lost_px(
    captured: View,
    reference: View,
    y: usize,
    hot: &[bool],
    unchecked: &[Rect],
) -> Option<u32> {
    let (strokes, gone) = strokes_gone(captured, reference, y, (GONE, true), hot, unchecked);
    is_lost(strokes, gone).then_some(gone)
}

fn is_lost(strokes: u32, gone: u32) -> bool {
    gone >= LOST_PX && gone as f32 > LOST_SHARE * strokes as f32
}

/// True when strokes are gone on single lines and there on the lines above and below, and most of all that is gone is gone on such
/// lines: of a thing that is missing, or of other words, there is some on every line.
#[must_use]
pub fn has_gaps_in_strokes(captured: View, reference: View) -> bool {
    let all = vec![true; captured.width().div_ceil(CELL)];
    let lines: Vec<(u32, u32)> = (1..captured.height().saturating_sub(1))
        .map(|y| strokes_gone(captured, reference, y, (PARTLY_GONE, false), &all, &[]))
        .collect();
    let is_there = |&(strokes, gone): &(u32, u32)| strokes >= LOST_PX && 3 * gone < strokes;
    let all_gone: u32 = lines.iter().map(|(_, gone)| gone).sum();
    let (mut y, mut gaps, mut lost) = (0, 0, 0);
    while y < lines.len() {
        let begin = y;
        while y < lines.len() && is_lost(lines[y].0, lines[y].1) {
            y += 1;
        }
        if y == begin {
            y += 1;
            continue;
        }
        if y - begin > LOST_TOGETHER {
            return false;
        }
        let before = begin > 0 && is_there(&lines[begin - 1]);
        let after = lines.get(y).is_some_and(is_there);
        gaps += usize::from(before && after);
        lost += lines[begin..y].iter().map(|(_, gone)| gone).sum::<u32>();
    }
    gaps > 0 && 2 * lost > all_gone
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::picture::Plane;

    /// Eight upright strokes, two pixels wide.
    pub fn strokes() -> Plane {
        let mut plane = Plane::filled(64, 32, 20);
        for y in 4..28 {
            for k in 0..8 {
                plane.row_mut(y)[8 * k + 3..8 * k + 5].fill(200);
            }
        }
        plane
    }

    /// The same half a pixel to the right.
    pub fn strokes_half_aside() -> Plane {
        let mut aside = strokes();
        for y in 4..28 {
            for k in 0..8 {
                let row = aside.row_mut(y);
                row[8 * k + 3] = 110;
                row[8 * k + 5] = 110;
            }
        }
        aside
    }

    fn has_gaps(captured: &Plane) -> bool {
        has_gaps_in_strokes(View::whole(captured), View::whole(&strokes()))
    }

    #[test]
    fn a_line_that_is_lost_is_a_gap_and_a_thing_that_is_gone_is_none() {
        let mut lost = strokes();
        lost.row_mut(15).fill(20);
        assert!(has_gaps(&lost));
        let mut gone = strokes();
        (10..20).for_each(|y| gone.row_mut(y).fill(20));
        assert!(!has_gaps(&gone));
        // Of words that are missing much is gone on some lines, and something on all.
        let mut words = strokes();
        (10..20).for_each(|y| words.row_mut(y)[..16].fill(20));
        words.row_mut(15)[..40].fill(20);
        assert!(!has_gaps(&words));
    }
}
