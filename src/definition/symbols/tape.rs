//! Moving straight scale: the value stands still, the scale passes by.
//!
//! The value stops at the ends of the scale (`min`, `max`) unless the scale repeats; the digits in the window go on, and bugs
//! stop with the scale or go on as `bugs_past_ends` says. On a repeating scale a bug is shown at the nearest of its places, and marks stand at multiples of the step, so `period` should
//! be a multiple of the steps.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scale::{Lane, marks};
use super::{Kind, bug, driven, failing, filled, group, rect, shown};
use crate::definition::model::{Band, Bug, Direction, Edge, FailureFlag, Labels, Name, Readout, Region, Ticks, default_band_width, default_line_width};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::lint::Lint;
use crate::definition::parts::{Area, Frame, Label, Motion, Part, Repeat, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

/// Moving straight scale: the value stands still at the window, the scale passes by.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Tape {
    /// Area of the scale, `[x, y, width, height]`, px; everything is clipped to it but the window.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// The channel that it shows.
    pub channel: Name,
    /// Which way values grow on the screen.
    pub direction: Direction,
    /// Edge that the marks start from.
    pub edge: Edge,
    /// Where the current value stands, px along the scale (x or y); the middle of `rect` when absent.
    #[schemars(extend("x-included" = "along"))]
    pub reference: Option<f64>,
    /// Pixels for a unit.
    pub px_per_unit: f64,
    /// Colour of the scale's ground; that of the canvas when absent.
    pub background: Option<Name>,
    /// Lowest value on the scale.
    pub min: f64,
    /// Highest value on the scale.
    pub max: f64,
    /// When set, the scale repeats with this period (360 for headings) and `min` and `max` do not cut it.
    pub period: Option<f64>,
    /// Marks and numbers.
    pub ticks: Ticks,
    /// Coloured bands along the edge.
    #[serde(default)]
    pub bands: Vec<Band>,
    /// Width of the bands, px.
    #[serde(default = "default_band_width")]
    pub band_width: f64,
    /// Marked values on the scale.
    #[serde(default)]
    pub bugs: Vec<Bug>,
    /// Whether the bug of a value beyond the scale's ends stands beyond them, at most at the end of `rect`; false: at the
    /// scale's end.
    #[serde(default)]
    pub bugs_past_ends: bool,
    /// The box with the value; on top of the scale.
    pub window: Option<Window>,
    /// What is shown when the data are invalid.
    pub failure: FailureFlag,
}

/// A box with a readout in it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Window {
    /// Area, `[x, y, width, height]`, px.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// Colour of the ground.
    pub background: Name,
    /// Colour of the border.
    pub border: Name,
    /// Width of the border, px.
    #[serde(default = "default_line_width")]
    pub border_width: f64,
    /// The value as digits.
    pub readout: Readout,
}

impl Kind for Tape {
    fn name(&self) -> &'static str {
        "tape"
    }

    fn parts(&self) -> Vec<Part> {
        let lane = Lane::new(self.rect, self.direction, self.edge);
        let mut parts = Vec::new();
        let area = rect(self.rect);
        parts.extend(
            self.background
                .as_ref()
                .map(|c| filled(Shape::Rect(area), c)),
        );
        let mut moving = vec![self.scale(&lane)];
        moving.extend(self.bugs.iter().map(|b| self.bug(b, &lane)));
        let mut over = vec![Part {
            clip: Some(Area::Rect(area)),
            ..group(moving)
        }];
        over.extend(self.window.as_ref().map(window));
        parts.push(failing(over, vec![self.channel.clone()], &self.failure));
        parts
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.moves("channel", &self.channel);
        w.color_if("background", self.background.as_ref());
        let low = if self.period.is_some() {
            self.min.max(0.0)
        } else {
            self.min
        };
        w.ticks(&self.ticks, low);
        w.each("bands", &self.bands, |w, b| w.color("color", &b.color));
        w.bugs(&self.bugs);
        if let Some(window) = &self.window {
            w.key("window", |w| {
                w.color("background", &window.background);
                w.color("border", &window.border);
                w.readout_at("readout", Some(&window.readout));
            });
        }
        w.failure(&self.failure);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        let is_sound = c.rect(&at.key("rect"), self.rect);
        c.edge(at, self.direction, self.edge);
        c.number_if(&at.key("reference"), self.reference, &POSITION);
        let has_scale = c.number(&at.key("px_per_unit"), self.px_per_unit, &PX_PER_UNIT);
        c.number(&at.key("min"), self.min, &VALUE);
        c.number(&at.key("max"), self.max, &VALUE);
        if self.min >= self.max {
            c.say(
                &at.key("min"),
                format!(
                    "scale: low end {} is not below high end {}",
                    self.min, self.max
                ),
            );
        }
        c.number_if(&at.key("period"), self.period, &PERIOD);
        // A repeating scale is drawn as far as it is seen, however short its period is.
        let [_, _, width, height] = self.rect.map(f64::from);
        let seen = if is_sound && has_scale {
            width.max(height) / self.px_per_unit
        } else {
            0.0
        };
        c.ticks(
            at,
            &self.ticks,
            self.period.map_or(self.max - self.min, |p| p.max(seen)),
        );
        c.bands(at, &self.bands);
        c.number(&at.key("band_width"), self.band_width, &WIDTH);
        c.bugs(at, &self.bugs);
        if let Some(w) = &self.window {
            let at = at.key("window");
            c.rect(&at.key("rect"), w.rect);
            c.number(&at.key("border_width"), w.border_width, &WIDTH_OR_NONE);
            c.readout(&at.key("readout"), &w.readout);
        }
        c.failure(at, &self.failure);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.line(r, self.name(), at, self.ticks.width);
        match self.period {
            None => lint.marks(r, self.name(), at, [self.min, self.max], &self.bands, &[]),
            Some(period) => {
                for step in [Some(self.ticks.major_step), self.ticks.minor_step]
                    .into_iter()
                    .flatten()
                {
                    lint.seam(r, &at.key("period"), period, step);
                }
            }
        }
        let readout = self.window.as_ref().map(|w| &w.readout);
        lint.readout(r, readout, &at.key("window").key("readout"));
    }
}

