//! Picture encodings: R'G'B' to Y'CbCr and back, for single colours and whole pictures.
//!
//! Codes are rounded half up and then clipped to 0..=255. Whole pictures and single colours
//! go through the same integer arithmetic, so a code never depends on which of the two was
//! used, nor on the machine. Chroma is averaged before it is rounded, once.
//!
//! Comparison brings the reference into the capture's encoding, not the other way; turning
//! Y'CbCr pictures into RGB is for people to look at.
//!
//! # Source
//! ITU-R BT.601-7, 2.5.1 to 2.5.4, and ITU-R BT.709-6, 3.2 to 4.6 (weights, colour differences, limited
//! range); JFIF 1.02 (full range).

use std::sync::LazyLock;

use crate::picture::{Encoding, Matrix, Picture, Plane, Range, Rgb, Subsampling};

/// Where a chroma sample lies among the luma samples that it stands for.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    Hash,
    Default,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Siting {
    /// On the left luma column, between two rows (MPEG-2, and H.264 when it does not say).
    #[default]
    Left,
    /// In the middle of its luma samples (JPEG, MPEG-1).
    Center,
    /// On the top left luma sample.
    TopLeft,
}

impl Siting {
    const fn is_on_column(self) -> bool {
        matches!(self, Self::Left | Self::TopLeft)
    }

    const fn is_on_row(self) -> bool {
        matches!(self, Self::TopLeft)
    }
}

/// How chroma is brought to full resolution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Upsampling {
    /// Each pixel takes the sample that stands for it; siting does not matter.
    Nearest,
    /// Straight line between samples, by their siting.
    Bilinear,
}

impl Matrix {
    /// Weights of R', G' and B' in luma; they add up to 1.
    #[must_use]
    pub const fn luma_weights(self) -> [f64; 3] {
        match self {
            Self::Bt601 => [0.299, 0.587, 0.114],
            Self::Bt709 => [0.2126, 0.7152, 0.0722],
        }
    }
}

impl Range {
    /// Black level, luma codes from black to white, and chroma codes from -0.5 to 0.5.
    const fn levels(self) -> (f64, f64, f64) {
        match self {
            Self::Limited => (16.0, 219.0, 224.0),
            Self::Full => (0.0, 255.0, 255.0),
        }
    }
}

/// Code of no colour difference.
const CHROMA_ZERO: f64 = 128.0;

/// The exact codes, not rounded, of a colour given as R', G', B' from 0 to 1.
#[must_use]
pub fn encode_unit(rgb: [f64; 3], encoding: Encoding) -> [f64; 3] {
    match encoding {
        Encoding::Rgb => rgb.map(|v| 255.0 * v),
        Encoding::YCbCr { matrix, range } => {
            let [kr, kg, kb] = matrix.luma_weights();
            let (black, luma, chroma) = range.levels();
            let [r, g, b] = rgb;
            let y = kr * r + kg * g + kb * b;
            let cb = (b - y) / (2.0 * (1.0 - kb));
            let cr = (r - y) / (2.0 * (1.0 - kr));
            [
                black + luma * y,
                CHROMA_ZERO + chroma * cb,
                CHROMA_ZERO + chroma * cr,
            ]
        }
    }
}

/// The exact codes, not rounded, of a colour.
#[must_use]
pub fn encode(colour: Rgb, encoding: Encoding) -> [f64; 3] {
    encode_unit(colour.0.map(|v| f64::from(v) / 255.0), encoding)
}

/// R', G', B' from 0 to 1 (outside for codes that stand for no colour) of exact codes.
#[must_use]
pub fn decode_unit(codes: [f64; 3], encoding: Encoding) -> [f64; 3] {
    match encoding {
        Encoding::Rgb => codes.map(|v| v / 255.0),
        Encoding::YCbCr { matrix, range } => {
            let [kr, kg, kb] = matrix.luma_weights();
            let (black, luma, chroma) = range.levels();
            let y = (codes[0] - black) / luma;
            let cb = (codes[1] - CHROMA_ZERO) / chroma;
            let cr = (codes[2] - CHROMA_ZERO) / chroma;
            let b = y + 2.0 * (1.0 - kb) * cb;
            let r = y + 2.0 * (1.0 - kr) * cr;
            [r, (y - kr * r - kb * b) / kg, b]
        }
    }
}

