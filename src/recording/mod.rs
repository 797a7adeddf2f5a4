//! Channels over time: what the bench logged as the display's inputs.

pub mod inputs;
