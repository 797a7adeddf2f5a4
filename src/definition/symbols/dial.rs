//! Round scale with pointers.
//!
//! Marks, bands and the scale's line never move. Multiples of the step from zero get marks, not steps from the lowest
//! value. When the two ends of the scale stand at the same angle (a whole turn), the highest value gets no mark, since the
//! lowest has it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scale::marks;
use super::{Kind, driven, failing, filled, line, shown};
use crate::definition::model::{Band, ColorRule, FailureFlag, Labels, LimitMark, Name, Readout, Region, Ticks, default_band_width, default_line_width};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::check::symbols::length;
use crate::definition::lint::{Lint, ends};
use crate::definition::parts::{Arc, Failure, Label, Motion, Part, Repeat, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;
use crate::reference::scale::{half_turn, place, span};

proportions! {
    /// Proportions of a dial.
    DialProportions {
        /// How much of the bands' width lies inside the scale's line: 1 all of it, 0 none.
        bands_inside: 1.0, SHARE;
        /// Width of a limit mark against that of the ticks.
        limit_width: 1.5, PROPORTION;
        /// How far a limit mark reaches inside the scale's line, against the longer of a long mark and the bands inside.
        limit_inside: 1.0, PROPORTION_OR_NONE;
        /// How far a limit mark reaches outside the scale's line, against the length of a long mark.
        limit_outside: 0.4, PROPORTION_OR_NONE;
        /// Length of a needle's point against its width.
        needle_point: 1.5, PROPORTION_OR_NONE;
        /// Width of a needle at its tail against that where its point begins.
        needle_tail: 1.0, PROPORTION_OR_NONE;
    }
}

/// Round scale with pointers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Dial {
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
    /// Coloured bands; inside the line where `proportions` say nothing else.
    #[serde(default)]
    pub bands: Vec<Band>,
    /// Width of the bands, px.
    #[serde(default = "default_band_width")]
    pub band_width: f64,
    /// Marked values.
    #[serde(default)]
    pub limits: Vec<LimitMark>,
    /// Pointers, in drawing order.
    pub pointers: Vec<DialPointer>,
    /// Whether the scale is one whole turn that stands for its span over and over: the pointers go on from turn to turn, and
    /// the numbers are those of the turn that the first pointer's value is in.
    #[serde(default)]
    pub rolling: bool,
    /// Whether the numbers are turned to where they stand; upright when absent.
    #[serde(default)]
    pub turned_labels: bool,
    /// Proportions of needles, bands and limit marks.
    #[serde(default)]
    pub proportions: DialProportions,
    /// A value as digits within the dial.
    pub readout: Option<Readout>,
    /// What is shown when a pointer's data are invalid.
    pub failure: FailureFlag,
}

/// One pointer of a dial. It is not drawn when its channel is invalid and stops at the ends of the scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DialPointer {
    /// The channel that it shows.
    pub channel: Name,
    /// Shape.
    #[serde(default)]
    pub shape: PointerShape,
    /// Distance of the tip from the middle, px.
    pub tip_radius: f64,
    /// Distance of the tail from the middle, px (of the base for a triangle).
    pub tail_radius: f64,
    /// Width at the base, px.
    pub width: f64,
    /// Colour when no rule holds.
    pub color: Name,
    /// Other colours by condition.
    #[serde(default)]
    pub color_rules: Vec<ColorRule>,
}

/// Shape of a pointer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PointerShape {
    /// A bar with a pointed end.
    #[default]
    Needle,
    /// A triangle with its tip at `tip_radius` and its base at `tail_radius`.
    Triangle,
    /// A plain bar.
    Line,
}

