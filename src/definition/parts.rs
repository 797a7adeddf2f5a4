//! Parts: shapes with paint, placed on the page and moved by data. All that the reference draws is parts; the kinds of
//! symbol are shorthand for them.
//!
//! A part stands in the coordinates of the part that holds it; the outermost ones in display pixels from the top left
//! corner, y down. From its own shape to the page: `turned_deg`, then `at`, then each `motion` in order, then whatever
//! moves the part that holds it. A `clip` stands still while the part's own motions move it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::model::{
    Alerts, Align, ColorRule, Condition, FailureFlag, Liveness, Name, NumberFormat, Readout, Text,
    Unchecked,
};

/// A symbol written in parts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Parts {
    /// What the symbol is called in reports.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// In drawing order.
    #[schemars(extend("x-included" = "group"))]
    pub part: Vec<Part>,
}

/// A shape with paint, or a group of parts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// What it is called in reports.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// What is drawn; a part without one holds `part`s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shape: Option<Shape>,
    /// Colour that the outline is filled with; not filled when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fill: Option<Name>,
    /// Other colours of the filling by condition.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub color_rules: Vec<ColorRule>,
    /// Colours along a line that the outline is filled with, instead of `fill`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shade: Option<Shading>,
    /// The line along the outline, over the filling; none when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stroke: Option<Stroke>,
    /// How much covers what lies below, 0 to 1.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub opacity: f64,
    /// Where the shape's origin stands, px; `[0, 0]` when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<[f64; 2]>,
    /// Angle by which the shape is turned about its origin, deg, clock-wise.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub turned_deg: f64,
    /// Whether words stay level however the part is turned; their place turns all the same.
    #[serde(default, skip_serializing_if = "is_false")]
    pub upright: bool,
    /// Nothing is drawn outside.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clip: Option<Area>,
    /// How data move it, in order. A part whose motion has no valid value is not drawn.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub motion: Vec<Motion>,
    /// Drawn while all of these hold.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub when: Vec<Condition>,
    /// Whether of the members only the first is drawn whose `when` holds.
    #[serde(default, skip_serializing_if = "is_false")]
    pub choose: bool,
    /// Drawn once for every value of a scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeat: Option<Repeat>,
    /// What stands in its place while data are invalid.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failure: Option<Failure>,
    /// Members, in drawing order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub part: Vec<Part>,
}

/// Draws nothing; `opacity` 1.
impl Default for Part {
    fn default() -> Self {
        Self {
            id: Default::default(),
            shape: Default::default(),
            fill: Default::default(),
            color_rules: Default::default(),
            shade: Default::default(),
            stroke: Default::default(),
            opacity: 1.0,
            at: Default::default(),
            turned_deg: Default::default(),
            upright: Default::default(),
            clip: Default::default(),
            motion: Default::default(),
            when: Default::default(),
            choose: Default::default(),
            repeat: Default::default(),
            failure: Default::default(),
            part: Default::default(),
        }
    }
}

fn one() -> f64 {
    1.0
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands over references"
)]
fn is_one(v: &f64) -> bool {
    *v == 1.0
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands over references"
)]
fn is_zero(v: &f64) -> bool {
    *v == 0.0
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands over references"
)]
fn is_false(v: &bool) -> bool {
    !*v
}

/// What a part draws.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// A rectangle: `[x, y, width, height]`, px.
    Rect([f64; 4]),
    /// A rectangle with round corners.
    Rounded(Rounded),
    /// A circle.
    Circle(Circle),
    /// A stretch of a ring.
    Arc(Arc),
    /// A closed outline of straight lines.
    Polygon(Vec<[f64; 2]>),
    /// An open run of straight lines; it has a stroke and no filling.
    Line(Vec<[f64; 2]>),
    /// An outline as SVG path data (SVG 2, 9.3).
    Path(String),
    /// The border of a rectangle, inside it.
    Frame(Frame),
    /// What an `[artwork]` file draws, in its own colours: `"panel"`, or one element of it by its id: `"panel#needle"`.
    Artwork(String),
    /// Fixed words.
    Words(Text),
    /// A value as digits or text.
    Readout(Readout),
    /// Digits that roll from one to the next.
    Drum(Drum),
    /// The number of a repeated mark.
    Label(Label),
    /// Alerts in fixed slots.
    Slots(#[schemars(extend("x-included" = "page"))] Box<Alerts>),
    /// A mark that changes all the time.
    Blink(#[schemars(extend("x-included" = "page"))] Liveness),
    /// What cannot be predicted: nothing is drawn, and it is left out of all checks.
    Unchecked(#[schemars(extend("x-included" = "page"))] Unchecked),
}

/// A rectangle with round corners.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rounded {
    /// `[x, y, width, height]`, px.
    pub rect: [f64; 4],
    /// Radius of the corners, px.
    pub radius: f64,
}

/// A circle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Circle {
    /// Middle, px.
    pub center: [f64; 2],
    /// Radius, px.
    pub radius: f64,
}

