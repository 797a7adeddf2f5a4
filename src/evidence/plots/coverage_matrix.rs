//! How many faults of each kind were found in each region.

use super::Error;
use super::grid::{Cell, Grid, grid, shade_of};

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct CoverageMatrix<'a> {
    /// Title.
    pub title: &'a str,
    /// Kinds of faults, a row each.
    pub kinds: &'a [&'a str],
    /// Regions, a column each.
    pub regions: &'a [&'a str],
    /// By kind, then by region; `None` where nothing was tried.
    pub counts: &'a [Vec<Option<Count>>],
}

/// k of n.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Count {
    /// Found.
    pub found: u64,
    /// Tried.
    pub trials: u64,
}

/// Draws a cell for every kind and region: found of tried, darker for more misses, crossed out where nothing was tried.
///
/// # Errors
/// [`Error::Empty`] without kinds or regions, or when the counts are fewer than these.
pub fn coverage_matrix(plot: &CoverageMatrix<'_>) -> Result<String, Error> {
    let is_whole = plot.counts.len() == plot.kinds.len()
        && plot
            .counts
            .iter()
            .all(|row| row.len() == plot.regions.len());
    if plot.kinds.is_empty() || plot.regions.is_empty() || !is_whole {
        return Err(Error::Empty {
            title: plot.title.to_owned(),
        });
    }
    let tried = || {
        plot.counts
            .iter()
            .flatten()
            .flatten()
            .filter(|count| count.trials > 0)
    };
    let missed = tried().filter(|count| count.found < count.trials).count();
    let cell = |count: &Option<Count>| match count.filter(|count| count.trials > 0) {
        Some(Count { found, trials }) => Cell {
            text: format!("{found}/{trials}"),
            shade: Some(shade_of(1.0 - found as f64 / trials as f64)),
        },
        None => Cell {
            text: String::new(),
            shade: None,
        },
    };
    grid(&Grid {
        title: plot.title,
        description: format!(
            "Faults found of faults tried, by kind ({}) and region ({}); {} cells were tried, {missed} of them with \
             misses.",
            plot.kinds.len(),
            plot.regions.len(),
            tried().count(),
        ),
        row_axis: "kind of fault",
        column_axis: "region (found/tried)",
        rows: plot.kinds.to_vec(),
        columns: plot.regions.to_vec(),
        cells: plot
            .counts
            .iter()
            .map(|row| row.iter().map(cell).collect())
            .collect(),
        key: vec![
            (Some(0.0), "all found".to_owned()),
            (Some(shade_of(0.01)), "one in 100 missed".to_owned()),
            (Some(shade_of(0.5)), "half missed".to_owned()),
            (Some(1.0), "all missed".to_owned()),
            (None, "not tried".to_owned()),
        ],
    })
}
