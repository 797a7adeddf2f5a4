//! What the display was given at one moment.

use std::sync::Arc;

/// Index of a channel in the definition's channels, in order of their names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ChannelId(pub usize);

/// One channel at one moment.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A finite number in the channel's unit.
    Number(f64),
    /// Words (text channels).
    Text(Arc<str>),
    /// No usable data: flagged invalid, out of range, empty, or too old.
    Invalid,
    /// The recording has no such column, or does not reach to that moment.
    Missing,
}

impl Value {
    /// The number, when there is one.
    #[must_use]
    pub const fn number(&self) -> Option<f64> {
        match self {
            Self::Number(v) => Some(*v),
            Self::Text(_) | Self::Invalid | Self::Missing => None,
        }
    }

    /// True for numbers and words.
    #[must_use]
    pub const fn is_valid(&self) -> bool {
        matches!(self, Self::Number(_) | Self::Text(_))
    }
}

/// Which picture was due: that of the inputs of a moment, on the page that had to stand there. A page is not always the one that
/// the inputs choose: after a reversion it is not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Due {
    /// Recording time of the inputs, s.
    pub time_s: f64,
    /// Index of the page; 0 where there are none.
    pub page: usize,
}

/// All channels at one moment.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Inputs {
    /// Recording time, s.
    pub time_s: f64,
    /// By [`ChannelId`].
    pub values: Vec<Value>,
    /// Index of the page that is due; 0 where there are none.
    pub page: usize,
    /// For each alert of the definition (regions, symbols, alerts in the order of the file):
    /// recording time since which it has been active, s, when it is.
    pub active_since_s: Vec<Option<f64>>,
    /// For each of them whether the crew has acknowledged it since, where something says so.
    pub acknowledged: Vec<bool>,
    /// For each condition with a memory, in the order of the definition's logic: the time of the row at which it began to
    /// hold, s, when it held without a break up to the last row; its delay does not count.
    pub(crate) held_since_s: Vec<Option<f64>>,
}

impl Inputs {
    /// The channel's value.
    ///
    /// # Panics
    /// When the channel is not one of the definition that these inputs were made for.
    #[must_use]
    pub fn value(&self, channel: ChannelId) -> &Value {
        &self.values[channel.0]
    }
}
