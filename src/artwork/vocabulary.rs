//! Which elements, attributes and values of SVG are drawn.
//!
//! Everything else is refused: what a reader of SVG does not know it leaves out or takes for something else, and then
//! the picture is wrong without a word. Values are held to what the SVG reader can read, since that, too, falls back in
//! silence.

use std::str::FromStr;

use svgtypes::{
    Color, Length, LengthListParser, NumberListParser, Paint, PathParser, PointsParser, Transform,
};

/// What may stand as the value of an attribute or property.
#[derive(Clone, Copy, Debug)]
pub(super) enum Value {
    /// Anything: it does not change what is drawn.
    Any,
    /// One of these words. The first is what everybody else takes it for as well when it is left out.
    OneOf(&'static [&'static str]),
    /// Colour, `none`, `currentColor`, or a linear gradient of the same file.
    Paint,
    /// Colour or `currentColor`.
    Color,
    /// Number, or share in %, from 0 to 1.
    Share,
    /// Number.
    Number,
    /// Number with or without a unit.
    Length,
    /// Number with or without a unit, or one of these words.
    LengthOr(&'static str),
    /// Several lengths.
    Lengths,
    /// `none` or lengths, none of them below 0.
    Dashes,
    /// Family names; the first must be at hand.
    Family,
    /// The order of fill and stroke.
    PaintOrder,
    /// `none` or a clip path of the same file.
    ClipPath,
    /// An element of the same file: `#id`.
    Reference,
    /// Outline of a path.
    PathData,
    /// Corners.
    Points,
    /// Transformations.
    Transform,
    /// Four numbers.
    ViewBox,
    /// How the view box is brought into the picture.
    AspectRatio,
}

/// What is wrong with a value: what was expected.
pub(super) type Expected = String;

impl Value {
    /// Whether `text` is such a value, as far as it can be told without the rest of the file.
    pub fn check(self, text: &str) -> Result<(), Expected> {
        let text = text.trim();
        let is_length = |t: &str| Length::from_str(t).is_ok_and(|l| l.number.is_finite());
        let is_good = match self {
            Self::Any | Self::Family => true,
            _ if text == "inherit" => true,
            Self::OneOf(words) => words.contains(&text),
            Self::Paint => match Paint::from_str(text) {
                Ok(Paint::FuncIRI(_, fallback)) => {
                    matches!(fallback, None | Some(svgtypes::PaintFallback::None))
                }
                Ok(Paint::ContextFill | Paint::ContextStroke) | Err(_) => false,
                Ok(_) => true,
            },
            Self::Color => text == "currentColor" || Color::from_str(text).is_ok(),
            Self::Share => share(text).is_some_and(|v| (0.0..=1.0).contains(&v)),
            Self::Number => f64::from_str(text).is_ok_and(f64::is_finite),
            Self::Length => is_length(text),
            Self::LengthOr(word) => text == word || is_length(text),
            Self::Lengths => LengthListParser::from(text).all(|l| l.is_ok()),
            Self::Dashes => {
                let is_dash =
                    |l: Result<Length, _>| l.is_ok_and(|l| l.number >= 0.0 && l.number.is_finite());
                text == "none" || LengthListParser::from(text).all(is_dash)
            }
            Self::PaintOrder => text
                .split_whitespace()
                .all(|w| ["normal", "fill", "stroke", "markers"].contains(&w)),
            Self::ClipPath => text == "none" || local_url(text).is_some(),
            Self::Reference => text.len() > 1 && text.starts_with('#'),
            Self::PathData => PathParser::from(text).all(|s| s.is_ok()),
            Self::Points => {
                // The parser ends at the first thing that it cannot read.
                let numbers: Result<Vec<f64>, _> = NumberListParser::from(text).collect();
                numbers.is_ok_and(|n| n.len() == 2 * PointsParser::from(text).count())
            }
            Self::Transform => Transform::from_str(text).is_ok(),
            Self::ViewBox => svgtypes::ViewBox::from_str(text).is_ok(),
            Self::AspectRatio => svgtypes::AspectRatio::from_str(text).is_ok(),
        };
        if is_good {
            Ok(())
        } else {
            Err(self.expected())
        }
    }

