//! What can be claimed from a number of trials, and how sure of it one may be.
//!
//! Every figure of a campaign is an estimate from few trials, so none leaves here without a bound. The bounds are
//! exact where an exact method exists (binomial, Poisson, order statistics): nothing is lost by using them, and the
//! usual approximations fail just where they matter here, at no miss in n trials. Where a model is fitted (probability
//! of detection, tail of the clean values) the model is refused when the data cannot carry it. A refusal is a result
//! with its reason, not an error: the trials were sound, they just do not support the figure.
//!
//! Two kinds of bounds occur. *Two-sided* ones hold together with the confidence given; *one-sided* ones hold each by
//! itself, and are what a claim such as "at least" or "at most" rests on.
//!
//! All of it assumes that trials are independent. Trials made from one stretch of a capture are less than that, and
//! no bound here knows it: onsets should be drawn from all of the recording.
//!
//! These are pure functions on plain numbers: no clock, and no randomness but from a seed that is passed in.

pub mod binomial;
pub mod confusion;
pub mod detection;
pub mod diagnostic;
pub mod extremes;
pub mod poisson;
pub mod roc;
pub mod spread;

mod confidence;
mod error;
mod root;

pub use confidence::{Confidence, Interval};
pub use error::Error;
