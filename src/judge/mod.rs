//! Is the picture a fault, which, and since when?
//!
//! A region's verdict follows from what was found in it ([`crate::examine`]) and its recent past
//! ([`region`]): readings against the span of inputs that a healthy display may show, a cumulative sum
//! for readings that are held ([`freeze`]), and a test planned
//! from the definition's budget for values ([`sequential`]), and the story that wrong readings tell over a stretch
//! ([`story`]), of the region and of all regions together ([`company`]); without readings, the moments and
//! the delays that its pictures have in common ([`spans`]). Verdicts become events when they persist
//! ([`persistence`], [`events`]). Whether the display then reverted, in time and only then, is asked too ([`reversion`]).

pub mod company;
pub mod constants;
pub mod errors;
pub mod event;
pub mod events;
pub mod freeze;
pub mod persistence;
pub mod region;
pub mod reversion;
pub mod rules;
pub mod sequential;
pub mod spans;
pub mod story;
pub mod verdict;
