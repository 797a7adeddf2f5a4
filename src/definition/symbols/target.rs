//! Something seen at a bearing and a distance from the own ship, as on a traffic plot: an icon by its type, how much higher it
//! is, and whether it climbs.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, driven, filled, line, shown};
use crate::definition::check::Check;
use crate::definition::check::limits::{FONT_SIZE, LENGTH, POSITION, PROPORTION, SIZE, VALUE, WIDTH};
use crate::definition::lint::Lint;
use crate::definition::model::{Align, Condition, Name, NumberFormat, Operand, Readout, Region};
use crate::definition::parts::{Area, Circle, Motion, Part, Shape, Stroke};
use crate::definition::place::At;
use crate::definition::uses::Walk;

proportions! {
    /// Proportions of a target.
    TargetProportions {
        /// Distance of the middle of the height's digits from that of the icon, against the icon's size.
        tag_distance: 1.2, PROPORTION;
        /// Distance of the arrow from the middle of the icon, against the icon's size.
        arrow_distance: 0.9, PROPORTION;
        /// Length of the arrow against the icon's size.
        arrow_length: 1.0, PROPORTION;
        /// Width of the arrow's head against the icon's size.
        arrow_head: 0.4, PROPORTION;
    }
}

/// Something seen at a bearing and a distance from the own ship; not drawn while it has neither.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// What it is called in reports, as `target {slot}`.
    pub name: Option<String>,
    /// Where the own ship stands, px.
    #[schemars(extend("x-included" = "point"))]
    pub center: [f64; 2],
    /// Distance on the picture at which what is as far away as `scale` says stands, px.
    pub radius: f64,
    /// Channel of its bearing from ahead, deg clock-wise.
    pub bearing: Name,
    /// Channel of its distance.
    pub distance: Name,
    /// Channel of the distance that `radius` stands for, in the unit of `distance`; its range lies above 0.
    pub scale: Name,
    /// What becomes of it when it is farther away than `scale`.
    #[serde(default)]
    pub beyond: Beyond,
    /// Its looks: the first whose conditions hold, nothing when none do.
    pub icon: Vec<Icon>,
    /// Size of the icon, px.
    pub size: f64,
    /// Width of lines, px.
    #[serde(default = "two")]
    pub line_width: f64,
    /// How much higher it is, in digits; none when absent.
    pub height: Option<Height>,
    /// Whether it climbs or descends, by an arrow; none when absent.
    pub trend: Option<Trend>,
    /// Proportions of digits and arrow.
    #[serde(default)]
    pub proportions: TargetProportions,
}

fn two() -> f64 {
    2.0
}

/// What becomes of a target that is farther away than its plot shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Beyond {
    /// It is not shown.
    #[default]
    Hidden,
    /// Its icon stands at the rim, cut in half by it, where it says the bearing alone.
    Rim,
}

/// A look of a target.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Icon {
    /// All of these must hold; always when empty.
    #[serde(default)]
    pub when: Vec<Condition>,
    /// Its shape.
    pub shape: IconShape,
    /// Whether it is filled; an outline otherwise.
    #[serde(default)]
    pub filled: bool,
    /// Colour, of digits and arrow too.
    pub color: Name,
}

/// Shape of an icon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum IconShape {
    /// A square on its corner.
    Diamond,
    /// A circle.
    Circle,
    /// A square.
    Square,
    /// A triangle that points up.
    Triangle,
}

/// How much higher a target is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Height {
    /// Channel of the difference, positive when it is higher. It stands above the icon when that is so, else below.
    pub channel: Name,
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// How it is written: common practice is hundreds of feet in two digits with their sign.
    #[serde(default = "hundreds")]
    pub format: NumberFormat,
    /// Largest permitted difference of the shown number beyond its own rounding; the region's tolerance when absent.
    pub tolerance: Option<f64>,
}

fn hundreds() -> NumberFormat {
    NumberFormat { scale: 0.01, digits: 2, plus: true, ..NumberFormat::default() }
}

/// Whether a target climbs or descends.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Trend {
    /// Channel of its vertical speed.
    pub channel: Name,
    /// Vertical speed from which on it climbs or descends. Common practice is 500 ft/min.
    pub at_least: f64,
}

