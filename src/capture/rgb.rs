//! R'G'B' to Y'CbCr, BT.709, full range, 4:4:4: the form in which R'G'B' captures are compared.
//!
//! # Source
//! Rec. ITU-R BT.709-6, 3.2 and 3.3 (E'Y, E'CB, E'CR); Rec. ITU-T H.273, 8.3, equations for
//! full range: `Y = Round(255 E'Y)`, `Cb = Clip(Round(255 E'PB) + 128)`.
//!
//! The weights are rounded to 1/32768 such that each row still sums to what it must (1 for
//! luma, 0 for colour): greys come out exactly neutral, and the result differs from the closed
//! form by at most one level. Products are of 16 by 16 bits, for which every processor has
//! vector instructions (those of 32 by 32 bits are missing from baseline x86-64).

use crate::picture::Picture;

/// Fraction bits of the weights.
const SHIFT: i32 = 15;
const HALF: i32 = 1 << (SHIFT - 1);
/// 0.2126, 0.7152, 0.0722.
const Y: [i16; 3] = [6_966, 23_436, 2_366];
/// `-0.2126 / 1.8556`, `-0.7152 / 1.8556`, 0.5.
const CB: [i16; 3] = [-3_754, -12_630, 16_384];
/// 0.5, `-0.7152 / 1.5748`, `-0.0722 / 1.5748`.
const CR: [i16; 3] = [16_384, -14_882, -1_502];

/// Pixels that are taken apart at a time, so that the compiler can work on whole vectors.
const BLOCK_PX: usize = 64;

/// Fills the planes of `picture` from R', G', B' triples, row by row.
///
/// # Panics
/// When `picture` is not 4:4:4 or `triples` does not hold its pixels.
pub(super) fn fill_from_rgb(triples: &[u8], picture: &mut Picture) {
    let [y, cb, cr] = picture.planes_mut();
    let (y, cb, cr) = (y.levels_mut(), cb.levels_mut(), cr.levels_mut());
    assert!(
        cb.len() == y.len() && triples.len() == 3 * y.len(),
        "three bytes a pixel, 4:4:4"
    );
    let planes = y
        .chunks_mut(BLOCK_PX)
        .zip(cb.chunks_mut(BLOCK_PX))
        .zip(cr.chunks_mut(BLOCK_PX));
    for (block, ((y, cb), cr)) in triples.chunks(3 * BLOCK_PX).zip(planes) {
        convert_block(block, y, cb, cr);
    }
}

fn convert_block(block: &[u8], y: &mut [u8], cb: &mut [u8], cr: &mut [u8]) {
    let (mut r, mut g, mut b) = ([0_i16; BLOCK_PX], [0_i16; BLOCK_PX], [0_i16; BLOCK_PX]);
    for (((px, r), g), b) in block.chunks_exact(3).zip(&mut r).zip(&mut g).zip(&mut b) {
        *r = i16::from(px[0]);
        *g = i16::from(px[1]);
        *b = i16::from(px[2]);
    }
    // Whole blocks always, so that the loops have a fixed length; a short one is cut on copying.
    let mut out = [0; BLOCK_PX];
    for (plane, weights, bias) in [(y, Y, 0), (cb, CB, 128), (cr, CR, 128)] {
        let times = |w: i16, level: i16| i32::from(w) * i32::from(level);
        for (((out, r), g), b) in out.iter_mut().zip(&r).zip(&g).zip(&b) {
            let [wr, wg, wb] = weights;
            let sum =
                (times(wr, *r) + times(wg, *g) + times(wb, *b) + (bias << SHIFT) + HALF) >> SHIFT;
            *out = sum.clamp(0, 255) as u8;
        }
        plane.copy_from_slice(&out[..plane.len()]);
    }
}

/// 16 bits to 8, rounded: 0 to 0, 65535 to 255.
pub(super) const fn reduce_16_to_8(level: u16) -> u8 {
    ((level as u32 * 255 + 32_767) / 65_535) as u8
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::info::CONVERTED;
    use crate::picture::Subsampling;

    /// H.273 (8.3) with the BT.709-6 weights, in floating point.
    fn closed_form([r, g, b]: [u8; 3]) -> [f64; 3] {
        let [r, g, b] = [r, g, b].map(|v| f64::from(v) / 255.0);
        let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        let colour = |v: f64| ((255.0 * v).round() + 128.0).clamp(0.0, 255.0);
        [
            (255.0 * y).round(),
            colour((b - y) / 1.8556),
            colour((r - y) / 1.5748),
        ]
    }

    #[test]
    fn fixed_point_is_within_one_level_of_the_closed_form() {
        let mut triples = Vec::new();
        for r in (0..=255).step_by(5) {
            for g in (0..=255).step_by(5) {
                for b in (0..=255).step_by(5) {
                    triples.extend_from_slice(&[r as u8, g as u8, b as u8]);
                }
            }
        }
        let count = triples.len() / 3;
        let mut picture = Picture::filled(count, 1, CONVERTED, Subsampling::None, [0; 3]);
        fill_from_rgb(&triples, &mut picture);
        for (k, px) in triples.chunks_exact(3).enumerate() {
            let want = closed_form([px[0], px[1], px[2]]);
            for (plane, want) in picture.planes().iter().zip(want) {
                assert!((f64::from(plane.at(k, 0)) - want).abs() <= 1.0, "{px:?}");
            }
        }
    }

    #[test]
    fn greys_are_neutral_and_keep_their_level() {
        let triples: Vec<u8> = (0..=255).flat_map(|v| [v; 3]).collect();
        let mut picture = Picture::filled(256, 1, CONVERTED, Subsampling::None, [0; 3]);
        fill_from_rgb(&triples, &mut picture);
        let [y, cb, cr] = picture.planes();
        assert!(y.levels().iter().copied().eq(0..=255));
        assert!(cb.levels().iter().chain(cr.levels()).all(|&c| c == 128));
    }

    #[test]
    fn sixteen_bits_keep_black_and_white() {
        assert_eq!(reduce_16_to_8(0), 0);
        assert_eq!(reduce_16_to_8(u16::MAX), 255);
        assert!((0..=255_u16).all(|v| u16::from(reduce_16_to_8(v * 257)) == v));
    }
}
