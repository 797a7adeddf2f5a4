//! What kind of wrong picture it is, when no values explain it.
//!
//! Asked only of regions that disagree, in this order: is the area uniform where ink is due (blank);
//! is it full of noise; are single lines lost; are bands of lines displaced sideways (torn).
//! What shows none of these signs is a readable picture that is wrong.

use std::collections::BTreeMap;

use super::blank::is_blank;
use super::strokes;
use super::view::View;
use crate::examine::constants::signature::{
    BAD_LINE, COARSE, COVERED, FLAT_CONTRAST, GOOD_LINE, LEAST_SIGN, LOST_RUN, MODERATE,
    MODERATE_SHARE, MOST_DISPLACEMENTS, MOVED_PX, MOVED_SHARE, NO_SIGN, NOISE_CELL, NOISE_FLAT,
    NOISY_SHARE, ONE_LEVEL, PART_LINES, STILL_PX, TEXTURED, TORN_SHARE,
};
pub use crate::examine::constants::signature::{BAND_PX, FRAME_BAND_PX, PARTED_SHARE};
use crate::picture::Rect;

/// How a picture that no values explain is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signature {
    /// Uniform where the reference has ink.
    Blank,
    /// Noise over the whole area.
    Noise,
    /// Lines that have nothing to do with the reference between lines that agree.
    LostLines,
    /// Bands of lines displaced sideways by different amounts.
    Torn,
    /// None of these: readable and wrong.
    Readable,
}

/// Looks at the luma (and colour) of a region; views of captured and reference are the same size. `noisy` is the
/// difference that counts as noise on flat ground, levels.
#[must_use]
pub fn signature(
    captured: [View; 3],
    reference: [View; 3],
    fixed: [View; 3],
    noisy: i32,
) -> Signature {
    if is_blank(captured, reference, fixed) {
        Signature::Blank
    } else if is_noisy(captured[0], reference[0], noisy) {
        Signature::Noise
    } else if (has_lost_lines(captured[0], reference[0])
        || strokes::has_gaps_in_strokes(captured[0], reference[0]))
        && !is_moved(captured[0], reference[0])
    {
        Signature::LostLines
    } else if is_torn(captured[0], reference[0], &[], BAND_PX) {
        Signature::Torn
    } else {
        Signature::Readable
    }
}

/// True when flat ground is covered with noise, all over: ink in a wrong place leaves most squares of
/// flat ground clean.
fn is_noisy(captured: View, reference: View, least: i32) -> bool {
    let (mut squares, mut covered) = (0u32, 0u32);
    let (mut all_noisy, mut all_moderate) = (0u32, 0u32);
    let (mut steps, mut sizes) = (0.0f64, 0.0f64);
    for top in (1..reference.height().saturating_sub(NOISE_CELL)).step_by(NOISE_CELL) {
        for left in (1..reference.width().saturating_sub(NOISE_CELL)).step_by(NOISE_CELL) {
            let (mut flat, mut noisy) = (0u32, 0u32);
            for y in top..top + NOISE_CELL {
                let (up, here, down) =
                    (reference.row(y - 1), reference.row(y), reference.row(y + 1));
                let cap = captured.row(y);
                let mut before: Option<i32> = None;
                for x in left..left + NOISE_CELL {
                    let level = i32::from(here[x]);
                    let contrast = [up[x], down[x], here[x - 1], here[x + 1]]
                        .iter()
                        .map(|&v| (i32::from(v) - level).abs())
                        .max()
                        .unwrap_or(0);
                    if contrast > FLAT_CONTRAST {
                        before = None;
                        continue;
                    }
                    let difference = i32::from(cap[x]) - level;
                    flat += 1;
                    noisy += u32::from(difference.abs() > least);
                    all_moderate += u32::from((least + 1..=MODERATE).contains(&difference.abs()));
                    if let Some(last) = before {
                        steps += f64::from((difference - last).abs());
                        sizes += f64::from(difference.abs());
                    }
                    before = Some(difference);
                }
            }
            all_noisy += noisy;
            if flat >= NOISE_FLAT {
                squares += 1;
                covered += u32::from(f64::from(noisy) > NOISY_SHARE * f64::from(flat));
            }
        }
    }
    // Independent Gaussian noise: E|a - b| / E|a| = sqrt 2; a smooth wrong picture: near 0. A codec
    // smooths noise somewhat. Ink in a wrong place is off by its whole contrast.
    f64::from(all_moderate) > MODERATE_SHARE * f64::from(all_noisy)
        && squares >= 4
        && f64::from(covered) > COVERED * f64::from(squares)
        && steps > 0.4 * sizes
}

