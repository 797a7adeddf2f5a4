//! Where a region names channels, colours and fonts, and how its symbols show values.
//!
//! The tree of symbols is walked in one place; checking of names, the lists of what a region
//! uses, and the advice of [`super::lint`] are all made from this walk.

use std::collections::BTreeSet;

use super::Definition;
use super::model::{
    Alert, Alerts, Attitude, Bar, Bug, ColorRule, Condition, Dial, FailureFlag, Flag, NumberFormat,
    Operand, Readout, Region, Rose, Symbol, Tape, Ticks,
};
use crate::picture::Rect;

/// One step from a table to a value in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    Key(&'static str),
    Index(usize),
}

/// How a channel is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Role {
    /// Compared with numbers.
    Compared,
    /// Compared with words or with another channel, or asked whether it is valid.
    Matched,
    /// Chooses a flag's state.
    Chooses,
    /// Written as digits or words.
    Written,
    /// Shown by the position or length of a mark.
    Moves,
}

/// What a place of the file names.
#[derive(Debug)]
pub(super) enum Use<'f> {
    Channel {
        name: &'f str,
        role: Role,
    },
    Color(&'f str),
    /// A condition, before what it names; members of a condition come with it.
    Condition(&'f Condition),
    Font {
        name: &'f str,
        size: f64,
    },
    /// Words that the font must have. The place is that of the words.
    Words {
        font: &'f str,
        words: String,
    },
    /// Numbers of a channel, as a readout writes them.
    Number {
        font: &'f str,
        format: &'f NumberFormat,
        channel: &'f str,
    },
}

type Visit<'v, 'f> = &'v mut dyn FnMut(&[Step], Use<'f>);

/// Calls `visit` for everything that `symbol` names, with its path from the symbol's table.
pub(super) fn of_symbol<'f>(symbol: &'f Symbol, visit: Visit<'_, 'f>) {
    Walk {
        path: Vec::new(),
        visit,
    }
    .symbol(symbol);
}

/// Everything that a format can write for numbers from `low` on.
pub(super) fn written(format: &NumberFormat, low: Option<f64>) -> String {
    let mut words = format!("{}0123456789{}", format.prefix, format.suffix);
    if format.decimals > 0 {
        words.push('.');
    }
    if format.plus {
        words.push('+');
    }
    let lowest = low.map(|v| v * format.scale + format.offset);
    if format.wrap.is_none() && lowest.is_none_or(|v| v < 0.0) {
        words.push('-');
    }
    words
}

struct Walk<'v, 'f> {
    path: Vec<Step>,
    visit: Visit<'v, 'f>,
}

