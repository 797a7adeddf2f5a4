//! Sky and ground, pitch ladder, bank scale, slip.
//!
//! The picture is fixed to the aircraft: the aircraft symbol and, as a rule, the marks of bank stay, and the world turns.
//! With the right wing down by `roll` degrees the world is drawn turned counter-clock-wise by `roll` about the aircraft
//! symbol; with the nose up by `pitch` degrees it is moved down by `pitch * px_per_deg`, along the vertical axis of the
//! turned world (the turn comes after the shift). Beyond 90 degrees of pitch the aircraft has gone over the top, and the
//! same attitude is drawn as it is usually named: 95 up with wings level is 85 up with 180 of roll. The horizon is drawn
//! truthfully: when it leaves the area, the area is all sky or all ground; no sliver of either is kept.
//!
//! # Source
//! AMC 25.1303(b)(5): the horizon line moves and the aeroplane symbol is fixed; 30 degrees of roll turn the line by 30
//! degrees.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, driven, failing, filled, group, line, rect, shown};
use crate::definition::model::{Align, FailureFlag, Name, NumberFormat, Region, default_line_width};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::lint::Lint;
use crate::definition::parts::{Area, Label, Motion, Part, Repeat, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;
use crate::reference::scale::is_multiple;

proportions! {
    /// Proportions of an attitude picture.
    AttitudeProportions {
        /// Thickness of the aircraft symbol's wings against `line_width`.
        aircraft_thickness: 2.5, PROPORTION;
        /// Where the wings of the aircraft symbol begin, from its middle, against `aircraft_span`.
        aircraft_inner: 0.45, SHARE;
        /// How far the inner ends of the wings step down, from the middle of the wings, against `aircraft_span`.
        aircraft_step: 0.16, PROPORTION_OR_NONE;
        /// Side of the square in the middle of the aircraft symbol against the wings' thickness; 0 draws none.
        aircraft_middle: 1.0, PROPORTION_OR_NONE;
        /// Width of the black border of the aircraft symbol against `line_width`; 0 draws none.
        aircraft_border: 0.75, PROPORTION_OR_NONE;
        /// Gap between a ladder line and its number, em.
        ladder_gap: 0.35, PROPORTION_OR_NONE;
        /// Width of the bank pointer against its length.
        bank_pointer_width: 1.0, PROPORTION;
        /// Width of the mark of wings level against its length.
        bank_level_width: 1.0, PROPORTION;
    }
}

/// Border of the aircraft symbol: it keeps the symbol apart from sky and ground of any colour.
const BORDER: &str = "#000000";

/// Where the aircraft symbol stands, px.
fn center(m: &Attitude) -> [f64; 2] {
    let [x, y, w, h] = rect(m.rect);
    m.center
        .unwrap_or([(x + (x + w)) / 2.0, (y + (y + h)) / 2.0])
}

/// Sky and ground, pitch ladder, bank scale, slip.
///
/// The horizon moves and the aircraft symbol stays: with the right wing down by `roll`
/// degrees (positive) the horizon is drawn turned counter-clock-wise by as much; nose up
/// (positive pitch) moves the horizon down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Attitude {
    /// Area of the picture, `[x, y, width, height]`, px.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// Where the aircraft symbol stands, px; the middle of `rect` when absent.
    #[schemars(extend("x-included" = "point"))]
    pub center: Option<[f64; 2]>,
    /// Channel of the pitch angle, deg, nose up positive.
    pub pitch: Name,
    /// Channel of the bank angle, deg, right wing down positive.
    pub roll: Name,
    /// Pixels for a degree of pitch.
    pub px_per_deg: f64,
    /// Colour of the sky.
    pub sky: Name,
    /// Colour of the ground.
    pub ground: Name,
    /// Colour of horizon line, ladder and bank scale.
    pub line: Name,
    /// Colour of the aircraft symbol.
    pub aircraft: Name,
    /// Half the span of the aircraft symbol, px.
    #[serde(default = "default_aircraft_span")]
    pub aircraft_span: f64,
    /// Width of lines, px.
    #[serde(default = "default_line_width")]
    pub line_width: f64,
    /// The pitch ladder.
    pub ladder: Option<PitchLadder>,
    /// The bank scale.
    pub bank: Option<BankScale>,
    /// The slip indicator.
    pub slip: Option<Slip>,
    /// Proportions of aircraft symbol, ladder and bank scale.
    #[serde(default)]
    pub proportions: AttitudeProportions,
    /// What is shown when pitch or roll are invalid.
    pub failure: FailureFlag,
}

