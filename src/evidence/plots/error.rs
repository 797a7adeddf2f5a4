//! What can keep a plot from being drawn.

use std::fmt::Display;

/// What can keep a plot from being drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// There is nothing to draw.
    #[error("plot {title:?}: there is nothing to draw")]
    Empty {
        /// Title of the plot.
        title: String,
    },
    /// A figure cannot be placed.
    #[error("plot {title:?}: {what} {value} cannot be placed")]
    Unplaceable {
        /// Title of the plot.
        title: String,
        /// What the figure is.
        what: &'static str,
        /// The figure.
        value: f64,
    },
    /// The library that draws gave up.
    #[error("plot could not be drawn: {0}")]
    Drawing(String),
}

impl Error {
    /// From an error of the library that draws; its own type names the backend and a lifetime.
    pub(super) fn drawing(error: impl Display) -> Self {
        Self::Drawing(error.to_string())
    }
}