impl Kind for Dial {
    fn name(&self) -> &'static str {
        "dial"
    }

    fn parts(&self) -> Vec<Part> {
        let mut parts = Vec::new();
        let mut moving = Vec::new();
        if let Some([low, high]) = span(&self.breakpoints) {
            moving.extend(self.scale(low, high, &mut parts));
        }
        moving.extend(self.pointers.iter().map(|p| self.pointer(p)));
        moving.extend(
            self.readout
                .iter()
                .map(|r| shown(Shape::Readout(r.clone()))),
        );
        let channels: Vec<_> = self.pointers.iter().map(|p| p.channel.clone()).collect();
        let mut over = failing(moving, channels, &self.failure);
        over.failure = over.failure.map(|f| Failure { all: true, ..f });
        parts.push(over);
        parts
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        let low = match self.breakpoints.first() {
            Some([low, _]) if !self.rolling => *low,
            _ => f64::NEG_INFINITY,
        };
        w.ticks(&self.ticks, low);
        w.each("bands", &self.bands, |w, b| w.color("color", &b.color));
        w.each("limits", &self.limits, |w, l| w.color("color", &l.color));
        w.each("pointers", &self.pointers, |w, p| {
            w.moves("channel", &p.channel);
            w.color("color", &p.color);
            w.rules(&p.color_rules);
        });
        w.readout_at("readout", self.readout.as_ref());
        w.failure(&self.failure);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.pair(&at.key("center"), self.center, &POSITION);
        c.number(&at.key("radius"), self.radius, &SIZE);
        c.breakpoints(at, &self.breakpoints, &ANGLE, true);
        if self.rolling && self.turn().is_none() {
            c.say(
                &at.key("breakpoints"),
                "a rolling scale is one even turn from 0: two breakpoints, as in [[0, 0], [1000, 360]]",
            );
        }
        c.number(&at.key("line_width"), self.line_width, &WIDTH_OR_NONE);
        c.ticks(at, &self.ticks, length(&self.breakpoints));
        c.bands(at, &self.bands);
        c.number(&at.key("band_width"), self.band_width, &WIDTH);
        for (k, limit) in self.limits.iter().enumerate() {
            c.number(&at.key("limits").index(k).key("at"), limit.at, &VALUE);
        }
        if self.pointers.is_empty() {
            c.say(&at.key("pointers"), "a dial needs at least one pointer");
        }
        for (k, p) in self.pointers.iter().enumerate() {
            c.dial_pointer(&at.key("pointers").index(k), p);
        }
        if let Some(r) = &self.readout {
            c.readout(&at.key("readout"), r);
        }
        self.proportions.check(at, c);
        c.failure(at, &self.failure);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        for p in &self.pointers {
            lint.line(r, self.name(), at, p.width);
        }
        lint.marks(
            r,
            self.name(),
            at,
            ends(&self.breakpoints),
            &self.bands,
            &self.limits,
        );
        if let Some((span, _)) = self.turn().filter(|_| self.rolling) {
            let short = self.ticks.minor_step.into_iter();
            for step in short.chain([self.ticks.major_step]) {
                lint.seam(r, &at.key("breakpoints"), span, step);
            }
        }
        lint.readout(r, self.readout.as_ref(), &at.key("readout"));
    }
}

impl Check<'_> {
    pub(super) fn dial_pointer(&mut self, at: &At<'_>, p: &DialPointer) {
        self.number(&at.key("tip_radius"), p.tip_radius, &SIZE);
        self.number(&at.key("tail_radius"), p.tail_radius, &POSITION);
        self.number(&at.key("width"), p.width, &WIDTH);
        if p.tip_radius == p.tail_radius {
            self.say(
                &at.key("tail_radius"),
                "pointer has no length: tip and tail have the same radius",
            );
        }
        self.rules(at, &p.color_rules);
    }
}

impl Dial {
    /// The span of a rolling scale, and the angle that a unit of it takes, deg.
    fn turn(&self) -> Option<(f64, f64)> {
        match self.breakpoints[..] {
            [[low, first], [span, last]]
                if low == 0.0 && libm::fabs(libm::fabs(last - first) - 360.0) < 1e-6 =>
            {
                Some((span, (last - first) / span))
            }
            _ => None,
        }
    }