/// Lines of equal pitch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PitchLadder {
    /// Degrees between labelled lines.
    pub major_step: f64,
    /// Half the width of a labelled line, px.
    pub major_half_width: f64,
    /// Degrees between short lines; none when absent.
    pub minor_step: Option<f64>,
    /// Half the width of a short line, px.
    #[serde(default)]
    pub minor_half_width: f64,
    /// Steepest line, deg, up and down.
    pub limit: f64,
    /// Lines are drawn up to this distance from the aircraft symbol along the pitch axis, px.
    pub visible_px: f64,
    /// Font of the labels.
    pub font: Name,
    /// Size of the labels (em), px.
    pub size: f64,
}

/// Marks of bank angle, and the pointer that turns with the sky.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BankScale {
    /// Radius of the scale about the aircraft symbol, px.
    pub radius: f64,
    /// Bank angles that have a mark, deg, both sides; 0 has a triangle.
    pub marks: Vec<f64>,
    /// Length of a mark, px.
    pub mark_length: f64,
    /// Size of the pointer, px.
    pub pointer_size: f64,
    /// Which part stays.
    #[serde(default)]
    pub fixed: BankFixed,
}

/// Which part of the bank scale stays with the aircraft.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum BankFixed {
    /// The marks stay, the pointer turns with the sky.
    #[default]
    Marks,
    /// The pointer stays, the marks turn with the sky.
    Pointer,
}

/// A small box that slides sideways under the bank pointer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Slip {
    /// Channel of the lateral acceleration.
    pub channel: Name,
    /// Middle of the indicator with no slip, px.
    #[schemars(extend("x-included" = "point"))]
    pub center: [f64; 2],
    /// Pixels for a unit of the channel; positive values move the box left
    /// (the ball hangs away from the acceleration).
    pub px_per_unit: f64,
    /// Largest travel to each side, px.
    pub travel: f64,
    /// Width and height of the box, px.
    pub size: [f64; 2],
    /// Colour of the box.
    pub color: Name,
}

fn default_aircraft_span() -> f64 {
    70.0
}

impl Kind for Attitude {
    fn name(&self) -> &'static str {
        "attitude"
    }

    fn parts(&self) -> Vec<Part> {
        let area = rect(self.rect);
        let mut world = self.horizon();
        if let Some(ladder) = &self.ladder {
            world.extend(self.ladder(ladder));
        }
        let mut parts = vec![filled(Shape::Rect(area), &self.sky), self.banked(world)];
        let fixed = self.bank.as_ref().map(|bank| {
            let (marks, pointer) = (self.bank_marks(bank), vec![self.bank_pointer(bank)]);
            let (turning, fixed) = match bank.fixed {
                BankFixed::Marks => (pointer, marks),
                BankFixed::Pointer => (marks, pointer),
            };
            parts.push(self.banked(turning));
            fixed
        });
        parts.extend(self.slip.as_ref().map(slip));
        parts.extend(fixed.into_iter().flatten());
        parts.extend(self.aircraft());
        let channels = vec![self.pitch.clone(), self.roll.clone()];
        let all = Part {
            clip: Some(Area::Rect(area)),
            ..group(parts)
        };
        vec![failing(vec![all], channels, &self.failure)]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.moves("pitch", &self.pitch);
        w.moves("roll", &self.roll);
        w.color("sky", &self.sky);
        w.color("ground", &self.ground);
        w.color("line", &self.line);
        w.color("aircraft", &self.aircraft);
        if let Some(ladder) = &self.ladder {
            w.key("ladder", |w| {
                w.font(&ladder.font, ladder.size);
                w.words("font", &ladder.font, "0123456789".into());
            });
        }
        if let Some(slip) = &self.slip {
            w.key("slip", |w| {
                w.moves("channel", &slip.channel);
                w.color("color", &slip.color);
            });
        }
        w.failure(&self.failure);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.rect(&at.key("rect"), self.rect);
        if let Some(center) = self.center {
            c.pair(&at.key("center"), center, &POSITION);
        }
        c.number(&at.key("px_per_deg"), self.px_per_deg, &PX_PER_UNIT);
        c.number(&at.key("aircraft_span"), self.aircraft_span, &SIZE);
        c.number(&at.key("line_width"), self.line_width, &WIDTH);
        if let Some(l) = &self.ladder {
            let at = at.key("ladder");
            c.number(&at.key("limit"), l.limit, &PITCH);
            c.step(&at.key("major_step"), Some(l.major_step), 2.0 * l.limit);
            c.step(&at.key("minor_step"), l.minor_step, 2.0 * l.limit);
            c.number(&at.key("major_half_width"), l.major_half_width, &LENGTH);
            c.number(&at.key("minor_half_width"), l.minor_half_width, &LENGTH);
            c.number(&at.key("visible_px"), l.visible_px, &SIZE);
            c.number(&at.key("size"), l.size, &FONT_SIZE);
        }
        if let Some(b) = &self.bank {
            let at = at.key("bank");
            c.number(&at.key("radius"), b.radius, &SIZE);
            c.number(&at.key("mark_length"), b.mark_length, &LENGTH);
            c.number(&at.key("pointer_size"), b.pointer_size, &SIZE);
            for (k, mark) in b.marks.iter().enumerate() {
                let at = at.key("marks").index(k);
                c.number(&at, *mark, &BANK);
                if b.marks[..k].contains(mark) {
                    c.say(&at, format!("bank mark {mark} deg is given twice"));
                }
            }
        }
        if let Some(s) = &self.slip {
            let at = at.key("slip");
            c.pair(&at.key("center"), s.center, &POSITION);
            c.number(&at.key("px_per_unit"), s.px_per_unit, &PX_PER_UNIT);
            c.number(&at.key("travel"), s.travel, &SIZE);
            c.pair(&at.key("size"), s.size, &SIZE);
        }
        self.proportions.check(at, c);
        c.failure(at, &self.failure);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.line(r, self.name(), at, self.line_width);
    }
}

