//! Linear changes of colour that leave greys alone: exchanged primaries, a wrong matrix.
//!
//! In Y'CbCr such a change adds a share of the colour samples to luma and mixes the colour samples
//! among themselves, so it can be made plane by plane without leaving the chain's own planes.

use super::paint::steps;
use crate::colour::{decode_unit, encode_unit};
use crate::picture::{Encoding, Picture};

/// Level of no colour.
const ZERO: f64 = 128.0;

/// What a level of Cb and a level of Cr add to Y', Cb and Cr.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mixing([[f64; 2]; 3]);

impl Mixing {
    /// The mixing of reading levels as `read`, changing the colour (R'G'B'), and writing it as `written`.
    /// `change` must be linear and leave greys alone; both encodings must have the same range.
    #[must_use]
    pub fn of(read: Encoding, change: impl Fn([f64; 3]) -> [f64; 3], written: Encoding) -> Self {
        let result = |cb: f64, cr: f64| {
            encode_unit(
                change(decode_unit([ZERO, ZERO + cb, ZERO + cr], read)),
                written,
            )
        };
        let (grey, blue, red) = (result(0.0, 0.0), result(1.0, 0.0), result(0.0, 1.0));
        Self([0, 1, 2].map(|k| [blue[k] - grey[k], red[k] - grey[k]]))
    }

    /// Changes a whole picture.
    pub fn apply(&self, picture: &mut Picture) {
        let Self([to_luma, to_cb, to_cr]) = *self;
        let [sx, sy] = steps(picture.subsampling(), 1).map(|s| s as usize);
        let share = |[from_cb, from_cr]: [f64; 2], cb: u8, cr: u8| {
            from_cb * (f64::from(cb) - ZERO) + from_cr * (f64::from(cr) - ZERO)
        };
        let level = |v: f64| libm::round(v).clamp(0.0, 255.0) as u8;
        let [luma, cb, cr] = picture.planes_mut();
        for y in 0..luma.height() {
            let (cb, cr) = (cb.row(y / sy), cr.row(y / sy));
            for (x, v) in luma.row_mut(y).iter_mut().enumerate() {
                *v = level(f64::from(*v) + share(to_luma, cb[x / sx], cr[x / sx]));
            }
        }
        for (cb, cr) in cb.levels_mut().iter_mut().zip(cr.levels_mut()) {
            (*cb, *cr) = (
                level(ZERO + share(to_cb, *cb, *cr)),
                level(ZERO + share(to_cr, *cb, *cr)),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::encode8;
    use crate::picture::{Matrix, Range, Rgb, Subsampling};

    const BT709: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };

    fn shown(color: Rgb) -> Picture {
        Picture::filled(2, 2, BT709, Subsampling::Both, encode8(color, BT709))
    }

    #[test]
    fn exchanged_primaries_turn_orange_into_azure() {
        let mut picture = shown(Rgb([200, 120, 20]));
        Mixing::of(BT709, |[r, g, b]| [b, g, r], BT709).apply(&mut picture);
        let wanted = shown(Rgb([20, 120, 200]));
        for (a, b) in picture.planes().iter().zip(wanted.planes()) {
            // Two roundings.
            assert!(a.levels()[0].abs_diff(b.levels()[0]) <= 1);
        }
    }

    #[test]
    fn no_change_changes_nothing() {
        let mut picture = shown(Rgb([200, 120, 20]));
        Mixing::of(BT709, |c| c, BT709).apply(&mut picture);
        assert_eq!(picture, shown(Rgb([200, 120, 20])));
    }
}
