//! An area that cannot be predicted: nothing is drawn in it, and no check looks at it.

use crate::definition::model::Unchecked;
use crate::picture::Rect;

/// The pixels that are left out of all checks.
#[must_use]
pub const fn area(model: &Unchecked) -> Rect {
    let [x, y, width, height] = model.rect;
    Rect::new(x, y, width, height)
}
