//! The tables of symbols: scales rise, marks fit, what they say can be shown.

use super::limits::*;
use super::{Check, TICKS};
use crate::definition::model::{
    Alerts, Attitude, Band, Bar, Bug, ColorRule, Condition, Dial, Direction, Edge, FailureFlag,
    Flag, Liveness, NumberFormat, Readout, Rose, Symbol, Tape, Ticks,
};
use crate::definition::place::At;

impl Check<'_> {
    pub(super) fn symbol(&mut self, at: &At<'_>, symbol: &Symbol) {
        match symbol {
            Symbol::Attitude(a) => self.attitude(at, a),
            Symbol::Dial(d) => self.dial(at, d),
            Symbol::Tape(t) => self.tape(at, t),
            Symbol::Rose(r) => self.rose(at, r),
            Symbol::Bar(b) => self.bar(at, b),
            Symbol::Readout(r) => self.readout(at, r),
            Symbol::Alerts(a) => self.alerts(at, a),
            Symbol::Flag(f) => self.flag(at, f),
            Symbol::Text(t) => {
                if t.text.is_empty() {
                    self.say(&at.key("text"), "text without words");
                }
                self.pair(&at.key("position"), t.position, &POSITION);
                self.number(&at.key("size"), t.size, &FONT_SIZE);
            }
            Symbol::Liveness(l) => self.liveness(at, l),
            Symbol::Unchecked(u) => {
                self.rect(&at.key("rect"), u.rect);
                if u.reason.trim().is_empty() {
                    self.say(
                        &at.key("reason"),
                        "an unchecked area must say why it cannot be checked",
                    );
                }
            }
        }
    }

    fn attitude(&mut self, at: &At<'_>, a: &Attitude) {
        self.rect(&at.key("rect"), a.rect);
        if let Some(center) = a.center {
            self.pair(&at.key("center"), center, &POSITION);
        }
        self.number(&at.key("px_per_deg"), a.px_per_deg, &PX_PER_UNIT);
        self.number(&at.key("aircraft_span"), a.aircraft_span, &SIZE);
        self.number(&at.key("line_width"), a.line_width, &WIDTH);
        if let Some(l) = &a.ladder {
            let at = at.key("ladder");
            self.number(&at.key("limit"), l.limit, &PITCH);
            self.step(&at.key("major_step"), Some(l.major_step), 2.0 * l.limit);
            self.step(&at.key("minor_step"), l.minor_step, 2.0 * l.limit);
            self.number(&at.key("major_half_width"), l.major_half_width, &LENGTH);
            self.number(&at.key("minor_half_width"), l.minor_half_width, &LENGTH);
            self.number(&at.key("visible_px"), l.visible_px, &SIZE);
            self.number(&at.key("size"), l.size, &FONT_SIZE);
        }
        if let Some(b) = &a.bank {
            let at = at.key("bank");
            self.number(&at.key("radius"), b.radius, &SIZE);
            self.number(&at.key("mark_length"), b.mark_length, &LENGTH);
            self.number(&at.key("pointer_size"), b.pointer_size, &SIZE);
            for (k, mark) in b.marks.iter().enumerate() {
                let at = at.key("marks").index(k);
                self.number(&at, *mark, &BANK);
                if b.marks[..k].contains(mark) {
                    self.say(&at, format!("bank mark {mark} deg is given twice"));
                }
            }
        }
        if let Some(s) = &a.slip {
            let at = at.key("slip");
            self.pair(&at.key("center"), s.center, &POSITION);
            self.number(&at.key("px_per_unit"), s.px_per_unit, &PX_PER_UNIT);
            self.number(&at.key("travel"), s.travel, &SIZE);
            self.pair(&at.key("size"), s.size, &SIZE);
        }
        self.failure(at, &a.failure);
    }

    fn failure(&mut self, at: &At<'_>, f: &FailureFlag) {
        let at = at.key("failure");
        self.rect(&at.key("rect"), f.rect);
        self.number(&at.key("size"), f.size, &FONT_SIZE);
        if f.text.is_empty() && !f.cross && f.color == f.background {
            self.say(
                &at,
                "a failure flag with neither text nor cross shows nothing",
            );
        }
    }

    /// A step of marks along `span` units.
    fn step(&mut self, at: &At<'_>, step: Option<f64>, span: f64) {
        let Some(step) = step else { return };
        if self.number(at, step, &STEP) && span / step > TICKS {
            let message = format!("step {step} makes more than {TICKS} marks over {span} units");
            self.say(at, message);
        }
    }

    fn ticks(&mut self, at: &At<'_>, t: &Ticks, span: f64) {
        let at = at.key("ticks");
        self.step(&at.key("major_step"), Some(t.major_step), span);
        self.step(&at.key("minor_step"), t.minor_step, span);
        self.number(&at.key("major_length"), t.major_length, &LENGTH);
        self.number(&at.key("minor_length"), t.minor_length, &LENGTH);
        self.number(&at.key("width"), t.width, &WIDTH);
        if let Some(l) = &t.labels {
            let at = at.key("labels");
            self.number(&at.key("size"), l.size, &FONT_SIZE);
            self.step(&at.key("step"), l.step, span);
            self.number(&at.key("distance"), l.distance, &POSITION);
            self.format(&at.key("format"), &l.format);
        }
    }

    fn format(&mut self, at: &At<'_>, f: &NumberFormat) {
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

    fn bands(&mut self, at: &At<'_>, bands: &[Band]) {
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

    fn rules(&mut self, at: &At<'_>, rules: &[ColorRule]) {
        for (k, rule) in rules.iter().enumerate() {
            self.conditions(&at.key("color_rules").index(k), &rule.when);
        }
    }

    /// What the conditions themselves say is looked at where all that a symbol names is.
    fn conditions(&mut self, at: &At<'_>, when: &[Condition]) {
        let at = at.key("when");
        if when.is_empty() {
            self.say(&at, "\"when\" has no condition, so it would always hold");
        }
    }

    /// At least two points, values rising, places running one way.
    fn breakpoints(&mut self, at: &At<'_>, points: &[[f64; 2]], places: &Limits, may_fall: bool) {
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

    fn dial(&mut self, at: &At<'_>, d: &Dial) {
        self.pair(&at.key("center"), d.center, &POSITION);
        self.number(&at.key("radius"), d.radius, &SIZE);
        self.breakpoints(at, &d.breakpoints, &ANGLE, true);
        self.number(&at.key("line_width"), d.line_width, &WIDTH_OR_NONE);
        self.ticks(at, &d.ticks, span(&d.breakpoints));
        self.bands(at, &d.bands);
        self.number(&at.key("band_width"), d.band_width, &WIDTH);
        for (k, limit) in d.limits.iter().enumerate() {
            self.number(&at.key("limits").index(k).key("at"), limit.at, &VALUE);
        }
        if d.pointers.is_empty() {
            self.say(&at.key("pointers"), "a dial needs at least one pointer");
        }
        for (k, p) in d.pointers.iter().enumerate() {
            let at = at.key("pointers").index(k);
            self.number(&at.key("tip_radius"), p.tip_radius, &SIZE);
            self.number(&at.key("tail_radius"), p.tail_radius, &POSITION);
            self.number(&at.key("width"), p.width, &WIDTH);
            if p.tip_radius == p.tail_radius {
                self.say(
                    &at.key("tail_radius"),
                    "pointer has no length: tip and tail have the same radius",
                );
            }
            self.rules(&at, &p.color_rules);
        }
        if let Some(r) = &d.readout {
            self.readout(&at.key("readout"), r);
        }
        self.failure(at, &d.failure);
    }

    /// Marks start from an edge that lies along the scale.
    fn edge(&mut self, at: &At<'_>, direction: Direction, edge: Edge) {
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

    fn tape(&mut self, at: &At<'_>, t: &Tape) {
        let is_sound = self.rect(&at.key("rect"), t.rect);
        self.edge(at, t.direction, t.edge);
        self.number_if(&at.key("reference"), t.reference, &POSITION);
        let has_scale = self.number(&at.key("px_per_unit"), t.px_per_unit, &PX_PER_UNIT);
        self.number(&at.key("min"), t.min, &VALUE);
        self.number(&at.key("max"), t.max, &VALUE);
        if t.min >= t.max {
            self.say(
                &at.key("min"),
                format!("scale: low end {} is not below high end {}", t.min, t.max),
            );
        }
        self.number_if(&at.key("period"), t.period, &PERIOD);
        // A repeating scale is drawn as far as it is seen, however short its period is.
        let [_, _, width, height] = t.rect.map(f64::from);
        let seen = if is_sound && has_scale {
            width.max(height) / t.px_per_unit
        } else {
            0.0
        };
        self.ticks(
            at,
            &t.ticks,
            t.period.map_or(t.max - t.min, |p| p.max(seen)),
        );
        self.bands(at, &t.bands);
        self.number(&at.key("band_width"), t.band_width, &WIDTH);
        self.bugs(at, &t.bugs);
        if let Some(w) = &t.window {
            let at = at.key("window");
            self.rect(&at.key("rect"), w.rect);
            self.number(&at.key("border_width"), w.border_width, &WIDTH_OR_NONE);
            self.readout(&at.key("readout"), &w.readout);
        }
        self.failure(at, &t.failure);
    }

    fn bugs(&mut self, at: &At<'_>, bugs: &[Bug]) {
        for (k, bug) in bugs.iter().enumerate() {
            self.pair(&at.key("bugs").index(k).key("size"), bug.size, &SIZE);
        }
    }

    fn rose(&mut self, at: &At<'_>, r: &Rose) {
        self.pair(&at.key("center"), r.center, &POSITION);
        self.number(&at.key("radius"), r.radius, &SIZE);
        self.number(&at.key("mark_length"), r.mark_length, &LENGTH);
        if r.mark_length > r.radius {
            self.say(
                &at.key("mark_length"),
                format!(
                    "marks of {} px reach past the middle of a card of radius {} px",
                    r.mark_length, r.radius
                ),
            );
        }
        self.number(&at.key("mark_width"), r.mark_width, &WIDTH);
        self.number(&at.key("size"), r.size, &FONT_SIZE);
        self.number(&at.key("label_radius"), r.label_radius, &LENGTH);
        self.number(&at.key("lubber_length"), r.lubber_length, &LENGTH);
        self.bugs(at, &r.bugs);
        if let Some(w) = &r.wind {
            let at = at.key("wind");
            self.pair(&at.key("center"), w.center, &POSITION);
            self.number(&at.key("length"), w.length, &SIZE);
            self.number(&at.key("width"), w.width, &WIDTH);
            self.number(&at.key("calm_below"), w.calm_below, &CALM);
            for (key, readout) in [
                ("direction_readout", &w.direction_readout),
                ("speed_readout", &w.speed_readout),
            ] {
                if let Some(r) = readout {
                    self.readout(&at.key(key), r);
                }
            }
        }
        if let Some(readout) = &r.readout {
            self.readout(&at.key("readout"), readout);
        }
        self.number_if(&at.key("aircraft_span"), r.aircraft_span, &SIZE);
        self.failure(at, &r.failure);
    }

    fn bar(&mut self, at: &At<'_>, b: &Bar) {
        self.rect(&at.key("rect"), b.rect);
        self.edge(at, b.direction, b.edge);
        self.breakpoints(at, &b.breakpoints, &FRACTION, false);
        if let (Some(origin), [first, .., last]) = (b.origin, &b.breakpoints[..])
            && (origin < first[0] || origin > last[0])
        {
            let message = format!(
                "origin {origin} lies outside the scale, {} to {}",
                first[0], last[0]
            );
            self.say(&at.key("origin"), message);
        }
        self.rules(at, &b.color_rules);
        if let Some(ticks) = &b.ticks {
            self.ticks(at, ticks, span(&b.breakpoints));
        }
        self.bands(at, &b.bands);
        self.number(&at.key("band_width"), b.band_width, &WIDTH);
        for (k, limit) in b.limits.iter().enumerate() {
            self.number(&at.key("limits").index(k).key("at"), limit.at, &VALUE);
        }
        self.failure(at, &b.failure);
    }

    fn readout(&mut self, at: &At<'_>, r: &Readout) {
        self.pair(&at.key("position"), r.position, &POSITION);
        self.number(&at.key("size"), r.size, &FONT_SIZE);
        self.rules(at, &r.color_rules);
        self.format(&at.key("format"), &r.format);
        self.number_if(&at.key("tolerance"), r.tolerance, &READOUT_TOLERANCE);
    }

    fn alerts(&mut self, at: &At<'_>, a: &Alerts) {
        self.pair(&at.key("position"), a.position, &POSITION);
        self.number(&at.key("line_height"), a.line_height, &SIZE);
        self.number(&at.key("slots"), a.slots as f64, &SLOTS);
        self.number(&at.key("size"), a.size, &FONT_SIZE);
        if let Some(position) = a.advice_position {
            self.pair(&at.key("advice_position"), position, &POSITION);
        }
        self.number_if(&at.key("advice_size"), a.advice_size, &FONT_SIZE);
        if let Some(flag) = &a.failure {
            self.failure(at, flag);
        }
        if a.alert.is_empty() {
            self.say(&at.key("alert"), "an alert list needs at least one alert");
        }
        for (k, alert) in a.alert.iter().enumerate() {
            let at = at.key("alert").index(k);
            if alert.text.is_empty() {
                self.say(&at.key("text"), "alert without words");
            }
            self.conditions(&at, &alert.when);
        }
    }

    fn flag(&mut self, at: &At<'_>, f: &Flag) {
        self.rect(&at.key("rect"), f.rect);
        self.number(&at.key("size"), f.size, &FONT_SIZE);
        if f.state.is_empty() {
            self.say(&at.key("state"), "a flag needs at least one state");
        }
        for (k, state) in f.state.iter().enumerate() {
            if f.state[..k].iter().any(|s| s.value == state.value) {
                self.say(
                    &at.key("state").index(k).key("value"),
                    format!("state value {} is given twice", state.value),
                );
            }
        }
    }

    fn liveness(&mut self, at: &At<'_>, l: &Liveness) {
        self.rect(&at.key("rect"), l.rect);
        let is_sound = self.number(&at.key("period_ms"), l.period_ms, &TIME_SPAN);
        if self.number(&at.key("max_hold_ms"), l.max_hold_ms, &TIME_SPAN)
            && is_sound
            && l.max_hold_ms < l.period_ms
        {
            let message = format!(
                "max_hold_ms {} is shorter than period_ms {}: a healthy mark would fail",
                l.max_hold_ms, l.period_ms
            );
            self.say(&at.key("max_hold_ms"), message);
        }
        if l.on == l.off {
            self.say(
                &at.key("off"),
                "both halves have the same colour, so no change could be seen",
            );
        }
    }
}

fn span(breakpoints: &[[f64; 2]]) -> f64 {
    match breakpoints {
        [first, .., last] => last[0] - first[0],
        _ => 0.0,
    }
}