/// A stretch of a ring between two radii.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Arc {
    /// Middle, px.
    pub center: [f64; 2],
    /// Inner and outer radius, px.
    pub radii: [f64; 2],
    /// Where it begins, deg, clock-wise from up.
    pub from_deg: f64,
    /// Where it ends, deg, clock-wise from up; up to 360 beyond `from_deg`.
    pub to_deg: f64,
}

/// The border of a rectangle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Frame {
    /// Outer edge, `[x, y, width, height]`, px.
    pub rect: [f64; 4],
    /// Width of the border, px.
    pub width: f64,
}

/// Colours along a straight line (a linear gradient): across the line they stay the same, beyond its ends the first and the
/// last go on. The line moves with the part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shading {
    /// Where the line begins, px.
    pub from: [f64; 2],
    /// Where it ends, px.
    pub to: [f64; 2],
    /// Colours along it, in order.
    pub stop: Vec<ShadeStop>,
}

/// A colour at a place of a shading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ShadeStop {
    /// Where it stands: 0 at the start of the line, 1 at its end.
    pub offset: f64,
    /// Its colour.
    pub color: Name,
    /// Its opacity, 0 to 1.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub opacity: f64,
}

/// A line along an outline.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stroke {
    /// Colour.
    pub color: Name,
    /// Width, px; half of it to each side of the outline.
    pub width: f64,
    /// Ends of open outlines and dashes.
    #[serde(default)]
    pub cap: Cap,
    /// Corners.
    #[serde(default)]
    pub join: Join,
    /// Lengths of dashes and gaps in turn, px; not dashed when empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub dash: Vec<f64>,
}

/// End of a line (SVG 2, 13.5.5).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Cap {
    /// Cut at the end.
    #[default]
    Butt,
    /// Half a circle beyond the end.
    Round,
    /// Half the width beyond the end.
    Square,
}

/// Corner of a line (SVG 2, 13.5.6).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Join {
    /// A point, up to four times as long as the line is wide.
    #[default]
    Miter,
    /// Round.
    Round,
    /// Cut.
    Bevel,
}

/// An area that something is cut to. It has no dents.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Area {
    /// `[x, y, width, height]`, px.
    Rect([f64; 4]),
    /// A rectangle with round corners.
    Rounded(Rounded),
    /// A circle.
    Circle(Circle),
    /// Corners of an outline without dents, px.
    Polygon(Vec<[f64; 2]>),
}

/// How data move a part: exactly one of `turn_about`, `carry_about`, `shift_along`, `strip` and `sector`.
///
/// The driving value is `channel` (stopped at `range`, by `period` if any), less `minus` (stopped at
/// `minus_range`), plus `offset`; brought to half a `period` on either side of 0 where there is a `minus` and a `period`; divided by `over`.
/// `scale` or `per_unit` makes degrees, pixels or a share of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Motion {
    /// What the motion is called in reports: `pointer`, `pitch`, ...; `turn`, `shift` or `length` when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The channel that drives it.
    pub channel: Name,
    /// A channel that is taken off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minus: Option<Name>,
    /// `channel` is a pitch angle and this the bank angle with it: beyond 90 deg the pitch is counted back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub with_bank: Option<Name>,
    /// `channel` is a bank angle and this the pitch angle with it: beyond 90 deg of pitch it stands on its head.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub with_pitch: Option<Name>,
    /// Added, in the channel's unit.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub offset: f64,
    /// A channel that the value is divided by, as the distance that a plot is set to show: `scale` then says where shares of
    /// it stand. Its range lies above 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over: Option<Name>,
    /// Values beyond are shown like its ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range: Option<[f64; 2]>,
    /// Values of `minus` beyond are taken like its ends; those of `range` when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minus_range: Option<[f64; 2]>,
    /// Values this far apart look the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub period: Option<f64>,
    /// Value and place (deg, px or share), values rising; straight between, and the ends stay beyond.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub scale: Vec<[f64; 2]>,
    /// Place for a unit; 1 when neither this nor `scale` is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per_unit: Option<f64>,
    /// Turned about this point by as many degrees, clock-wise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn_about: Option<[f64; 2]>,
    /// Carried round this point by as many degrees, clock-wise, and not turned itself: from where the motions before have put
    /// its origin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carry_about: Option<[f64; 2]>,
    /// Moved by as many times this, px.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shift_along: Option<[f64; 2]>,
    /// Shown from a place to the place of the value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strip: Option<Strip>,
    /// Shown from an angle to the angle of the value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sector: Option<Sector>,
}

