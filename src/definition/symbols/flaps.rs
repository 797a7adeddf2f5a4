//! Flaps and slats at a wing's profile: the flap turns down about its hinge, the slat slides forward, detents are marked.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, driven, failing, filled, line, shown};
use crate::definition::check::Check;
use crate::definition::check::limits::{ANGLE, FONT_SIZE, LENGTH, POSITION, PROPORTION, SIZE, VALUE, WIDTH};
use crate::definition::lint::Lint;
use crate::definition::model::{Align, ColorRule, FailureFlag, Name, Region, Text};
use crate::definition::parts::{Motion, Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;
use crate::reference::scale::place;

proportions! {
    /// Proportions of flaps at a wing's profile.
    FlapsProportions {
        /// Length of the marks against `mark_radius`.
        mark_length: 0.25, PROPORTION;
        /// Distance of the words' left ends from the hinge against `mark_radius`.
        label_radius: 1.35, PROPORTION;
    }
}

/// Flaps and slats at a wing's profile.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Flaps {
    /// The flap's hinge, px; the wing lies to its left, the flap to its right.
    #[schemars(extend("x-included" = "point"))]
    pub hinge: [f64; 2],
    /// Chord of the wing between slat and flap, px.
    pub chord: f64,
    /// Thickness of wing and flap at the hinge, px.
    pub thickness: f64,
    /// Length of the flap, px.
    pub flap_length: f64,
    /// Channel of the flap's position.
    pub channel: Name,
    /// Positions and angles of the flap, deg down; at least two, positions rising.
    pub breakpoints: Vec<[f64; 2]>,
    /// The slat; none when absent.
    pub slat: Option<Slat>,
    /// Positions that are marked.
    #[serde(default)]
    pub detents: Vec<Detent>,
    /// Distance of the marks' inner ends from the hinge, px.
    pub mark_radius: f64,
    /// Colour of wing, marks and numbers.
    pub color: Name,
    /// Colour of flap and slat when no rule holds.
    pub moving: Name,
    /// Other colours of flap and slat by condition.
    #[serde(default)]
    pub color_rules: Vec<ColorRule>,
    /// Width of the marks, px.
    #[serde(default = "two")]
    pub line_width: f64,
    /// Proportions of marks and words.
    #[serde(default)]
    pub proportions: FlapsProportions,
    /// Font of the numbers.
    pub font: Name,
    /// Size of the numbers (em), px.
    pub size: f64,
    /// What is shown when a position is invalid.
    pub failure: FailureFlag,
}

fn two() -> f64 {
    2.0
}

/// The slat at the wing's leading edge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Slat {
    /// Channel of its position.
    pub channel: Name,
    /// Positions and how far it is out, px; at least two, positions rising.
    pub breakpoints: Vec<[f64; 2]>,
    /// Its length, px.
    pub length: f64,
}

/// A marked position of the flap.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Detent {
    /// The position.
    pub at: f64,
    /// Words beside the mark.
    pub text: String,
}

impl Kind for Flaps {
    fn name(&self) -> &'static str {
        "flaps"
    }

    fn parts(&self) -> Vec<Part> {
        let ([x, y], half) = (self.hinge, self.thickness / 2.0);
        let front = x - self.chord;
        let wing = vec![[x, y - half], [x, y + half], [front, y + half], [front, y - half]];
        let mut parts = vec![filled(Shape::Polygon(wing), &self.color)];
        for detent in &self.detents {
            let angle = place(&self.breakpoints, detent.at);
            let radius = self.mark_radius;
            let outer = 1.0 + self.proportions.mark_length;
            let mark = line([[radius, 0.0], [outer * radius, 0.0]], &self.color, self.line_width);
            parts.push(Part { at: Some(self.hinge), turned_deg: angle, ..mark });
            let words = Text {
                text: detent.text.clone(),
                position: [self.proportions.label_radius * radius, 0.0],
                align: Align::Left,
                font: self.font.clone(),
                size: self.size,
                color: self.color.clone(),
            };
            let words = shown(Shape::Words(words));
            parts.push(Part { at: Some(self.hinge), turned_deg: angle, upright: true, ..words });
        }
        let flap = vec![[x, y - half], [x + self.flap_length, y], [x, y + half]];
        let mut moving = vec![self.moved(flap).moved(Motion {
            scale: self.breakpoints.clone(),
            turn_about: Some(self.hinge),
            ..driven("flap", &self.channel)
        })];
        let mut channels = vec![self.channel.clone()];
        if let Some(slat) = &self.slat {
            let outline = vec![[front, y - half], [front, y + half], [front - slat.length, y]];
            moving.push(self.moved(outline).moved(Motion {
                scale: slat.breakpoints.clone(),
                shift_along: Some([-1.0, 0.0]),
                ..driven("slat", &slat.channel)
            }));
            channels.push(slat.channel.clone());
        }
        parts.push(failing(moving, channels, &self.failure));
        parts
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.moves("channel", &self.channel);
        if let Some(slat) = &self.slat {
            w.key("slat", |w| w.moves("channel", &slat.channel));
        }
        w.color("color", &self.color);
        w.color("moving", &self.moving);
        w.rules(&self.color_rules);
        w.font(&self.font, self.size);
        w.each("detents", &self.detents, |w, d| w.words("text", &self.font, d.text.clone()));
        w.failure(&self.failure);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.pair(&at.key("hinge"), self.hinge, &POSITION);
        c.number(&at.key("chord"), self.chord, &SIZE);
        c.number(&at.key("thickness"), self.thickness, &SIZE);
        c.number(&at.key("flap_length"), self.flap_length, &SIZE);
        c.number(&at.key("mark_radius"), self.mark_radius, &SIZE);
        c.number(&at.key("line_width"), self.line_width, &WIDTH);
        c.number(&at.key("size"), self.size, &FONT_SIZE);
        c.breakpoints(at, &self.breakpoints, &ANGLE, true);
        for (k, detent) in self.detents.iter().enumerate() {
            c.number(&at.key("detents").index(k).key("at"), detent.at, &VALUE);
        }
        if let Some(slat) = &self.slat {
            c.breakpoints(&at.key("slat"), &slat.breakpoints, &LENGTH, true);
            c.number(&at.key("slat").key("length"), slat.length, &SIZE);
        }
        c.rules(at, &self.color_rules);
        self.proportions.check(at, c);
        c.failure(at, &self.failure);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.line(r, self.name(), at, self.line_width);
    }
}

impl Flaps {
    fn moved(&self, outline: Vec<[f64; 2]>) -> Part {
        let color_rules = self.color_rules.clone();
        Part { color_rules, ..filled(Shape::Polygon(outline), &self.moving) }
    }
}
