//! Percentage of the available power, where 100 is what may be used continuously: ranges above it may be used for a limited
//! time each, and an arc of the range's colour runs down with the time that is left.
//!
//! How long a range has been in use is no business of the drawing: channels say what is left, as in
//! `300.0 - seconds_since(power > 100.0)`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::dial::{Dial, DialPointer};
use super::{Kind, driven, filled, shown};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::check::symbols::length;
use crate::definition::lint::{Lint, ends};
use crate::definition::model::{
    Align, Band, ColorRule, Condition, FailureFlag, Name, NumberFormat, Operand, Readout, Region, Ticks,
    default_band_width, default_line_width,
};
use crate::definition::parts::{Arc, Motion, Part, Sector, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

/// The power that may be used continuously, %.
const CONTINUOUS: f64 = 100.0;

/// Percentage of the available power, with ranges that may be used for a limited time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PowerGauge {
    /// Middle of the scale, px.
    #[schemars(extend("x-included" = "point"))]
    pub center: [f64; 2],
    /// Radius of the scale's line, px.
    pub radius: f64,
    /// Values and the angles where they stand, deg; at least two, values rising; straight between.
    pub breakpoints: Vec<[f64; 2]>,
    /// Width of the scale's line, px; 0 draws none.
    #[serde(default = "default_line_width")]
    pub line_width: f64,
    /// Marks and numbers; marks reach inwards from the line.
    pub ticks: Ticks,
    /// Colour of the band up to 100; none when absent.
    pub continuous: Option<Name>,
    /// Ranges above 100, from the lowest on.
    pub ranges: Vec<PowerRange>,
    /// Width of the bands, px.
    #[serde(default = "default_band_width")]
    pub band_width: f64,
    /// The pointer; its channel is the power, %. Without rules of its own it takes the colour of the range that it is in.
    pub pointer: DialPointer,
    /// How the time that is left is shown.
    pub time: TimeLeft,
    /// The power as digits.
    pub readout: Option<Readout>,
    /// What is shown when the power is invalid.
    pub failure: FailureFlag,
}

/// A range that may be used for a limited time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PowerRange {
    /// Its upper end, %; it begins where the one before ends, the first one at 100. The last one goes on beyond its end.
    pub to: f64,
    /// How long it may be used, s. Five minutes, two minutes and thirty seconds are usual.
    pub limit_s: f64,
    /// Channel of the time that is left, s.
    pub left: Name,
    /// Colour of its band and of the time that is left.
    pub color: Name,
}

/// An arc that runs down with the time that is left of the range that the power is in: whole at the range's limit, nothing
/// at 0. Below the ranges nothing is drawn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TimeLeft {
    /// Inner and outer radius of the arc, px.
    pub radii: [f64; 2],
    /// Where the arc ends that is left, deg, clock-wise from up.
    pub from_deg: f64,
    /// Where it begins to run down, deg, clock-wise from up; up to 360 beyond `from_deg`.
    pub to_deg: f64,
    /// Colour of what has run down; not drawn when absent.
    pub groove: Option<Name>,
    /// The seconds as digits.
    pub digits: Option<TimeDigits>,
}

/// The time that is left as digits, in the range's colour.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TimeDigits {
    /// Position: x as `align` says, y the middle of the capitals, px.
    #[schemars(extend("x-included" = "point"))]
    pub position: [f64; 2],
    /// How the digits sit on the position.
    #[serde(default)]
    pub align: Align,
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// How the seconds are written.
    #[serde(default)]
    pub format: NumberFormat,
}

