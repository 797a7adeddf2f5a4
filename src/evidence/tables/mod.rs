//! Frames, regions, readings, trials and measurements as typed tables, for whoever works with data frames.
//!
//! A table a file, in Parquet: `columns` writes the format, `rows` says what stands in it. They lie in the folder of
//! results, and its manifest lists them.

#[cfg(feature = "parquet")]
mod columns;
#[cfg(feature = "parquet")]
mod rows;

#[cfg(feature = "parquet")]
pub use rows::{CheckTables, Error, measurements_table, of_campaign};

/// A line a frame.
pub const FRAMES: &str = "frames.parquet";
/// A line a frame and region.
pub const REGIONS: &str = "regions.parquet";
/// A line a reading.
pub const READINGS: &str = "readings.parquet";
/// A line a trial.
pub const TRIALS: &str = "trials.parquet";
/// A line a reading of what thresholds decide on.
pub const MEASUREMENTS: &str = "measurements.parquet";
/// All of them.
pub const FILES: [&str; 5] = [FRAMES, REGIONS, READINGS, TRIALS, MEASUREMENTS];
