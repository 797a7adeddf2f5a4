//! Pixel-level display integrity checking: does the captured picture tell the crew the truth?

pub mod capture;
pub mod definition;
pub mod picture;
pub mod recording;
pub mod reference;