    fn expected(self) -> Expected {
        match self {
            Self::Any => "anything".into(),
            Self::OneOf(words) => words.join(", "),
            Self::Paint => {
                "a colour, none, or url(#id) of a linear gradient in this file, without a fallback"
                    .into()
            }
            Self::Color => "a colour".into(),
            Self::Share => "a number from 0 to 1".into(),
            Self::Number => "a number".into(),
            Self::Length => "a length such as 12 or 3.5mm".into(),
            Self::LengthOr(word) => format!("{word} or a length such as 12"),
            Self::Lengths => "lengths such as 12 or 3.5mm".into(),
            Self::Dashes => "none or lengths that are not negative".into(),
            Self::Family => "the name of a font's family".into(),
            Self::PaintOrder => "normal, or fill and stroke in their order".into(),
            Self::ClipPath => "none, or url(#id) of a clipPath in this file".into(),
            Self::Reference => "#id of an element in this file".into(),
            Self::PathData => "path data".into(),
            Self::Points => "pairs of numbers".into(),
            Self::Transform => "matrix, translate, scale, rotate, skewX, skewY".into(),
            Self::ViewBox => "four numbers: left, top, width and height".into(),
            Self::AspectRatio => "an alignment such as xMidYMid meet".into(),
        }
    }
}

fn share(text: &str) -> Option<f64> {
    match text.strip_suffix('%') {
        Some(percent) => f64::from_str(percent).ok().map(|v| v / 100.0),
        None => f64::from_str(text).ok(),
    }
}

/// The id in `url(#id)`, quoted or not.
pub(super) fn local_url(text: &str) -> Option<&str> {
    let inner = text.trim().strip_prefix("url(")?.strip_suffix(')')?.trim();
    let inner = inner
        .strip_prefix('"')
        .and_then(|t| t.strip_suffix('"'))
        .or_else(|| inner.strip_prefix('\'').and_then(|t| t.strip_suffix('\'')))
        .unwrap_or(inner);
    let id = inner.trim().strip_prefix('#')?;
    (!id.is_empty()).then_some(id)
}

/// How an element is treated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// The outermost element.
    Root,
    /// Holds drawn elements.
    Group,
    /// Holds what is drawn only where it is referred to.
    Definitions,
    /// An outline.
    Shape,
    /// A line of text.
    Text,
    /// A part of a line of text.
    Span,
    /// Another element once more.
    Use,
    /// A linear gradient.
    Gradient,
    /// A colour of a gradient.
    Stop,
    /// A clip path.
    Clip,
    /// A style sheet.
    Style,
    /// For people and programs to read: it and what it holds is passed over.
    Remark,
}

/// How the SVG element `tag` is treated, or what to do about it.
pub(super) fn element(tag: &str) -> Result<Kind, &'static str> {
    Ok(match tag {
        "svg" => Kind::Root,
        "g" => Kind::Group,
        "defs" => Kind::Definitions,
        "path" | "rect" | "circle" | "ellipse" | "line" | "polyline" | "polygon" => Kind::Shape,
        "text" => Kind::Text,
        "tspan" => Kind::Span,
        "use" => Kind::Use,
        "linearGradient" => Kind::Gradient,
        "stop" => Kind::Stop,
        "clipPath" => Kind::Clip,
        "style" => Kind::Style,
        "title" | "desc" | "metadata" => Kind::Remark,
        "filter" => return Err("filters are not drawn: draw what they make as shapes"),
        "mask" => return Err("masks are not drawn: use a clipPath, or opacity"),
        "pattern" | "hatch" => {
            return Err(
                "patterns are not drawn: draw their copies, with <use> where there are many",
            );
        }
        "radialGradient" | "meshgradient" => {
            return Err(
                "of gradients, only linear ones are drawn: use a linearGradient or flat colours",
            );
        }
        "image" => return Err("raster pictures are not drawn: trace it to shapes"),
        "marker" => return Err("markers are not drawn: convert them to shapes"),
        "symbol" => return Err("symbols are not drawn: use a <g> in <defs>"),
        "switch" | "a" | "view" => return Err("it is not drawn: use a <g>"),
        "textPath" => return Err("text on a path is not drawn: convert it to shapes"),
        "script" | "handler" => return Err("scripts are not run: remove it"),
        "foreignObject" => return Err("what is not SVG is not drawn: remove it"),
        "animate" | "animateTransform" | "animateMotion" | "animateColor" | "set" | "discard" => {
            return Err(
                "nothing in a file moves by itself: remove it, and give the part a motion in the definition",
            );
        }
        _ => {
            return Err(
                "it is not drawn: use shapes, text, groups, use, linear gradients and clip paths",
            );
        }
    })
}

