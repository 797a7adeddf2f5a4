//! The shape of a bug: a block with a notch that stands at the value.

use crate::picture::{Point, Rgb};
use crate::reference::scene::Scene;

/// Part of the length along the scale that the notch takes, and its depth as part of the block's.
const NOTCH: [f64; 2] = [0.5, 0.5];

/// Adds a bug. `at` turns distances along the scale (from the value) and across it (from the
/// scale's line) into display pixels; `size` is that along and across.
pub fn draw(
    color: Rgb,
    [along, across]: [f64; 2],
    at: impl Fn(f64, f64) -> Point,
    scene: &mut Scene,
) {
    let half = along / 2.0;
    let notch = half * NOTCH[0];
    scene.polygon(
        color,
        &[
            at(-half, 0.0),
            at(-half, across),
            at(half, across),
            at(half, 0.0),
            at(notch, 0.0),
            at(0.0, across * NOTCH[1]),
            at(-notch, 0.0),
        ],
    );
}
