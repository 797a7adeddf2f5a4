//! Colour at half resolution in both directions, whatever the source delivers.
//!
//! Nearly every capture chain has 4:2:0 in it somewhere, and material that went through it does not say
//! so: frames exported from a video as PNGs are R'G'B' with the colour of 2 x 2 pixels spread over all
//! four. Held against a reference of full colour resolution, each thin coloured line would be wrong.

use crate::picture::{Picture, Plane, Rect, Subsampling};
use crate::reference::canvas::{Siting, subsample};

/// Copies luma, and the means of colour.
///
/// # Panics
/// When the pictures differ in size, or `out` has not half the colour resolution.
pub(super) fn halve(source: &Picture, out: &mut Picture) {
    assert_eq!(out.subsampling(), Subsampling::Both, "half resolution");
    let [luma, colour @ ..] = source.planes();
    let [out_luma, out_colour @ ..] = out.planes_mut();
    out_luma.levels_mut().copy_from_slice(luma.levels());
    let whole = Rect::new(0, 0, luma.width() as i32, luma.height() as i32);
    for (plane, out) in colour.iter().zip(out_colour) {
        match source.subsampling() {
            Subsampling::None => {
                subsample(plane, (0, 0), Subsampling::Both, Siting::Left, whole, out);
            }
            Subsampling::Columns => halve_rows(plane, out),
            Subsampling::Both => out.levels_mut().copy_from_slice(plane.levels()),
        }
    }
}

/// Means of two rows each, rounded half up; a last row without a partner stands for itself.
fn halve_rows(plane: &Plane, out: &mut Plane) {
    for y in 0..out.height() {
        let (upper, lower) = (
            plane.row(2 * y),
            plane.row((2 * y + 1).min(plane.height() - 1)),
        );
        for ((v, a), b) in out.row_mut(y).iter_mut().zip(upper).zip(lower) {
            *v = (u16::from(*a) + u16::from(*b)).div_ceil(2) as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::info::CONVERTED;

    fn halved(colour: Plane, subsampling: Subsampling) -> Plane {
        let height = match subsampling {
            Subsampling::Both => 2 * colour.height(),
            _ => colour.height(),
        };
        let width = 4;
        let luma = Plane::from_levels(width, height, (0..4 * height as u8).collect());
        let source = Picture::from_planes([luma, colour.clone(), colour], CONVERTED, subsampling);
        let mut out = Picture::filled(width, height, CONVERTED, Subsampling::Both, [0; 3]);
        halve(&source, &mut out);
        assert_eq!(out.planes()[0], source.planes()[0]);
        assert_eq!(out.planes()[1], out.planes()[2]);
        out.planes()[1].clone()
    }

    #[test]
    fn whole_colour_is_weighted_1_2_1_along_the_row_and_by_halves_down() {
        let rows = [[0, 80, 160, 40], [0, 80, 160, 40], [8, 8, 8, 8]];
        let plane = Plane::from_levels(4, 3, rows.concat());
        // (0 + 2 * 0 + 80) / 4 and (80 + 2 * 160 + 40) / 4; edges repeat.
        let expected = Plane::from_levels(2, 2, vec![20, 110, 8, 8]);
        assert_eq!(halved(plane, Subsampling::None), expected);
    }

    #[test]
    fn halved_columns_are_halved_down() {
        let plane = Plane::from_levels(2, 3, vec![10, 20, 13, 30, 7, 9]);
        let expected = Plane::from_levels(2, 2, vec![12, 25, 7, 9]);
        assert_eq!(halved(plane, Subsampling::Columns), expected);
    }

    #[test]
    fn half_resolution_stays_as_it_is() {
        let plane = Plane::from_levels(2, 2, vec![10, 20, 13, 30]);
        assert_eq!(halved(plane.clone(), Subsampling::Both), plane);
    }
}