impl Kind for PowerGauge {
    fn name(&self) -> &'static str {
        "power_gauge"
    }

    fn parts(&self) -> Vec<Part> {
        let mut parts: Vec<Part> = self.time.groove.iter().map(|c| filled(self.arc(), c)).collect();
        parts.extend(self.dial().parts());
        parts.extend(self.in_use().map(|(range, when)| self.left(range, when)));
        parts
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        let low = self.breakpoints.first().map_or(0.0, |b| b[0]);
        w.ticks(&self.ticks, low);
        w.color_if("continuous", self.continuous.as_ref());
        w.each("ranges", &self.ranges, |w, r| {
            w.moves("left", &r.left);
            w.color("color", &r.color);
        });
        w.key("pointer", |w| {
            w.moves("channel", &self.pointer.channel);
            w.color("color", &self.pointer.color);
            w.rules(&self.pointer.color_rules);
        });
        w.key("time", |w| {
            w.color_if("groove", self.time.groove.as_ref());
            if let Some(digits) = &self.time.digits {
                w.key("digits", |w| {
                    w.font(&digits.font, digits.size);
                    w.words("font", &digits.font, written(&digits.format));
                });
            }
        });
        w.readout_at("readout", self.readout.as_ref());
        w.failure(&self.failure);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.pair(&at.key("center"), self.center, &POSITION);
        c.number(&at.key("radius"), self.radius, &SIZE);
        c.breakpoints(at, &self.breakpoints, &ANGLE, true);
        c.number(&at.key("line_width"), self.line_width, &WIDTH_OR_NONE);
        c.ticks(at, &self.ticks, length(&self.breakpoints));
        c.number(&at.key("band_width"), self.band_width, &WIDTH);
        if self.ranges.is_empty() {
            c.say(&at.key("ranges"), "a power gauge needs at least one range above 100; without one it is a dial");
        }
        let mut from = CONTINUOUS;
        for (k, range) in self.ranges.iter().enumerate() {
            let at = at.key("ranges").index(k);
            if c.number(&at.key("to"), range.to, &VALUE) && range.to <= from {
                let message = format!("range ends at {}: it must end above {from}, where it begins", range.to);
                c.say(&at.key("to"), message);
            }
            c.number(&at.key("limit_s"), range.limit_s, &TIME_LIMIT);
            from = range.to;
        }
        c.dial_pointer(&at.key("pointer"), &self.pointer);
        let time = at.key("time");
        let TimeLeft { radii: [inner, outer], from_deg, to_deg, .. } = self.time;
        c.number(&time.key("radii").index(0), inner, &LENGTH);
        c.number(&time.key("radii").index(1), outer, &SIZE);
        if inner >= outer {
            c.say(&time.key("radii"), "the inner radius is not below the outer one");
        }
        c.number(&time.key("from_deg"), from_deg, &ANGLE);
        c.number(&time.key("to_deg"), to_deg, &ANGLE);
        if to_deg <= from_deg || to_deg - from_deg > 360.0 {
            c.say(&time.key("to_deg"), "an arc ends up to 360 deg after it begins");
        }
        if let Some(digits) = &self.time.digits {
            let at = time.key("digits");
            c.pair(&at.key("position"), digits.position, &POSITION);
            c.number(&at.key("size"), digits.size, &FONT_SIZE);
            c.format(&at.key("format"), &digits.format);
        }
        if let Some(r) = &self.readout {
            c.readout(&at.key("readout"), r);
        }
        c.failure(at, &self.failure);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.line(r, self.name(), at, self.pointer.width);
        lint.marks(r, self.name(), at, ends(&self.breakpoints), &self.bands(), &[]);
        lint.readout(r, self.readout.as_ref(), &at.key("readout"));
    }
}

impl PowerGauge {
    /// The ranges, from the lowest on, and what holds while the power is in one.
    fn in_use(&self) -> impl DoubleEndedIterator<Item = (&PowerRange, Condition)> {
        let power = &self.pointer.channel;
        let last = self.ranges.len().saturating_sub(1);
        self.ranges.iter().enumerate().map(move |(k, range)| {
            let from = if k == 0 { CONTINUOUS } else { self.ranges[k - 1].to };
            let when = Condition {
                channel: Some(power.clone()),
                above: Some(Operand::Number(from)),
                at_most: (k < last).then_some(Operand::Number(range.to)),
                ..Condition::default()
            };
            (range, when)
        })
    }

    fn bands(&self) -> Vec<Band> {
        let low = self.breakpoints.first().map_or(0.0, |b| b[0]);
        let lower = self.continuous.iter().map(|color| Band {
            from: low,
            to: CONTINUOUS,
            color: color.clone(),
        });
        let mut from = CONTINUOUS;
        let upper = self.ranges.iter().map(|range| {
            let band = Band { from, to: range.to, color: range.color.clone() };
            from = range.to;
            band
        });
        lower.chain(upper).collect()
    }

    /// Scale, pointer and readout.
    fn dial(&self) -> Dial {
        let mut pointer = self.pointer.clone();
        if pointer.color_rules.is_empty() {
            let rule = |(range, when): (&PowerRange, Condition)| ColorRule {
                when: vec![when],
                color: range.color.clone(),
            };
            pointer.color_rules = self.in_use().map(rule).collect();
        }
        Dial {
            center: self.center,
            radius: self.radius,
            breakpoints: self.breakpoints.clone(),
            line_width: self.line_width,
            ticks: self.ticks.clone(),
            bands: self.bands(),
            band_width: self.band_width,
            limits: Vec::new(),
            pointers: vec![pointer],
            rolling: false,
            turned_labels: false,
            proportions: Default::default(),
            readout: self.readout.clone(),
            failure: self.failure.clone(),
        }
    }

    fn arc(&self) -> Shape {
        Shape::Arc(Arc {
            center: self.center,
            radii: self.time.radii,
            from_deg: self.time.from_deg,
            to_deg: self.time.to_deg,
        })
    }

    /// What is left of a range, while the power is in it.
    fn left(&self, range: &PowerRange, when: Condition) -> Part {
        let TimeLeft { from_deg, to_deg, .. } = self.time;
        let arc = filled(self.arc(), &range.color).moved(Motion {
            scale: vec![[0.0, from_deg], [range.limit_s, to_deg]],
            sector: Some(Sector { about: self.center, from_deg }),
            ..driven("time left", &range.left)
        });
        let digits = self.time.digits.iter().map(|digits| {
            let readout = Readout {
                channel: range.left.clone(),
                position: digits.position,
                align: digits.align,
                font: digits.font.clone(),
                size: digits.size,
                color: range.color.clone(),
                color_rules: Vec::new(),
                format: digits.format.clone(),
                invalid_text: String::new(),
                invalid_color: None,
                tolerance: None,
            };
            shown(Shape::Readout(readout)).called("seconds left")
        });
        let part = std::iter::once(arc).chain(digits).collect();
        super::group(part).while_(vec![when])
    }
}

/// Everything that the digits of a time can be.
fn written(format: &NumberFormat) -> String {
    crate::definition::uses::written(format, None)
}
