//! Where a region names channels, colours and fonts, and how its symbols show values.
//!
//! The tree of symbols is walked in one place; checking of names, the lists of what a region
//! uses, and the advice of [`super::lint`] are all made from this walk.

use std::collections::BTreeSet;

use super::Definition;
use super::model::{
    Alert, Alerts, Bug, ColorRule, Condition, FailureFlag, NumberFormat, Operand, Readout, Region,
    Symbol, Ticks,
};
use super::pages::PageSet;
use super::parts::{Part, Shape};
use super::symbols::Kind;
use crate::picture::Rect;

/// One step from a table to a value in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    Key(&'static str),
    Index(usize),
}

/// How a channel is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Role {
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
pub(crate) enum Use<'f> {
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
pub(crate) fn of_symbol<'f>(symbol: &'f Symbol, visit: Visit<'_, 'f>) {
    let mut walk = Walk {
        path: Vec::new(),
        visit,
    };
    symbol.as_kind().uses(&mut walk);
}

/// The same for a list of conditions, with its path from the table whose key `key` it is.
pub(super) fn of_conditions<'f>(
    key: &'static str,
    conditions: &'f [Condition],
    visit: Visit<'_, 'f>,
) {
    let mut walk = Walk {
        path: Vec::new(),
        visit,
    };
    walk.conditions_at(key, conditions);
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
    if format.minutes {
        words.push(':');
    }
    let lowest = low.map(|v| v * format.scale + format.offset);
    if format.wrap.is_none() && lowest.is_none_or(|v| v < 0.0) {
        words.push('-');
    }
    words
}

/// The walk through a symbol's table.
pub(super) struct Walk<'v, 'f> {
    path: Vec<Step>,
    visit: Visit<'v, 'f>,
}

