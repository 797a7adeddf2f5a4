//! The reference renderer: the measuring instrument.

pub mod drawing;
pub mod scene;
pub mod symbols;
pub mod text;
