//! The reference renderer: the measuring instrument.

pub mod canvas;
pub mod glyphs;
pub mod painter;
pub mod png;
pub mod raster;
pub mod scene;
pub mod svg;
pub mod text;
