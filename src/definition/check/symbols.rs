//! The tables of symbols: scales rise, marks fit, what they say can be shown.

use super::limits::*;
use super::{Check, TICKS};
use crate::definition::model::{
    Band, Bug, ColorRule, Condition, Direction, Edge, FailureFlag, NumberFormat, Readout, Symbol,
    Ticks,
};
use crate::definition::place::At;

impl Check<'_> {
    pub(super) fn symbol(&mut self, at: &At<'_>, symbol: &Symbol) {
        symbol.as_kind().check(at, self);
    }

    pub(in crate::definition) fn failure(&mut self, at: &At<'_>, f: &FailureFlag) {
        self.flag_look(&at.key("failure"), f);
    }

    pub(in crate::definition) fn flag_look(&mut self, at: &At<'_>, f: &FailureFlag) {
        self.rect(&at.key("rect"), f.rect);
        self.number(&at.key("size"), f.size, &FONT_SIZE);
        self.number(&at.key("cross_width"), f.cross_width, &WIDTH);
        self.number(&at.key("text_margin"), f.text_margin, &PROPORTION_OR_NONE);
        if f.text.is_empty() && !f.cross && f.color == f.background {
            self.say(
                at,
                "a failure flag with neither text nor cross shows nothing",
            );
        }
    }

    /// A step of marks along `span` units.
    pub(in crate::definition) fn step(&mut self, at: &At<'_>, step: Option<f64>, span: f64) {
        let Some(step) = step else { return };
        if self.number(at, step, &STEP) && span / step > TICKS {
            let message = format!("step {step} makes more than {TICKS} marks over {span} units");
            self.say(at, message);
        }
    }

    pub(in crate::definition) fn ticks(&mut self, at: &At<'_>, t: &Ticks, span: f64) {
        let at = at.key("ticks");
        self.step(&at.key("major_step"), Some(t.major_step), span);
        self.step(&at.key("minor_step"), t.minor_step, span);
        self.number(&at.key("major_length"), t.major_length, &LENGTH);
        self.number(&at.key("minor_length"), t.minor_length, &LENGTH);
        self.number(&at.key("width"), t.width, &WIDTH);
        self.number_if(&at.key("minor_width"), t.minor_width, &WIDTH);
        if let Some(l) = &t.labels {
            let at = at.key("labels");
            self.number(&at.key("size"), l.size, &FONT_SIZE);
            self.step(&at.key("step"), l.step, span);
            self.number(&at.key("distance"), l.distance, &POSITION);
            self.format(&at.key("format"), &l.format);
        }
    }

    pub(in crate::definition) fn format(&mut self, at: &At<'_>, f: &NumberFormat) {
        self.number(&at.key("scale"), f.scale, &VALUE);
        if f.scale == 0.0 {
            self.say(&at.key("scale"), "scale 0 makes every number the same");
        }
        self.number(&at.key("offset"), f.offset, &VALUE);
        self.number_if(&at.key("quantum"), f.quantum, &STEP);
        self.number_if(&at.key("wrap"), f.wrap, &PERIOD);
        self.number(&at.key("decimals"), f64::from(f.decimals), &DECIMALS);
        self.number(&at.key("digits"), f64::from(f.digits), &DIGITS);
        if f.zero_as_wrap && f.wrap.is_none() {
            self.say(&at.key("zero_as_wrap"), "zero_as_wrap needs \"wrap\"");
        }
    }

    pub(in crate::definition) fn bands(&mut self, at: &At<'_>, bands: &[Band]) {
        for (k, band) in bands.iter().enumerate() {
            let at = at.key("bands").index(k);
            self.number(&at.key("from"), band.from, &VALUE);
            self.number(&at.key("to"), band.to, &VALUE);
            if band.from >= band.to {
                self.say(
                    &at.key("from"),
                    format!(
                        "band: low end {} is not below high end {}",
                        band.from, band.to
                    ),
                );
            }
        }
    }

    pub(in crate::definition) fn rules(&mut self, at: &At<'_>, rules: &[ColorRule]) {
        for (k, rule) in rules.iter().enumerate() {
            self.conditions(&at.key("color_rules").index(k), &rule.when);
        }
    }

    /// What the conditions themselves say is looked at where all that a symbol names is.
    pub(in crate::definition) fn conditions(&mut self, at: &At<'_>, when: &[Condition]) {
        let at = at.key("when");
        if when.is_empty() {
            self.say(&at, "\"when\" has no condition, so it would always hold");
        }
    }

    /// At least two points, values rising, places running one way.
    pub(in crate::definition) fn breakpoints(
        &mut self,
        at: &At<'_>,
        points: &[[f64; 2]],
        places: &Limits,
        may_fall: bool,
    ) {
        let at = at.key("breakpoints");
        if points.len() < 2 {
            self.say(
                &at,
                format!("{} breakpoints; a scale needs at least two", points.len()),
            );
        }
        for (k, [value, place]) in points.iter().enumerate() {
            self.number(&at.index(k).index(0), *value, &VALUE);
            self.number(&at.index(k).index(1), *place, places);
        }
        let falls = may_fall && points.len() > 1 && points[1][1] < points[0][1];
        for (k, w) in points.windows(2).enumerate() {
            let [[value, place], [next_value, next_place]] = [w[0], w[1]];
            let at = at.index(k + 1);
            if next_value <= value {
                self.say(
                    &at.index(0),
                    format!("breakpoints must rise: value {next_value} follows {value}"),
                );
            }
            if (falls && next_place >= place) || (!falls && next_place <= place) {
                let message = format!(
                    "the scale must run one way: {} {next_place} follows {place}",
                    places.name
                );
                self.say(&at.index(1), message);
            }
        }
    }

    /// Marks start from an edge that lies along the scale.
    pub(in crate::definition) fn edge(&mut self, at: &At<'_>, direction: Direction, edge: Edge) {
        let (is_upright, wanted) = match direction {
            Direction::Up | Direction::Down => (true, "left or right"),
            Direction::Left | Direction::Right => (false, "top or bottom"),
        };
        if is_upright != matches!(edge, Edge::Left | Edge::Right) {
            self.say(
                &at.key("edge"),
                format!("this edge lies across the scale; expected {wanted}"),
            );
        }
    }

    pub(in crate::definition) fn bugs(&mut self, at: &At<'_>, bugs: &[Bug]) {
        for (k, bug) in bugs.iter().enumerate() {
            let at = at.key("bugs").index(k);
            self.pair(&at.key("size"), bug.size, &SIZE);
            self.pair(&at.key("notch"), bug.notch, &SHARE);
        }
    }

    pub(in crate::definition) fn readout(&mut self, at: &At<'_>, r: &Readout) {
        self.pair(&at.key("position"), r.position, &POSITION);
        self.number(&at.key("size"), r.size, &FONT_SIZE);
        self.rules(at, &r.color_rules);
        self.format(&at.key("format"), &r.format);
        self.number_if(&at.key("tolerance"), r.tolerance, &READOUT_TOLERANCE);
    }
}

/// Units from one end of a scale to the other.
pub(in crate::definition) fn length(breakpoints: &[[f64; 2]]) -> f64 {
    match breakpoints {
        [first, .., last] => last[0] - first[0],
        _ => 0.0,
    }
}
