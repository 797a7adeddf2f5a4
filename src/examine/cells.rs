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
pub use crate::examine::constants::cells::{CERTAIN, LEAST_MATCH, MARGIN};
use crate::picture::Rect;

/// Normalised correlation of `rect` of `captured`, displaced by (`dx`, `dy`), with `rect` of
/// `reference`; 0 when either is flat. Parts outside the views are left out.
#[must_use]
pub fn correlation(captured: View, reference: View, rect: Rect, dx: i32, dy: i32) -> f32 {
    let whole = Rect::new(0, 0, reference.width() as i32, reference.height() as i32);
    let r = rect
        .intersection(&whole)
        .intersection(&whole.moved(-dx, -dy));
    if r.is_empty() {
        return 0.0;
    }
    let n = r.area() as f32;
    let mut sums = Sums::default();
    for y in r.y..r.bottom() {
        let a = &captured.row((y + dy) as usize)[(r.x + dx) as usize..(r.right() + dx) as usize];
        let b = &reference.row(y as usize)[r.x as usize..r.right() as usize];
        sums.add(a, b);
    }
    let [sa, sb, saa, sbb, sab] = sums.0;
    of_sums(n, [sa, saa], [sb, sbb], sab)
}

/// Correlation of `n` pairs from the sums of each side and its squares, and of the products.
fn of_sums(n: f32, [sa, saa]: [i32; 2], [sb, sbb]: [i32; 2], sab: i32) -> f32 {
    let (ma, mb) = (sa as f32 / n, sb as f32 / n);
    let va = (saa as f32 / n - ma * ma).max(0.0);
    let vb = (sbb as f32 / n - mb * mb).max(0.0);
    if va < 9.0 || vb < 9.0 {
        return 0.0;
    }
    (sab as f32 / n - ma * mb) / (va * vb).sqrt()
}

/// Sums over pairs of levels: a, b, a a, b b, a b.
#[derive(Default)]
struct Sums([i32; 5]);

impl Sums {
    fn add(&mut self, a: &[u8], b: &[u8]) {
        let (left, left_rest) = a.as_chunks::<8>();
        let (right, right_rest) = b.as_chunks::<8>();
        for (a, b) in left.iter().zip(right) {
            self.add_some(a, b);
        }
        self.add_some(left_rest, right_rest);
    }

    #[inline(always)]
    fn add_some(&mut self, a: &[u8], b: &[u8]) {
        // Products of 16 bits, summed in 32, are one instruction even on the oldest machines.
        let product = |a: i16, b: i16| i32::from(a) * i32::from(b);
        let [sa, sb, saa, sbb, sab] = &mut self.0;
        for (&p, &q) in a.iter().zip(b) {
            let (p, q) = (i16::from(p), i16::from(q));
            *sa += i32::from(p);
            *sb += i32::from(q);
            *saa += product(p, p);
            *sbb += product(q, q);
            *sab += product(p, q);
        }
    }
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

/// Pixels that are multiplied at once.
const LANES: usize = 8;

/// A captured cell that many drawings are held against, each over shifts of a pixel.
#[derive(Debug)]
pub struct Held {
    width: usize,
    height: usize,
    /// The cell with the pixel around it, line after line.
    window: Vec<i16>,
    /// A drawing in lines as long: with nothing between them, the products at a shift are those of two single lines.
    drawn: Vec<i16>,
    /// Sums of the cell's levels and their squares, by shift.
    sums: [[i32; 2]; 9],
}

impl Held {
    /// Takes a cell with one pixel around it.
    #[must_use]
    pub fn new(window: View) -> Self {
        let (width, height) = (
            window.width().saturating_sub(2),
            window.height().saturating_sub(2),
        );
        let stride = width + 2;
        let pixels = (stride * height).next_multiple_of(LANES);
        let mut held = Self {
            width,
            height,
            window: vec![0; pixels + 2 * stride + 2],
            drawn: vec![0; pixels],
            sums: [[0; 2]; 9],
        };
        let lines = held.window.chunks_exact_mut(stride);
        for (line, y) in lines.zip(0..window.height()) {
            take(line, window.row(y));
        }
        for (shift, sums) in held.sums.iter_mut().enumerate() {
            let (dx, dy) = (shift % 3, shift / 3);
            for y in 0..height {
                for v in &window.row(y + dy)[dx..dx + width] {
                    sums[0] += i32::from(*v);
                    sums[1] += i32::from(*v) * i32::from(*v);
                }
            }
        }
        held
    }

    /// Best correlation with the same part of `drawn`, which is of the window's size; signed contrast does
    /// not matter.
    ///
    /// # Panics
    /// When `drawn` is smaller than the window.
    pub fn match_with(&mut self, drawn: View) -> f32 {
        let stride = self.width + 2;
        let lines = self.drawn.chunks_exact_mut(stride).zip(0..self.height);
        for (line, y) in lines {
            take(line, &drawn.row(y + 1)[1..=self.width]);
        }
        let sum = self.drawn.iter().map(|v| i32::from(*v)).sum();
        let sums = [sum, product(&self.drawn, &self.drawn)];
        let n = (self.width * self.height) as f32;
        let mut best = 0.0f32;
        for (shift, of_cell) in self.sums.iter().enumerate() {
            let first = shift / 3 * stride + shift % 3;
            let both = product(&self.window[first..], &self.drawn);
            best = best.max(of_sums(n, *of_cell, sums, both).abs());
        }
        best
    }
}

/// Fills the front of `line`.
fn take(line: &mut [i16], levels: &[u8]) {
    for (wide, level) in line.iter_mut().zip(levels) {
        *wide = i16::from(*level);
    }
}

/// Sum of the products of `b` with as many of `a`. Products of 16 bits that are added by pairs in 32 are one instruction
/// even on the oldest machines.
fn product(a: &[i16], b: &[i16]) -> i32 {
    let mut sums = [0; LANES / 2];
    for (a, b) in a
        .as_chunks::<LANES>()
        .0
        .iter()
        .zip(b.as_chunks::<LANES>().0)
    {
        for (k, sum) in sums.iter_mut().enumerate() {
            let both = |k: usize| i32::from(a[k]) * i32::from(b[k]);
            *sum += both(2 * k) + both(2 * k + 1);
        }
    }
    sums.iter().sum()
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
    fn a_held_cell_matches_as_its_best_shift_does() {
        let level = |k: usize, f: usize| (k * k * f % 251) as u8;
        for (width, height) in [(3, 3), (9, 12), (13, 20), (18, 16)] {
            let of = |f| {
                let levels = (0..width * height).map(|k| level(k, f)).collect();
                Plane::from_levels(width, height, levels)
            };
            let (a, b) = (of(7), of(29));
            let (a, b) = (View::whole(&a), View::whole(&b));
            let inner = Rect::new(1, 1, width as i32 - 2, height as i32 - 2);
            let shifts = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (dx, dy)));
            let best = shifts
                .map(|(dx, dy)| correlation(a, b, inner, dx, dy).abs())
                .fold(0.0, f32::max);
            assert_eq!(Held::new(a).match_with(b), best, "{width} x {height}");
        }
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