/// The 8-bit codes of a colour.
#[must_use]
pub fn encode8(colour: Rgb, encoding: Encoding) -> [u8; 3] {
    match encoding {
        Encoding::Rgb => colour.0,
        Encoding::YCbCr { matrix, range } => {
            Transform::encoder(matrix, range).apply(colour.0.map(i64::from))
        }
    }
}

/// The colour of 8-bit codes.
#[must_use]
pub fn decode8(codes: [u8; 3], encoding: Encoding) -> Rgb {
    match encoding {
        Encoding::Rgb => Rgb(codes),
        Encoding::YCbCr { matrix, range } => {
            let [luma, cb, cr] = codes.map(|code| 16 * u32::from(code));
            Rgb(TRANSFORMS[index(matrix, range)].1.decode(luma, cb, cr))
        }
    }
}

/// Fractional bits of the fixed-point arithmetic.
///
/// With 40 bits a sum of three products of coefficients (each off by at most 2^-41) with
/// codes up to 255 is off by less than 4e-10, and by 7e-9 over 16 summed taps divided by 16
/// again less than 4e-10. Exact encoded values are multiples of 1/(16 * 2 * 255 * 4639) = 2.6e-8
/// (the least common denominator, that of BT.709 Cb over 16 taps), so values that are not a
/// half lie at least that far from it. [`HALF_UP`] lifts true halves by 2e-9 over the edge, in
/// between of the two: encoding rounds as exact arithmetic would.
const FRACTION_BITS: u32 = 40;

/// One half in fixed point, and a little more; see [`FRACTION_BITS`].
const HALF_UP: i64 = (1 << (FRACTION_BITS - 1)) + 2200;

fn fixed(value: f64) -> i64 {
    libm::round(value * (1_i64 << FRACTION_BITS) as f64) as i64
}

/// Encoder and decoder of each matrix and range, by [`index`].
static TRANSFORMS: LazyLock<[(Transform, Decoder); 4]> = LazyLock::new(|| {
    std::array::from_fn(|k| {
        let matrix = if k < 2 { Matrix::Bt601 } else { Matrix::Bt709 };
        let range = if k % 2 == 0 {
            Range::Limited
        } else {
            Range::Full
        };
        let encoding = Encoding::YCbCr { matrix, range };
        let encoder = Transform::linear(|rgb| encode_unit(rgb.map(|v| v / 255.0), encoding));
        let decoder = Decoder::new(encoding);
        (encoder, decoder)
    })
});

const fn index(matrix: Matrix, range: Range) -> usize {
    let first = match matrix {
        Matrix::Bt601 => 0,
        Matrix::Bt709 => 2,
    };
    match range {
        Range::Limited => first,
        Range::Full => first + 1,
    }
}

/// Y'CbCr to R'G'B' in fixed point, with factors that fit 32 bits and no negative numbers, since
/// baseline vector code has no signed shift and no full product of 64 bits.
///
/// With 30 fractional bits a value is off by less than 4e-7; one that comes within 1e-6 of a half
/// is rounded up.
#[derive(Clone, Copy, Debug)]
struct Decoder {
    luma: u32,
    red_from_cr: u32,
    /// Is subtracted.
    green_from_cb: u32,
    /// Is subtracted.
    green_from_cr: u32,
    blue_from_cb: u32,
    offsets: [u64; 3],
}

impl Decoder {
    const FRACTION_BITS: u32 = 30;
    /// Codes are given in sixteenths.
    const SHIFT: u32 = Self::FRACTION_BITS + 4;
    /// Keeps sums above 0: no codes decode to less than -600.
    const RAISE: u64 = 1024;

