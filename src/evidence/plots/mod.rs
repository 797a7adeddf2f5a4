//! Figures of a campaign as pictures: SVG that scales, is read out by its title and description, and keeps its text
//! as text.
//!
//! Whoever reads a plot should not need its colours: lines differ in their dashes and marks in their shape, and what
//! is marked stands with its number in the legend. Legends stand above the axes, where no data can lie under them. The
//! page is white, for files of their own; the reviewer's page turns them over where it is dark.
//!
//! Same figures, same bytes.

mod axis;
mod confusion_matrix;
mod coverage_matrix;
mod detection_curve;
mod detection_time;
mod error;
mod grid;
mod legend;
mod page;
pub mod readings;
mod tail;
mod trade_off;

pub use confusion_matrix::confusion_matrix;
pub use coverage_matrix::{Count, CoverageMatrix, coverage_matrix};
pub use detection_curve::{DetectionCurve, detection_curve};
pub use detection_time::{DetectionTimes, TimeSeries, detection_time};
pub use error::Error;
pub use tail::{TailFit, tail};
pub use trade_off::{Choice, TradeOff, trade_off};

#[cfg(test)]
mod tests;