impl Attitude {
    /// Parts of the world, as they stand with wings level.
    fn banked(&self, parts: Vec<Part>) -> Part {
        group(parts).moved(Motion {
            with_pitch: Some(self.pitch.clone()),
            period: Some(360.0),
            per_unit: Some(-1.0),
            turn_about: Some(center(self)),
            ..driven("roll", &self.roll)
        })
    }

    fn pitched(&self) -> Motion {
        Motion {
            with_bank: Some(self.roll.clone()),
            per_unit: Some(self.px_per_deg),
            shift_along: Some([0.0, 1.0]),
            ..driven("pitch", &self.pitch)
        }
    }

    fn horizon(&self) -> Vec<Part> {
        let [x, y] = center(self);
        let [left, top, w, h] = rect(self.rect);
        let corners = [left, left + w].map(|cx| [top, top + h].map(|cy| (cx - x).hypot(cy - y)));
        let reach = corners.iter().flatten().copied().fold(1.0, f64::max);
        let half = self.line_width / 2.0;
        // As far as the area is filled at the steepest pitch.
        let deep = reach + 90.0 * self.px_per_deg.abs();
        let ground = filled(Shape::Rect([x - reach, y, 2.0 * reach, deep]), &self.ground);
        let line = filled(
            Shape::Rect([x - reach, y - half, 2.0 * reach, 2.0 * half]),
            &self.line,
        );
        vec![group(vec![ground, line]).moved(self.pitched())]
    }

    /// Lines cut where they leave the visible stretch, and numbers that are there while their line's middle is in it.
    fn ladder(&self, l: &PitchLadder) -> Vec<Part> {
        let [x, y] = center(self);
        let every = |step: f64| Repeat {
            step,
            from: Some(-l.limit),
            to: Some(l.limit),
            shift_along: Some([0.0, -1.0]),
            per_unit: Some(self.px_per_deg),
            ..Repeat::default()
        };
        let half = self.line_width / 2.0;
        let rung = |half_width: f64| {
            let area = [x - half_width, y - half, 2.0 * half_width, 2.0 * half];
            filled(Shape::Rect(area), &self.line)
        };
        let mut rungs = Vec::new();
        if let Some(step) = l.minor_step {
            let repeat = Repeat {
                except_step: Some(l.major_step),
                ..every(step)
            };
            rungs.push(Part {
                repeat: Some(repeat),
                ..rung(l.minor_half_width)
            });
        }
        // The horizon has its own line.
        let major = Repeat {
            except: vec![0.0],
            ..every(l.major_step)
        };
        rungs.push(Part {
            repeat: Some(major.clone()),
            ..rung(l.major_half_width)
        });
        let widest = l.major_half_width.max(l.minor_half_width) + 1.0;
        let visible = [
            x - widest,
            y - l.visible_px,
            2.0 * widest,
            2.0 * l.visible_px,
        ];
        let rungs = Part {
            clip: Some(Area::Rect(visible)),
            ..group(rungs).moved(self.pitched())
        };
        let decimals = if is_multiple(l.major_step, 1.0) { 0 } else { 1 };
        let out = l.major_half_width + self.proportions.ladder_gap * l.size;
        let label = |x: f64, align: Align| {
            let label = Label {
                position: [x, y],
                align,
                font: l.font.clone(),
                size: l.size,
                color: self.line.clone(),
                format: NumberFormat {
                    decimals,
                    ..NumberFormat::default()
                },
                absolute: true,
                named: Vec::new(),
            };
            shown(Shape::Label(label))
        };
        let numbers = group(vec![
            label(x + out, Align::Left),
            label(x - out, Align::Right),
        ]);
        let repeat = Repeat {
            within: Some([-l.visible_px, l.visible_px]),
            ..major
        };
        let numbers = Part {
            repeat: Some(repeat),
            ..numbers
        };
        vec![rungs, numbers.moved(self.pitched())]
    }