    fn new(encoding: Encoding) -> Self {
        let decode = |codes| decode_unit(codes, encoding).map(|v| 255.0 * v);
        let zero = decode([0.0; 3]);
        let [luma, cb, cr] = [[255.0, 0.0, 0.0], [0.0, 255.0, 0.0], [0.0, 0.0, 255.0]].map(decode);
        let one = f64::from(1 << Self::FRACTION_BITS);
        let factor = |end: f64, start: f64| libm::round((end - start).abs() / 255.0 * one) as u32;
        let offset =
            |v: f64| libm::round((v + Self::RAISE as f64 + 0.5 + 1e-6) * one * 16.0) as u64;
        Self {
            luma: factor(luma[0], zero[0]),
            red_from_cr: factor(cr[0], zero[0]),
            green_from_cb: factor(cb[1], zero[1]),
            green_from_cr: factor(cr[1], zero[1]),
            blue_from_cb: factor(cb[2], zero[2]),
            offsets: zero.map(offset),
        }
    }

    /// R', G' and B' of codes in sixteenths.
    #[inline]
    fn decode(&self, luma: u32, cb: u32, cr: u32) -> [u8; 3] {
        let times = |factor: u32, code: u32| u64::from(factor) * u64::from(code);
        let level =
            |sum: u64| ((sum >> Self::SHIFT) as i32 - Self::RAISE as i32).clamp(0, 255) as u8;
        let luma = times(self.luma, luma);
        let [r, g, b] = self.offsets;
        [
            level(r + luma + times(self.red_from_cr, cr)),
            level(g + luma - times(self.green_from_cb, cb) - times(self.green_from_cr, cr)),
            level(b + luma + times(self.blue_from_cb, cb)),
        ]
    }
}

/// An affine map of three codes onto three codes, in fixed point.
#[derive(Clone, Copy, Debug)]
struct Transform {
    rows: [[i64; 3]; 3],
    /// Includes one half for rounding.
    offsets: [i64; 3],
}

impl Transform {
    fn encoder(matrix: Matrix, range: Range) -> &'static Self {
        &TRANSFORMS[index(matrix, range)].0
    }

    /// The affine map that `map` is, found from four points.
    fn linear(map: impl Fn([f64; 3]) -> [f64; 3]) -> Self {
        let zero = map([0.0; 3]);
        // Far points, so that the differences lose no digits.
        let columns = [[255.0, 0.0, 0.0], [0.0, 255.0, 0.0], [0.0, 0.0, 255.0]].map(&map);
        let mut rows = [[0; 3]; 3];
        for (k, row) in rows.iter_mut().enumerate() {
            for (j, coefficient) in row.iter_mut().enumerate() {
                *coefficient = fixed((columns[j][k] - zero[k]) / 255.0);
            }
        }
        Self {
            rows,
            offsets: zero.map(|v| fixed(v) + HALF_UP),
        }
    }

    /// Code `k` of the sum of `1 << tap_bits` inputs, divided by their number.
    #[inline]
    fn code(&self, k: usize, sums: [i64; 3], tap_bits: u32) -> u8 {
        let [a, b, c] = self.rows[k];
        let scaled = a * sums[0] + b * sums[1] + c * sums[2] + (self.offsets[k] << tap_bits);
        (scaled >> (FRACTION_BITS + tap_bits)).clamp(0, 255) as u8
    }

    fn apply(&self, codes: [i64; 3]) -> [u8; 3] {
        [
            self.code(0, codes, 0),
            self.code(1, codes, 0),
            self.code(2, codes, 0),
        ]
    }
}

/// Turns an RGB picture into Y'CbCr.
///
/// Chroma at half resolution is a mean of R'G'B' by siting: two samples, or three weighted
/// 1 2 1 in a direction in which chroma lies on a luma sample. Samples beyond the edge repeat
/// the last one. `siting` does not matter at 4:4:4.
///
/// # Panics
/// When `rgb` is not an RGB picture at 4:4:4.
#[must_use]
pub fn rgb_to_ycbcr(
    rgb: &Picture,
    matrix: Matrix,
    range: Range,
    subsampling: Subsampling,
    siting: Siting,
) -> Picture {
    let encoding = Encoding::YCbCr { matrix, range };
    let mut out = Picture::filled(rgb.width(), rgb.height(), encoding, subsampling, [0; 3]);
    rgb_to_ycbcr_into(rgb, siting, &mut out);
    out
}

