//! What kind of wrong picture it is, when no values explain it.
//!
//! Asked only of regions that disagree, in this order: is the area uniform where ink is due (blank);
//! is it full of noise; are single lines lost; are bands of lines displaced sideways (torn).
//! What shows none of these signs is a readable picture that is wrong.

use super::view::View;

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

/// Levels within which an area counts as uniform, both sides of its median.
const UNIFORM: i32 = 12;
/// Share of pixels that must be uniform.
const UNIFORM_SHARE: f64 = 0.995;
/// Share of the reference that must stand out for a blank area to be a fault.
const INK_SHARE: f64 = 0.004;
/// Neighbourhood contrast of the reference up to which a pixel is flat ground.
const FLAT_CONTRAST: i32 = 6;
/// Difference that counts as noise on flat ground, levels.
const NOISY: i32 = 18;
/// Share of flat pixels that must be noisy.
const NOISY_SHARE: f64 = 0.3;
/// Height up to which a run of bad lines is lost lines, px.
const LOST_RUN: usize = 14;
/// Correlation below which a line has nothing to do with its reference.
const BAD_LINE: f32 = 0.45;
/// Correlation above which a line agrees.
const GOOD_LINE: f32 = 0.85;
/// Standard deviation that a line needs for its correlation to mean anything, levels.
const TEXTURED: f32 = 6.0;
/// Farthest sideways displacement that is looked for, px.
const FARTHEST: i32 = 64;
/// Height of a band, px.
const BAND: usize = 6;

/// Looks at the luma (and colour) of a region; views of captured and reference are the same size.
#[must_use]
pub fn signature(captured: [View; 3], reference: [View; 3], fixed: [View; 3]) -> Signature {
    if is_blank(captured, reference, fixed) {
        Signature::Blank
    } else if is_noisy(captured[0], reference[0]) {
        Signature::Noise
    } else if has_lost_lines(captured[0], reference[0]) {
        Signature::LostLines
    } else if is_torn(captured[0], reference[0]) {
        Signature::Torn
    } else {
        Signature::Readable
    }
}

