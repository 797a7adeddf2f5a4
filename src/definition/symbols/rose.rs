//! Turning compass card: the heading stands at the top under the lubber line.
//!
//! A bearing `b` stands at the clock angle `b - heading`. Bugs lie outside the rim, notch on the rim. The wind's direction
//! is where it comes from, so its arrow points at `direction + 180 - heading`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, bug, driven, failing, filled, group, line, shown};
use crate::definition::model::{Bug, Condition, FailureFlag, Name, NumberFormat, Readout, Region, default_line_width};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::lint::Lint;
use crate::definition::parts::{Label, Motion, NamedValue, Part, Repeat, Shape};
use crate::definition::place::At;
use crate::definition::uses::{Role, Use, Walk};

proportions! {
    /// Proportions of a compass card.
    RoseProportions {
        /// Length of the marks every 5 deg against that of those every 10 deg.
        short_mark: 0.5, PROPORTION_OR_NONE;
        /// Width of the lubber line against that of the marks.
        lubber_width: 1.0, PROPORTION;
        /// How far the aircraft symbol reaches ahead and behind, against `aircraft_span`.
        aircraft_length: 1.0, PROPORTION;
        /// How far ahead of the middle the aircraft symbol's wings stand, against `aircraft_span`.
        aircraft_wing: 0.15, SHARE;
        /// How far behind the middle its tail stands, against `aircraft_span`.
        aircraft_tail: 0.8, PROPORTION_OR_NONE;
        /// Half the span of its tail against `aircraft_span`.
        aircraft_tail_span: 0.4, PROPORTION_OR_NONE;
        /// Width of the wind arrow's head against that of its shaft.
        wind_head_width: 4.0, PROPORTION;
        /// Length of the wind arrow's head against the width of its shaft.
        wind_head_length: 4.0, PROPORTION_OR_NONE;
    }
}

/// Turning compass card: the heading stands at the top under the lubber line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rose {
    /// Middle of the card, px.
    #[schemars(extend("x-included" = "point"))]
    pub center: [f64; 2],
    /// Radius of the card, px; marks reach inwards.
    pub radius: f64,
    /// Channel of the heading, deg.
    pub channel: Name,
    /// Colour of marks and letters.
    pub color: Name,
    /// Length of the marks every 10 deg, px.
    pub mark_length: f64,
    /// Width of the marks, px.
    #[serde(default = "default_line_width")]
    pub mark_width: f64,
    /// Font of letters and numbers (every 30 deg: N 3 6 E ...).
    pub font: Name,
    /// Size of letters and numbers (em), px.
    pub size: f64,
    /// Distance of the middle of letters and numbers from the centre, px.
    pub label_radius: f64,
    /// Colour of the lubber line.
    pub lubber: Name,
    /// Length of the lubber line outside the card, px.
    pub lubber_length: f64,
    /// Pointers at the rim, as angles on the card.
    #[serde(default)]
    pub bugs: Vec<Bug>,
    /// The wind.
    pub wind: Option<Wind>,
    /// A value as digits.
    pub readout: Option<Readout>,
    /// Fixed aircraft symbol in the middle: half its span, px.
    pub aircraft_span: Option<f64>,
    /// Proportions of marks, aircraft symbol and wind arrow.
    #[serde(default)]
    pub proportions: RoseProportions,
    /// What is shown when the heading is invalid.
    pub failure: FailureFlag,
}

/// An arrow that points where the wind blows to, seen from the cockpit, with its figures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Wind {
    /// Channel of the direction that the wind comes from, deg.
    pub direction: Name,
    /// Channel of the speed.
    pub speed: Name,
    /// Middle of the arrow, px.
    #[schemars(extend("x-included" = "point"))]
    pub center: [f64; 2],
    /// Length of the arrow, px.
    pub length: f64,
    /// Width of its shaft, px.
    pub width: f64,
    /// Colour.
    pub color: Name,
    /// No arrow is drawn while the speed is below this.
    #[serde(default)]
    pub calm_below: f64,
    /// Direction as digits.
    pub direction_readout: Option<Readout>,
    /// Speed as digits.
    pub speed_readout: Option<Readout>,
}

