//! The kinds of symbol: each is shorthand for parts, written out in a file of its own.
//!
//! Whatever is to be known of a symbol, how it is drawn, which values it shows, what it covers, is asked of its parts.

mod bug;
mod scale;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::check::Check;
use super::lint::Lint;
use super::model::{Condition, FailureFlag, Name, Region};
use super::parts::{Failure, Motion, Part, Shape, Stroke};
use super::place::At;
use super::uses::Walk;

/// The proportions of a kind, a table of keys that need not be given: each with its doc, what it is otherwise, and its limits.
macro_rules! proportions {
    ($(#[$doc:meta])* $Name:ident { $($(#[$key_doc:meta])* $key:ident: $usual:expr, $limits:ident;)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(default, deny_unknown_fields)]
        pub struct $Name {
            $($(#[$key_doc])* pub $key: f64,)*
        }

        impl Default for $Name {
            fn default() -> Self {
                Self { $($key: $usual,)* }
            }
        }

        impl $Name {
            fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
                let at = at.key("proportions");
                $(c.number(&at.key(stringify!($key)), self.$key, &$limits);)*
            }
        }
    };
}

/// The kinds by the files that they are written in: one line a kind.
macro_rules! kinds {
    ($($(#[$doc:meta])* $file:ident::$Kind:ident,)*) => {
        $(pub(in crate::definition) mod $file;)*

        /// One drawn thing; `kind` says which.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(tag = "kind", rename_all = "snake_case")]
        #[expect(clippy::large_enum_variant, reason = "a display has tens of symbols, and they are read once")]
        pub enum Symbol {
            $($(#[$doc])* $Kind($file::$Kind),)*
        }

        impl Symbol {
            pub(super) fn as_kind(&self) -> &dyn Kind {
                match self {
                    $(Self::$Kind(m) => m,)*
                }
            }
        }
    };
}

kinds! {
    /// Sky and ground, pitch ladder, bank scale, slip.
    attitude::Attitude,
    /// Round scale with pointers.
    dial::Dial,
    /// Moving straight scale with a window.
    tape::Tape,
    /// Turning compass card.
    rose::Rose,
    /// Straight fixed scale with a filled length or a pointer.
    bar::Bar,
    /// One value as digits or text.
    readout::Readout,
    /// Alerts in fixed slots.
    alerts::Alerts,
    /// One of several annunciations.
    flag::Flag,
    /// Fixed words.
    text::Text,
    /// A mark that changes all the time.
    liveness::Liveness,
    /// An area that is not judged.
    unchecked::Unchecked,
    /// Percentage of the available power, with ranges for a limited time.
    power_gauge::PowerGauge,
    /// Flaps and slats at a wing's profile.
    flaps::Flaps,
    /// Something seen at a bearing and a distance, as on a traffic plot.
    target::Target,
    /// Anything, written out in parts.
    parts::Parts,
}

/// What every kind of symbol can do.
pub(in crate::definition) trait Kind {
    /// The word that `kind` has in the file.
    fn name(&self) -> &'static str;

    /// What its table calls it in reports.
    fn called(&self) -> Option<&str> {
        None
    }

    /// The symbol written out, in drawing order.
    fn parts(&self) -> Vec<Part>;

    /// Tells everything that its table names.
    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>);

    /// Says what cannot be true in its table.
    fn check(&self, at: &At<'_>, c: &mut Check<'_>);

    /// Says what is possible but unwise in its table.
    fn advise(&self, _: &Region, _: &At<'_>, _: &mut Lint<'_>) {}
}

impl Symbol {
    /// Shapes that stand in its table as they are.
    fn shapes(&self) -> impl Iterator<Item = Held<'_>> {
        let parts: &[Part] = match self {
            Self::Parts(m) => &m.part,
            _ => &[],
        };
        let own = match self {
            Self::Alerts(m) => Some(Held::Alerts(m)),
            Self::Liveness(m) => Some(Held::Liveness(m)),
            Self::Unchecked(m) => Some(Held::Unchecked(m)),
            _ => None,
        };
        own.into_iter().chain(held(parts))
    }

    /// Its alert lists.
    pub fn alerts(&self) -> impl Iterator<Item = &alerts::Alerts> {
        self.shapes().filter_map(|h| {
            if let Held::Alerts(m) = h {
                Some(m)
            } else {
                None
            }
        })
    }

    /// Its marks that change all the time.
    pub fn liveness(&self) -> impl Iterator<Item = &liveness::Liveness> {
        self.shapes().filter_map(|h| {
            if let Held::Liveness(m) = h {
                Some(m)
            } else {
                None
            }
        })
    }

    /// Its areas that are left out of all checks.
    pub fn unchecked(&self) -> impl Iterator<Item = &unchecked::Unchecked> {
        self.shapes().filter_map(|h| {
            if let Held::Unchecked(m) = h {
                Some(m)
            } else {
                None
            }
        })
    }

    /// Whether it is an area that is left out of all checks, and nothing else.
    #[must_use]
    pub fn is_unchecked(&self) -> bool {
        matches!(self, Self::Unchecked(_))
    }

    /// Whether it draws something whose look is known at any moment: more than marks that change all the time and areas
    /// that are left out.
    #[must_use]
    pub fn is_drawn(&self) -> bool {
        !matches!(self, Self::Liveness(_) | Self::Unchecked(_))
    }

    /// What its table calls it in reports; its kind stands there when absent.
    #[must_use]
    pub fn called(&self) -> Option<&str> {
        self.as_kind().called()
    }

    /// The symbol written out in parts, in drawing order.
    #[must_use]
    pub fn parts(&self) -> Vec<Part> {
        self.as_kind().parts()
    }
}

/// What is asked for by itself, wherever it stands.
enum Held<'s> {
    Alerts(&'s alerts::Alerts),
    Liveness(&'s liveness::Liveness),
    Unchecked(&'s unchecked::Unchecked),
}

fn held(parts: &[Part]) -> Box<dyn Iterator<Item = Held<'_>> + '_> {
    Box::new(parts.iter().flat_map(|p| {
        let own = match &p.shape {
            Some(Shape::Slots(m)) => Some(Held::Alerts(m)),
            Some(Shape::Blink(m)) => Some(Held::Liveness(m)),
            Some(Shape::Unchecked(m)) => Some(Held::Unchecked(m)),
            _ => None,
        };
        own.into_iter().chain(held(&p.part))
    }))
}

/// `[x, y, width, height]` in fractions.
fn rect(r: [i32; 4]) -> [f64; 4] {
    r.map(f64::from)
}

/// A filled shape.
fn filled(shape: Shape, color: &Name) -> Part {
    Part {
        shape: Some(shape),
        fill: Some(color.clone()),
        ..Part::default()
    }
}

/// A straight line with butt ends.
fn line(points: [[f64; 2]; 2], color: &Name, width: f64) -> Part {
    let stroke = Stroke {
        color: color.clone(),
        width,
        cap: Default::default(),
        join: Default::default(),
        dash: Vec::new(),
    };
    Part {
        shape: Some(Shape::Line(points.to_vec())),
        stroke: Some(stroke),
        ..Part::default()
    }
}

/// A shape that has its own colours.
fn shown(shape: Shape) -> Part {
    Part {
        shape: Some(shape),
        ..Part::default()
    }
}

/// Parts that belong together.
fn group(part: Vec<Part>) -> Part {
    Part {
        part,
        ..Part::default()
    }
}

/// Parts in whose place a flag stands while any of the channels has no value.
fn failing(part: Vec<Part>, channels: Vec<Name>, flag: &FailureFlag) -> Part {
    Part {
        failure: Some(Failure {
            channels,
            all: false,
            flag: flag.clone(),
        }),
        ..group(part)
    }
}

impl Part {
    /// The same, called `id` in reports.
    fn called(self, id: &str) -> Self {
        Self {
            id: Some(id.into()),
            ..self
        }
    }

    /// The same, moved as well.
    fn moved(mut self, motion: Motion) -> Self {
        self.motion.push(motion);
        self
    }

    /// The same, drawn while the conditions hold.
    fn while_(self, when: Vec<Condition>) -> Self {
        Self { when, ..self }
    }
}

/// A motion that a channel drives; the caller says the way.
fn driven(name: &str, channel: &Name) -> Motion {
    Motion {
        name: Some(name.into()),
        channel: channel.clone(),
        ..Motion::default()
    }
}