/// A strip that a value fills: places are shares of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Strip {
    /// `[x, y, width, height]`, px.
    pub rect: [f64; 4],
    /// Which way the places 0 to 1 run.
    pub direction: super::model::Direction,
    /// Place that the filled length starts from.
    #[serde(default)]
    pub from: f64,
}

/// A sector that a value fills: places are degrees, clock-wise from up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sector {
    /// Its middle, px.
    pub about: [f64; 2],
    /// Angle that it starts from, deg.
    pub from_deg: f64,
}

/// Values of a scale that a part is drawn at.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Repeat {
    /// Units between two of them: multiples of it, counted from 0.
    pub step: f64,
    /// Lowest value; no end when absent, and the part's clip says what is drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<f64>,
    /// Highest value; no end when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
    /// Multiples of this are left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub except_step: Option<f64>,
    /// Values that are left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub except: Vec<f64>,
    /// Labels are brought into `0..period`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub period: Option<f64>,
    /// Labels count on in the turn of `period` that this channel is in: where a turn is 1,000 and the value 4,730, the mark at
    /// 200 reads 4,200. Nothing is drawn while it has no value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn_of: Option<Name>,
    /// Drawn only while value and motions together have moved it so far along, px (deg where it is turned): marks that come
    /// and go whole. Only the part's own motions count, not those of a part that holds it. All are drawn when absent, and a
    /// clip cuts them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<[f64; 2]>,
    /// Turned about this point by the place of the value, deg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn_about: Option<[f64; 2]>,
    /// Moved by the place of the value times this, px.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shift_along: Option<[f64; 2]>,
    /// Value and place, values rising.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub scale: Vec<[f64; 2]>,
    /// Place for a unit; 1 when neither this nor `scale` is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per_unit: Option<f64>,
}

/// The number of a repeated mark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Label {
    /// Position: x as `align` says, y the middle of the capitals, px.
    pub position: [f64; 2],
    /// How the words sit on the position.
    #[serde(default)]
    pub align: Align,
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// Colour.
    pub color: Name,
    /// How the number is written.
    #[serde(default)]
    pub format: NumberFormat,
    /// Whether the sign is left out.
    #[serde(default, skip_serializing_if = "is_false")]
    pub absolute: bool,
    /// Words instead of numbers.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub named: Vec<NamedValue>,
}

impl Label {
    /// A number of a scale, centred at a position.
    #[must_use]
    pub fn new(labels: &super::model::Labels, position: [f64; 2], color: &Name) -> Self {
        Self {
            position,
            align: Align::Center,
            font: labels.font.clone(),
            size: labels.size,
            color: color.clone(),
            format: labels.format.clone(),
            absolute: false,
            named: Vec::new(),
        }
    }
}

/// Words that stand for a value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NamedValue {
    /// The value.
    pub at: f64,
    /// The words.
    pub text: String,
}

/// Digits that roll from one to the next, each place carrying into the one before it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Drum {
    /// The channel that it shows.
    pub channel: Name,
    /// Right end of the last place, middle of the capitals of a digit that stands still, px.
    pub position: [f64; 2],
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// Colour.
    pub color: Name,
    /// Distance between places, px; the widest digit's advance when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pitch: Option<f64>,
    /// Distance between a digit and the next one on the drum, px.
    pub row_height: f64,
    /// Number of places.
    pub places: u8,
    /// Units that the last place counts: 1, 10, 20, ...
    #[serde(default = "one")]
    pub unit: f64,
    /// Digits of the last place: 1, or 2 where it counts 20, 40, ...
    #[serde(default = "one_digit")]
    pub last_digits: u8,
    /// Whether zeros stand before the first digit that counts.
    #[serde(default, skip_serializing_if = "is_false")]
    pub leading_zeros: bool,
    /// What stands here when the data are invalid; at the position, aligned right.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub invalid_text: String,
}

fn one_digit() -> u8 {
    1
}

/// What stands in place of a part while data are invalid.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Failure {
    /// Channels that are looked at.
    pub channels: Vec<Name>,
    /// Whether all of them must be invalid; any of them when absent.
    #[serde(default, skip_serializing_if = "is_false")]
    pub all: bool,
    /// What is put up.
    pub flag: FailureFlag,
}
