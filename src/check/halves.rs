//! Do the two halves of the display stand in each other's place? Two outputs that were exchanged, or lines that were sent to the
//! wrong half of a panel, show every symbol legibly, and none where it belongs.

use crate::examine::resemblance::shows_what_is_due;
use crate::examine::view::View;
use crate::judge::events::Halves;
use crate::picture::{Plane, Rect};

/// The halves of `area` that are exchanged in `captured`, whose luma should look like `reference`.
pub(super) fn exchanged(captured: &Plane, reference: &Plane, area: Rect) -> Option<Halves> {
    let is_due = |parts: &[(Rect, Rect)]| {
        let views = parts.iter().map(|(shown, due)| {
            let (shown, due) = (View::new(captured, *shown), View::new(reference, *due));
            (shown, due)
        });
        shows_what_is_due(views)
    };
    let (x, y, width, height) = (area.x, area.y, area.width, area.height);
    let (half_width, half_height) = (width / 2, height / 2);
    let left = Rect::new(x, y, half_width, height);
    let top = Rect::new(x, y, width, half_height);
    let pairs = [
        (Halves::LeftRight, left, left.moved(width - half_width, 0)),
        (Halves::UpperLower, top, top.moved(0, height - half_height)),
    ];
    let mut found = pairs
        .into_iter()
        .filter(|(_, a, b)| !is_due(&[(*a, *a), (*b, *b)]) && is_due(&[(*a, *b), (*b, *a)]));
    found.next().map(|(halves, ..)| halves)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area() -> Rect {
        Rect::new(3, 2, 40, 30)
    }

    /// Lines of another slope in each quarter.
    fn drawn() -> Plane {
        let mut plane = Plane::filled(48, 36, 20);
        for y in 0..30 {
            for x in 0..40 {
                let (across, down) = match (x < 20, y < 15) {
                    (true, true) => (1, 0),
                    (false, true) => (0, 1),
                    (true, false) => (1, 1),
                    (false, false) => (2, 3),
                };
                let level = if (across * x + down * y) % 6 < 3 {
                    200
                } else {
                    30
                };
                plane.row_mut(y + 2)[x + 3] = level;
            }
        }
        plane
    }

    fn with_exchanged(plane: &Plane, [across, down]: [usize; 2]) -> Plane {
        let mut out = plane.clone();
        for y in 0..30 {
            for x in 0..40 {
                let (from_x, from_y) = ((x + across) % 40, (y + down) % 30);
                out.row_mut(y + 2)[x + 3] = plane.at(from_x + 3, from_y + 2);
            }
        }
        out
    }

    #[test]
    fn exchanged_halves_are_told() {
        let due = drawn();
        for (by, told) in [
            ([0, 0], None),
            ([20, 0], Some(Halves::LeftRight)),
            ([0, 15], Some(Halves::UpperLower)),
            ([20, 15], None),
            ([7, 0], None),
        ] {
            let shown = with_exchanged(&due, by);
            assert_eq!(exchanged(&shown, &due, area()), told, "{by:?}");
        }
    }
}
