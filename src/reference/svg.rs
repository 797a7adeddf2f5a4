//! Scenes as one SVG document, so that another rasteriser can draw the same shapes.
//!
//! Coordinates have four decimals: 0.00005 px, far below what any rasteriser resolves, and the
//! same text on every machine. Lines of words are held where the definition holds them; the text engine of the viewer
//! kerns, hints and rounds by its own rules, as the one of a display does. Outlines leave it nothing to decide.

use std::fmt::Write as _;

use super::placement::{TextPlacement, cells};
use super::scene::{Bounds, Item, Layer, Scene, Shape, Words};
use super::text::{Font, Segment};
use crate::colour::Shade;
use crate::picture::{Point, Rect, Rgb};

/// How words are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TextAs {
    /// As `<text>`: the viewer needs the fonts.
    Words,
    /// As outlines: every viewer draws the same shapes.
    Outlines,
}

/// A picture of `size` (width, height, px) in the colour `background` with the scenes of its
/// regions, each cut to its region's pixels and drawn layer by layer.
#[must_use]
pub fn svg(
    size: (usize, usize),
    background: Rgb,
    regions: &[(Rect, &Scene)],
    fonts: &[(String, Font)],
    text: TextAs,
) -> String {
    let (width, height) = size;
    let mut out = Writer {
        text: String::new(),
        clips: Vec::new(),
        cuts: Vec::new(),
        shades: Vec::new(),
    };
    for (area, scene) in regions {
        let region = Bounds::from_rect([area.x, area.y, area.width, area.height]);
        for is_below in [true, false] {
            let items = scene.items().iter();
            for item in items.filter(|i| (i.layer == Layer::Background) == is_below) {
                out.cut_item(scene, item, &region, fonts, text);
            }
        }
    }
    let mut document = String::new();
    let _ = writeln!(
        document,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">"#
    );
    if !out.clips.is_empty() || !out.cuts.is_empty() || !out.shades.is_empty() {
        document.push_str("<defs>\n");
        for (k, path) in out.cuts.iter().enumerate() {
            let _ = writeln!(
                document,
                r#"<clipPath id="p{k}"><path d="{path}"/></clipPath>"#
            );
        }
        for (k, b) in out.clips.iter().enumerate() {
            let (x, y, w, h) = (
                number(b.left),
                number(b.top),
                number(b.right - b.left),
                number(b.bottom - b.top),
            );
            let _ = writeln!(
                document,
                r#"<clipPath id="c{k}"><rect x="{x}" y="{y}" width="{w}" height="{h}"/></clipPath>"#
            );
        }
        for (k, shade) in out.shades.iter().enumerate() {
            gradient(k, shade, &mut document);
        }
        document.push_str("</defs>\n");
    }
    let _ = writeln!(
        document,
        r#"<rect width="{width}" height="{height}" fill="{}"/>"#,
        hex(background)
    );
    document.push_str(&out.text);
    document.push_str("</svg>\n");
    document
}

struct Writer {
    text: String,
    clips: Vec<Bounds>,
    /// Path data of the outlines that items are cut to.
    cuts: Vec<String>,
    shades: Vec<Shade>,
}

