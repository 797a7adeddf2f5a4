//! Where turned words stand, if not in their place.
//!
//! Units part in where turned words begin: between pixels, at whole pixels of the display, or of the page that turns. While the
//! page moves, that changes from frame to frame, and no rule that holds for the chain says it. So turned words may stand up to
//! [`FARTHEST_PX`] from their place, each line by itself; their characters are held against the reference where they stand.
//!
//! What it cannot see: words that stand in a wrong place by less.

use super::comparison::ChainLook;
use super::displacement::displacement_near;
use super::view::View;
use crate::picture::Rect;
use crate::reference::glyphs::pixels_of;
use crate::reference::scene::{Scene, Shape};

/// Farthest that a turned line of words may stand from its place, px of the display: rounding where it begins moves it by up
/// to 0.71 px, and rounded advances move its end on.
pub const FARTHEST_PX: f64 = 1.0;

/// The turned lines of `scene`, with the pixels that they may touch, relative to the pixels `area` of the capture.
pub fn boxes(scene: &Scene, chain: &ChainLook, area: Rect) -> Vec<(usize, Rect)> {
    let whole = Rect::new(0, 0, area.width, area.height);
    let turned = scene.items().iter().enumerate().filter_map(|(k, item)| {
        let Shape::Words(words) = item.shape else {
            return None;
        };
        if words.direction == (1.0, 0.0) || words.is_rolling {
            return None;
        }
        let clip = item.clip.unwrap_or(item.bounds);
        let seen = chain
            .look
            .geometry
            .map_bounds(&item.bounds.intersection(&clip));
        let pixels = pixels_of(&seen).grown(2).moved(-area.x, -area.y);
        let pixels = pixels.intersection(&whole);
        (!pixels.is_empty()).then_some((k, pixels))
    });
    turned.collect()
}

/// `scene` with turned lines where `captured` shows them. `None` when it shows none of them elsewhere within [`FARTHEST_PX`].
/// `reference` shows `scene`, and `boxes` are those of its turned lines.
pub fn as_shown(
    scene: &Scene,
    boxes: &[(usize, Rect)],
    [captured, reference]: [View; 2],
    chain: &ChainLook,
) -> Option<Scene> {
    let mut moved: Option<Scene> = None;
    for (k, pixels) in boxes {
        let Shape::Words(words) = scene.items()[*k].shape else {
            continue;
        };
        let found = displacement_near(captured.crop(*pixels), reference.crop(*pixels));
        let [Some(x), Some(y)] = found else {
            continue;
        };
        let [across, down] = chain.look.geometry.scale_at(words.origin);
        let (x, y) = (x / across, y / down);
        if libm::hypot(x, y) <= FARTHEST_PX {
            let moved = moved.get_or_insert_with(|| scene.clone());
            moved.move_words(*k, x, y);
        }
    }
    moved
}