impl Kind for Target {
    fn name(&self) -> &'static str {
        "target"
    }

    fn called(&self) -> Option<&str> {
        self.name.as_deref()
    }

    fn parts(&self) -> Vec<Part> {
        let distance = Motion {
            over: Some(self.scale.clone()),
            scale: vec![[0.0, 0.0], [1.0, self.radius]],
            shift_along: Some([0.0, -1.0]),
            ..driven("distance", &self.distance)
        };
        let bearing = Motion {
            period: Some(360.0),
            carry_about: Some(self.center),
            ..driven("bearing", &self.bearing)
        };
        let within = Condition {
            channel: Some(self.distance.clone()),
            at_most: Some(Operand::Channel { channel: self.scale.clone() }),
            ..Condition::default()
        };
        let rim = Area::Circle(Circle { center: self.center, radius: self.radius });
        let stands = |look: &dyn Fn(&Icon) -> Vec<Part>| {
            let looks = self.icon.iter().map(|icon| Part { when: icon.when.clone(), part: look(icon), ..Part::default() });
            let target = Part { at: Some(self.center), choose: true, part: looks.collect(), ..Part::default() };
            target.moved(distance.clone()).moved(bearing.clone())
        };
        let shown = stands(&|icon| self.look(icon)).while_(vec![within]);
        if self.beyond == Beyond::Hidden {
            return vec![shown];
        }
        let parked = Part { clip: Some(rim), ..stands(&|icon| vec![self.icon(icon)]) };
        vec![Part { choose: true, part: vec![shown, parked], ..Part::default() }]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.moves("bearing", &self.bearing);
        w.moves("distance", &self.distance);
        w.compares("scale", &self.scale);
        w.each("icon", &self.icon, |w, icon| {
            w.conditions(&icon.when);
            w.color("color", &icon.color);
        });
        if let Some(h) = &self.height {
            w.key("height", |w| {
                w.writes("channel", &h.channel, &h.font, &h.format);
                w.font(&h.font, h.size);
            });
        }
        if let Some(t) = &self.trend {
            w.key("trend", |w| w.compares("channel", &t.channel));
        }
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.pair(&at.key("center"), self.center, &POSITION);
        c.number(&at.key("radius"), self.radius, &SIZE);
        c.number(&at.key("size"), self.size, &SIZE);
        c.number(&at.key("line_width"), self.line_width, &WIDTH);
        c.divides(&at.key("scale"), &self.scale);
        if self.icon.is_empty() {
            c.say(&at.key("icon"), "a target needs at least one icon");
        }
        for (k, icon) in self.icon.iter().enumerate() {
            if !icon.when.is_empty() {
                c.conditions(&at.key("icon").index(k), &icon.when);
            }
        }
        if let Some(h) = &self.height {
            let at = at.key("height");
            c.number(&at.key("size"), h.size, &FONT_SIZE);
            c.format(&at.key("format"), &h.format);
            c.number_if(&at.key("tolerance"), h.tolerance, &LENGTH);
        }
        if let Some(t) = &self.trend {
            c.number(&at.key("trend").key("at_least"), t.at_least, &VALUE);
        }
        self.proportions.check(at, c);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.line(r, self.name(), at, self.line_width);
    }
}

impl Target {
    /// A look about the origin.
    fn look(&self, icon: &Icon) -> Vec<Part> {
        let mut parts = vec![self.icon(icon)];
        parts.extend(self.height.as_ref().map(|h| self.tag(h, &icon.color)));
        if let Some(trend) = &self.trend {
            parts.extend([1.0, -1.0].map(|sign| self.arrow(trend, &icon.color, sign)));
        }
        parts
    }

    fn icon(&self, icon: &Icon) -> Part {
        // An outline stays within the size.
        let inset = if icon.filled { 0.0 } else { self.line_width / 2.0 };
        let half = self.size / 2.0 - inset;
        let shape = match icon.shape {
            IconShape::Diamond => {
                // The line along a slope of 45 deg lies sqrt(2) times as far from the corner.
                let half = self.size / 2.0 - inset * std::f64::consts::SQRT_2;
                Shape::Polygon(vec![[0.0, -half], [half, 0.0], [0.0, half], [-half, 0.0]])
            }
            IconShape::Circle => Shape::Circle(Circle { center: [0.0, 0.0], radius: half }),
            IconShape::Square => Shape::Rect([-half, -half, 2.0 * half, 2.0 * half]),
            IconShape::Triangle => Shape::Polygon(vec![[0.0, -half], [half, half], [-half, half]]),
        };
        if icon.filled {
            return filled(shape, &icon.color);
        }
        let stroke = Stroke {
            color: icon.color.clone(),
            width: self.line_width,
            cap: Default::default(),
            join: Default::default(),
            dash: Vec::new(),
        };
        Part { stroke: Some(stroke), ..shown(shape) }
    }

    /// The height above the icon or below it.
    fn tag(&self, h: &Height, color: &Name) -> Part {
        let far = self.proportions.tag_distance * self.size;
        let digits = |y: f64| {
            shown(Shape::Readout(Readout {
                channel: h.channel.clone(),
                position: [0.0, y],
                align: Align::Center,
                font: h.font.clone(),
                size: h.size,
                color: color.clone(),
                color_rules: Vec::new(),
                format: h.format.clone(),
                invalid_text: String::new(),
                invalid_color: None,
                tolerance: h.tolerance,
            }))
        };
        let above = digits(-far).while_(vec![Condition::at_least(&h.channel, 0.0)]);
        Part { choose: true, part: vec![above, digits(far)], ..Part::default() }
    }

    /// The arrow up (`sign` 1) or down (-1), to the right of the icon.
    fn arrow(&self, trend: &Trend, color: &Name, sign: f64) -> Part {
        let p = &self.proportions;
        let [x, half, head] = [p.arrow_distance, p.arrow_length / 2.0, p.arrow_head].map(|v| v * self.size);
        let tip = -sign * half;
        let point = vec![[x, tip], [x + head / 2.0, tip + sign * head], [x - head / 2.0, tip + sign * head]];
        let shaft = line([[x, -tip], [x, tip + sign * head / 2.0]], color, self.line_width);
        let bound = Some(Operand::Number(sign * trend.at_least));
        let rate = Condition { channel: Some(trend.channel.clone()), ..Condition::default() };
        let when = if sign > 0.0 { Condition { at_least: bound, ..rate } } else { Condition { at_most: bound, ..rate } };
        Part { part: vec![shaft, filled(Shape::Polygon(point), color)], ..Part::default() }.while_(vec![when])
    }
}
