//! The shape of a bug: a block with a notch that stands at the value.

/// Part of the length along the scale that the notch takes, and its depth as part of the block's.
const NOTCH: [f64; 2] = [0.5, 0.5];

/// Corners as distances along the scale (from the value) and across it (from the scale's line), px.
pub(super) fn corners([along, across]: [f64; 2]) -> [[f64; 2]; 7] {
    let half = along / 2.0;
    let notch = half * NOTCH[0];
    [
        [-half, 0.0],
        [-half, across],
        [half, across],
        [half, 0.0],
        [notch, 0.0],
        [0.0, across * NOTCH[1]],
        [-notch, 0.0],
    ]
}