const NORMAL: Value = Value::OneOf(&["normal"]);
const NONE: Value = Value::OneOf(&["none"]);
const FILL_RULE: Value = Value::OneOf(&["nonzero", "evenodd"]);

/// Properties, as attributes, in `style` and in style sheets.
const PROPERTIES: &[(&str, Value)] = &[
    (
        "alignment-baseline",
        Value::OneOf(&["auto", "baseline", "alphabetic"]),
    ),
    ("baseline-shift", Value::OneOf(&["baseline", "0"])),
    ("clip-path", Value::ClipPath),
    ("clip-rule", FILL_RULE),
    ("color", Value::Color),
    ("color-interpolation", Value::OneOf(&["sRGB", "auto"])),
    ("color-interpolation-filters", Value::Any),
    ("color-rendering", Value::Any),
    ("cursor", Value::Any),
    ("direction", Value::OneOf(&["ltr"])),
    ("display", Value::OneOf(&["inline", "block", "none"])),
    ("dominant-baseline", Value::OneOf(&["auto", "alphabetic"])),
    ("enable-background", Value::Any),
    ("fill", Value::Paint),
    ("fill-opacity", Value::Share),
    ("fill-rule", FILL_RULE),
    ("filter", NONE),
    ("font-family", Value::Family),
    ("font-feature-settings", NORMAL),
    ("font-kerning", Value::OneOf(&["auto", "normal", "none"])),
    ("font-size", Value::Length),
    ("font-stretch", NORMAL),
    ("font-style", Value::OneOf(&["normal", "italic", "oblique"])),
    ("font-variant", NORMAL),
    ("font-variant-alternates", NORMAL),
    ("font-variant-caps", NORMAL),
    ("font-variant-east-asian", NORMAL),
    ("font-variant-ligatures", NORMAL),
    ("font-variant-numeric", NORMAL),
    ("font-variant-position", NORMAL),
    ("font-variation-settings", NORMAL),
    (
        "font-weight",
        Value::OneOf(&[
            "normal", "bold", "100", "200", "300", "400", "500", "600", "700", "800", "900",
        ]),
    ),
    ("image-rendering", Value::Any),
    ("isolation", Value::OneOf(&["auto", "isolate"])),
    ("letter-spacing", Value::LengthOr("normal")),
    ("line-height", Value::Any),
    ("marker", NONE),
    ("marker-end", NONE),
    ("marker-mid", NONE),
    ("marker-start", NONE),
    ("mask", NONE),
    ("mix-blend-mode", NORMAL),
    ("opacity", Value::Share),
    ("overflow", Value::OneOf(&["visible", "hidden"])),
    ("paint-order", Value::PaintOrder),
    ("pointer-events", Value::Any),
    (
        "shape-rendering",
        Value::OneOf(&["auto", "geometricPrecision"]),
    ),
    ("solid-color", Value::Any),
    ("solid-opacity", Value::Any),
    ("stop-color", Value::Color),
    ("stop-opacity", Value::Share),
    ("stroke", Value::Paint),
    ("stroke-dasharray", Value::Dashes),
    ("stroke-dashoffset", Value::Length),
    ("stroke-linecap", Value::OneOf(&["butt", "round", "square"])),
    (
        "stroke-linejoin",
        Value::OneOf(&["miter", "round", "bevel"]),
    ),
    ("stroke-miterlimit", Value::Number),
    ("stroke-opacity", Value::Share),
    ("stroke-width", Value::Length),
    ("text-align", Value::Any),
    ("text-anchor", Value::OneOf(&["start", "middle", "end"])),
    ("text-decoration", NONE),
    ("text-decoration-line", NONE),
    ("text-indent", Value::Any),
    (
        "text-rendering",
        Value::OneOf(&["auto", "geometricPrecision", "optimizeLegibility"]),
    ),
    ("text-transform", NONE),
    ("unicode-bidi", NORMAL),
    ("vector-effect", NONE),
    (
        "visibility",
        Value::OneOf(&["visible", "hidden", "collapse"]),
    ),
    ("white-space", NORMAL),
    ("word-spacing", Value::LengthOr("normal")),
    (
        "writing-mode",
        Value::OneOf(&["lr-tb", "lr", "horizontal-tb"]),
    ),
];

