//! The simulated capture chain: from the unit's R'G'B' to captured levels.
//!
//! The unit's picture becomes BT.709 limited-range Y'CbCr, colour at half resolution both
//! ways by averaging two by two pixels (the plainest 4:2:0), with Gaussian noise before the
//! levels are rounded. Whatever latency there is comes from the caller, who decides which
//! picture is sent when.
//!
//! # Source
//! ITU-R BT.709-6, items 3.2 to 3.5: Y' = 0.2126 R' + 0.7152 G' + 0.0722 B',
//! Cb = (B' - Y') / 1.8556, Cr = (R' - Y') / 1.5748; 8 bits: 16 + 219 Y', 128 + 224 C.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

use crate::picture::{Encoding, Matrix, Picture, Plane, Range, Subsampling};

/// Encoding of what the chain puts out.
pub const ENCODING: Encoding = Encoding::YCbCr {
    matrix: Matrix::Bt709,
    range: Range::Limited,
};

/// Fixed-point one: 16 bits after the point keep the weights exact to 1/300 of a level.
const ONE: i32 = 1 << 16;

/// Noise samples that are drawn once and then read from random places; a power of two.
const POOL: usize = 1 << 16;

/// A chain with its own noise.
pub struct Chain {
    seed: u64,
    /// Noise, levels times [`ONE`].
    pool: Vec<i32>,
}

impl Chain {
    /// A chain whose noise has the standard deviation `sigma` (levels).
    #[must_use]
    pub fn new(sigma: f64, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let pool = gaussian(&mut rng, POOL)
            .map(|n| libm::round(n * sigma * f64::from(ONE)) as i32)
            .collect();
        Self { seed, pool }
    }

    /// What is captured of `rgb` (R'G'B', 4:4:4) as frame `index`; the noise depends on seed and
    /// index alone. `out` is made anew when it has another shape.
    ///
    /// # Panics
    /// When `rgb` is not R'G'B' 4:4:4.
    pub fn send(&self, rgb: &Picture, index: u64, out: &mut Picture) {
        assert_eq!(
            (rgb.encoding(), rgb.subsampling()),
            (Encoding::Rgb, Subsampling::None),
            "a unit sends RGB"
        );
        let (width, height) = (rgb.width(), rgb.height());
        let is_fit = out.encoding() == ENCODING
            && out.subsampling() == Subsampling::Both
            && (out.width(), out.height()) == (width, height);
        if !is_fit {
            *out = Picture::filled(width, height, ENCODING, Subsampling::Both, [16, 128, 128]);
        }
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(index.wrapping_add(1));
        let [red, green, blue] = rgb.planes();
        let [luma, cb, cr] = out.planes_mut();
        let mut row = Vec::with_capacity(width);
        for y in 0..height {
            let colours = red.row(y).iter().zip(green.row(y)).zip(blue.row(y));
            row.clear();
            row.extend(colours.map(|((&r, &g), &b)| LUMA.of::<1>(r.into(), g.into(), b.into())));
            self.put(&row, &mut rng, luma.row_mut(y));
        }
        let mut sums = [(); 3].map(|()| Vec::with_capacity(width.div_ceil(2)));
        for (plane, weights) in [(cb, &CB), (cr, &CR)] {
            for y in 0..plane.height() {
                for (sums, plane) in sums.iter_mut().zip([red, green, blue]) {
                    sum_of_four(plane, y, sums);
                }
                let [r, g, b] = &sums;
                let colours = r.iter().zip(g).zip(b);
                row.clear();
                row.extend(colours.map(|((&r, &g), &b)| weights.of::<4>(r, g, b)));
                self.put(&row, &mut rng, plane.row_mut(y));
            }
        }
    }

    /// Writes a row of levels, times [`ONE`], with its noise: the pool from a random place on.
    fn put(&self, mut row: &[i32], rng: &mut ChaCha8Rng, mut out: &mut [u8]) {
        let mut at = (rng.next_u32() as usize).wrapping_add(1) % POOL;
        while !out.is_empty() {
            let count = out.len().min(POOL - at);
            let (now, rest) = out.split_at_mut(count);
            let noise = &self.pool[at..at + count];
            for ((out, level), noise) in now.iter_mut().zip(row).zip(noise) {
                *out = rounded(level + noise);
            }
            (out, row, at) = (rest, &row[count..], 0);
        }
    }
}

/// Standard normal numbers (Box and Muller, "A note on the generation of random normal
/// deviates", 1958).
pub(super) fn gaussian(rng: &mut ChaCha8Rng, count: usize) -> impl Iterator<Item = f64> {
    let mut uniform = move || (f64::from(rng.next_u32()) + 0.5) / 4_294_967_296.0;
    (0..count).map(move |_| {
        let radius = libm::sqrt(-2.0 * libm::log(uniform()));
        radius * libm::cos(std::f64::consts::TAU * uniform())
    })
}

