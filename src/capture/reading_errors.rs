//! How far readings lie off through a capture chain.
//!
//! What a symbol's own pixels leave over tells how well its value is known, as if what is left in one cell had nothing to
//! do with what is left in the next. It has: another rasteriser lays down an edge otherwise along all of it, and a codec
//! holds a whole symbol back until its motion is worth the bits. How much more than their cells say readings are off by is
//! a property of the chain and of the symbol, and is measured where the values are known: in frames that agree.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Errors of readings over what their cells tell, of readings that nobody has measured: the median over rasterisers,
/// codecs and frame rates by `tests/foreign/pulls.py`.
pub const USUAL: f64 = 2.2;

/// How far readings lie off through a capture chain, and how the age of what is shown varies.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingErrors {
    /// Error over what the cells of a reading tell, for readings that were not measured.
    pub usual: f64,
    /// The same by reading, as `region/motion/channel`.
    #[serde(default)]
    pub by_reading: BTreeMap<String, f64>,
    /// Standard deviation of the age of what the display shows, s; absent where nothing moved fast enough.
    #[serde(default)]
    pub age_scatter_s: Option<f64>,
}

impl Default for ReadingErrors {
    fn default() -> Self {
        Self {
            usual: USUAL,
            by_reading: BTreeMap::new(),
            age_scatter_s: None,
        }
    }
}

impl ReadingErrors {
    /// What a reading is called here.
    #[must_use]
    pub fn name(region: &str, motion: &str, channel: &str) -> String {
        format!("{region}/{motion}/{channel}")
    }

    /// Error over what its cells tell, of the reading called `name`.
    #[must_use]
    pub fn of(&self, name: &str) -> f64 {
        self.by_reading.get(name).copied().unwrap_or(self.usual)
    }

    /// What is out of range, in words.
    ///
    /// # Errors
    /// When a factor is no positive number, or the scatter of the age is negative or beyond 10 s.
    pub fn check(&self) -> Result<(), String> {
        let factors = self.by_reading.values().chain([&self.usual]);
        if let Some(v) = factors.into_iter().find(|v| !(0.0..=1000.0).contains(*v)) {
            return Err(format!("reading_errors holds {v}, allowed 0 to 1000"));
        }
        match self.age_scatter_s {
            Some(v) if !(0.0..=10.0).contains(&v) => {
                Err(format!("age_scatter_s is {v}, allowed 0 to 10"))
            }
            _ => Ok(()),
        }
    }
}