/// As [`rgb_to_ycbcr`], into a picture of the wanted encoding, subsampling and size.
///
/// # Panics
/// When `rgb` is not an RGB picture at 4:4:4, `out` is not Y'CbCr, or their sizes differ.
pub fn rgb_to_ycbcr_into(rgb: &Picture, siting: Siting, out: &mut Picture) {
    assert!(is_plain_rgb(rgb), "the source is RGB at full resolution");
    let Encoding::YCbCr { matrix, range } = out.encoding() else {
        panic!("the target is Y'CbCr")
    };
    assert_eq!(
        (rgb.width(), rgb.height()),
        (out.width(), out.height()),
        "source and target have one size"
    );
    let encoder = Transform::encoder(matrix, range);
    let subsampling = out.subsampling();
    let [r, g, b] = rgb.planes().each_ref().map(Plane::levels);
    let [luma, cb, cr] = out.planes_mut();
    for (((y, &r), &g), &b) in luma.levels_mut().iter_mut().zip(r).zip(g).zip(b) {
        *y = encoder.code(0, [r, g, b].map(i64::from), 0);
    }
    match subsampling {
        Subsampling::None => {
            let chroma = cb.levels_mut().iter_mut().zip(cr.levels_mut());
            for ((((cb, cr), &r), &g), &b) in chroma.zip(r).zip(g).zip(b) {
                let colour = [r, g, b].map(i64::from);
                *cb = encoder.code(1, colour, 0);
                *cr = encoder.code(2, colour, 0);
            }
        }
        Subsampling::Columns | Subsampling::Both => {
            let rows = if subsampling == Subsampling::Both {
                Rows::Halved(siting)
            } else {
                Rows::Kept
            };
            encode_chroma(rgb, encoder, rows, siting, cb, cr);
        }
    }
}

#[derive(Clone, Copy)]
enum Rows {
    Kept,
    Halved(Siting),
}

fn encode_chroma(
    rgb: &Picture,
    encoder: &Transform,
    rows: Rows,
    siting: Siting,
    cb: &mut Plane,
    cr: &mut Plane,
) {
    let (width, height) = (rgb.width(), rgb.height());
    if width == 0 || height == 0 {
        return;
    }
    // Weights add up to 4 in each direction.
    let (left, here, right) = if siting.is_on_column() {
        (1_u16, 2, 1)
    } else {
        (0, 2, 2)
    };
    // One more at each end, so that edges repeat without a test for each pixel.
    let half = cb.width();
    let mut columns = [(); 3].map(|()| vec![0_u16; 2 * half + 2]);
    let mut means = [(); 3].map(|()| vec![0_u16; half]);
    for cy in 0..cb.height() {
        let row_weights = match rows {
            Rows::Kept => [(cy, 4), (cy, 0), (cy, 0)],
            Rows::Halved(siting) => {
                let y = 2 * cy;
                let below = (y + 1).min(height - 1);
                if siting.is_on_row() {
                    [(y.saturating_sub(1), 1), (y, 2), (below, 1)]
                } else {
                    [(y, 2), (below, 2), (y, 0)]
                }
            }
        };
        for (column, plane) in columns.iter_mut().zip(rgb.planes()) {
            let [a, b, c] = row_weights.map(|(y, _)| plane.row(y));
            let [wa, wb, wc] = row_weights.map(|(_, weight)| weight);
            for (((sum, &a), &b), &c) in column[1..].iter_mut().zip(a).zip(b).zip(c) {
                *sum = wa * u16::from(a) + wb * u16::from(b) + wc * u16::from(c);
            }
            column[0] = column[1];
            column[width + 1] = column[width];
        }
        for (mean, column) in means.iter_mut().zip(&columns) {
            let pairs = column.chunks_exact(2).zip(column[2..].chunks_exact(2));
            for (sum, (pair, next)) in mean.iter_mut().zip(pairs) {
                *sum = left * pair[0] + here * pair[1] + right * next[0];
            }
        }
        let [r, g, b] = &means;
        let chroma = cb.row_mut(cy).iter_mut().zip(cr.row_mut(cy));
        for ((((cb, cr), &r), &g), &b) in chroma.zip(r).zip(g).zip(b) {
            let sums = [r, g, b].map(i64::from);
            *cb = encoder.code(1, sums, 4);
            *cr = encoder.code(2, sums, 4);
        }
    }
}