    /// Bands, line, marks, numbers, limit marks. Numbers that change from turn to turn are handed back.
    fn scale(&self, low: f64, high: f64, parts: &mut Vec<Part>) -> Option<Part> {
        let arc = |from: f64, to: f64, radii: [f64; 2]| {
            let (a, b) = (place(&self.breakpoints, from), place(&self.breakpoints, to));
            Shape::Arc(Arc {
                center: self.center,
                radii,
                from_deg: a.min(b),
                to_deg: a.max(b),
            })
        };
        for band in &self.bands {
            let inside = self.proportions.bands_inside;
            let radii = [
                self.radius - inside * self.band_width,
                self.radius + (1.0 - inside) * self.band_width,
            ];
            parts.push(filled(arc(band.from, band.to, radii), &band.color));
        }
        let ticks = &self.ticks;
        if self.line_width > 0.0 {
            let half = self.line_width / 2.0;
            parts.push(filled(
                arc(low, high, [self.radius - half, self.radius + half]),
                &ticks.color,
            ));
        }
        let turn = place(&self.breakpoints, high) - place(&self.breakpoints, low);
        let is_whole_turn = turn.abs() > 1.0 && half_turn(turn).abs() < 1e-6;
        let every = |step: f64| Repeat {
            step,
            from: Some(low),
            to: Some(high),
            except: if is_whole_turn {
                vec![high]
            } else {
                Vec::new()
            },
            turn_about: Some(self.center),
            scale: self.breakpoints.clone(),
            ..Repeat::default()
        };
        let [x, y] = self.center;
        let mark = |length: f64, width: f64| {
            line(
                [[x, y - (self.radius - length)], [x, y - self.radius]],
                &ticks.color,
                width,
            )
        };
        let label = |labels: &Labels| {
            let at = [x, y - (self.radius - labels.distance)];
            let label = shown(Shape::Label(Label::new(labels, at, &ticks.color)));
            Part {
                upright: !self.turned_labels,
                ..label
            }
        };
        parts.extend(marks(ticks, every, mark, label));
        let mut rolling = None;
        if self.rolling && ticks.labels.is_some() {
            rolling = parts.pop();
            let repeat = rolling.as_mut().and_then(|p| p.repeat.as_mut());
            if let (Some(repeat), Some(pointer)) = (repeat, self.pointers.first()) {
                repeat.period = Some(high);
                repeat.turn_of = Some(pointer.channel.clone());
            }
        }
        for limit in &self.limits {
            let own = self.proportions;
            let marks = ticks.major_length.max(own.bands_inside * self.band_width);
            let inner = self.radius - own.limit_inside * marks;
            let outer = self.radius + own.limit_outside * ticks.major_length;
            let mark = line(
                [[0.0, -inner], [0.0, -outer]],
                &limit.color,
                own.limit_width * ticks.width,
            );
            let turned_deg = place(&self.breakpoints, limit.at);
            parts.push(Part {
                at: Some(self.center),
                turned_deg,
                ..mark
            });
        }
        rolling
    }

    fn pointer(&self, p: &DialPointer) -> Part {
        let outline = Shape::Polygon(outline(p, self.proportions));
        let mut motion = Motion {
            turn_about: Some(self.center),
            ..driven("pointer", &p.channel)
        };
        match self.turn().filter(|_| self.rolling) {
            Some((_, per_unit)) => {
                motion.per_unit = Some(per_unit);
                motion.offset = place(&self.breakpoints, 0.0) / per_unit;
            }
            None => motion.scale.clone_from(&self.breakpoints),
        }
        let color_rules = p.color_rules.clone();
        Part {
            at: Some(self.center),
            color_rules,
            ..filled(outline, &p.color)
        }
        .moved(motion)
    }
}

/// Outline of a pointer that points up from the origin; the tip comes first.
fn outline(p: &DialPointer, own: DialProportions) -> Vec<[f64; 2]> {
    let (tip, tail, half) = (p.tip_radius, p.tail_radius, p.width / 2.0);
    match p.shape {
        PointerShape::Needle => {
            let point = (own.needle_point * p.width).min((tip - tail).abs());
            let shoulder = tip - point.copysign(tip - tail);
            vec![
                [0.0, -tip],
                [half, -shoulder],
                [half * own.needle_tail, -tail],
                [-half * own.needle_tail, -tail],
                [-half, -shoulder],
            ]
        }
        PointerShape::Triangle => vec![[0.0, -tip], [half, -tail], [-half, -tail]],
        PointerShape::Line => vec![[half, -tip], [half, -tail], [-half, -tail], [-half, -tip]],
    }
}
