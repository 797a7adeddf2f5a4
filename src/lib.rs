//! Pixel-level display integrity checking: does the captured picture tell the crew the truth?

pub mod artwork;
pub mod campaign;
pub mod capture;
pub mod chain;
pub mod check;
pub mod cli;
pub mod colour;
#[cfg(test)]
mod constants;
pub mod definition;
pub mod demo;
pub mod evidence;
pub mod examine;
pub mod files;
pub mod inject;
pub mod judge;
pub mod picture;
pub mod recording;
pub mod reference;
pub mod requirements;
pub mod shard;
pub mod suite;
pub mod tune;