    /// A triangle whose tip touches the scale from within.
    fn bank_pointer(&self, b: &BankScale) -> Part {
        self.triangle(
            [b.radius, b.radius - b.pointer_size],
            b.pointer_size * self.proportions.bank_pointer_width,
        )
    }

    /// Marks outwards from the scale's radius; the one for wings level is a triangle, tip inwards.
    fn bank_marks(&self, b: &BankScale) -> Vec<Part> {
        let outer = b.radius + b.mark_length;
        let mut parts = Vec::new();
        for &mark in b.marks.iter().filter(|m| **m != 0.0) {
            for turned_deg in [-mark, mark] {
                let own = line(
                    [[0.0, -b.radius], [0.0, -outer]],
                    &self.line,
                    self.line_width,
                );
                parts.push(Part {
                    at: Some(center(self)),
                    turned_deg,
                    ..own
                });
            }
        }
        let width = b.mark_length * self.proportions.bank_level_width;
        parts.push(self.triangle([b.radius, outer], width));
        parts
    }

    /// A triangle above the aircraft symbol: tip and base by their distance, and the width of the base.
    fn triangle(&self, [tip, base]: [f64; 2], width: f64) -> Part {
        let [x, y] = center(self);
        let half = width / 2.0;
        filled(
            Shape::Polygon(vec![
                [x, y - tip],
                [x + half, y - base],
                [x - half, y - base],
            ]),
            &self.line,
        )
    }

    /// Two wings with a step down at their inner ends, and a square between them, with a border.
    fn aircraft(&self) -> Vec<Part> {
        let [x, y] = center(self);
        let own = &self.proportions;
        let half = self.line_width * own.aircraft_thickness / 2.0;
        let span = self.aircraft_span;
        let inner = span * own.aircraft_inner;
        let step = span * own.aircraft_step;
        let border = self.line_width * own.aircraft_border;
        let mut parts = Vec::new();
        let layers = [(BORDER, border), (self.aircraft.as_str(), 0.0)];
        for (color, grow) in layers.into_iter().skip(usize::from(border == 0.0)) {
            for side in [-1.0, 1.0] {
                let at = |out: f64, down: f64| [x + side * out, y + down];
                let corners = vec![
                    at(span + grow, -half - grow),
                    at(inner - grow, -half - grow),
                    at(inner - grow, step + grow),
                    at(inner + 2.0 * half + grow, step + grow),
                    at(inner + 2.0 * half + grow, half + grow),
                    at(span + grow, half + grow),
                ];
                parts.push(filled(Shape::Polygon(corners), &color.into()));
            }
            if own.aircraft_middle == 0.0 {
                continue;
            }
            let r = half * own.aircraft_middle + grow;
            parts.push(filled(
                Shape::Rect([x - r, y - r, 2.0 * r, 2.0 * r]),
                &color.into(),
            ));
        }
        parts
    }
}

/// The box hangs away from the acceleration, and stops at its travel; none when invalid.
fn slip(s: &Slip) -> Part {
    let ([x, y], [w, h]) = (s.center, s.size);
    let travel = s.travel.abs();
    let most = travel / s.px_per_unit.abs();
    let way = travel.copysign(s.px_per_unit);
    filled(Shape::Rect([x - w / 2.0, y - h / 2.0, w, h]), &s.color).moved(Motion {
        scale: vec![[-most, -way], [most, way]],
        shift_along: Some([-1.0, 0.0]),
        ..driven("slip", &s.channel)
    })
}