impl<'f> Walk<'_, 'f> {
    fn say(&mut self, key: &'static str, what: Use<'f>) {
        self.path.push(Step::Key(key));
        (self.visit)(&self.path, what);
        self.path.pop();
    }

    fn within(&mut self, steps: &[Step], inner: impl FnOnce(&mut Self)) {
        let depth = self.path.len();
        self.path.extend_from_slice(steps);
        inner(self);
        self.path.truncate(depth);
    }

    fn key(&mut self, key: &'static str, inner: impl FnOnce(&mut Self)) {
        self.within(&[Step::Key(key)], inner);
    }

    fn each<T>(
        &mut self,
        key: &'static str,
        items: &'f [T],
        mut inner: impl FnMut(&mut Self, &'f T),
    ) {
        for (k, item) in items.iter().enumerate() {
            self.within(&[Step::Key(key), Step::Index(k)], |w| inner(w, item));
        }
    }

    fn moves(&mut self, key: &'static str, name: &'f str) {
        let role = Role::Moves;
        self.say(key, Use::Channel { name, role });
    }

    fn color(&mut self, key: &'static str, name: &'f str) {
        self.say(key, Use::Color(name));
    }

    fn color_if(&mut self, key: &'static str, name: Option<&'f String>) {
        if let Some(name) = name {
            self.color(key, name);
        }
    }

    fn font(&mut self, name: &'f str, size: f64) {
        self.say("font", Use::Font { name, size });
    }

    fn words(&mut self, key: &'static str, font: &'f str, words: String) {
        self.say(key, Use::Words { font, words });
    }

    fn symbol(&mut self, symbol: &'f Symbol) {
        match symbol {
            Symbol::Attitude(a) => self.attitude(a),
            Symbol::Dial(d) => self.dial(d),
            Symbol::Tape(t) => self.tape(t),
            Symbol::Rose(r) => self.rose(r),
            Symbol::Bar(b) => self.bar(b),
            Symbol::Readout(r) => self.readout(r),
            Symbol::Alerts(a) => self.alerts(a),
            Symbol::Flag(f) => self.flag(f),
            Symbol::Text(t) => {
                self.font(&t.font, t.size);
                self.color("color", &t.color);
                self.words("text", &t.font, t.text.clone());
            }
            Symbol::Liveness(l) => {
                self.color("on", &l.on);
                self.color("off", &l.off);
            }
            Symbol::Unchecked(_) => {}
        }
    }

    fn attitude(&mut self, a: &'f Attitude) {
        self.moves("pitch", &a.pitch);
        self.moves("roll", &a.roll);
        self.color("sky", &a.sky);
        self.color("ground", &a.ground);
        self.color("line", &a.line);
        self.color("aircraft", &a.aircraft);
        if let Some(ladder) = &a.ladder {
            self.key("ladder", |w| {
                w.font(&ladder.font, ladder.size);
                w.words("font", &ladder.font, "0123456789".into());
            });
        }
        if let Some(slip) = &a.slip {
            self.key("slip", |w| {
                w.moves("channel", &slip.channel);
                w.color("color", &slip.color);
            });
        }
        self.failure(&a.failure);
    }

    fn failure(&mut self, f: &'f FailureFlag) {
        self.key("failure", |w| {
            w.font(&f.font, f.size);
            w.words("text", &f.font, f.text.clone());
            w.color("color", &f.color);
            w.color("background", &f.background);
        });
    }

    fn ticks(&mut self, t: &'f Ticks, low: f64) {
        self.key("ticks", |w| {
            w.color("color", &t.color);
            if let Some(l) = &t.labels {
                w.key("labels", |w| {
                    w.font(&l.font, l.size);
                    w.words("font", &l.font, written(&l.format, Some(low)));
                });
            }
        });
    }

    fn rules(&mut self, rules: &'f [ColorRule]) {
        self.each("color_rules", rules, |w, rule| {
            w.color("color", &rule.color);
            w.conditions(&rule.when);
        });
    }

    fn conditions(&mut self, when: &'f [Condition]) {
        self.each("when", when, |w, c| {
            (w.visit)(&w.path, Use::Condition(c));
            w.condition(c);
        });
    }

    fn condition(&mut self, c: &'f Condition) {
        if let Some(name) = &c.channel {
            let role = if c.needs_number() {
                Role::Compared
            } else {
                Role::Matched
            };
            self.say("channel", Use::Channel { name, role });
        }
        for (key, bound) in c.bounds() {
            if let Some(operand) = bound {
                self.key(key, |w| w.operand(key, operand));
            }
        }
        let list = c.is_one_of.as_deref().unwrap_or_default();
        self.each("is_one_of", list, |w, operand| w.operand("equals", operand));
        self.each("all", c.all.as_deref().unwrap_or_default(), Self::condition);
        self.each("any", c.any.as_deref().unwrap_or_default(), Self::condition);
        if let Some(member) = &c.not {
            self.key("not", |w| w.condition(member));
        }
    }

    fn operand(&mut self, key: &str, operand: &'f Operand) {
        if let Operand::Channel { channel: name } = operand {
            let role = if key == "equals" {
                Role::Matched
            } else {
                Role::Compared
            };
            self.say("channel", Use::Channel { name, role });
        }
    }

    fn dial(&mut self, d: &'f Dial) {
        let low = d.breakpoints.first().map_or(0.0, |b| b[0]);
        self.ticks(&d.ticks, low);
        self.each("bands", &d.bands, |w, b| w.color("color", &b.color));
        self.each("limits", &d.limits, |w, l| w.color("color", &l.color));
        self.each("pointers", &d.pointers, |w, p| {
            w.moves("channel", &p.channel);
            w.color("color", &p.color);
            w.rules(&p.color_rules);
        });
        self.readout_at("readout", d.readout.as_ref());
        self.failure(&d.failure);
    }

    fn bugs(&mut self, bugs: &'f [Bug]) {
        self.each("bugs", bugs, |w, b| {
            w.moves("channel", &b.channel);
            w.color("color", &b.color);
        });
    }

    fn tape(&mut self, t: &'f Tape) {
        self.moves("channel", &t.channel);
        self.color_if("background", t.background.as_ref());
        let low = if t.period.is_some() {
            t.min.max(0.0)
        } else {
            t.min
        };
        self.ticks(&t.ticks, low);
        self.each("bands", &t.bands, |w, b| w.color("color", &b.color));
        self.bugs(&t.bugs);
        if let Some(window) = &t.window {
            self.key("window", |w| {
                w.color("background", &window.background);
                w.color("border", &window.border);
                w.readout_at("readout", Some(&window.readout));
            });
        }
        self.failure(&t.failure);
    }

    fn rose(&mut self, r: &'f Rose) {
        self.moves("channel", &r.channel);
        self.color("color", &r.color);
        self.font(&r.font, r.size);
        self.words("font", &r.font, "NESW0123456789".into());
        self.color("lubber", &r.lubber);
        self.bugs(&r.bugs);
        if let Some(wind) = &r.wind {
            self.key("wind", |w| {
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
        self.readout_at("readout", r.readout.as_ref());
        self.failure(&r.failure);
    }

    fn bar(&mut self, b: &'f Bar) {
        self.moves("channel", &b.channel);
        self.color("color", &b.color);
        self.rules(&b.color_rules);
        self.color_if("frame", b.frame.as_ref());
        self.color_if("background", b.background.as_ref());
        if let Some(ticks) = &b.ticks {
            let low = b.breakpoints.first().map_or(0.0, |p| p[0]);
            self.ticks(ticks, low);
        }
        self.each("bands", &b.bands, |w, x| w.color("color", &x.color));
        self.each("limits", &b.limits, |w, l| w.color("color", &l.color));
        self.failure(&b.failure);
    }

    fn readout_at(&mut self, key: &'static str, readout: Option<&'f Readout>) {
        if let Some(r) = readout {
            self.key(key, |w| w.readout(r));
        }
    }

    fn readout(&mut self, r: &'f Readout) {
        let role = Role::Written;
        self.say(
            "channel",
            Use::Channel {
                name: &r.channel,
                role,
            },
        );
        self.font(&r.font, r.size);
        self.color("color", &r.color);
        self.rules(&r.color_rules);
        self.color_if("invalid_color", r.invalid_color.as_ref());
        self.words("invalid_text", &r.font, r.invalid_text.clone());
        let (font, format, channel) = (&r.font, &r.format, &r.channel);
        self.say(
            "format",
            Use::Number {
                font,
                format,
                channel,
            },
        );
    }

    fn alerts(&mut self, a: &'f Alerts) {
        self.font(&a.font, a.size);
        if let Some(size) = a.advice_size {
            self.say(
                "advice_size",
                Use::Font {
                    name: &a.font,
                    size,
                },
            );
        }
        self.key("colors", |w| {
            w.color("warning", &a.colors.warning);
            w.color("caution", &a.colors.caution);
            w.color("advisory", &a.colors.advisory);
        });
        self.each("alert", &a.alert, |w, alert| {
            w.words("text", &a.font, alert.text.clone());
            w.words("advice", &a.font, alert.advice.clone());
            w.conditions(&alert.when);
        });
        if let Some(flag) = &a.failure {
            self.failure(flag);
        }
    }

    fn flag(&mut self, f: &'f Flag) {
        let role = Role::Chooses;
        self.say(
            "channel",
            Use::Channel {
                name: &f.channel,
                role,
            },
        );
        self.font(&f.font, f.size);
        self.each("state", &f.state, |w, s| {
            w.words("text", &f.font, s.text.clone());
            w.color("color", &s.color);
            w.color_if("background", s.background.as_ref());
            w.color_if("frame", s.frame.as_ref());
        });
        self.key("invalid", |w| {
            w.words("text", &f.font, f.invalid.text.clone());
            w.color("color", &f.invalid.color);
            w.color_if("background", f.invalid.background.as_ref());
            w.color_if("frame", f.invalid.frame.as_ref());
        });
    }
}

/// An alert and where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AlertPlace<'f> {
    /// Index of the region.
    pub region: usize,
    /// Index of the symbol in its region.
    pub symbol: usize,
    /// Index of the alert in its symbol.
    pub alert: usize,
    /// The alert.
    pub what: &'f Alert,
}

impl Symbol {
    /// The word that `kind` has in the file.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Attitude(_) => "attitude",
            Self::Dial(_) => "dial",
            Self::Tape(_) => "tape",
            Self::Rose(_) => "rose",
            Self::Bar(_) => "bar",
            Self::Readout(_) => "readout",
            Self::Alerts(_) => "alerts",
            Self::Flag(_) => "flag",
            Self::Text(_) => "text",
            Self::Liveness(_) => "liveness",
            Self::Unchecked(_) => "unchecked",
        }
    }

    /// The channels that this symbol depends on: shown, written, compared in rules, or those of its alerts.
    #[must_use]
    pub fn channels_used(&self) -> BTreeSet<&str> {
        let mut names = BTreeSet::new();
        of_symbol(self, &mut |_, what| {
            if let Use::Channel { name, .. } = what {
                names.insert(name);
            }
        });
        names
    }
}

