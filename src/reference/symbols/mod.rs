//! What parts are drawn with: words and numbers, colours by rule, failure flags, alert lists, blinking marks.
//!
//! Invalid data, missing ones among them, take away what moves and put up the failure flag, digits and all.
//!
//! Angles reach pixels through `libm`, so that every machine draws the same bytes.

pub mod alerts;
pub mod failure;
pub mod liveness;
pub mod number;
pub mod readout;
pub mod rules;
pub mod words;
