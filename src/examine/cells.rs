//! Digits and words, cell by cell.
//!
//! A cell is the box of one character. It is held against the reference by normalised correlation,
//! which takes out brightness and contrast. Most cells pass at once: when the correlation is so
//! high that the angle between the two pictures is below half of that between any two characters,
//! no other character can be nearer. The rest are matched with every character that could stand
//! there, each over shifts of a pixel, and the runner-up's distance is the confidence.
//!
//! Assumes that the picture is registered to about half a pixel; below 9 px of cap height at crf 23
//! characters cannot be told apart reliably.

use super::view::View;
use crate::picture::Rect;

/// Correlation above which no other character can be nearer. The most alike pair of digits at
/// 9 px correlates at 0.90 (0 and 8); half the angle between them has a cosine of 0.975.
pub const CERTAIN: f32 = 0.975;
/// How much better another character must match before the cell counts as wrong.
pub const MARGIN: f32 = 0.04;
/// Match that another character must reach.
pub const LEAST_MATCH: f32 = 0.72;

/// Normalised correlation of `rect` of `captured`, displaced by (`dx`, `dy`), with `rect` of
/// `reference`; 0 when either is flat. Parts outside the views are left out.
#[must_use]
pub fn correlation(captured: View, reference: View, rect: Rect, dx: i32, dy: i32) -> f32 {
    let whole = Rect::new(0, 0, reference.width() as i32, reference.height() as i32);
    let moved = Rect {
        x: whole.x - dx,
        y: whole.y - dy,
        ..whole
    };
    let r = rect.intersection(&whole).intersection(&moved);
    if r.is_empty() {
        return 0.0;
    }
    let n = r.area() as f32;
    let (mut sa, mut sb, mut saa, mut sbb, mut sab) = (0u32, 0u32, 0u32, 0u32, 0u32);
    for y in r.y..r.bottom() {
        let a = &captured.row((y + dy) as usize)[(r.x + dx) as usize..(r.right() + dx) as usize];
        let b = &reference.row(y as usize)[r.x as usize..r.right() as usize];
        for (&p, &q) in a.iter().zip(b) {
            let (p, q) = (u32::from(p), u32::from(q));
            sa += p;
            sb += q;
            saa += p * p;
            sbb += q * q;
            sab += p * q;
        }
    }
    let (ma, mb) = (sa as f32 / n, sb as f32 / n);
    let va = (saa as f32 / n - ma * ma).max(0.0);
    let vb = (sbb as f32 / n - mb * mb).max(0.0);
    if va < 9.0 || vb < 9.0 {
        return 0.0;
    }
    (sab as f32 / n - ma * mb) / (va * vb).sqrt()
}

/// Best correlation over shifts of up to `reach` px.
#[must_use]
pub fn best_correlation(captured: View, reference: View, rect: Rect, reach: i32) -> f32 {
    let mut best = -1.0f32;
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            best = best.max(correlation(captured, reference, rect, dx, dy));
        }
    }
    best
}

/// Characters that could stand in place of `c`: digits for digits, capitals for capitals. Empty for
/// marks that are too small to be told apart by shape; the agreement of ink judges those.
#[must_use]
pub fn alternatives(c: char) -> &'static str {
    match c {
        '0'..='9' => "0123456789",
        'A'..='Z' => "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789",
        'a'..='z' => "abcdefghijklmnopqrstuvwxyz",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Plane;

    #[test]
    fn correlation_ignores_gain_and_offset() {
        let a = Plane::from_levels(4, 2, vec![10, 90, 30, 70, 20, 80, 40, 60]);
        let b = Plane::from_levels(4, 2, vec![25, 65, 35, 55, 30, 60, 40, 50]);
        let r = correlation(
            View::whole(&a),
            View::whole(&b),
            Rect::new(0, 0, 4, 2),
            0,
            0,
        );
        assert!((r - 1.0).abs() < 1e-5, "{r}");
    }

    #[test]
    fn a_shift_is_found() {
        let mut a = Plane::filled(20, 20, 10);
        let mut b = Plane::filled(20, 20, 10);
        a.row_mut(9)[8..12].fill(200);
        b.row_mut(8)[7..11].fill(200);
        let rect = Rect::new(4, 4, 10, 10);
        assert!(best_correlation(View::whole(&a), View::whole(&b), rect, 1) > 0.99);
        assert!(correlation(View::whole(&a), View::whole(&b), rect, 0, 0) < 0.5);
    }
}