impl Kind for Rose {
    fn name(&self) -> &'static str {
        "rose"
    }

    fn parts(&self) -> Vec<Part> {
        let mut parts = vec![self.card()];
        parts.extend(self.bugs.iter().map(|b| self.bug(b)));
        if let Some(wind) = &self.wind {
            parts.push(self.arrow(wind));
            let named = [
                (&wind.direction_readout, "wind direction"),
                (&wind.speed_readout, "wind speed"),
            ];
            for (digits, id) in named {
                parts.extend(
                    digits
                        .iter()
                        .map(|r| shown(Shape::Readout(r.clone())).called(id)),
                );
            }
        }
        parts.extend(
            self.readout
                .iter()
                .map(|r| shown(Shape::Readout(r.clone()))),
        );
        let [x, y] = self.center;
        let rim = y - self.radius;
        parts.push(line(
            [[x, rim], [x, rim - self.lubber_length]],
            &self.lubber,
            self.mark_width * self.proportions.lubber_width,
        ));
        if let Some(span) = self.aircraft_span {
            let plan = Shape::Polygon(self.plan_view(span));
            parts.push(Part {
                at: Some(self.center),
                ..filled(plan, &self.lubber)
            });
        }
        vec![failing(parts, vec![self.channel.clone()], &self.failure)]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.moves("channel", &self.channel);
        w.color("color", &self.color);
        w.font(&self.font, self.size);
        w.words("font", &self.font, "NESW0123456789".into());
        w.color("lubber", &self.lubber);
        w.bugs(&self.bugs);
        if let Some(wind) = &self.wind {
            w.key("wind", |w| {
                w.moves("direction", &wind.direction);
                let role = Role::Compared;
                w.say(
                    "speed",
                    Use::Channel {
                        name: &wind.speed,
                        role,
                    },
                );
                w.color("color", &wind.color);
                w.readout_at("direction_readout", wind.direction_readout.as_ref());
                w.readout_at("speed_readout", wind.speed_readout.as_ref());
            });
        }
        w.readout_at("readout", self.readout.as_ref());
        w.failure(&self.failure);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.pair(&at.key("center"), self.center, &POSITION);
        c.number(&at.key("radius"), self.radius, &SIZE);
        c.number(&at.key("mark_length"), self.mark_length, &LENGTH);
        if self.mark_length > self.radius {
            c.say(
                &at.key("mark_length"),
                format!(
                    "marks of {} px reach past the middle of a card of radius {} px",
                    self.mark_length, self.radius
                ),
            );
        }
        c.number(&at.key("mark_width"), self.mark_width, &WIDTH);
        c.number(&at.key("size"), self.size, &FONT_SIZE);
        c.number(&at.key("label_radius"), self.label_radius, &LENGTH);
        c.number(&at.key("lubber_length"), self.lubber_length, &LENGTH);
        c.bugs(at, &self.bugs);
        if let Some(w) = &self.wind {
            let at = at.key("wind");
            c.pair(&at.key("center"), w.center, &POSITION);
            c.number(&at.key("length"), w.length, &SIZE);
            c.number(&at.key("width"), w.width, &WIDTH);
            c.number(&at.key("calm_below"), w.calm_below, &CALM);
            for (key, readout) in [
                ("direction_readout", &w.direction_readout),
                ("speed_readout", &w.speed_readout),
            ] {
                if let Some(r) = readout {
                    c.readout(&at.key(key), r);
                }
            }
        }
        if let Some(readout) = &self.readout {
            c.readout(&at.key("readout"), readout);
        }
        c.number_if(&at.key("aircraft_span"), self.aircraft_span, &SIZE);
        self.proportions.check(at, c);
        c.failure(at, &self.failure);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.line(r, self.name(), at, self.mark_width);
        if let Some(w) = &self.wind {
            lint.line(r, self.name(), at, w.width);
            let at = at.key("wind");
            lint.readout(
                r,
                w.direction_readout.as_ref(),
                &at.key("direction_readout"),
            );
            lint.readout(r, w.speed_readout.as_ref(), &at.key("speed_readout"));
        }
        lint.readout(r, self.readout.as_ref(), &at.key("readout"));
    }
}