impl Region {
    /// Whether nothing in it is checked: unchecked areas cover all of it.
    #[must_use]
    pub fn is_unchecked(&self) -> bool {
        self.area().outside(&self.unchecked_areas()) == 0
    }

    /// Areas of it that are left out of all checks, in the order of the file.
    fn unchecked_areas(&self) -> Vec<Rect> {
        let areas = self.symbol.iter().filter_map(|s| match s {
            Symbol::Unchecked(u) => Some(u.rect),
            _ => None,
        });
        areas.map(|[x, y, w, h]| Rect::new(x, y, w, h)).collect()
    }

    /// The colours that the region's symbols name.
    #[must_use]
    pub fn colors_used(&self) -> BTreeSet<&str> {
        let mut names = BTreeSet::new();
        for symbol in &self.symbol {
            of_symbol(symbol, &mut |_, what| {
                if let Use::Color(name) = what {
                    names.insert(name);
                }
            });
        }
        names
    }

    /// The channels that the region's symbols depend on: shown, written, compared in rules, or
    /// those of its alerts.
    #[must_use]
    pub fn channels_used(&self) -> BTreeSet<&str> {
        self.symbol.iter().flat_map(Symbol::channels_used).collect()
    }
}

impl Definition {
    /// All alerts in the order of the file: by region, symbol, alert. The position in this order
    /// is the alert's index in [`crate::recording::inputs::Inputs::active_since_s`].
    pub fn alerts(&self) -> impl Iterator<Item = AlertPlace<'_>> {
        self.regions().iter().enumerate().flat_map(|(region, r)| {
            r.symbol.iter().enumerate().flat_map(move |(symbol, s)| {
                let alerts: &[Alert] = match s {
                    Symbol::Alerts(a) => &a.alert,
                    Symbol::Attitude(_)
                    | Symbol::Dial(_)
                    | Symbol::Tape(_)
                    | Symbol::Rose(_)
                    | Symbol::Bar(_)
                    | Symbol::Readout(_)
                    | Symbol::Flag(_)
                    | Symbol::Text(_)
                    | Symbol::Liveness(_)
                    | Symbol::Unchecked(_) => &[],
                };
                let places = alerts.iter().enumerate();
                places.map(move |(alert, what)| AlertPlace {
                    region,
                    symbol,
                    alert,
                    what,
                })
            })
        })
    }

    /// Areas that are left out of all checks, in the order of the file.
    #[must_use]
    pub fn unchecked(&self) -> Vec<Rect> {
        let regions = self.regions().iter();
        regions.flat_map(Region::unchecked_areas).collect()
    }

    /// Pixels of the display that nobody checks: outside all regions, and in unchecked areas, each counted once.
    #[must_use]
    pub fn unchecked_px(&self) -> u64 {
        let (width, height) = self.size();
        // Regions lie on the canvas and do not overlap; unchecked areas may.
        let checked: i64 = self
            .regions()
            .iter()
            .map(|r| r.area().outside(&r.unchecked_areas()))
            .sum();
        (Rect::of_size(width, height).area() - checked) as u64
    }
}
