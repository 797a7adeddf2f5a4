//! The page that a plot stands on: size, title, colours, writing, and the head of the SVG.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::Error;

/// Where everything is drawn.
pub(super) type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// Units of the drawing in one pixel of its usual size. The library places everything on whole units; in whole pixels
/// a curve would have steps.
const UNITS: f64 = 10.0;

/// Usual width of a plot with axes, px.
pub(super) const WIDTH_PX: f64 = 860.0;

/// Usual height of a plot with axes, px.
pub(super) const HEIGHT_PX: f64 = 520.0;

/// Space about everything, px.
pub(super) const MARGIN_PX: f64 = 14.0;

/// Size of titles, px.
const TITLE_PX: f64 = 17.0;

/// Size of all other writing, px.
pub(super) const TEXT_PX: f64 = 13.0;

/// Height of a line of the title, px.
const TITLE_LINE_PX: f64 = 30.0;

/// Height of a line of other writing, px.
const LINE_PX: f64 = 18.0;

/// Size of usual writing that is as wide as the title's bold one, px.
pub(super) const BOLD_PX: f64 = 1.15 * TITLE_PX;

/// Ink of writing and frames.
pub(super) const INK: RGBColor = RGBColor(34, 34, 34);

/// Lines of the mesh.
pub(super) const FAINT: RGBColor = RGBColor(222, 222, 222);

/// Grey of what is not there.
pub(super) const GREY: RGBColor = RGBColor(119, 119, 119);

/// Colours that also differ for the colour blind: Okabe and Ito, "Color Universal Design" (2008). Yellow is left out,
/// it does not show on white.
pub(super) const COLOURS: [RGBColor; 6] = [
    RGBColor(0, 114, 178),
    RGBColor(213, 94, 0),
    RGBColor(0, 158, 115),
    RGBColor(204, 121, 167),
    RGBColor(230, 159, 0),
    RGBColor(86, 180, 233),
];

/// Pixels as units of the drawing.
pub(super) fn px(pixels: f64) -> i32 {
    (pixels * UNITS).round() as i32
}

/// The same for line widths and sizes.
pub(super) fn size(pixels: f64) -> u32 {
    px(pixels).max(0) as u32
}

/// A full line.
pub(super) fn stroke(colour: RGBColor, width_px: f64) -> ShapeStyle {
    colour.stroke_width(size(width_px))
}

/// Where writing stands to its point.
#[derive(Clone, Copy)]
pub(super) enum Anchor {
    /// It starts there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// Writing of the usual size whose half height is at its point.
pub(super) fn text(colour: RGBColor, anchor: Anchor) -> TextStyle<'static> {
    text_of(TEXT_PX, colour, anchor)
}

/// Writing of any size.
pub(super) fn text_of(size_px: f64, colour: RGBColor, anchor: Anchor) -> TextStyle<'static> {
    let across = match anchor {
        Anchor::Start => HPos::Left,
        Anchor::Middle => HPos::Center,
        Anchor::End => HPos::Right,
    };
    // The library divides sizes by 1.24 on their way out.
    ("sans-serif", size_px * UNITS * 1.24)
        .into_font()
        .color(&colour)
        .pos(Pos::new(across, VPos::Center))
}

/// Width that writing of the usual size will have at most, px: no font is at hand to ask, and a sans-serif has
/// 0.6 of its size for a usual character.
pub(super) fn width_px(text: &str) -> f64 {
    0.6 * TEXT_PX * text.chars().count() as f64
}

/// Draws a page with its title; `body` gets what lies below the title, inside the margins.
pub(super) fn page(
    (width_px, height_px): (f64, f64),
    title: &str,
    description: &str,
    body: impl FnOnce(&Area<'_>) -> Result<(), Error>,
) -> Result<String, Error> {
    let mut drawn = String::new();
    {
        let root = SVGBackend::with_string(&mut drawn, (size(width_px), size(height_px)))
            .into_drawing_area();
        root.fill(&WHITE).map_err(Error::drawing)?;
        let inside = root.margin(px(MARGIN_PX), px(MARGIN_PX), px(MARGIN_PX), px(MARGIN_PX));
        let lines = wrapped(title, (width_px - 2.0 * MARGIN_PX) * TEXT_PX / BOLD_PX);
        let (head, rest) = inside.split_vertically(px(TITLE_LINE_PX * lines.len() as f64));
        let bold = text_of(TITLE_PX, INK, Anchor::Start);
        let bold = TextStyle {
            font: bold.font.style(FontStyle::Bold),
            ..bold
        };
        for (k, line) in lines.iter().enumerate() {
            let at = (0, px(TITLE_PX / 2.0 + TITLE_LINE_PX * k as f64));
            head.draw_text(line, &bold, at).map_err(Error::drawing)?;
        }
        body(&rest)?;
        root.present().map_err(Error::drawing)?;
    }
    Ok(with_head(&drawn, width_px, height_px, title, description))
}

/// The drawing with a head of ours: no fixed size, so that it fills the width it is given, and words for those who
/// listen to it.
fn with_head(drawn: &str, width_px: f64, height_px: f64, title: &str, description: &str) -> String {
    let body = drawn.find('>').map_or(drawn, |end| &drawn[end + 1..]);
    format!(
        "<svg viewBox=\"0 0 {} {}\" xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" font-family=\"sans-serif\">\n\
         <title>{}</title>\n<desc>{}</desc>{body}",
        size(width_px),
        size(height_px),
        escaped(title),
        escaped(description),
    )
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// A text broken into lines of at most so many pixels.
pub(super) fn wrapped(text: &str, within_px: f64) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let line = lines.last_mut().expect("there is a line");
        if line.is_empty() {
            line.push_str(word);
        } else if width_px(line) + width_px(word) + width_px(" ") <= within_px {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

/// Writes paragraphs at the top of an area, each as wide as the area, and returns what lies below them.
pub(super) fn notes<'a>(area: &Area<'a>, paragraphs: &[String]) -> Result<Area<'a>, Error> {
    let within_px = f64::from(area.dim_in_pixel().0) / UNITS;
    let lines: Vec<String> = paragraphs
        .iter()
        .flat_map(|words| wrapped(words, within_px))
        .collect();
    for (k, words) in lines.iter().enumerate() {
        let at = (0, px(LINE_PX * (k as f64 + 0.5)));
        area.draw_text(words, &text(INK, Anchor::Start), at)
            .map_err(Error::drawing)?;
    }
    Ok(area.split_vertically(px(LINE_PX * lines.len() as f64)).1)
}

/// Height that these paragraphs take on an area of such a width, px.
pub(super) fn notes_height_px(paragraphs: &[String], within_px: f64) -> f64 {
    LINE_PX
        * paragraphs
            .iter()
            .map(|words| wrapped(words, within_px).len())
            .sum::<usize>() as f64
}

/// A figure for a reader: three digits, and powers of ten where they are needed.
pub(super) fn number(value: f64) -> String {
    let magnitude = value.abs();
    if value == 0.0 {
        return "0".to_owned();
    }
    if !(1e-3..1e5).contains(&magnitude) {
        let text = format!("{value:.2e}");
        let (digits, power) = text.split_once('e').expect("it is written with e");
        return format!("{}e{power}", trimmed(digits));
    }
    let decimals = (2 - magnitude.log10().floor() as i32).clamp(0, 6) as usize;
    trimmed(&format!("{value:.decimals$}")).to_owned()
}

/// Decimals without the zeros at their end.
pub(super) fn trimmed(digits: &str) -> &str {
    if digits.contains('.') {
        digits.trim_end_matches('0').trim_end_matches('.')
    } else {
        digits
    }
}