impl Writer {
    fn cut_item(
        &mut self,
        scene: &Scene,
        item: &Item,
        region: &Bounds,
        fonts: &[(String, Font)],
        text: TextAs,
    ) {
        let Some(pieces) = scene.pieces(item) else {
            self.item(scene, item, region, fonts, text);
            return;
        };
        let mut path = String::new();
        pieces
            .iter()
            .for_each(|piece| contour_path(piece, &mut path));
        let known = self.cuts.iter().position(|c| *c == path);
        let k = known.unwrap_or_else(|| {
            self.cuts.push(path);
            self.cuts.len() - 1
        });
        let _ = writeln!(self.text, r#"<g clip-path="url(#p{k})">"#);
        self.item(scene, item, region, fonts, text);
        self.text.push_str("</g>\n");
    }

    fn item(
        &mut self,
        scene: &Scene,
        item: &Item,
        region: &Bounds,
        fonts: &[(String, Font)],
        text: TextAs,
    ) {
        let clip = item.clip.map_or(*region, |c| c.intersection(region));
        if clip.is_empty() || item.bounds.intersection(&clip).is_empty() {
            return;
        }
        let b = &item.bounds;
        let is_inside = b.left >= clip.left
            && b.top >= clip.top
            && b.right <= clip.right
            && b.bottom <= clip.bottom;
        let clip = if is_inside {
            String::new()
        } else {
            let known = self.clips.iter().position(|c| *c == clip);
            let k = known.unwrap_or_else(|| {
                self.clips.push(clip);
                self.clips.len() - 1
            });
            format!(r#" clip-path="url(#c{k})""#)
        };
        let paint = self.paint(scene, item);
        match &item.shape {
            Shape::Fill { first, last } => {
                let mut path = String::new();
                for contour in scene.contours(*first, *last) {
                    contour_path(contour, &mut path);
                }
                if !path.is_empty() {
                    let _ = writeln!(self.text, r#"<path {paint}{clip} d="{path}"/>"#);
                }
            }
            Shape::Words(words) => {
                let Some((_, font)) = fonts.get(words.font.0) else {
                    return;
                };
                match text {
                    TextAs::Words => self.words(scene, words, font, &paint, &clip),
                    TextAs::Outlines => self.outlines(scene, words, font, &paint, &clip),
                }
            }
        }
    }

    /// The attributes that say what `item` is filled with.
    fn paint(&mut self, scene: &Scene, item: &Item) -> String {
        let mut paint = match scene.shade(item) {
            None => format!(r#"fill="{}""#, hex(item.color)),
            Some(shade) => {
                let known = self.shades.iter().position(|s| s == shade);
                let k = known.unwrap_or_else(|| {
                    self.shades.push(shade.clone());
                    self.shades.len() - 1
                });
                format!(r#"fill="url(#s{k})""#)
            }
        };
        if item.opacity < 1.0 {
            let _ = write!(paint, r#" fill-opacity="{}""#, number(item.opacity));
        }
        paint
    }

    fn words(&mut self, scene: &Scene, words: &Words, font: &Font, paint: &str, clip: &str) {
        let is_upright = words.direction == (1.0, 0.0);
        // Held where the definition holds it: what draws this has rules of its own for the rest.
        let held_px = words.held * font.line_advance(scene.words(words)) * words.size;
        let x = number(if is_upright {
            words.origin.x + held_px
        } else {
            held_px
        });
        let anchor = match words.held {
            0.5 => r#" text-anchor="middle""#,
            1.0 => r#" text-anchor="end""#,
            _ => "",
        };
        // A clip on the element itself would be turned with it.
        let is_wrapped = !is_upright && !clip.is_empty();
        if is_wrapped {
            let _ = write!(self.text, "<g{clip}>");
        }
        let (y, turn) = if is_upright {
            (number(words.origin.y), String::new())
        } else {
            let (c, s) = words.direction;
            let [a, b, minus_b] = [c, s, -s].map(fine_number);
            let (x, y) = (number(words.origin.x), number(words.origin.y));
            (
                "0".into(),
                format!(r#" transform="matrix({a} {b} {minus_b} {a} {x} {y})""#),
            )
        };
        let _ = write!(
            self.text,
            r#"<text x="{x}" y="{y}"{turn}{anchor}{} {paint} font-family="{}" font-size="{}" font-weight="{}" text-rendering="geometricPrecision" xml:space="preserve">{}</text>"#,
            if is_wrapped { "" } else { clip },
            escaped(&font.family),
            number(words.size),
            font.weight,
            escaped(scene.words(words)),
        );
        self.text.push_str(if is_wrapped { "</g>\n" } else { "\n" });
    }

    fn outlines(&mut self, scene: &Scene, words: &Words, font: &Font, paint: &str, clip: &str) {
        let (c, s) = words.direction;
        let mut path = String::new();
        for (letter, origin, _) in cells(scene, words, font, &TextPlacement::EXACT) {
            let Some(glyph) = font.glyph(letter) else {
                continue;
            };
            let place = |p: Point| {
                let (x, y) = (p.x * words.size, p.y * words.size);
                Point::new(origin.x + x * c - y * s, origin.y + x * s + y * c)
            };
            for contour in &glyph.contours {
                outline_path(contour, place, &mut path);
            }
        }
        if !path.is_empty() {
            let _ = writeln!(self.text, r#"<path {paint}{clip} d="{path}"/>"#);
        }
    }
}

fn gradient(k: usize, shade: &Shade, document: &mut String) {
    let [x1, y1] = [shade.from().x, shade.from().y].map(number);
    let [x2, y2] = [shade.to().x, shade.to().y].map(number);
    let _ = writeln!(
        document,
        r#"<linearGradient id="s{k}" gradientUnits="userSpaceOnUse" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}">"#
    );
    for stop in shade.stops() {
        let (offset, color) = (fine_number(stop.offset), hex(stop.color));
        let opacity = if stop.opacity < 1.0 {
            format!(r#" stop-opacity="{}""#, number(stop.opacity))
        } else {
            String::new()
        };
        let _ = writeln!(
            document,
            r#"<stop offset="{offset}" stop-color="{color}"{opacity}/>"#
        );
    }
    document.push_str("</linearGradient>\n");
}

fn contour_path(contour: &[Point], path: &mut String) {
    let mut command = 'M';
    for p in contour
        .iter()
        .filter(|p| p.x.is_finite() && p.y.is_finite())
    {
        path.push(command);
        push_point(*p, path);
        command = 'L';
    }
    if command == 'L' {
        path.push('Z');
    }
}

fn outline_path(contour: &[Segment], place: impl Fn(Point) -> Point, path: &mut String) {
    let mut push = |command: char, points: &[Point]| {
        path.push(command);
        for (k, p) in points.iter().enumerate() {
            if k > 0 {
                path.push(' ');
            }
            push_point(place(*p), path);
        }
    };
    for segment in contour {
        match *segment {
            Segment::Move(p) => push('M', &[p]),
            Segment::Line(p) => push('L', &[p]),
            Segment::Quad(c, p) => push('Q', &[c, p]),
            Segment::Cubic(c, d, p) => push('C', &[c, d, p]),
        }
    }
    push('Z', &[]);
}

fn push_point(p: Point, path: &mut String) {
    path.push_str(&number(p.x));
    path.push(' ');
    path.push_str(&number(p.y));
}

/// At most four decimals, no trailing zeros, no minus zero.
fn number(v: f64) -> String {
    trimmed(format!("{v:.4}"))
}

/// At most seven decimals: four are too few for the sine of an angle that turns a long line.
fn fine_number(v: f64) -> String {
    trimmed(format!("{v:.7}"))
}

fn trimmed(mut text: String) -> String {
    let kept = text.trim_end_matches('0').trim_end_matches('.').len();
    text.truncate(kept);
    if text == "-0" { "0".into() } else { text }
}

fn hex(color: Rgb) -> String {
    let [r, g, b] = color.0;
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Text that XML 1.0 may hold: what it forbids is written as U+FFFD.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::scene::Layer;
    use crate::reference::text::FontId;

    fn fonts() -> Vec<(String, Font)> {
        vec![(
            "b".into(),
            Font::built_in("B612 Bold").expect("it is part of the tool"),
        )]
    }

    #[test]
    fn document_holds_layers_in_order_clips_and_placed_words() {
        let mut scene = Scene::default();
        let p = Point::new;
        scene.set_layer(Layer::Moving);
        scene.polygon(
            Rgb([255, 0, 16]),
            &[p(1.0, 2.0), p(30.123_456, 2.5), p(4.0, -0.000_01)],
        );
        scene.words_at(
            Rgb([255; 3]),
            FontId(0),
            10.0,
            p(2.0, 15.0),
            (1.0, 0.0),
            14.0,
            "<1",
        );
        scene.hold_last_words(1.0);
        scene.words_at(
            Rgb([255; 3]),
            FontId(0),
            2.0,
            p(10.0, 10.0),
            (0.0, 1.0),
            1.4,
            "N",
        );
        scene.set_layer(Layer::Background);
        scene.rectangle(
            Rgb([0, 0, 255]),
            Bounds {
                left: 5.0,
                top: 5.0,
                right: 6.5,
                bottom: 6.0,
            },
        );
        let area = Rect::new(0, 0, 20, 20);
        let text = svg(
            (20, 40),
            Rgb([0; 3]),
            &[(area, &scene)],
            &fonts(),
            TextAs::Words,
        );
        let end = number(2.0 + fonts()[0].1.line_advance("<1") * 10.0);
        let attributes =
            r#"font-weight="700" text-rendering="geometricPrecision" xml:space="preserve""#;
        assert_eq!(
            text,
            format!(
                r##"<svg xmlns="http://www.w3.org/2000/svg" width="20" height="40" viewBox="0 0 20 40">
<defs>
<clipPath id="c0"><rect x="0" y="0" width="20" height="20"/></clipPath>
</defs>
<rect width="20" height="40" fill="#000000"/>
<path fill="#0000ff" d="M5 5L6.5 5L6.5 6L5 6Z"/>
<path fill="#ff0010" clip-path="url(#c0)" d="M1 2L30.1235 2.5L4 0Z"/>
<text x="{end}" y="15" text-anchor="end" clip-path="url(#c0)" fill="#ffffff" font-family="B612" font-size="10" {attributes}>&lt;1</text>
<text x="0" y="0" transform="matrix(0 1 -1 0 10 10)" fill="#ffffff" font-family="B612" font-size="2" {attributes}>N</text>
</svg>
"##
            )
        );
    }

    #[test]
    fn shades_are_written_once_and_opacity_where_it_is() {
        let mut scene = Scene::default();
        let p = Point::new;
        let stop = |offset, color, opacity| crate::colour::Stop {
            offset,
            color: Rgb(color),
            opacity,
        };
        let stops = [stop(0.25, [0; 3], 1.0), stop(1.0, [255, 0, 0], 0.5)];
        scene.set_shade(Shade::new(p(1.0, 2.0), p(1.0, 9.5), &stops));
        scene.polygon(Rgb([0; 3]), &[p(1.0, 1.0), p(3.0, 1.0), p(1.0, 4.0)]);
        scene.set_opacity(0.3);
        scene.polygon(Rgb([0; 3]), &[p(2.0, 1.0), p(3.0, 1.0), p(1.0, 4.0)]);
        scene.set_shade(None);
        scene.polygon(Rgb([0; 3]), &[p(0.0, 1.0), p(3.0, 1.0), p(1.0, 4.0)]);
        let area = Rect::new(0, 0, 9, 9);
        let text = svg((9, 9), Rgb([0; 3]), &[(area, &scene)], &[], TextAs::Words);
        assert_eq!(
            text,
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9" viewBox="0 0 9 9">
<defs>
<linearGradient id="s0" gradientUnits="userSpaceOnUse" x1="1" y1="2" x2="1" y2="9.5">
<stop offset="0.25" stop-color="#000000"/>
<stop offset="1" stop-color="#ff0000" stop-opacity="0.5"/>
</linearGradient>
</defs>
<rect width="9" height="9" fill="#000000"/>
<path fill="url(#s0)" d="M1 1L3 1L1 4Z"/>
<path fill="url(#s0)" fill-opacity="0.3" d="M2 1L3 1L1 4Z"/>
<path fill="#000000" fill-opacity="0.3" d="M0 1L3 1L1 4Z"/>
</svg>
"##
        );
    }

    #[test]
    fn outlined_words_need_no_font() {
        let mut scene = Scene::default();
        scene.words_at(
            Rgb([255; 3]),
            FontId(0),
            10.0,
            Point::new(2.0, 15.0),
            (1.0, 0.0),
            14.0,
            "1 I",
        );
        let text = svg(
            (40, 40),
            Rgb([0; 3]),
            &[(Rect::new(0, 0, 40, 40), &scene)],
            &fonts(),
            TextAs::Outlines,
        );
        assert!(!text.contains("<text") && !text.contains("font"));
        assert_eq!(text.matches("<path").count(), 1);
        assert_eq!(text.matches('M').count(), text.matches('Z').count());
    }

    #[test]
    fn what_lies_outside_its_region_is_left_out() {
        let mut scene = Scene::default();
        scene.circle(Rgb([255; 3]), Point::new(50.0, 50.0), 5.0);
        let text = svg(
            (99, 99),
            Rgb([0; 3]),
            &[(Rect::new(0, 0, 40, 40), &scene)],
            &[],
            TextAs::Words,
        );
        assert!(!text.contains("<path"));
    }
}
