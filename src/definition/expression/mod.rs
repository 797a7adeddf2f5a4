//! What derived channels are worked out by: expressions whose names and kinds are resolved.
//!
//! They are written in CEL (Common Expression Language) and read by the parser of the crate `cel`. Of its tree, which
//! names functions and variables by words, [`compile`] makes an [`Expression`]: kinds of values and units are checked
//! once, and working out a value then neither looks names up nor allocates. How that is done, and what the functions of
//! history mean between rows, stands in [`crate::recording`].

mod compile;
mod derived;
mod functions;
mod tree;
pub(crate) mod units;

use std::sync::Arc;

use crate::recording::inputs::ChannelId;

pub(super) use derived::{Derivations, derivations};

/// Index of a call of a function of history, in the order in which they can be worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct CallId(pub usize);

/// How a value is worked out.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Expression {
    Number(f64),
    Truth(bool),
    Text(Arc<str>),
    /// No value, whatever the inputs.
    Nothing,
    Channel(ChannelId),
    Not(Box<Self>),
    Both(Box<[Self; 2]>),
    Either(Box<[Self; 2]>),
    /// Whether a number is what it must be.
    Is(Property, Box<Expression>),
    /// The second when the first holds, the third when it does not.
    Choose(Box<[Self; 3]>),
    Combine(Combination, Box<[Self; 2]>),
    Map(Mapping, Box<Self>),
    Compare(Comparison, Box<[Self; 2]>),
    IsOneOf(Box<Self>, Vec<Self>),
    IsValid(Box<Self>),
    SecondsSince(CallId),
    SecondsWithin(CallId),
    /// Whether the call's condition has held for so many seconds.
    Delayed(CallId, f64),
    Latched(CallId),
    Held(CallId, Box<Self>),
    /// The value so many seconds before.
    Before(Box<Self>, f64),
    Rate {
        of: Box<Self>,
        /// Whether changes go the shortest way round.
        is_angle: bool,
        /// The time that the change is taken over, s; that between two rows when absent.
        over_s: Option<f64>,
    },
}

/// What becomes of two numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Combination {
    Add,
    Subtract,
    Multiply,
    Divide,
    /// What is left over, with the sign of the first.
    Remainder,
    Least,
    Greatest,
}

/// What becomes of one number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Mapping {
    Negate,
    Abs,
    Floor,
    Ceil,
    /// Halves go away from zero.
    Round,
    Sqrt,
    /// Into 0..360.
    Wrap360,
    /// Into -180..180.
    Wrap180,
    /// Into another unit: times the factor, plus the offset.
    Convert {
        factor: f64,
        offset: f64,
    },
}

/// What a number can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Property {
    /// The name of a VHF channel, MHz.
    ChannelName,
    /// A code of a transponder.
    TransponderCode,
}

/// How two values are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Comparison {
    Less,
    LessOrEqual,
    Greater,
    GreaterOrEqual,
    Equal,
    NotEqual,
}

/// A call of a function of history: what is remembered of the rows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Call {
    /// Rows at which this holds.
    Holds(Expression),
    /// Rows from one at which `set` holds to one at which `reset` holds and `set` does not.
    Latch { set: Expression, reset: Expression },
}