/// Correlation of two lines; `None` when the reference is flat. A flat captured line gives 0.
fn correlation(a: &[u8], b: &[u8]) -> Option<f32> {
    let n = b.len().min(a.len()) as f32;
    if n < 8.0 {
        return None;
    }
    let (mut sa, mut sb, mut saa, mut sbb, mut sab) = (0u32, 0u32, 0u64, 0u64, 0u64);
    for (&p, &q) in a.iter().zip(b) {
        let (p, q) = (u32::from(p), u32::from(q));
        sa += p;
        sb += q;
        saa += u64::from(p * p);
        sbb += u64::from(q * q);
        sab += u64::from(p * q);
    }
    let (ma, mb) = (sa as f32 / n, sb as f32 / n);
    let va = (saa as f32 / n - ma * ma).max(0.0);
    let vb = (sbb as f32 / n - mb * mb).max(0.0);
    if vb < TEXTURED * TEXTURED {
        return None;
    }
    if va < 1.0 {
        return Some(0.0);
    }
    Some((sab as f32 / n - ma * mb) / (va * vb).sqrt())
}

/// What a captured line has to do with its reference.
#[derive(Clone, Copy, PartialEq)]
enum Line {
    /// It agrees.
    Good,
    /// Nothing is due, and nothing is shown.
    Empty,
    /// It has nothing to do with it: one level.
    Lost,
    /// The same, and it is noise.
    Noise,
    /// It shows something else.
    Other,
    /// Too little ink to say, or in between.
    Unknown,
}

/// A line that is lost loses every stretch of ink that is due in it; a symbol that is missing leaves those of the others, and a
/// thing that should not be there leaves all.
fn all_ink_is_gone(captured: &[u8], reference: &[u8]) -> bool {
    let pixels: Vec<(bool, bool)> = ink(reference).zip(ink(captured)).collect();
    let mut stretches = pixels
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|stretch| stretch[0].0)
        .peekable();
    stretches.peek().is_some() && stretches.all(|s| 2 * s.iter().filter(|p| p.1).count() < s.len())
}

/// Ink of a line, by pixel: what is not the level that most of it has.
fn ink(line: &[u8]) -> impl Iterator<Item = bool> {
    let sorted = sorted(line);
    let ground = sorted[sorted.len() / 2];
    line.iter().map(move |v| v.abs_diff(ground) > ONE_LEVEL)
}

/// Whether most of the ink that is due on line `lost` goes on, and is there, on line `kept` beside it.
fn goes_on(captured: View, reference: View, lost: usize, kept: usize) -> bool {
    let is_there = ink(reference.row(kept)).zip(ink(captured.row(kept)));
    let due = ink(reference.row(lost)).zip(is_there);
    let (all, going_on) = due
        .filter(|(due, _)| *due)
        .fold((0, 0), |(all, on), (_, there)| {
            (all + 1, on + usize::from(there == (true, true)))
        });
    2 * going_on > all
}

fn sorted(line: &[u8]) -> Vec<u8> {
    let mut sorted = line.to_vec();
    sorted.sort_unstable();
    sorted
}

fn is_one_level(line: &[u8]) -> bool {
    let sorted = sorted(line);
    let cut = sorted.len() / 50;
    sorted[sorted.len() - 1 - cut] - sorted[cut] <= ONE_LEVEL
}

