//! Straight fixed scale with a filled length or a pointer.
//!
//! From `edge` outwards: bands, marks over them, numbers. The frame lies round `rect`, outside of it, so that the filled
//! length keeps all of its pixels. A limit mark runs from its outer end across `rect`; the part in `rect` lies on top of
//! the filled length.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scale::{Lane, marks};
use super::{Kind, driven, failing, filled, rect, shown};
use crate::definition::model::{Band, ColorRule, Direction, Edge, FailureFlag, Labels, LimitMark, Name, Region, Ticks, default_band_width};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::check::symbols::length;
use crate::definition::lint::{Lint, ends};
use crate::definition::parts::{Frame, Label, Motion, Part, Repeat, Shape, Strip};
use crate::definition::place::At;
use crate::definition::uses::Walk;
use crate::reference::scale::{place, span};

proportions! {
    /// Proportions of a bar.
    BarProportions {
        /// Width of the frame round `rect`, px.
        frame_width: 1.0, WIDTH;
        /// Width of a limit mark, px.
        limit_width: 3.0, WIDTH;
        /// How far a limit mark reaches beyond bands and long marks, px.
        limit_outside: 2.0, LENGTH;
        /// How far a limit mark reaches into `rect` from `edge`, against its depth.
        limit_inside: 1.0, SHARE;
        /// Width of a pointer along the scale against the depth of `rect`.
        pointer_width: 1.0, PROPORTION;
    }
}

/// Straight fixed scale with a filled length or a pointer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Bar {
    /// Area of the filled length, `[x, y, width, height]`, px.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// The channel that it shows.
    pub channel: Name,
    /// Which way values grow on the screen.
    pub direction: Direction,
    /// Values and where they stand along `rect`, 0 to 1 in `direction`; at least two, values rising.
    pub breakpoints: Vec<[f64; 2]>,
    /// How the value is shown.
    #[serde(default)]
    pub style: BarStyle,
    /// Value that a filled length starts from; the lowest when absent.
    pub origin: Option<f64>,
    /// Colour when no rule holds.
    pub color: Name,
    /// Other colours by condition.
    #[serde(default)]
    pub color_rules: Vec<ColorRule>,
    /// Colour of the frame round `rect`; no frame when absent.
    pub frame: Option<Name>,
    /// Colour of the empty part; that of the canvas when absent.
    pub background: Option<Name>,
    /// Marks and numbers, outwards from `edge`.
    pub ticks: Option<Ticks>,
    /// Edge of `rect` that marks, bands and pointer stand on.
    pub edge: Edge,
    /// Coloured bands, outside `edge`.
    #[serde(default)]
    pub bands: Vec<Band>,
    /// Width of the bands, px.
    #[serde(default = "default_band_width")]
    pub band_width: f64,
    /// Marked values.
    #[serde(default)]
    pub limits: Vec<LimitMark>,
    /// Proportions of frame, limit marks and pointer.
    #[serde(default)]
    pub proportions: BarProportions,
    /// What is shown when the data are invalid.
    pub failure: FailureFlag,
}

/// How a bar shows its value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum BarStyle {
    /// A filled length from the origin.
    #[default]
    Fill,
    /// A triangle inside `rect`, its tip on `edge`.
    Pointer,
}

