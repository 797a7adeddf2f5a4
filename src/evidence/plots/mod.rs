//! Plots as SVG, a file a kind.

pub mod readings;