fn is_plain_rgb(picture: &Picture) -> bool {
    picture.encoding() == Encoding::Rgb && picture.subsampling() == Subsampling::None
}

/// Turns a picture into RGB at full resolution, for people to look at. RGB pictures at full
/// resolution come back as they are.
///
/// `siting` matters for [`Upsampling::Bilinear`] only.
#[must_use]
pub fn to_rgb(picture: &Picture, upsampling: Upsampling, siting: Siting) -> Picture {
    if is_plain_rgb(picture) {
        return picture.clone();
    }
    let (width, height) = (picture.width(), picture.height());
    let mut out = Picture::filled(width, height, Encoding::Rgb, Subsampling::None, [0; 3]);
    to_rgb_into(picture, upsampling, siting, &mut out);
    out
}

/// As [`to_rgb`], into an RGB picture of the same size.
///
/// # Panics
/// When `out` is not RGB at 4:4:4, or the sizes differ.
pub fn to_rgb_into(picture: &Picture, upsampling: Upsampling, siting: Siting, out: &mut Picture) {
    assert!(is_plain_rgb(out), "the target is RGB at full resolution");
    let (width, height) = (picture.width(), picture.height());
    assert_eq!(
        (width, height),
        (out.width(), out.height()),
        "source and target have one size"
    );
    if width == 0 || height == 0 {
        return;
    }
    let decoder = match picture.encoding() {
        Encoding::YCbCr { matrix, range } => Some(TRANSFORMS[index(matrix, range)].1),
        // RGB with two planes at half resolution: unusual, and only its size changes.
        Encoding::Rgb => None,
    };
    let [luma, cb, cr] = picture.planes();
    let halves_columns = picture.subsampling() != Subsampling::None;
    let halves_rows = picture.subsampling() == Subsampling::Both;
    let is_bilinear = upsampling == Upsampling::Bilinear;
    // Weights of the sample before and this one in the left column of a pair, and of this one
    // and the next in the right column; quarters.
    let (left, right) = match (is_bilinear, siting.is_on_column()) {
        (false, _) => ([0, 4], [4, 0]),
        (true, true) => ([0, 4], [2, 2]),
        (true, false) => ([1, 3], [3, 1]),
    };
    let [out_r, out_g, out_b] = out.planes_mut();
    let count = cb.width();
    // One more at each end, so that edges repeat without a test for each pixel.
    let mut chroma = [(); 2].map(|()| vec![0_u16; count + 2]);
    let mut full = [(); 2].map(|()| vec![0_u16; 2 * count]);
    for y in 0..height {
        let (top, bottom, weight) =
            taps(y, cb.height(), halves_rows, is_bilinear, siting.is_on_row());
        for ((sums, full), plane) in chroma.iter_mut().zip(&mut full).zip([cb, cr]) {
            let rows = plane.row(top).iter().zip(plane.row(bottom));
            for (sum, (&a, &b)) in sums[1..].iter_mut().zip(rows) {
                *sum = (4 - weight) * u16::from(a) + weight * u16::from(b);
            }
            if !halves_columns {
                for (value, sum) in full.iter_mut().zip(&sums[1..]) {
                    *value = 4 * sum;
                }
                continue;
            }
            sums[0] = sums[1];
            sums[count + 1] = sums[count];
            for (pair, near) in full.chunks_exact_mut(2).zip(sums.windows(3)) {
                pair[0] = left[0] * near[0] + left[1] * near[1];
                pair[1] = right[0] * near[1] + right[1] * near[2];
            }
        }
        let [cb, cr] = &full;
        let (r, g, b) = (out_r.row_mut(y), out_g.row_mut(y), out_b.row_mut(y));
        let pixels = r.iter_mut().zip(g).zip(b).zip(luma.row(y)).zip(cb).zip(cr);
        for (((((r, g), b), &luma), &cb), &cr) in pixels {
            [*r, *g, *b] = match &decoder {
                Some(decoder) => decoder.decode(16 * u32::from(luma), u32::from(cb), u32::from(cr)),
                None => [luma, ((cb + 8) / 16) as u8, ((cr + 8) / 16) as u8],
            };
        }
    }
}