/// Weights of R', G', B' and what is added, all times [`ONE`].
struct Weights {
    r: i32,
    g: i32,
    b: i32,
    zero: i32,
}

const fn fixed(weight: f64) -> i32 {
    let scaled = weight * ONE as f64;
    (if scaled < 0.0 {
        scaled - 0.5
    } else {
        scaled + 0.5
    }) as i32
}

const LUMA: Weights = Weights {
    r: fixed(0.2126 * 219.0 / 255.0),
    g: fixed(0.7152 * 219.0 / 255.0),
    b: fixed(0.0722 * 219.0 / 255.0),
    zero: 16 * ONE,
};
const CB: Weights = Weights {
    r: fixed(-0.2126 / 1.8556 * 224.0 / 255.0),
    g: fixed(-0.7152 / 1.8556 * 224.0 / 255.0),
    b: fixed(0.9278 / 1.8556 * 224.0 / 255.0),
    zero: 128 * ONE,
};
const CR: Weights = Weights {
    r: fixed(0.7874 / 1.5748 * 224.0 / 255.0),
    g: fixed(-0.7152 / 1.5748 * 224.0 / 255.0),
    b: fixed(-0.0722 / 1.5748 * 224.0 / 255.0),
    zero: 128 * ONE,
};

impl Weights {
    /// The level times [`ONE`] of the mean of `COUNT` colours whose sum is given.
    const fn of<const COUNT: i32>(&self, r: i32, g: i32, b: i32) -> i32 {
        (self.r * r + self.g * g + self.b * b) / COUNT + self.zero
    }
}

fn rounded(level: i32) -> u8 {
    ((level + ONE / 2) >> 16).clamp(0, 255) as u8
}

/// Sums over the four pixels that each colour sample of row `y` stands for. Pixels at an odd edge count for those beyond it.
fn sum_of_four(plane: &Plane, y: usize, sums: &mut Vec<i32>) {
    let [above, below] = [2 * y, 2 * y + 1].map(|row| plane.row(row.min(plane.height() - 1)));
    let sum = |pair: &[u8]| i32::from(pair[0]) + i32::from(pair[pair.len() - 1]);
    sums.clear();
    sums.extend(
        above
            .chunks(2)
            .zip(below.chunks(2))
            .map(|(a, b)| sum(a) + sum(b)),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sent(color: [u8; 3], sigma: f64, index: u64) -> Picture {
        let rgb = Picture::filled(65, 33, Encoding::Rgb, Subsampling::None, color);
        let mut out = Picture::filled(1, 1, Encoding::Rgb, Subsampling::None, [0; 3]);
        Chain::new(sigma, 7).send(&rgb, index, &mut out);
        out
    }

    /// 75 % and 100 % colours, rounded from the equations of BT.709-6, 3.2 to 3.5.
    #[test]
    fn colours_land_on_their_levels() {
        let cases = [
            ([0, 0, 0], [16, 128, 128]),
            ([255, 255, 255], [235, 128, 128]),
            ([255, 0, 0], [63, 102, 240]),
            ([0, 255, 0], [173, 42, 26]),
            ([0, 0, 255], [32, 240, 118]),
            ([128, 128, 128], [126, 128, 128]),
        ];
        for (color, levels) in cases {
            let out = sent(color, 0.0, 0);
            for (plane, level) in out.planes().iter().zip(levels) {
                assert!(
                    plane.levels().iter().all(|&v| v == level),
                    "{color:?} {level}"
                );
            }
        }
    }

    #[test]
    fn noise_has_its_size_and_no_bias() {
        let out = sent([128, 128, 128], 1.5, 3);
        let levels = out.planes()[0].levels();
        let mean = levels.iter().map(|&v| f64::from(v)).sum::<f64>() / levels.len() as f64;
        let variance = levels
            .iter()
            .map(|&v| (f64::from(v) - mean).powi(2))
            .sum::<f64>()
            / levels.len() as f64;
        assert!((mean - 125.93).abs() < 0.15, "{mean}");
        // Rounding to whole levels adds 1/12.
        assert!(
            (variance - 1.5 * 1.5 - 1.0 / 12.0).abs() < 0.3,
            "{variance}"
        );
    }

    #[test]
    fn noise_depends_on_the_frame_and_on_nothing_else() {
        assert_eq!(sent([90, 20, 30], 1.5, 3), sent([90, 20, 30], 1.5, 3));
        assert_ne!(sent([90, 20, 30], 1.5, 3), sent([90, 20, 30], 1.5, 4));
    }
}