impl Tape {
    /// Pixels for a unit, along x or y.
    fn step(&self, lane: &Lane) -> f64 {
        lane.growth * self.px_per_unit
    }

    fn reference(&self, lane: &Lane) -> f64 {
        self.reference
            .unwrap_or(f64::midpoint(lane.start, lane.end))
    }

    /// Values beyond which the scale stands still.
    fn range(&self) -> Option<[f64; 2]> {
        self.period.is_none().then_some([self.min, self.max])
    }

    /// Bands, marks and numbers, as they stand for the value 0.
    fn scale(&self, lane: &Lane) -> Part {
        let [x, y] = lane.along();
        let zero = self.reference(lane);
        let every = |step: f64| {
            let [from, to] = self.range().map_or([None, None], |r| r.map(Some));
            Repeat {
                step,
                from,
                to,
                period: self.period,
                shift_along: Some([x, y]),
                per_unit: Some(self.step(lane)),
            ..Repeat::default()
        }
        };
        let mut parts = Vec::new();
        for band in &self.bands {
            let stop = |v: f64| self.range().map_or(v, |[low, high]| v.max(low).min(high));
            let ends = [band.from, band.to].map(|v| zero + self.step(lane) * stop(v));
            if ends[0] == ends[1] {
                continue;
            }
            let part = filled(
                Shape::Rect(lane.area(ends, [0.0, self.band_width])),
                &band.color,
            );
            // On a repeating scale, every turn that can be in view.
            parts.push(Part {
                repeat: self.period.map(every),
                ..part
            });
        }
        let ticks = &self.ticks;
        let mark = |length: f64, width: f64| {
            filled(
                Shape::Rect(lane.mark(zero, width, [0.0, length])),
                &ticks.color,
            )
        };
        let label = |labels: &Labels| {
            let at = lane.at(zero, labels.distance);
            shown(Shape::Label(Label::new(labels, at, &ticks.color)))
        };
        parts.extend(marks(ticks, every, mark, label));
        group(parts).moved(Motion {
            range: self.range(),
            period: self.period,
            shift_along: Some([x, y]),
            per_unit: Some(-self.step(lane)),
            ..driven("scale", &self.channel)
        })
    }

    /// A bug where the two values are the same; it parks at the ends of the area.
    fn bug(&self, b: &Bug, lane: &Lane) -> Part {
        let zero = self.reference(lane);
        let step = self.step(lane);
        let corners = bug::corners(b).map(|[along, across]| lane.at(zero + along, across));
        let ends = [lane.start - zero, lane.end - zero].map(|place| [place / step, place]);
        let scale = if step > 0.0 {
            ends.to_vec()
        } else {
            vec![ends[1], ends[0]]
        };
        filled(Shape::Polygon(corners.to_vec()), &b.color).moved(Motion {
            minus: Some(self.channel.clone()),
            range: self.range().filter(|_| !self.bugs_past_ends),
            minus_range: self.range().filter(|_| self.bugs_past_ends),
            period: self.period,
            scale,
            shift_along: Some(lane.along()),
            ..driven("bug", &b.channel)
        })
    }
}

fn window(w: &Window) -> Part {
    let area = rect(w.rect);
    let mut parts = vec![filled(Shape::Rect(area), &w.background)];
    if w.border_width > 0.0 {
        parts.push(filled(
            Shape::Frame(Frame {
                rect: area,
                width: w.border_width,
            }),
            &w.border,
        ));
    }
    parts.push(shown(Shape::Readout(w.readout.clone())).called("window"));
    group(parts)
}