/// Noise changes from pixel to pixel as much as it departs from its mean; ink does not.
fn is_noise(line: &[u8]) -> bool {
    let n = line.len() as f64;
    let mean = line.iter().map(|v| f64::from(*v)).sum::<f64>() / n;
    let away = line
        .iter()
        .map(|v| (f64::from(*v) - mean).abs())
        .sum::<f64>();
    let steps = line
        .windows(2)
        .map(|w| f64::from(w[0].abs_diff(w[1])))
        .sum::<f64>();
    away > 10.0 * n && steps > 0.7 * away
}

fn line_kind(captured: &[u8], reference: &[u8]) -> Line {
    match correlation(captured, reference) {
        // Where nothing is due, a line that is not the ground is a sign as well.
        None => {
            let strange = captured
                .iter()
                .zip(reference)
                .filter(|(a, b)| a.abs_diff(**b) > 30)
                .count();
            if 2 * strange > captured.len() {
                if is_noise(captured) {
                    Line::Noise
                } else {
                    Line::Lost
                }
            } else if 50 * strange <= captured.len() {
                Line::Empty
            } else {
                Line::Unknown
            }
        }
        Some(r) if r > GOOD_LINE => Line::Good,
        Some(r) if r < BAD_LINE => {
            if is_noise(captured) {
                Line::Noise
            } else if is_one_level(captured) && all_ink_is_gone(captured, reference) {
                Line::Lost
            } else {
                Line::Other
            }
        }
        Some(_) => Line::Unknown,
    }
}

/// True when lines are lost between lines that agree.
#[must_use]
pub fn has_lost_lines(captured: View, reference: View) -> bool {
    let lines: Vec<Line> = (0..captured.height())
        .map(|y| line_kind(captured.row(y), reference.row(y)))
        .collect();
    let count = |kind: Line| lines.iter().filter(|l| **l == kind).count();
    let (dark, noise, other) = (count(Line::Lost), count(Line::Noise), count(Line::Other));
    let lost = dark + noise;
    // A level across empty ground may be a thing that should not be there; noise is no thing.
    let is_fine = |l: &Line| *l == Line::Good || (dark == 0 && *l == Line::Empty);
    let fine = lines.iter().filter(|l| is_fine(l)).count();
    // What is displaced or replaced shows ink in other places: lost lines show none.
    if lost == 0 || fine < lost || fine < 8 || 4 * other > lost {
        return false;
    }
    // Every run of lost lines is short, and a good line stands close to both of its ends (or it reaches
    // the edge of the area).
    let is_lost = |l: &Line| matches!(l, Line::Lost | Line::Noise);
    // Lost lines cut strokes, which go on above and below. A thing that is missing ends where its ink ends.
    let is_cut = |lost: usize, kept: usize| {
        lines[lost] == Line::Noise || goes_on(captured, reference, lost, kept)
    };
    let (mut y, mut clear_runs, mut cuts) = (0, 0, false);
    while y < lines.len() {
        if !is_lost(&lines[y]) {
            y += 1;
            continue;
        }
        let start = y;
        while y < lines.len() && is_lost(&lines[y]) {
            y += 1;
        }
        if y - start > LOST_RUN {
            return false;
        }
        let above = lines[start.saturating_sub(4)..start].iter().any(is_fine) || start < 2;
        let below = lines[y..(y + 4).min(lines.len())].iter().any(is_fine) || y + 2 > lines.len();
        clear_runs += usize::from(above && below);
        let is_cut_above = start == 0 || is_cut(start, start - 1);
        cuts |= is_cut_above && (y == lines.len() || is_cut(y - 1, y));
    }
    clear_runs > 0 && cuts
}

/// Mean of a band's lines, by column, in steps of `columns`, less the mean of all.
fn profile(view: View, band: usize, band_px: usize, columns: usize) -> Vec<f32> {
    let mut by_column = vec![0u32; view.width()];
    for y in band * band_px..(band + 1) * band_px {
        for (sum, level) in by_column.iter_mut().zip(view.row(y)) {
            *sum += u32::from(*level);
        }
    }
    let together = by_column.chunks_exact(columns);
    let sums: Vec<u32> = together.map(|some| some.iter().sum()).collect();
    let count = (band_px * columns) as f32;
    let mean = sums.iter().sum::<u32>() as f32 / (count * sums.len().max(1) as f32);
    sums.into_iter().map(|s| s as f32 / count - mean).collect()
}