/// The two chroma rows that a luma row lies between, and the weight of the second in quarters.
const fn taps(
    at: usize,
    count: usize,
    is_halved: bool,
    is_bilinear: bool,
    is_on_sample: bool,
) -> (usize, usize, u16) {
    if !is_halved {
        return (at, at, 0);
    }
    let near = at / 2;
    let after = if near + 1 < count { near + 1 } else { near };
    if !is_bilinear {
        (near, near, 0)
    } else if is_on_sample {
        (near, after, if at.is_multiple_of(2) { 0 } else { 2 })
    } else if at.is_multiple_of(2) {
        // A quarter of a sample before `near`.
        (near.saturating_sub(1), near, 3)
    } else {
        (near, after, 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ALL: [(Matrix, Range); 4] = [
        (Matrix::Bt601, Range::Limited),
        (Matrix::Bt601, Range::Full),
        (Matrix::Bt709, Range::Limited),
        (Matrix::Bt709, Range::Full),
    ];

    /// R', G', B' codes summed over taps to a code, in exact rational arithmetic. Weights are
    /// in ten-thousandths.
    fn exact_code(matrix: Matrix, range: Range, plane: usize, sums: [i64; 3], taps: i64) -> u8 {
        const ONE: i64 = 10_000;
        let w: [i64; 3] = match matrix {
            Matrix::Bt601 => [2990, 5870, 1140],
            Matrix::Bt709 => [2126, 7152, 722],
        };
        let (black, luma, chroma) = match range {
            Range::Limited => (16, 219, 112),
            Range::Full => (0, 255, 127),
        };
        let y = w[0] * sums[0] + w[1] * sums[1] + w[2] * sums[2];
        let (numerator, denominator, offset) = match plane {
            0 => (2 * luma * y, 2 * 255 * ONE * taps, black),
            _ => {
                let k = if plane == 1 { 2 } else { 0 };
                // The full range has 127.5 codes to each side: doubled like everything here.
                let reach = if chroma == 112 { 224 } else { 255 };
                (
                    reach * (ONE * sums[k] - y),
                    2 * 255 * (ONE - w[k]) * taps,
                    128,
                )
            }
        };
        let half_up = (2 * numerator + denominator).div_euclid(2 * denominator) + offset;
        half_up.clamp(0, 255) as u8
    }

    #[test]
    fn codes_are_those_of_exact_arithmetic() {
        for (matrix, range) in ALL {
            let encoding = Encoding::YCbCr { matrix, range };
            for r in 0..=255_u8 {
                // A step that has no factor in common with 256 meets every level.
                for n in 0..600_u32 {
                    let (g, b) = ((n * 91 % 256) as u8, (n * 37 / 3 % 256) as u8);
                    let sums = [r, g, b].map(i64::from);
                    let exact = [0, 1, 2].map(|k| exact_code(matrix, range, k, sums, 1));
                    assert_eq!(
                        encode8(Rgb([r, g, b]), encoding),
                        exact,
                        "{encoding:?} {r} {g} {b}"
                    );
                }
            }
        }
    }

    #[test]
    fn exact_halves_go_up() {
        // BT.601 full: the luma of (r, g, b) is a half where 299 r + 587 g + 114 b ends in 500.
        let is_half = |r: u32, g: u32, b: u32| (299 * r + 587 * g + 114 * b) % 1000 == 500;
        let mut seen = 0;
        for r in 0..=255 {
            for g in 0..=255 {
                for b in (0..=255).step_by(5).filter(|&b| is_half(r, g, b)) {
                    let up = (299 * r + 587 * g + 114 * b) / 1000 + 1;
                    let rgb = Rgb([r, g, b].map(|v| v as u8));
                    let encoding = Encoding::YCbCr {
                        matrix: Matrix::Bt601,
                        range: Range::Full,
                    };
                    assert_eq!(u32::from(encode8(rgb, encoding)[0]), up);
                    seen += 1;
                }
            }
        }
        assert!(seen > 1000, "{seen}");
    }

    fn mixed_picture(width: usize, height: usize) -> Picture {
        let plane = |a: usize, b: usize| {
            let levels = (0..width * height)
                .map(|k| (a * (k % width) + b * (k / width) + k * k % 7) as u8)
                .collect();
            Plane::from_levels(width, height, levels)
        };
        Picture::from_planes(
            [plane(3, 5), plane(11, 2), plane(29, 17)],
            Encoding::Rgb,
            Subsampling::None,
        )
    }

    /// Chroma as its definition says: weights by distance in luma samples, repeated edges.
    #[expect(
        clippy::too_many_arguments,
        reason = "the literal version, told everything by its test"
    )]
    fn literal_chroma(
        rgb: &Picture,
        subsampling: Subsampling,
        siting: Siting,
        k: usize,
        cx: usize,
        cy: usize,
        m: Matrix,
        r: Range,
    ) -> u8 {
        let spread = |at: usize, count: usize, is_halved: bool, is_on: bool| -> Vec<(usize, i64)> {
            let clamp = |p: i64| p.clamp(0, count as i64 - 1) as usize;
            let p = 2 * at as i64;
            match (is_halved, is_on) {
                (false, _) => vec![(at, 4)],
                (true, true) => vec![(clamp(p - 1), 1), (clamp(p), 2), (clamp(p + 1), 1)],
                (true, false) => vec![(clamp(p), 2), (clamp(p + 1), 2)],
            }
        };
        let columns = spread(
            cx,
            rgb.width(),
            subsampling != Subsampling::None,
            siting != Siting::Center,
        );
        let rows = spread(
            cy,
            rgb.height(),
            subsampling == Subsampling::Both,
            siting == Siting::TopLeft,
        );
        let mut sums = [0; 3];
        for &(y, wy) in &rows {
            for &(x, wx) in &columns {
                for (sum, plane) in sums.iter_mut().zip(rgb.planes()) {
                    *sum += wx * wy * i64::from(plane.at(x, y));
                }
            }
        }
        exact_code(m, r, k, sums, 16)
    }

    #[test]
    fn pictures_match_the_literal_definition() {
        for (width, height) in [(1, 1), (2, 1), (1, 2), (3, 3), (16, 9), (33, 14)] {
            let rgb = mixed_picture(width, height);
            for (matrix, range) in ALL {
                for subsampling in [Subsampling::None, Subsampling::Columns, Subsampling::Both] {
                    for siting in [Siting::Left, Siting::Center, Siting::TopLeft] {
                        let out = rgb_to_ycbcr(&rgb, matrix, range, subsampling, siting);
                        let (cw, ch) = subsampling.chroma_size(width, height);
                        for k in 1..3 {
                            for (cx, cy) in (0..ch).flat_map(|cy| (0..cw).map(move |cx| (cx, cy))) {
                                let literal = literal_chroma(
                                    &rgb,
                                    subsampling,
                                    siting,
                                    k,
                                    cx,
                                    cy,
                                    matrix,
                                    range,
                                );
                                assert_eq!(
                                    out.planes()[k].at(cx, cy),
                                    literal,
                                    "{width}x{height} {siting:?} {cx} {cy}"
                                );
                            }
                        }
                        for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
                            let colour = Rgb(rgb.planes().each_ref().map(|p| p.at(x, y)));
                            let code = encode8(colour, Encoding::YCbCr { matrix, range })[0];
                            assert_eq!(out.planes()[0].at(x, y), code);
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn uniform_pictures_keep_their_colour_through_any_chroma() {
        let colour = Rgb([30, 144, 201]);
        let rgb = Picture::filled(17, 11, Encoding::Rgb, Subsampling::None, colour.0);
        for (matrix, range) in ALL {
            let encoding = Encoding::YCbCr { matrix, range };
            let back = decode8(encode8(colour, encoding), encoding);
            for subsampling in [Subsampling::None, Subsampling::Columns, Subsampling::Both] {
                for siting in [Siting::Left, Siting::Center, Siting::TopLeft] {
                    let coded = rgb_to_ycbcr(&rgb, matrix, range, subsampling, siting);
                    for upsampling in [Upsampling::Nearest, Upsampling::Bilinear] {
                        let shown = to_rgb(&coded, upsampling, siting);
                        assert_eq!(
                            shown,
                            Picture::filled(17, 11, Encoding::Rgb, Subsampling::None, back.0)
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn full_resolution_pictures_decode_pixel_by_pixel() {
        let rgb = mixed_picture(33, 14);
        for (matrix, range) in ALL {
            let encoding = Encoding::YCbCr { matrix, range };
            // Codes taken as they come, those outside of any colour too.
            let coded = Picture::from_planes(rgb.planes().clone(), encoding, Subsampling::None);
            let shown = to_rgb(&coded, Upsampling::Bilinear, Siting::Left);
            for (x, y) in (0..14).flat_map(|y| (0..33).map(move |x| (x, y))) {
                let codes = coded.planes().each_ref().map(|p| p.at(x, y));
                assert_eq!(
                    Rgb(shown.planes().each_ref().map(|p| p.at(x, y))),
                    decode8(codes, encoding)
                );
            }
        }
    }

    #[test]
    fn bilinear_chroma_follows_the_siting() {
        // Grey luma, one chroma step: Cr 128 in column 0, 168 in column 1. Seen in R of full range
        // BT.601: R = Y + 1.402 (Cr - 128).
        let encoding = Encoding::YCbCr {
            matrix: Matrix::Bt601,
            range: Range::Full,
        };
        let planes = [
            Plane::filled(4, 1, 100),
            Plane::filled(2, 1, 128),
            Plane::from_levels(2, 1, vec![128, 168]),
        ];
        let coded = Picture::from_planes(planes, encoding, Subsampling::Columns);
        let red = |upsampling, siting| {
            to_rgb(&coded, upsampling, siting).planes()[0]
                .levels()
                .to_vec()
        };
        assert_eq!(red(Upsampling::Nearest, Siting::Left), [100, 100, 156, 156]);
        assert_eq!(
            red(Upsampling::Bilinear, Siting::Left),
            [100, 128, 156, 156]
        );
        assert_eq!(
            red(Upsampling::Bilinear, Siting::Center),
            [100, 114, 142, 156]
        );
    }

    proptest! {
        #[test]
        fn exact_codes_come_back(rgb in prop::array::uniform3(0.0..=1.0), which in 0_usize..4) {
            let (matrix, range) = ALL[which];
            for encoding in [Encoding::Rgb, Encoding::YCbCr { matrix, range }] {
                let back = decode_unit(encode_unit(rgb, encoding), encoding);
                for (a, b) in rgb.iter().zip(back) {
                    prop_assert!((a - b).abs() < 1e-12);
                }
            }
        }

        #[test]
        fn decoded_codes_are_the_rounded_exact_ones(codes in any::<[u8; 3]>(), which in 0_usize..4) {
            let (matrix, range) = ALL[which];
            let encoding = Encoding::YCbCr { matrix, range };
            let exact = decode_unit(codes.map(f64::from), encoding);
            for (value, code) in exact.iter().zip(decode8(codes, encoding).0) {
                let value = (255.0 * value).clamp(0.0, 255.0);
                prop_assert!((value - f64::from(code)).abs() <= 0.5 + 1e-8);
            }
        }
    }
}
