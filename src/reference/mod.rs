//! The reference renderer: the measuring instrument.

pub mod raster;
pub mod scene;
pub mod text;
