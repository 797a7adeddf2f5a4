//! Words held at a point: at an end or the middle of the line, half-way up its capitals.

use crate::definition::Definition;
use crate::definition::model::Align;
use crate::picture::{Point, Rgb};
use crate::reference::scene::Scene;

/// Direction of an upright line of words.
pub const UPRIGHT: (f64, f64) = (1.0, 0.0);

/// How words look.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style<'a> {
    /// Font, by its name in the definition.
    pub font: &'a str,
    /// Size of the em, px.
    pub size: f64,
    /// Colour.
    pub color: Rgb,
}

/// Advance of a line of words, px.
#[must_use]
pub fn width(d: &Definition, font: &str, size: f64, words: &str) -> f64 {
    d.face(d.font(font)).line_advance(words) * size
}

/// An upright line of words whose end or middle, as `align` says, stands at `anchor`; the
/// middle of its capitals is level with `anchor`.
pub fn upright(
    d: &Definition,
    style: Style,
    anchor: Point,
    align: Align,
    words: &str,
    scene: &mut Scene,
) {
    turned(d, style, anchor, align, UPRIGHT, words, scene);
}

/// Like [`upright`], turned about `anchor`; `direction` is (cos, sin) of the base line's angle,
/// y down.
pub fn turned(
    d: &Definition,
    style: Style,
    anchor: Point,
    align: Align,
    direction: (f64, f64),
    words: &str,
    scene: &mut Scene,
) {
    let font = d.font(style.font);
    let face = d.face(font);
    let width = face.line_advance(words) * style.size;
    let held = match align {
        Align::Left => 0.0,
        Align::Center => 0.5,
        Align::Right => 1.0,
    };
    let along = -held * width;
    let down = face.cap_height * style.size / 2.0;
    let (c, s) = direction;
    let origin = Point::new(
        anchor.x + along * c - down * s,
        anchor.y + along * s + down * c,
    );
    scene.words_at(
        style.color,
        font,
        style.size,
        origin,
        direction,
        width,
        words,
    );
    if !words.is_empty() {
        scene.hold_last_words(held);
    }
}