impl Rose {
    fn card(&self) -> Part {
        let [x, y] = self.center;
        let every = |step: f64, except_step: Option<f64>| Repeat {
            step,
            from: Some(0.0),
            to: Some(359.0),
            except_step,
            turn_about: Some(self.center),
            ..Repeat::default()
        };
        let mark = |length: f64| {
            line(
                [[x, y - (self.radius - length)], [x, y - self.radius]],
                &self.color,
                self.mark_width,
            )
        };
        let short = Part {
            repeat: Some(every(5.0, Some(10.0))),
            ..mark(self.mark_length * self.proportions.short_mark)
        };
        let long = Part {
            repeat: Some(every(10.0, None)),
            ..mark(self.mark_length)
        };
        let letters = [(0.0, "N"), (90.0, "E"), (180.0, "S"), (270.0, "W")];
        let label = Label {
            position: [x, y - self.label_radius],
            align: Default::default(),
            font: self.font.clone(),
            size: self.size,
            color: self.color.clone(),
            format: NumberFormat {
                scale: 0.1,
                ..NumberFormat::default()
            },
            absolute: false,
            named: letters
                .map(|(at, text)| NamedValue {
                    at,
                    text: text.into(),
                })
                .to_vec(),
        };
        let labels = Part {
            repeat: Some(every(30.0, None)),
            ..shown(Shape::Label(label))
        };
        group(vec![long, short, labels]).moved(Motion {
            period: Some(360.0),
            per_unit: Some(-1.0),
            turn_about: Some(self.center),
            ..driven("card", &self.channel)
        })
    }

    fn bug(&self, b: &Bug) -> Part {
        let [x, y] = self.center;
        let corners =
            bug::corners(b).map(|[along, across]| [x + along, y - (self.radius + across)]);
        filled(Shape::Polygon(corners.to_vec()), &b.color)
            .moved(self.on_card("bug", &b.channel, 0.0))
    }

    /// Turned to where a bearing stands on the card.
    fn on_card(&self, name: &str, channel: &str, offset: f64) -> Motion {
        Motion {
            minus: Some(self.channel.clone()),
            offset,
            period: Some(360.0),
            turn_about: Some(self.center),
            ..driven(name, &channel.into())
        }
    }

    fn arrow(&self, w: &Wind) -> Part {
        let half = w.width / 2.0;
        let (tip, tail) = (w.length / 2.0, -w.length / 2.0);
        let own = &self.proportions;
        let neck = (tip - own.wind_head_length * w.width).max(tail);
        let side = own.wind_head_width;
        let corners = [
            [0.0, tip],
            [side, neck],
            [1.0, neck],
            [1.0, tail],
            [-1.0, tail],
            [-1.0, neck],
            [-side, neck],
        ];
        let outline = corners.map(|[side, ahead]| [side * half, -ahead]).to_vec();
        let motion = Motion {
            turn_about: Some(w.center),
            ..self.on_card("wind", &w.direction, 180.0)
        };
        Part {
            at: Some(w.center),
            ..filled(Shape::Polygon(outline), &w.color)
        }
        .moved(motion)
        .while_(vec![Condition::at_least(&w.speed, w.calm_below)])
    }

    /// A plan view: body, wing and tail as one outline.
    fn plan_view(&self, span: f64) -> Vec<[f64; 2]> {
        let own = &self.proportions;
        let half = self.mark_width / 2.0;
        let (nose, tail) = (-own.aircraft_length * span, own.aircraft_length * span);
        let wing = -own.aircraft_wing * span;
        let tail_wing = own.aircraft_tail * span;
        let tail_span = own.aircraft_tail_span * span;
        let right = [
            [half, nose],
            [half, wing - half],
            [span, wing - half],
            [span, wing + half],
            [half, wing + half],
            [half, tail_wing - half],
            [tail_span, tail_wing - half],
            [tail_span, tail_wing + half],
            [half, tail_wing + half],
            [half, tail],
        ];
        let left = right.iter().rev().map(|[x, y]| [-x, *y]);
        right.iter().copied().chain(left).collect()
    }
}
