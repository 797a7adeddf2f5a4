//! The reference renderer: the measuring instrument.
//!
//! Inputs become a scene ([`drawing`], [`symbols`]), and a scene becomes pixels ([`raster`],
//! [`painter`]) or SVG ([`svg`]). Both show the same shapes. Coverage is the exact area of a shape
//! in a pixel, since sub-sampled anti-aliasing biases readings by up to a tenth of a pixel.

pub mod canvas;
pub mod drawing;
pub mod geometry;
pub mod glyphs;
mod ink;
pub mod painter;
pub mod parts;
pub mod placement;
pub mod png;
pub mod raster;
pub mod region_canvas;
pub mod resample;
pub mod scale;
pub mod scene;
pub mod shading;
pub mod slivers;
pub mod svg;
pub mod symbols;
pub mod text;
