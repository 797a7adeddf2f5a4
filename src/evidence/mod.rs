//! What comes out: records of frames, events and the run, as JSON, and pictures of events.
//!
//! Nothing here depends on the clock, the number of threads or the machine: same inputs, same bytes.

pub mod pictures;
pub mod plots;
pub mod records;