/// Columns of a profile that are taken at once.
const LANES: usize = 8;

/// Correlation of two profiles where `a` is displaced by `shift` columns to the right; `None` without
/// texture.
fn profile_correlation(a: &[f32], b: &[f32], shift: i32) -> Option<f32> {
    let length = a.len().checked_sub(shift.unsigned_abs() as usize)?;
    let a = &a[shift.max(0) as usize..][..length];
    let b = &b[(-shift).max(0) as usize..][..length];
    // Profiles have a mean of about zero, so that little is lost when the parts' means go out afterwards.
    let mut sums = [[0.0f32; LANES]; 5];
    let (eights, rest) = a.as_chunks::<LANES>();
    let (other_eights, other_rest) = b.as_chunks::<LANES>();
    let mut add = |k: usize, p: f32, q: f32| {
        for (sum, v) in sums.iter_mut().zip([p, q, p * p, q * q, p * q]) {
            sum[k] += v;
        }
    };
    for (p, q) in eights.iter().zip(other_eights) {
        for k in 0..LANES {
            add(k, p[k], q[k]);
        }
    }
    for (k, (p, q)) in rest.iter().zip(other_rest).enumerate() {
        add(k, *p, *q);
    }
    let [sa, sb, saa, sbb, sab] = sums.map(|lanes| lanes.iter().sum::<f32>());
    let n = length as f32;
    let (va, vb, ab) = (saa - sa * sa / n, sbb - sb * sb / n, sab - sa * sb / n);
    let textured = TEXTURED * TEXTURED * n / 4.0;
    (va > textured && vb > textured).then(|| ab / (va * vb).sqrt())
}

/// Displacement sideways, px, at which the profiles of a band are most alike; `None` without texture.
fn displacement(captured: View, reference: View, band: usize, band_px: usize) -> Option<i32> {
    let coarse = |v: View| profile(v, band, band_px, COARSE);
    let (a, b) = (coarse(captured), coarse(reference));
    let farthest = (a.len() / 2) as i32;
    let mut best = (f32::MIN, 0);
    for shift in -farthest..=farthest {
        if let Some(r) = profile_correlation(&a, &b, shift)
            && r > best.0
        {
            best = (r, shift);
        }
    }
    let fine = |v: View| profile(v, band, band_px, 1);
    let (a, b) = (fine(captured), fine(reference));
    let around = best.1 * COARSE as i32;
    let mut best = (profile_correlation(&a, &b, 0)?, 0);
    for shift in around - COARSE as i32..=around + COARSE as i32 {
        if let Some(r) = profile_correlation(&a, &b, shift)
            && r > best.0
        {
            best = (r, shift);
        }
    }
    Some(best.1)
}

/// True when the picture is parted into one that stands where it is due, and one that stands aside. What is shown
/// in `unknown` says nothing.
#[must_use]
pub fn is_torn(captured: View, reference: View, unknown: &[Rect], band_px: usize) -> bool {
    let bands: Vec<Option<i32>> = (0..captured.height() / band_px)
        .map(|band| displacement(captured, reference, band, band_px))
        .collect();
    let mut votes: BTreeMap<i32, usize> = BTreeMap::new();
    for shift in bands.iter().flatten().filter(|s| s.abs() > STILL_PX) {
        *votes.entry(*shift).or_default() += 1;
    }
    let mut shifts: Vec<(i32, usize)> = votes.into_iter().collect();
    shifts.sort_by_key(|(_, votes)| std::cmp::Reverse(*votes));
    shifts.truncate(MOST_DISPLACEMENTS);
    if shifts.is_empty() {
        return false;
    }
    shifts.iter().any(|(shift, _)| {
        let common = Columns::in_common(captured.width(), *shift);
        let aside = left_in(captured, reference, common, unknown);
        // Both are asked about the same pixels: what a displacement takes out of sight it does not explain.
        let in_place = left_in(captured, reference, common.in_place(), unknown);
        let Some((parting, share)) = parting(&in_place, &aside) else {
            return false;
        };
        let at = parting.line.div_ceil(band_px).min(bands.len());
        let part = if parting.is_other_below {
            &bands[at..]
        } else {
            &bands[..at]
        };
        let known = part.iter().flatten();
        let votes = known.clone().filter(|s| (**s - shift).abs() <= STILL_PX);
        share < PARTED_SHARE || (share < TORN_SHARE && 2 * votes.count() > known.count())
    })
}