/// Attributes that are no properties, beside `id`, `class`, `style` and references.
const ATTRIBUTES: &[(&str, Value)] = &[
    ("baseProfile", Value::Any),
    (
        "clipPathUnits",
        Value::OneOf(&["userSpaceOnUse", "objectBoundingBox"]),
    ),
    ("contentScriptType", Value::Any),
    ("contentStyleType", Value::OneOf(&["text/css"])),
    ("cx", Value::Length),
    ("cy", Value::Length),
    ("d", Value::PathData),
    ("dx", Value::Lengths),
    ("dy", Value::Lengths),
    ("focusable", Value::Any),
    ("gradientTransform", Value::Transform),
    (
        "gradientUnits",
        Value::OneOf(&["objectBoundingBox", "userSpaceOnUse"]),
    ),
    ("height", Value::Length),
    ("lang", Value::Any),
    ("offset", Value::Share),
    ("points", Value::Points),
    ("preserveAspectRatio", Value::AspectRatio),
    ("r", Value::Length),
    ("role", Value::Any),
    ("rx", Value::Length),
    ("ry", Value::Length),
    ("spreadMethod", Value::OneOf(&["pad"])),
    ("tabindex", Value::Any),
    ("transform", Value::Transform),
    ("type", Value::OneOf(&["text/css"])),
    ("version", Value::Any),
    ("viewBox", Value::ViewBox),
    ("width", Value::Length),
    ("x", Value::Lengths),
    ("x1", Value::Length),
    ("x2", Value::Length),
    ("y", Value::Lengths),
    ("y1", Value::Length),
    ("y2", Value::Length),
    ("zoomAndPan", Value::Any),
];

/// What the property `name` may be; `None` where it is not drawn.
pub(super) fn property(name: &str) -> Option<Value> {
    // What one program keeps for itself.
    if name.starts_with("-inkscape-") {
        return Some(Value::Any);
    }
    let found = PROPERTIES.binary_search_by(|(n, _)| (*n).cmp(name)).ok()?;
    Some(PROPERTIES[found].1)
}

/// What the attribute `name` may be; `None` where it is not drawn.
pub(super) fn attribute(name: &str) -> Option<Value> {
    if name.starts_with("data-") || name.starts_with("aria-") {
        return Some(Value::Any);
    }
    match ATTRIBUTES.binary_search_by(|(n, _)| (*n).cmp(name)) {
        Ok(found) => Some(ATTRIBUTES[found].1),
        Err(_) => property(name),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_in_order() {
        for table in [PROPERTIES, ATTRIBUTES] {
            assert!(table.is_sorted_by(|a, b| a.0 < b.0));
        }
    }

    #[test]
    fn values_that_would_be_taken_for_something_else_are_told() {
        let is_good =
            |name: &str, text: &str| attribute(name).expect("it is drawn").check(text).is_ok();
        for (name, good, bad) in [
            ("fill", "rgb(10%, 20%, 30%)", "oklch(40% 0.2 0)"),
            ("fill", "url(#a)", "url(#a) red"),
            ("fill", "none", "context-fill"),
            ("opacity", "50%", "1.5"),
            ("width", "12mm", "calc(1px + 2px)"),
            ("stroke-dasharray", "1 2,3", "1 -2"),
            ("stroke-linejoin", "round", "arcs"),
            ("points", "1,2 3,4", "1,2 3"),
            ("points", "1,2 3,4", "1,2 3,x"),
            ("d", "M1 2L3 4Z", "M1 2L3"),
            ("transform", "rotate(3 4 5)", "rotate(3deg)"),
            ("vector-effect", "none", "non-scaling-stroke"),
            ("clip-path", "url('#a')", "circle(3px)"),
            ("clip-path", "url(#a)", "url(other.svg#a)"),
            ("x", "1 2", "a"),
        ] {
            assert!(is_good(name, good), "{name}={good}");
            assert!(!is_good(name, bad), "{name}={bad}");
        }
    }
}