impl Kind for Bar {
    fn name(&self) -> &'static str {
        "bar"
    }

    fn parts(&self) -> Vec<Part> {
        let lane = Lane::new(self.rect, self.direction, self.edge);
        let area = rect(self.rect);
        let mut parts = Vec::new();
        parts.extend(
            self.background
                .as_ref()
                .map(|c| filled(Shape::Rect(area), c)),
        );
        if let Some(color) = &self.frame {
            let w = self.proportions.frame_width;
            let [x, y, width, height] = area;
            let outer = [x - w, y - w, width + 2.0 * w, height + 2.0 * w];
            parts.push(filled(
                Shape::Frame(Frame {
                    rect: outer,
                    width: w,
                }),
                color,
            ));
        }
        for band in &self.bands {
            let ends = [self.along(&lane, band.from), self.along(&lane, band.to)];
            parts.push(filled(
                Shape::Rect(lane.area(ends, [0.0, -self.band_width])),
                &band.color,
            ));
        }
        if let Some(ticks) = &self.ticks {
            self.marks(ticks, &lane, &mut parts);
        }
        let limit = |at: f64, inwards: [f64; 2]| {
            Shape::Rect(lane.mark(self.along(&lane, at), self.proportions.limit_width, inwards))
        };
        for l in &self.limits {
            parts.push(filled(limit(l.at, [0.0, -self.limit_length()]), &l.color));
        }
        let mut over = vec![self.mark_of_value(&lane)];
        let inside = self.proportions.limit_inside * lane.depth;
        if inside > 0.0 {
            let across = |l: &LimitMark| filled(limit(l.at, [0.0, inside]), &l.color);
            over.extend(self.limits.iter().map(across));
        }
        parts.push(failing(over, vec![self.channel.clone()], &self.failure));
        parts
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.moves("channel", &self.channel);
        w.color("color", &self.color);
        w.rules(&self.color_rules);
        w.color_if("frame", self.frame.as_ref());
        w.color_if("background", self.background.as_ref());
        if let Some(ticks) = &self.ticks {
            let low = self.breakpoints.first().map_or(0.0, |p| p[0]);
            w.ticks(ticks, low);
        }
        w.each("bands", &self.bands, |w, x| w.color("color", &x.color));
        w.each("limits", &self.limits, |w, l| w.color("color", &l.color));
        w.failure(&self.failure);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.rect(&at.key("rect"), self.rect);
        c.edge(at, self.direction, self.edge);
        c.breakpoints(at, &self.breakpoints, &FRACTION, false);
        if let (Some(origin), [first, .., last]) = (self.origin, &self.breakpoints[..])
            && (origin < first[0] || origin > last[0])
        {
            let message = format!(
                "origin {origin} lies outside the scale, {} to {}",
                first[0], last[0]
            );
            c.say(&at.key("origin"), message);
        }
        c.rules(at, &self.color_rules);
        if let Some(ticks) = &self.ticks {
            c.ticks(at, ticks, length(&self.breakpoints));
        }
        c.bands(at, &self.bands);
        c.number(&at.key("band_width"), self.band_width, &WIDTH);
        for (k, limit) in self.limits.iter().enumerate() {
            c.number(&at.key("limits").index(k).key("at"), limit.at, &VALUE);
        }
        self.proportions.check(at, c);
        c.failure(at, &self.failure);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.marks(
            r,
            self.name(),
            at,
            ends(&self.breakpoints),
            &self.bands,
            &self.limits,
        );
    }
}

impl Bar {
    /// Place of `v` along the scale, display px; it stops at the ends of the scale.
    fn along(&self, lane: &Lane, v: f64) -> f64 {
        self.along_share(lane, place(&self.breakpoints, v))
    }

    fn along_share(&self, lane: &Lane, share: f64) -> f64 {
        if lane.growth > 0.0 {
            lane.start + share * (lane.end - lane.start)
        } else {
            lane.end - share * (lane.end - lane.start)
        }
    }

    fn limit_length(&self) -> f64 {
        let bands = if self.bands.is_empty() {
            0.0
        } else {
            self.band_width
        };
        bands.max(self.ticks.as_ref().map_or(0.0, |t| t.major_length)) + self.proportions.limit_outside
    }

    /// The filled length or the pointer.
    fn mark_of_value(&self, lane: &Lane) -> Part {
        let driven = Motion {
            scale: self.breakpoints.clone(),
            ..driven("length", &self.channel)
        };
        let color_rules = self.color_rules.clone();
        match self.style {
            BarStyle::Fill => {
                let area = rect(self.rect);
                let lowest = span(&self.breakpoints).map_or(0.0, |s| s[0]);
                let from = place(&self.breakpoints, self.origin.unwrap_or(lowest));
                let strip = Strip {
                    rect: area,
                    direction: self.direction,
                    from,
                };
                let fill = Part {
                    color_rules,
                    ..filled(Shape::Rect(area), &self.color)
                };
                fill.moved(Motion {
                    strip: Some(strip),
                    ..driven
                })
            }
            BarStyle::Pointer => {
                let half = lane.depth / 2.0 * self.proportions.pointer_width;
                let zero = self.along_share(lane, 0.0);
                let corners = vec![
                    lane.at(zero, 0.0),
                    lane.at(zero - half, lane.depth),
                    lane.at(zero + half, lane.depth),
                ];
                let [x, y] = lane.along();
                let way = (lane.end - lane.start) * lane.growth;
                let pointer = Part {
                    color_rules,
                    ..filled(Shape::Polygon(corners), &self.color)
                };
                pointer.moved(Motion {
                    shift_along: Some([x * way, y * way]),
                    ..driven
                })
            }
        }
    }

    fn marks(&self, ticks: &Ticks, lane: &Lane, parts: &mut Vec<Part>) {
        let Some([low, high]) = span(&self.breakpoints) else {
            return;
        };
        let zero = self.along_share(lane, 0.0);
        let [x, y] = lane.along();
        let way = (lane.end - lane.start) * lane.growth;
        let every = |step: f64| Repeat {
            step,
            from: Some(low),
            to: Some(high),
            shift_along: Some([x * way, y * way]),
            scale: self.breakpoints.clone(),
            ..Repeat::default()
        };
        let mark = |length: f64, width: f64| {
            filled(
                Shape::Rect(lane.mark(zero, width, [0.0, -length])),
                &ticks.color,
            )
        };
        let label = |labels: &Labels| {
            let at = lane.at(zero, -labels.distance);
            shown(Shape::Label(Label::new(labels, at, &ticks.color)))
        };
        parts.extend(marks(ticks, every, mark, label));
    }
}
