//! What stands in place of a symbol whose data are invalid or too old.
//!
//! The flag's area is cleared, then crossed out, then the words stand in the middle on a
//! cleared ground of their own, so that the cross does not strike them through.

use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::{Align, FailureFlag};
use crate::picture::Point;
use crate::reference::scene::{Bounds, Scene};

/// Adds the flag, moved by `by` px, to the scene's present layer.
pub fn draw(flag: &FailureFlag, by: Point, d: &Definition, scene: &mut Scene) {
    let own = Bounds::from_rect(flag.rect);
    let area = Bounds {
        left: own.left + by.x,
        top: own.top + by.y,
        right: own.right + by.x,
        bottom: own.bottom + by.y,
    };
    let (color, ground) = (d.color(&flag.color), d.color(&flag.background));
    scene.set_clip(Some(area));
    scene.rectangle(ground, area);
    if flag.cross {
        let corner = Point::new;
        scene.line(
            color,
            corner(area.left, area.top),
            corner(area.right, area.bottom),
            flag.cross_width,
        );
        scene.line(
            color,
            corner(area.left, area.bottom),
            corner(area.right, area.top),
            flag.cross_width,
        );
    }
    if !flag.text.is_empty() {
        let middle = middle(area);
        if flag.cross {
            let half_width = words::width(d, &flag.font, flag.size, &flag.text) / 2.0
                + flag.text_margin * flag.size;
            let half_height = flag.size * (0.5 + flag.text_margin);
            scene.rectangle(
                ground,
                Bounds {
                    left: middle.x - half_width,
                    top: middle.y - half_height,
                    right: middle.x + half_width,
                    bottom: middle.y + half_height,
                },
            );
        }
        let style = Style {
            font: &flag.font,
            size: flag.size,
            color,
        };
        words::upright(d, style, middle, Align::Center, &flag.text, scene);
    }
    scene.set_clip(None);
}

/// The middle of an area.
#[must_use]
pub fn middle(area: Bounds) -> Point {
    Point::new(
        (area.left + area.right) / 2.0,
        (area.top + area.bottom) / 2.0,
    )
}