/// True when the picture as a whole stands somewhat higher, lower or aside: edges of what is moved leave lines of
/// the reference without ink as well.
fn is_moved(captured: View, reference: View) -> bool {
    let (width, height) = (captured.width() as i32, captured.height() as i32);
    let left = |dx: i32, dy: i32| {
        let lines = height - dy.abs();
        let a = captured.crop(Rect::new(0, dy.max(0), width, lines));
        let b = reference.crop(Rect::new(0, (-dy).max(0), width, lines));
        let sum: u64 = left_by_line(a, b, dx, &[]).iter().sum();
        sum as f64 * f64::from(height) / f64::from(lines.max(1))
    };
    let limit = MOVED_SHARE * left(0, 0);
    let aside = (1..=MOVED_PX.min(width / 2)).flat_map(|by| [(by, 0), (-by, 0)]);
    let up_and_down = (1..=MOVED_PX.min(height / 2)).flat_map(|by| [(0, by), (0, -by)]);
    aside
        .chain(up_and_down)
        .any(|(dx, dy)| left(dx, dy) < limit)
}

/// Where a picture is parted in two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parting {
    /// First line of the lower part, relative to the view.
    pub line: usize,
    /// True when the lower part is the other one: the older, or the displaced.
    pub is_other_below: bool,
}

/// By line, what a reference that is displaced by `shift` px to the right leaves of the captured picture. Of what
/// either shows in `unknown` nothing is left.
#[must_use]
pub fn left_by_line(captured: View, reference: View, shift: i32, unknown: &[Rect]) -> Vec<u64> {
    let common = Columns::in_common(captured.width(), shift);
    left_in(captured, reference, common, unknown)
}

/// Columns of two pictures that are held against each other.
#[derive(Clone, Copy)]
struct Columns {
    /// The first of the captured picture, and of the reference.
    from: usize,
    to: usize,
    length: usize,
}

impl Columns {
    /// Those that both have where the reference is displaced by `shift` px to the right.
    fn in_common(width: usize, shift: i32) -> Self {
        let by = (shift.unsigned_abs() as usize).min(width);
        let (from, to) = if shift > 0 { (by, 0) } else { (0, by) };
        Self {
            from,
            to,
            length: width - by,
        }
    }

    /// The same of the captured picture, and what is due there.
    const fn in_place(self) -> Self {
        Self {
            to: self.from,
            ..self
        }
    }
}

fn left_in(captured: View, reference: View, columns: Columns, unknown: &[Rect]) -> Vec<u64> {
    let Columns { from, to, length } = columns;
    let width = captured.width();
    let mut differences = vec![0u8; length];
    (0..captured.height())
        .map(|y| {
            let a = &captured.row(y)[from..][..length];
            let b = &reference.row(y)[to..][..length];
            for (d, (a, b)) in differences.iter_mut().zip(a.iter().zip(b)) {
                *d = a.abs_diff(*b);
            }
            let line = unknown
                .iter()
                .filter(|r| (r.y..r.bottom()).contains(&(y as i32)));
            for (rect, first) in line.flat_map(|r| [(r, from), (r, to)]) {
                let at = |x: i32| (x - first as i32).clamp(0, length as i32) as usize;
                differences[at(rect.x)..at(rect.right())].fill(0);
            }
            let square = |d: &u8| {
                let d = u16::from(if *d > NO_SIGN { *d } else { 0 });
                u32::from(d * d)
            };
            let left: u32 = differences.iter().map(square).sum();
            // What reaches over the edge is taken to be like the rest.
            u64::from(left) * width as u64 / length.max(1) as u64
        })
        .collect()
}

