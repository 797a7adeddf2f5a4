//! Parts: shapes with ink, motions with one way each, marks that come to an end.

use super::limits::*;
use super::{Check, TICKS};
use crate::definition::parts::{Area, Drum, Motion, Part, Repeat, Shape, Strip};
use crate::definition::place::At;
use crate::definition::symbols::Kind;

/// Parts in parts, at most.
const DEPTH: usize = 32;
/// Points of an outline, at most.
const POINTS: usize = 20_000;
/// Bytes of path data, at most.
const PATH_BYTES: usize = 1 << 20;

impl Check<'_> {
    pub(in crate::definition) fn parts(&mut self, at: &At<'_>, parts: &[Part]) {
        if parts.is_empty() {
            self.say(&at.key("part"), "no parts: the symbol would draw nothing");
        }
        self.members(at, parts, (false, false), 0);
    }

    /// `within` says whether they are cut to something, and whether one of them is chosen.
    fn members(&mut self, at: &At<'_>, parts: &[Part], within: (bool, bool), depth: usize) {
        if depth > DEPTH {
            self.say(
                &at.key("part"),
                format!("parts stand in parts more than {DEPTH} deep"),
            );
            return;
        }
        for (k, part) in parts.iter().enumerate() {
            self.part(&at.key("part").index(k), part, within, depth);
        }
    }

    fn part(&mut self, at: &At<'_>, p: &Part, (has_end, is_chosen): (bool, bool), depth: usize) {
        let has_end = has_end || p.clip.is_some();
        match (&p.shape, p.part.is_empty()) {
            // Nothing may be what is chosen.
            (None, true) if is_chosen => {}
            (None, true) => self.say(
                at,
                "a part with neither \"shape\" nor \"part\" draws nothing",
            ),
            (Some(_), false) => self.say(
                &at.key("part"),
                "a part has a \"shape\" or members in \"part\", not both",
            ),
            (Some(shape), true) => self.shape(at, p, shape),
            (None, false) => {
                if p.fill.is_some() || p.stroke.is_some() || p.shade.is_some() {
                    self.say(at, "a part that holds parts has no paint: give \"fill\" and \"stroke\" to its members");
                }
            }
        }
        if p.choose && p.part.is_empty() {
            self.say(
                &at.key("choose"),
                "nothing to choose from: \"choose\" needs members in \"part\"",
            );
        }
        self.number(&at.key("opacity"), p.opacity, &OPACITY);
        if let Some(position) = p.at {
            self.pair(&at.key("at"), position, &POSITION);
        }
        self.number(&at.key("turned_deg"), p.turned_deg, &ANGLE);
        if let Some(stroke) = &p.stroke {
            let at = at.key("stroke");
            self.number(&at.key("width"), stroke.width, &WIDTH);
            for (k, length) in stroke.dash.iter().enumerate() {
                self.number(&at.key("dash").index(k), *length, &SIZE);
            }
        }
        if let Some(shade) = &p.shade {
            let at = at.key("shade");
            self.pair(&at.key("from"), shade.from, &POSITION);
            self.pair(&at.key("to"), shade.to, &POSITION);
            if shade.from == shade.to {
                self.say(&at.key("to"), "a shade along a line of no length");
            }
            if shade.stop.len() < 2 {
                self.say(&at.key("stop"), "a shade needs at least two colours");
            }
            for (k, stop) in shade.stop.iter().enumerate() {
                let at = at.key("stop").index(k);
                self.number(&at.key("offset"), stop.offset, &OPACITY);
                self.number(&at.key("opacity"), stop.opacity, &OPACITY);
            }
            if p.fill.is_some() {
                self.say(
                    &at,
                    "an outline is filled by \"fill\" or by \"shade\", not by both",
                );
            }
        }
        if !p.color_rules.is_empty() && p.fill.is_none() {
            self.say(
                &at.key("color_rules"),
                "colours by rule need a \"fill\" that they change",
            );
        }
        self.rules(at, &p.color_rules);
        if !p.when.is_empty() {
            self.conditions(at, &p.when);
        }
        if let Some(clip) = &p.clip {
            self.area(&at.key("clip"), clip);
        }
        for (k, motion) in p.motion.iter().enumerate() {
            self.motion(&at.key("motion").index(k), motion);
        }
        let is_carried = p.motion.iter().any(|m| m.carry_about.is_some());
        if is_carried && p.motion.iter().any(|m| m.turn_about.is_some()) {
            let message = "a part is turned or carried: put what turns into a part that is carried";
            self.say(&at.key("motion"), message);
        }
        if let Some(repeat) = &p.repeat {
            self.repeat(&at.key("repeat"), repeat, has_end);
        }
        if let Some(f) = &p.failure {
            let at = at.key("failure");
            if f.channels.is_empty() {
                self.say(
                    &at.key("channels"),
                    "no channel says when the flag is put up",
                );
            }
            self.flag_look(&at.key("flag"), &f.flag);
        }
        self.members(at, &p.part, (has_end, p.choose), depth + 1);
    }

    fn shape(&mut self, at: &At<'_>, p: &Part, shape: &Shape) {
        let of = at.key("shape");
        let mut has_ink = true;
        match shape {
            Shape::Rect(r) => self.fractions(&of.key("rect"), *r),
            Shape::Rounded(r) => {
                self.fractions(&of.key("rounded").key("rect"), r.rect);
                self.number(&of.key("rounded").key("radius"), r.radius, &LENGTH);
            }
            Shape::Circle(c) => {
                self.pair(&of.key("circle").key("center"), c.center, &POSITION);
                self.number(&of.key("circle").key("radius"), c.radius, &SIZE);
            }
            Shape::Arc(a) => {
                let of = of.key("arc");
                self.pair(&of.key("center"), a.center, &POSITION);
                self.number(&of.key("radii").index(0), a.radii[0], &LENGTH);
                self.number(&of.key("radii").index(1), a.radii[1], &SIZE);
                self.number(&of.key("from_deg"), a.from_deg, &ANGLE);
                self.number(&of.key("to_deg"), a.to_deg, &ANGLE);
                if a.radii[0] >= a.radii[1] {
                    self.say(
                        &of.key("radii"),
                        "the inner radius is not below the outer one",
                    );
                }
                if a.to_deg <= a.from_deg || a.to_deg - a.from_deg > 360.0 {
                    self.say(
                        &of.key("to_deg"),
                        "an arc ends up to 360 deg after it begins",
                    );
                }
            }
            Shape::Polygon(points) => self.points(&of.key("polygon"), points, 3),
            Shape::Line(points) => {
                self.points(&of.key("line"), points, 2);
                if p.fill.is_some() {
                    self.say(
                        &at.key("fill"),
                        "a line has no inside to fill: give it a \"stroke\"",
                    );
                }
            }
            Shape::Path(data) => self.path(&of.key("path"), data),
            Shape::Frame(f) => {
                self.fractions(&of.key("frame").key("rect"), f.rect);
                self.number(&of.key("frame").key("width"), f.width, &WIDTH);
            }
            Shape::Artwork(name) => self.artwork_name(&of.key("artwork"), name),
            Shape::Words(m) => m.check(&of.key("words"), self),
            Shape::Readout(m) => m.check(&of.key("readout"), self),
            Shape::Drum(m) => self.drum(&of.key("drum"), m),
            Shape::Label(m) => {
                let of = of.key("label");
                self.pair(&of.key("position"), m.position, &POSITION);
                self.number(&of.key("size"), m.size, &FONT_SIZE);
                self.format(&of.key("format"), &m.format);
            }
            Shape::Slots(m) => m.check(&of.key("slots"), self),
            Shape::Blink(m) => m.check(&of.key("blink"), self),
            Shape::Unchecked(m) => m.check(&of.key("unchecked"), self),
        }
        let is_outline = matches!(
            shape,
            Shape::Rect(_)
                | Shape::Rounded(_)
                | Shape::Circle(_)
                | Shape::Arc(_)
                | Shape::Polygon(_)
                | Shape::Line(_)
                | Shape::Path(_)
                | Shape::Frame(_)
        );
        if is_outline {
            has_ink = p.fill.is_some() || p.stroke.is_some() || p.shade.is_some();
        } else if p.fill.is_some() || p.stroke.is_some() {
            self.say(
                at,
                "this shape has colours of its own: \"fill\" and \"stroke\" are for outlines",
            );
        }
        if !has_ink {
            self.say(
                at,
                "an outline with neither \"fill\" nor \"stroke\" draws nothing",
            );
        }
    }

    fn drum(&mut self, at: &At<'_>, m: &Drum) {
        self.pair(&at.key("position"), m.position, &POSITION);
        self.number(&at.key("size"), m.size, &FONT_SIZE);
        self.number_if(&at.key("pitch"), m.pitch, &SIZE);
        self.number(&at.key("row_height"), m.row_height, &SIZE);
        self.number(&at.key("unit"), m.unit, &STEP);
        self.number(&at.key("places"), f64::from(m.places), &DIGITS);
        if m.places == 0 {
            self.say(&at.key("places"), "a drum needs at least one place");
        }
        let most = 10f64.powi(m.last_digits.into());
        if !(1..=3).contains(&m.last_digits) || m.unit > most || (most / m.unit).fract() != 0.0 {
            let message = format!(
                "the last place of {} digits cannot count by {}: it must divide {most} evenly",
                m.last_digits, m.unit
            );
            self.say(&at.key("unit"), message);
        }
    }

    fn fractions(&mut self, at: &At<'_>, [x, y, w, h]: [f64; 4]) {
        self.number(&at.index(0), x, &POSITION);
        self.number(&at.index(1), y, &POSITION);
        self.number(&at.index(2), w, &SIZE);
        self.number(&at.index(3), h, &SIZE);
    }

    fn points(&mut self, at: &At<'_>, points: &[[f64; 2]], least: usize) {
        if points.len() < least {
            self.say(
                at,
                format!(
                    "{} points; this outline needs at least {least}",
                    points.len()
                ),
            );
        }
        if points.len() > POINTS {
            self.say(
                at,
                format!("{} points; at most {POINTS} make an outline", points.len()),
            );
            return;
        }
        for (k, p) in points.iter().enumerate() {
            self.pair(&at.index(k), *p, &POSITION);
        }
    }

    fn path(&mut self, at: &At<'_>, data: &str) {
        if data.len() > PATH_BYTES {
            self.say(
                at,
                format!("path data of {} bytes; at most {PATH_BYTES}", data.len()),
            );
            return;
        }
        match kurbo::BezPath::from_svg(data) {
            Ok(path) if path.elements().is_empty() => self.say(at, "the path has no points"),
            Ok(path) if path.elements().len() > POINTS => {
                self.say(
                    at,
                    format!(
                        "{} steps; at most {POINTS} make a path",
                        path.elements().len()
                    ),
                );
            }
            Ok(path) => {
                let b = kurbo::Shape::bounding_box(&path);
                for v in [b.x0, b.y0, b.x1, b.y1] {
                    self.number(at, v, &POSITION);
                }
            }
            Err(error) => self.say(at, format!("this is no SVG path data: {error}")),
        }
    }

    fn area(&mut self, at: &At<'_>, area: &Area) {
        match area {
            Area::Rect(r) => self.fractions(&at.key("rect"), *r),
            Area::Rounded(r) => {
                self.fractions(&at.key("rounded").key("rect"), r.rect);
                self.number(&at.key("rounded").key("radius"), r.radius, &LENGTH);
            }
            Area::Circle(c) => {
                self.pair(&at.key("circle").key("center"), c.center, &POSITION);
                self.number(&at.key("circle").key("radius"), c.radius, &SIZE);
            }
            Area::Polygon(points) => {
                self.points(&at.key("polygon"), points, 3);
                if has_dents(points) {
                    let message = "an outline that something is cut to must not have dents";
                    self.say(&at.key("polygon"), message);
                }
            }
        }
    }

    fn motion(&mut self, at: &At<'_>, m: &Motion) {
        let ways = [
            m.turn_about.is_some(),
            m.carry_about.is_some(),
            m.shift_along.is_some(),
            m.strip.is_some(),
            m.sector.is_some(),
        ];
        if ways.iter().filter(|w| **w).count() != 1 {
            let message =
                "a motion needs one of turn_about, carry_about, shift_along, strip, sector";
            self.say(at, message);
        }
        if let Some(p) = m.carry_about {
            self.pair(&at.key("carry_about"), p, &POSITION);
        }
        if let Some(over) = &m.over {
            self.over(&at.key("over"), m, over);
        }
        if let Some(p) = m.turn_about {
            self.pair(&at.key("turn_about"), p, &POSITION);
        }
        if let Some(p) = m.shift_along {
            self.pair(&at.key("shift_along"), p, &POSITION);
            if p == [0.0, 0.0] {
                self.say(
                    &at.key("shift_along"),
                    "nothing moves along a way of no length",
                );
            }
        }
        if let Some(Strip { rect, .. }) = &m.strip {
            self.fractions(&at.key("strip").key("rect"), *rect);
        }
        if let Some(s) = &m.sector {
            self.pair(&at.key("sector").key("about"), s.about, &POSITION);
            self.number(&at.key("sector").key("from_deg"), s.from_deg, &ANGLE);
        }
        self.number(&at.key("offset"), m.offset, &VALUE);
        self.number_if(&at.key("period"), m.period, &PERIOD);
        for (key, range) in [("range", m.range), ("minus_range", m.minus_range)] {
            let Some([low, high]) = range else { continue };
            self.pair(&at.key(key), [low, high], &VALUE);
            if low >= high {
                let message = format!("{key}: low end {low} is not below high end {high}");
                self.say(&at.key(key), message);
            }
        }
        if m.minus_range.is_some() && m.minus.is_none() {
            let message = "minus_range: there is no \"minus\" whose values could end";
            self.say(&at.key("minus_range"), message);
        }
        if m.with_bank.is_some() && m.with_pitch.is_some() {
            self.say(
                at,
                "a channel is a pitch or a bank angle: give with_bank or with_pitch, not both",
            );
        }
        self.places(at, &m.scale, m.per_unit);
    }

    /// What a value is divided by is never 0.
    pub(in crate::definition) fn divides(&mut self, at: &At<'_>, over: &str) {
        if let Some(channel) = self.file.channels.get(over)
            && channel.range.is_none_or(|[low, _]| low <= 0.0)
        {
            let message =
                format!("values are divided by \"{over}\", whose range does not lie above 0");
            let help = "give the channel the range of what can be chosen, as in range = [2, 12]";
            self.say_with(at, message, Some(help.into()));
        }
    }

    /// What divides a value is above 0, and shares of it have a scale.
    fn over(&mut self, at: &At<'_>, m: &Motion, over: &str) {
        self.divides(at, over);
        if m.scale.is_empty() || m.range.is_some() || m.period.is_some() {
            let message = "a value that is divided needs a \"scale\" of shares, and has no \"range\" and no \"period\"";
            self.say(at, message);
        }
    }

    /// A scale or a number of places for a unit.
    fn places(&mut self, at: &At<'_>, scale: &[[f64; 2]], per_unit: Option<f64>) {
        match (scale.len(), per_unit) {
            (0, None) => {}
            (0, Some(v)) => {
                self.number(&at.key("per_unit"), v, &PER_UNIT);
                if v == 0.0 {
                    self.say(&at.key("per_unit"), "with 0 for a unit nothing moves");
                }
            }
            (1, _) => self.say(&at.key("scale"), "1 point; a scale needs at least two"),
            (_, Some(_)) => self.say(&at.key("per_unit"), "give scale or per_unit, not both"),
            (_, None) => {
                for (k, [value, place]) in scale.iter().enumerate() {
                    let at = at.key("scale").index(k);
                    self.number(&at.index(0), *value, &VALUE);
                    self.number(&at.index(1), *place, &POSITION);
                    if k > 0 && *value <= scale[k - 1][0] {
                        let before = scale[k - 1][0];
                        self.say(
                            &at.index(0),
                            format!("values must rise: {value} follows {before}"),
                        );
                    }
                }
            }
        }
    }

    fn repeat(&mut self, at: &At<'_>, r: &Repeat, has_end: bool) {
        let is_sound = self.number(&at.key("step"), r.step, &STEP);
        self.number_if(&at.key("from"), r.from, &VALUE);
        self.number_if(&at.key("to"), r.to, &VALUE);
        self.number_if(&at.key("except_step"), r.except_step, &STEP);
        self.number_if(&at.key("period"), r.period, &PERIOD);
        if r.turn_of.is_some() && r.period.is_none() {
            let message =
                "labels that count on from turn to turn need the length of a turn in \"period\"";
            self.say(&at.key("turn_of"), message);
        }
        if r.turn_about.is_some() == r.shift_along.is_some() {
            self.say(at, "marks need one of turn_about and shift_along");
        }
        self.places(at, &r.scale, r.per_unit);
        match (r.from, r.to) {
            (Some(from), Some(to)) if from > to => {
                self.say(
                    &at.key("from"),
                    format!("low end {from} is above high end {to}"),
                );
            }
            // Marks along a straight way are counted where they are in view.
            (Some(from), Some(to))
                if is_sound && r.turn_about.is_some() && (to - from) / r.step > TICKS =>
            {
                self.say(
                    &at.key("step"),
                    format!("step {} makes more than {TICKS} marks", r.step),
                );
            }
            (Some(_), Some(_)) => {}
            _ if has_end && r.shift_along.is_some() => {}
            _ => {
                let message = "marks without end: give \"from\" and \"to\", or a \"clip\" round marks that are shifted";
                self.say(at, message);
            }
        }
    }
}

/// Whether an outline turns both ways.
fn has_dents(points: &[[f64; 2]]) -> bool {
    let n = points.len();
    let turn = |k: usize| {
        let ([ax, ay], [bx, by], [cx, cy]) = (points[k], points[(k + 1) % n], points[(k + 2) % n]);
        (bx - ax) * (cy - by) - (by - ay) * (cx - bx)
    };
    let turns = (0..n).map(turn);
    turns.clone().any(|t| t > 0.0) && turns.clone().any(|t| t < 0.0)
}