impl<'f> Walk<'_, 'f> {
    pub(super) fn say(&mut self, key: &'static str, what: Use<'f>) {
        self.path.push(Step::Key(key));
        (self.visit)(&self.path, what);
        self.path.pop();
    }

    pub(super) fn within(&mut self, steps: &[Step], inner: impl FnOnce(&mut Self)) {
        let depth = self.path.len();
        self.path.extend_from_slice(steps);
        inner(self);
        self.path.truncate(depth);
    }

    pub(super) fn key(&mut self, key: &'static str, inner: impl FnOnce(&mut Self)) {
        self.within(&[Step::Key(key)], inner);
    }

    pub(super) fn each<T>(
        &mut self,
        key: &'static str,
        items: &'f [T],
        mut inner: impl FnMut(&mut Self, &'f T),
    ) {
        for (k, item) in items.iter().enumerate() {
            self.within(&[Step::Key(key), Step::Index(k)], |w| inner(w, item));
        }
    }

    pub(super) fn moves(&mut self, key: &'static str, name: &'f str) {
        let role = Role::Moves;
        self.say(key, Use::Channel { name, role });
    }

    pub(super) fn compares(&mut self, key: &'static str, name: &'f str) {
        let role = Role::Compared;
        self.say(key, Use::Channel { name, role });
    }

    /// A number that is written in a font.
    pub(super) fn writes(
        &mut self,
        key: &'static str,
        channel: &'f str,
        font: &'f str,
        format: &'f NumberFormat,
    ) {
        let (name, role) = (channel, Role::Written);
        self.say(key, Use::Channel { name, role });
        self.say(
            "format",
            Use::Number {
                font,
                format,
                channel,
            },
        );
    }

    pub(super) fn color(&mut self, key: &'static str, name: &'f str) {
        self.say(key, Use::Color(name));
    }

    pub(super) fn color_if(&mut self, key: &'static str, name: Option<&'f String>) {
        if let Some(name) = name {
            self.color(key, name);
        }
    }

    pub(super) fn font(&mut self, name: &'f str, size: f64) {
        self.say("font", Use::Font { name, size });
    }

    pub(super) fn words(&mut self, key: &'static str, font: &'f str, words: String) {
        self.say(key, Use::Words { font, words });
    }

    pub(super) fn failure(&mut self, f: &'f FailureFlag) {
        self.flag_look("failure", f);
    }

    fn flag_look(&mut self, key: &'static str, f: &'f FailureFlag) {
        self.key(key, |w| {
            w.font(&f.font, f.size);
            w.words("text", &f.font, f.text.clone());
            w.color("color", &f.color);
            w.color("background", &f.background);
        });
    }

    pub(super) fn ticks(&mut self, t: &'f Ticks, low: f64) {
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

    pub(super) fn rules(&mut self, rules: &'f [ColorRule]) {
        self.each("color_rules", rules, |w, rule| {
            w.color("color", &rule.color);
            w.conditions(&rule.when);
        });
    }

    pub(super) fn conditions(&mut self, when: &'f [Condition]) {
        self.conditions_at("when", when);
    }

    pub(super) fn conditions_at(&mut self, key: &'static str, list: &'f [Condition]) {
        self.each(key, list, |w, c| {
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

    pub(super) fn bugs(&mut self, bugs: &'f [Bug]) {
        self.each("bugs", bugs, |w, b| {
            w.moves("channel", &b.channel);
            w.color("color", &b.color);
        });
    }

    pub(super) fn readout_at(&mut self, key: &'static str, readout: Option<&'f Readout>) {
        if let Some(r) = readout {
            self.key(key, |w| w.readout(r));
        }
    }

    pub(super) fn readout(&mut self, r: &'f Readout) {
        self.writes("channel", &r.channel, &r.font, &r.format);
        self.font(&r.font, r.size);
        self.color("color", &r.color);
        self.rules(&r.color_rules);
        self.color_if("invalid_color", r.invalid_color.as_ref());
        self.words("invalid_text", &r.font, r.invalid_text.clone());
    }

    /// Parts, one in the other.
    pub(super) fn parts(&mut self, parts: &'f [Part]) {
        self.each("part", parts, |w, p| w.part(p));
    }

    fn part(&mut self, p: &'f Part) {
        self.color_if("fill", p.fill.as_ref());
        if let Some(shade) = &p.shade {
            self.key("shade", |w| {
                w.each("stop", &shade.stop, |w, s| w.color("color", &s.color))
            });
        }
        self.rules(&p.color_rules);
        if let Some(stroke) = &p.stroke {
            self.key("stroke", |w| w.color("color", &stroke.color));
        }
        self.conditions(&p.when);
        self.each("motion", &p.motion, |w, m| {
            w.moves("channel", &m.channel);
            for (key, other) in [
                ("minus", &m.minus),
                ("with_bank", &m.with_bank),
                ("with_pitch", &m.with_pitch),
            ] {
                if let Some(name) = other {
                    w.moves(key, name);
                }
            }
            if let Some(over) = &m.over {
                w.compares("over", over);
            }
        });
        if let Some(f) = &p.failure {
            self.key("failure", |w| {
                for (k, name) in f.channels.iter().enumerate() {
                    w.within(&[Step::Key("channels"), Step::Index(k)], |w| {
                        let role = Role::Compared;
                        (w.visit)(&w.path, Use::Channel { name, role });
                    });
                }
                w.flag_look("flag", &f.flag);
            });
        }
        if let Some(name) = p.repeat.as_ref().and_then(|r| r.turn_of.as_ref()) {
            self.key("repeat", |w| w.moves("turn_of", name));
        }
        if let Some(shape) = &p.shape {
            let counted = p.repeat.as_ref().filter(|r| r.turn_of.is_none());
            let low = counted.and_then(|r| r.from);
            self.key("shape", |w| w.shape(shape, low));
        }
        self.parts(&p.part);
    }

    fn shape(&mut self, shape: &'f Shape, low: Option<f64>) {
        match shape {
            Shape::Words(m) => self.key("words", |w| m.uses(w)),
            Shape::Readout(m) => self.key("readout", |w| m.uses(w)),
            Shape::Slots(m) => self.key("slots", |w| m.uses(w)),
            Shape::Blink(m) => self.key("blink", |w| m.uses(w)),
            Shape::Drum(m) => self.key("drum", |w| {
                let role = Role::Moves;
                w.say(
                    "channel",
                    Use::Channel {
                        name: &m.channel,
                        role,
                    },
                );
                w.font(&m.font, m.size);
                w.color("color", &m.color);
                w.words("font", &m.font, "0123456789".into());
                w.words("invalid_text", &m.font, m.invalid_text.clone());
            }),
            Shape::Label(m) => self.key("label", |w| {
                w.font(&m.font, m.size);
                w.color("color", &m.color);
                let low = if m.absolute { Some(0.0) } else { low };
                let named = m.named.iter().map(|n| n.text.as_str());
                let words = named.collect::<String>() + &written(&m.format, low);
                w.words("font", &m.font, words);
            }),
            Shape::Rect(_)
            | Shape::Rounded(_)
            | Shape::Circle(_)
            | Shape::Arc(_)
            | Shape::Polygon(_)
            | Shape::Line(_)
            | Shape::Path(_)
            | Shape::Frame(_)
            | Shape::Artwork(_)
            | Shape::Unchecked(_) => {}
        }
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
    /// The list that it stands in.
    pub list: &'f Alerts,
}

impl Symbol {
    /// The word that `kind` has in the file.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        self.as_kind().name()
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
        let areas = self
            .symbol
            .iter()
            .flat_map(Symbol::unchecked)
            .map(|u| u.rect);
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
    /// The channels that decide which page is due.
    #[must_use]
    pub fn page_channels(&self) -> BTreeSet<&str> {
        let mut names = BTreeSet::new();
        for page in self.pages() {
            let reversion = page.reversion.iter();
            let own = reversion.flat_map(|r| [("reset", &r.reset), ("when", &r.when)]);
            for (key, conditions) in own.chain([("when", &page.when)]) {
                of_conditions(key, conditions, &mut |_, what| {
                    if let Use::Channel { name, .. } = what {
                        names.insert(name);
                    }
                });
            }
        }
        names
    }

    /// The channels without which nobody can say whether a region shows what it should: those of its symbols, and, where
    /// it is not always shown, those that decide which page is due.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn channels_needed(&self, region: usize) -> BTreeSet<&str> {
        let mut names = self.regions()[region].channels_used();
        if self.pages_of(region) != PageSet::ALL {
            names.append(&mut self.page_channels());
        }
        names
    }

    /// All alerts in the order of the file: by region, symbol, alert. The position in this order
    /// is the alert's index in [`crate::recording::inputs::Inputs::active_since_s`].
    pub fn alerts(&self) -> impl Iterator<Item = AlertPlace<'_>> {
        self.regions().iter().enumerate().flat_map(|(region, r)| {
            r.symbol.iter().enumerate().flat_map(move |(symbol, s)| {
                let lists = s.alerts();
                let alerts = lists.flat_map(|list| list.alert.iter().map(move |a| (list, a)));
                let places = alerts.enumerate();
                places.map(move |(alert, (list, what))| AlertPlace {
                    region,
                    symbol,
                    alert,
                    what,
                    list,
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

    /// Pixels of the display that nobody checks: outside all regions, and in unchecked areas, each counted once; where
    /// there are pages, on the page with the most of them.
    #[must_use]
    pub fn unchecked_px(&self) -> u64 {
        let (width, height) = self.size();
        // The regions of a page lie on the canvas and do not overlap; unchecked areas may.
        let checked = |page: usize| -> i64 {
            let regions = self.regions().iter().enumerate();
            let shown = regions.filter(|(k, _)| self.pages_of(*k).contains(page));
            shown
                .map(|(_, r)| r.area().outside(&r.unchecked_areas()))
                .sum()
        };
        let least = (0..self.pages().len().max(1)).map(checked).min();
        (Rect::of_size(width, height).area() - least.unwrap_or(0)) as u64
    }
}
