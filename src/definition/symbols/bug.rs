//! The shape of a bug: a block with a notch that stands at the value.

use crate::definition::model::Bug;

/// Corners as distances along the scale (from the value) and across it (from the scale's line), px.
pub(super) fn corners(b: &Bug) -> [[f64; 2]; 7] {
    let ([along, across], [width, depth]) = (b.size, b.notch);
    let half = along / 2.0;
    let notch = half * width;
    [
        [-half, 0.0],
        [-half, across],
        [half, across],
        [half, 0.0],
        [notch, 0.0],
        [0.0, across * depth],
        [-notch, 0.0],
    ]
}
