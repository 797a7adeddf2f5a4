//! Which class was given where which was due.

use super::Error;
use super::grid::{Cell, Grid, grid, shade_of};
use crate::campaign::statistics::confusion::Confusion;

/// Draws a row for every class due and a column for every class given: trials, darker for a larger part of the row.
///
/// # Errors
/// [`Error::Empty`] without trials.
pub fn confusion_matrix(title: &str, confusion: &Confusion) -> Result<String, Error> {
    if confusion.trials == 0 {
        return Err(Error::Empty {
            title: title.to_owned(),
        });
    }
    let classes: Vec<&str> = confusion.classes.iter().map(String::as_str).collect();
    let row = |due: &&str| {
        let all = confusion.recall.get(*due).map_or(0, |recall| recall.n);
        let cell = |given: &&str| {
            let count = confusion.count(due, given);
            // A row without a trial has nothing to divide by.
            let shade = (all > 0).then(|| shade_of(count as f64 / all as f64));
            Cell {
                text: if all > 0 {
                    count.to_string()
                } else {
                    String::new()
                },
                shade,
            }
        };
        classes.iter().map(cell).collect()
    };
    grid(&Grid {
        title,
        description: format!(
            "Classes due against classes given; the class due was given in {} of {} trials.",
            confusion.correct.k, confusion.correct.n
        ),
        row_axis: "class due",
        column_axis: "class given (trials)",
        rows: classes.clone(),
        cells: classes.iter().map(row).collect(),
        columns: classes,
        key: vec![
            (Some(0.0), "none".to_owned()),
            (Some(shade_of(0.5)), "half".to_owned()),
            (Some(1.0), "all of the class due".to_owned()),
            (None, "never due".to_owned()),
        ],
    })
}
