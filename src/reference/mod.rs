//! The reference renderer: the measuring instrument.

pub mod scene;
pub mod text;