fn histogram(view: View) -> [u32; 256] {
    let mut counts = [0; 256];
    for y in 0..view.height() {
        for &level in view.row(y) {
            counts[usize::from(level)] += 1;
        }
    }
    counts
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

/// Difference of the ground's level that a blank picture may be told by, levels.
const GROUND: i32 = 5;

fn most_common(view: View) -> i32 {
    let counts = histogram(view);
    (0..)
        .zip(&counts)
        .max_by_key(|(level, c)| (**c, -*level))
        .map_or(0, |(level, _)| level)
}

/// True when the captured area is one colour and either that colour is not the ground of the
/// reference, or artwork that is always due (`fixed`) is gone too. A list whose only line is missing is
/// not blank: it says that there is nothing to say.
#[must_use]
pub fn is_blank(captured: [View; 3], reference: [View; 3], fixed: [View; 3]) -> bool {
    if !is_one_colour(captured, reference) {
        return false;
    }
    let is_same_ground =
        (0..3).all(|k| (most_common(captured[k]) - most_common(reference[k])).abs() < GROUND);
    !is_same_ground || !is_uniform(fixed)
}

/// True when the captured area is one colour, or equal vertical bars (a chain's no-signal picture),
/// and the reference is not.
fn is_one_colour(captured: [View; 3], reference: [View; 3]) -> bool {
    if is_uniform(reference) {
        return false;
    }
    let is_uniform = captured.iter().all(|v| uniform_share(*v) >= UNIFORM_SHARE);
    is_uniform
        || (captured.iter().all(|v| repeats_downwards(*v))
            && !reference.iter().all(|v| repeats_downwards(*v)))
}

/// True when all lines are equal.
fn repeats_downwards(view: View) -> bool {
    let (mut different, mut total) = (0usize, 0usize);
    for y in 1..view.height() {
        for (a, b) in view.row(y).iter().zip(view.row(0)) {
            total += 1;
            different += usize::from((i32::from(*a) - i32::from(*b)).abs() > 2 * UNIFORM);
        }
    }
    total > 0 && (different as f64) < (1.0 - UNIFORM_SHARE) * total as f64
}

fn is_noisy(captured: View, reference: View) -> bool {
    let (mut flat, mut noisy, mut steps, mut sizes) = (0u32, 0u32, 0.0f64, 0.0f64);
    for y in 1..reference.height().saturating_sub(1) {
        let (up, here, down) = (reference.row(y - 1), reference.row(y), reference.row(y + 1));
        let cap = captured.row(y);
        let mut before = None;
        for x in 1..here.len().saturating_sub(1) {
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
            noisy += u32::from(difference.abs() > NOISY);
            if let Some(last) = before {
                steps += f64::from((difference - last as i32).abs());
                sizes += f64::from(difference.abs());
            }
            before = Some(difference);
        }
    }
    // Independent Gaussian noise: E|a - b| / E|a| = sqrt 2; a smooth wrong picture: near 0. A codec
    // smooths noise somewhat.
    flat > 64 && f64::from(noisy) > NOISY_SHARE * f64::from(flat) && steps > 0.4 * sizes
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

fn has_lost_lines(captured: View, reference: View) -> bool {
    #[derive(Clone, Copy, PartialEq)]
    enum Line {
        Good,
        Bad,
        Unknown,
    }
    let lines: Vec<Line> = (0..captured.height())
        .map(|y| match correlation(captured.row(y), reference.row(y)) {
            None => {
                // Where nothing is due, noise or a bright line is a sign as well.
                let strange = captured
                    .row(y)
                    .iter()
                    .zip(reference.row(y))
                    .filter(|(a, b)| a.abs_diff(**b) > 40)
                    .count();
                if 2 * strange > captured.width() {
                    Line::Bad
                } else {
                    Line::Unknown
                }
            }
            Some(r) if r < BAD_LINE => Line::Bad,
            Some(r) if r > GOOD_LINE => Line::Good,
            Some(_) => Line::Unknown,
        })
        .collect();
    let good = lines.iter().filter(|l| **l == Line::Good).count();
    let bad = lines.iter().filter(|l| **l == Line::Bad).count();
    if bad == 0 || good < bad || good < 8 {
        return false;
    }
    // Every run of bad lines is short, and a good line stands close to both of its ends (or it reaches
    // the edge of the area).
    let (mut y, mut clear_runs) = (0, 0);
    while y < lines.len() {
        if lines[y] != Line::Bad {
            y += 1;
            continue;
        }
        let start = y;
        while y < lines.len() && lines[y] == Line::Bad {
            y += 1;
        }
        if y - start > LOST_RUN {
            return false;
        }
        let above = lines[start.saturating_sub(3)..start].contains(&Line::Good) || start < 2;
        let below = lines[y..(y + 3).min(lines.len())].contains(&Line::Good) || y + 2 > lines.len();
        clear_runs += usize::from(above && below);
    }
    clear_runs > 0
}

/// Best sideways displacement of each band that has enough texture: (displacement, correlation).
fn band_shifts(captured: View, reference: View) -> Vec<Option<(i32, f32)>> {
    let width = captured.width() as i32;
    let farthest = FARTHEST.min(width / 3);
    (0..captured.height() / BAND)
        .map(|band| {
            let mut best: Option<(i32, f32)> = None;
            let mut at_zero = 0.0;
            for shift in -farthest..=farthest {
                let (mut sum, mut count) = (0.0f32, 0);
                for y in (band * BAND..(band + 1) * BAND).step_by(2) {
                    let (a0, b0) = (shift.max(0), (-shift).max(0));
                    let length = (width - shift.abs()) as usize;
                    let a = &captured.row(y)[a0 as usize..a0 as usize + length];
                    let b = &reference.row(y)[b0 as usize..b0 as usize + length];
                    if let Some(r) = correlation(a, b) {
                        sum += r;
                        count += 1;
                    }
                }
                if count < 2 {
                    continue;
                }
                let mean = sum / count as f32;
                if shift == 0 {
                    at_zero = mean;
                }
                if best.is_none_or(|(_, r)| mean > r) {
                    best = Some((shift, mean));
                }
            }
            best.filter(|(_, r)| *r > GOOD_LINE).map(|(shift, r)| {
                if at_zero > r - 0.05 {
                    (0, at_zero)
                } else {
                    (shift, r)
                }
            })
        })
        .collect()
}

fn is_torn(captured: View, reference: View) -> bool {
    let bands: Vec<i32> = band_shifts(captured, reference)
        .into_iter()
        .flatten()
        .map(|(s, _)| s)
        .collect();
    let still = bands.iter().filter(|s| s.abs() <= 1).count();
    let moved: Vec<i32> = bands.iter().copied().filter(|s| s.abs() >= 4).collect();
    if moved.len() < 2 || still < 1 {
        return false;
    }
    // The displaced bands agree on how far.
    let mut sorted = moved.clone();
    sorted.sort_unstable();
    let middle = sorted[sorted.len() / 2];
    moved.iter().filter(|s| (**s - middle).abs() <= 2).count() * 2 > moved.len()
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
                let ink = (x * 7 + y * 3) % 41 < 6 || (x > 20 && x < 34 && y > 10 && y < 60);
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
        )
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
    }

    #[test]
    fn noise_is_noise() {
        let mut noisy = scene();
        let mut state = 1u32;
        for level in noisy.levels_mut() {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *level = (i32::from(*level) + (state >> 24) as i32 % 120 - 60).clamp(0, 255) as u8;
        }
        assert_eq!(of(&noisy), Signature::Noise);
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
    fn displaced_bands_are_torn_and_a_moved_picture_is_not() {
        let mut torn = scene();
        for y in 44..80 {
            torn.row_mut(y).rotate_right(14);
        }
        assert_eq!(of(&torn), Signature::Torn);
        let mut moved = scene();
        for y in 0..80 {
            moved.row_mut(y).rotate_right(4);
        }
        assert_eq!(of(&moved), Signature::Readable);
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
