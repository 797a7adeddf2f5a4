//! What does a captured region show? Three measurements: agreement, staleness, readings.
//!
//! The reference renderer is the measuring instrument. Each region is drawn for the inputs that are
//! due and held against the capture ([`comparison`], [`agreement`], [`words`]); the continuous
//! symbols are read by fitting the reference to the capture ([`reader`], [`fit`]). When the picture
//! disagrees, the region looks for the data that explain it: the same picture still standing,
//! inputs of another moment, or other values ([`region`]). What nothing explains is told apart by
//! its signature ([`signature`]).
//!
//! References are brought to the capture (geometry, colours, resolution of the colour planes),
//! never the capture to the reference: resampling a capture would blur what is to be judged.
//!
//! What it cannot see: a wrong value on a channel that the recording lacks; a freeze while nothing
//! moves; ink of less contrast than the tolerance.

pub mod agreement;
pub mod blank;
pub mod cells;
pub mod comparison;
pub mod constants;
pub mod data_time;
pub mod digits;
pub mod displacement;
pub mod fit;
pub mod overlay;
pub mod place;
pub mod reader;
pub mod region;
pub mod resemblance;
pub mod signature;
pub mod strokes;
pub mod subject;
pub mod view;
pub mod words;