/// The line that parts the picture into the one that is due and another (of an older moment, or displaced), given
/// what either leaves by line; and the share of what the better of the two leaves that is left then. `None` when
/// neither has a part.
#[must_use]
pub fn parting(due: &[u64], other: &[u64]) -> Option<(Parting, f64)> {
    let (all_due, all_other) = (due.iter().sum::<u64>(), other.iter().sum::<u64>());
    let (mut due_above, mut other_above) = (0, 0);
    let mut best: Option<(u64, Parting)> = None;
    for line in 0..due.len() {
        if line >= PART_LINES && line + PART_LINES <= due.len() {
            let (due_below, other_below) = (all_due - due_above, all_other - other_above);
            for (left, is_other_below, signs) in [
                (due_above + other_below, true, due_below.min(other_above)),
                (other_above + due_below, false, due_above.min(other_below)),
            ] {
                let is_less = best.is_none_or(|(least, _)| left < least);
                if is_less && signs >= LEAST_SIGN {
                    let parting = Parting {
                        line,
                        is_other_below,
                    };
                    best = Some((left, parting));
                }
            }
        }
        due_above += due[line];
        other_above += other[line];
    }
    let (left, parting) = best?;
    // Each part has signs, so neither sum is nothing.
    Some((parting, left as f64 / all_due.min(all_other) as f64))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Plane;

    fn scene() -> Plane {
        let mut plane = Plane::filled(96, 80, 20);
        for y in 0..80 {
            for x in 0..96 {
                // Boxes of several sizes and a slanted line: texture on every line.
                let ink = (x * 7 + y * 3) % 41 < 6 || (x > 20 && x < 34 && y > 10 && y < 76);
                if ink {
                    plane.row_mut(y)[x] = 200;
                }
            }
        }
        plane
    }

    fn of(captured: &Plane) -> Signature {
        let (reference, colour) = (scene(), Plane::filled(48, 40, 128));
        let neutral = View::whole(&colour);
        signature(
            [View::whole(captured), neutral, neutral],
            [View::whole(&reference), neutral, neutral],
            [View::whole(&reference), neutral, neutral],
            NOISY,
        )
    }

    const NOISY: i32 = 8;

    #[test]
    fn noise_across_an_empty_area_is_lost_lines_and_a_rule_is_not() {
        let empty = Plane::filled(96, 80, 20);
        let with = |level: &dyn Fn(usize) -> u8| {
            let mut plane = empty.clone();
            for y in [12, 13, 40, 66] {
                let line = plane.row_mut(y).iter_mut().enumerate();
                line.for_each(|(x, v)| *v = level(x + y));
            }
            plane
        };
        let noise = with(&|k| (k * k * 7919 % 251) as u8);
        let rule = with(&|_| 200);
        let b = View::whole(&empty);
        assert!(has_lost_lines(View::whole(&noise), b));
        assert!(!has_lost_lines(View::whole(&rule), b));
    }

    /// Before (6b86558) a small bright thing on faint boxes, and a symbol missing beside another, were lost lines.
    #[test]
    fn lines_that_keep_some_of_their_ink_are_not_lost() {
        let mut reference = Plane::filled(800, 60, 20);
        for y in 0..60 {
            reference.row_mut(y)[40..360].fill(34);
            // Texture above and below.
            if !(28..44).contains(&y) {
                (0..800)
                    .step_by(9)
                    .for_each(|x| reference.row_mut(y)[x] = 200);
            }
        }
        let mut thing = reference.clone();
        (30..42).for_each(|y| thing.row_mut(y)[500..512].fill(160));
        let lost = |a: &Plane, b: &Plane| has_lost_lines(View::whole(a), View::whole(b));
        assert!(!lost(&thing, &reference));
        let mut lines = reference.clone();
        (10..13).for_each(|y| lines.row_mut(y).fill(20));
        assert!(lost(&lines, &reference));
        let mut symbols = reference.clone();
        (30..42).for_each(|y| symbols.row_mut(y)[[500, 600, 601, 700][y % 4]..][..10].fill(220));
        (30..42).for_each(|y| symbols.row_mut(y)[100..104].fill(220));
        let mut missing = symbols.clone();
        (30..42).for_each(|y| missing.row_mut(y)[480..].fill(20));
        assert!(!lost(&missing, &symbols));
    }

    /// Before (639a65b) a symbol alone on its lines, drawn in the colour of the ground, was lost lines.
    #[test]
    fn a_thing_that_is_missing_ends_where_its_ink_ends() {
        let mut reference = Plane::filled(200, 60, 20);
        for y in 0..60 {
            let line = reference.row_mut(y);
            match y {
                0..24 | 38..60 => (0..200).step_by(9).for_each(|x| line[x..x + 2].fill(200)),
                26..36 => [40, 52, 64, 90]
                    .iter()
                    .for_each(|x| line[*x..x + 4].fill(220)),
                _ => {}
            }
        }
        let with = |lost: std::ops::Range<usize>| {
            let mut captured = reference.clone();
            lost.for_each(|y| captured.row_mut(y).fill(20));
            has_lost_lines(View::whole(&captured), View::whole(&reference))
        };
        assert!(!with(26..36), "the symbol is missing");
        assert!(with(28..30), "its strokes are cut");
        assert!(with(10..13), "those of others are");
    }

    /// Before (6b86558) a bright thing on lines with little ink was explained by a displacement that took it out of sight.
    #[test]
    fn a_displacement_explains_what_it_leaves_in_sight() {
        let mut reference = Plane::filled(788, 40, 20);
        for y in 0..40 {
            reference.row_mut(y)[4..120].fill(30);
            reference.row_mut(y)[400..560].fill(30);
            if (8..24).contains(&y) {
                for x in (20..90).chain(420..530).step_by(7) {
                    reference.row_mut(y)[x..x + 3].fill(180);
                }
            }
        }
        let mut thing = reference.clone();
        (24..36).for_each(|y| thing.row_mut(y)[191..203].fill(110));
        let [a, b] = [&thing, &reference].map(View::whole);
        assert!(!is_torn(a, b, &[], BAND_PX));
        let mut torn = reference.clone();
        (16..40).for_each(|y| torn.row_mut(y).rotate_right(60));
        assert!(is_torn(View::whole(&torn), b, &[], BAND_PX));
    }

    #[test]
    fn a_word_that_is_left_makes_it_no_blank() {
        let mut reference = scene();
        (0..8).for_each(|y| reference.row_mut(y).fill(20));
        reference.row_mut(4)[40..56].fill(220);
        let mut captured = Plane::filled(96, 80, 20);
        let colour = Plane::filled(48, 40, 128);
        let with = |captured: &Plane| {
            let neutral = View::whole(&colour);
            let (a, b) = (View::whole(captured), View::whole(&reference));
            is_blank(
                [a, neutral, neutral],
                [b, neutral, neutral],
                [b, neutral, neutral],
            )
        };
        assert!(with(&captured));
        captured.row_mut(4)[40..56].fill(220);
        assert!(!with(&captured));
        // Ink where none is due is a rest of nothing.
        let mut other = Plane::filled(96, 80, 20);
        other.row_mut(2)[40..56].fill(220);
        assert!(with(&other));
    }

    #[test]
    fn one_level_is_blank_and_so_are_vertical_bars() {
        assert_eq!(of(&Plane::filled(96, 80, 235)), Signature::Blank);
        let mut bars = Plane::filled(96, 80, 0);
        for y in 0..80 {
            for x in 0..96 {
                bars.row_mut(y)[x] = (x / 12 * 30) as u8;
            }
        }
        assert_eq!(of(&bars), Signature::Blank);
        // 23369af took a slope for bars.
        for y in 0..80 {
            for x in 0..96 {
                bars.row_mut(y)[x] = 2 * x as u8;
            }
        }
        assert_ne!(of(&bars), Signature::Blank);
    }

    #[test]
    fn noise_is_noise() {
        for reach in [14, 60] {
            let mut noisy = scene();
            let mut state = 1u32;
            for level in noisy.levels_mut() {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = (state >> 24) as i32 % (2 * reach) - reach;
                *level = (i32::from(*level) + noise).clamp(0, 255) as u8;
            }
            assert_eq!(of(&noisy), Signature::Noise, "{reach} levels");
        }
    }

    #[test]
    fn black_lines_are_lost_lines() {
        let mut lost = scene();
        for y in [12, 13, 14, 40, 41, 66] {
            lost.row_mut(y).fill(0);
        }
        assert_eq!(of(&lost), Signature::LostLines);
    }

    #[test]
    fn a_picture_that_stands_lower_has_not_lost_its_lines() {
        // A frame with a scale beside it: where the frame's lines were, there is ground now.
        let framed = |top: usize| {
            let mut plane = Plane::filled(96, 80, 20);
            for y in 0..80 {
                plane.row_mut(y)[84..90].fill(180);
            }
            for y in [top, top + 1, top + 2, top + 30, top + 31, top + 32] {
                plane.row_mut(y)[4..40].fill(220);
            }
            plane
        };
        let (due, lower) = (framed(20), framed(24));
        let (a, b) = (View::whole(&lower), View::whole(&due));
        assert!(has_lost_lines(a, b) || strokes::has_gaps_in_strokes(a, b));
        assert!(is_moved(a, b));
        let mut lost = due.clone();
        (20..23).for_each(|y| lost.row_mut(y).fill(20));
        assert!(!is_moved(View::whole(&lost), b));
    }

    #[test]
    fn the_smallest_areas_have_some_signature() {
        for (width, height) in [(1, 1), (2, 2), (3, 9), (5, 3), (9, 14)] {
            let of = |f: usize| {
                let levels = (0..width * height).map(|k| (k * f % 251) as u8).collect();
                Plane::from_levels(width, height, levels)
            };
            let (a, b) = (of(97), of(61));
            let views = |p| [View::whole(p); 3];
            let found = signature(views(&a), views(&b), views(&b), NOISY);
            assert_ne!(found, Signature::Torn, "{width} x {height}");
        }
    }

    #[test]
    fn displaced_bands_are_torn_and_a_moved_picture_is_not() {
        let mut torn = scene();
        for y in 44..80 {
            torn.row_mut(y).rotate_right(14);
        }
        assert_eq!(of(&torn), Signature::Torn);
        // The part that stands aside may be of another moment as well: a box of it has moved.
        for y in 50..76 {
            torn.row_mut(y)[34..48].fill(20);
            torn.row_mut(y)[40..54].fill(200);
        }
        assert_eq!(of(&torn), Signature::Torn);
        let mut moved = scene();
        for y in 0..80 {
            moved.row_mut(y).rotate_right(4);
        }
        assert_eq!(of(&moved), Signature::Readable);
    }

    #[test]
    fn a_picture_of_two_moments_is_parted_between_them() {
        let due = scene();
        let mut older = scene();
        for y in 0..80 {
            older.row_mut(y).rotate_right(3);
        }
        let mut parted = due.clone();
        for y in 31..80 {
            parted.row_mut(y).copy_from_slice(older.row(y));
        }
        let left =
            |reference: &Plane| left_by_line(View::whole(&parted), View::whole(reference), 0, &[]);
        let expected = Parting {
            line: 31,
            is_other_below: true,
        };
        assert_eq!(parting(&left(&due), &left(&older)), Some((expected, 0.0)));
        let other = Plane::filled(96, 80, 90);
        let share = parting(&left(&due), &left(&other)).map(|(_, share)| share);
        assert!(share.is_none_or(|s| s >= PARTED_SHARE), "{share:?}");
    }

    #[test]
    fn an_erased_part_is_readable() {
        let mut erased = scene();
        for y in 10..60 {
            erased.row_mut(y)[20..35].fill(20);
        }
        assert_eq!(of(&erased), Signature::Readable);
    }
}
