//! Channels over time: what the bench logged as the display's inputs.
//!
//! The question answered here: what did the display know at one instant? A recording is a
//! table with a time column (`t_s`, seconds, strictly rising) and one column a quantity. Each
//! channel of the definition binds to a column, and [`Recording::inputs_at`] gives all of
//! them at any instant.
//!
//! # What a cell means
//! - An empty cell is no sample: the logger wrote the row for another quantity's sake.
//! - A cell whose validity column says no is a sample without a usable value, and so is a
//!   value outside the channel's range. An empty validity cell repeats the word above it;
//!   before the first word nothing is known to be valid. A row that says "invalid" counts
//!   even when its value cell is empty.
//! - Anything else that is not a number where one belongs stops the reading with its place.
//!   A guess here would become a wrong verdict on a good display.
//!
//! # Tables
//! A further table has a row a thing and time. A thing takes the lowest free slot when its first row comes, and leaves it
//! when its newest row is older than each channel of the table may be. Rows of tables come among those of the recording at
//! their times; those outside its span are left out.
//!
//! # Values between samples
//! Let `a` be the newest sample at or before the instant and `b` the next one.
//! - No `a`: invalid. `a` not usable: invalid. `a` older than the age limit: invalid.
//! - Hold and text channels show `a`.
//! - Linear and angular channels lie between `a` and `b`. When `b` is not usable or does not
//!   exist they hold `a`, as the display does; a garbage value is never approached.
//!
//! # Derived channels and history
//! A derived channel is worked out by an expression over other channels, from their values at the instant itself (`hold`
//! and text: at the row before). It has no value where they have none.
//!
//! What depends on what was before (hysteresis, delays, since when an alert has been active, functions of history in
//! expressions) is stepped from row to row once, when a recording is read, from its first row on. What is kept of it is at
//! which rows it held (`runs`); the state at an instant is found by a search for the row before, and one more step from
//! there to the instant. So it is the same wherever a check starts, and whatever was asked for before; and a condition that
//! comes and goes between two rows is seen at the instants that are asked for, but begins to count at a row.
//!
//! Ages are compared with 1 ns in hand, since decimal times are not exact in binary.
//!
//! # What it cannot see
//! Columns that no channel binds to are not read, so nothing in them is checked. Transport
//! delay between logger and display is not known here; the judge handles it as staleness.

mod clock;
pub mod condition;
mod error;
mod expression;
#[cfg(test)]
mod history_tests;
pub mod inputs;
mod moment;
mod number;
mod radio;
mod read;
mod resolution;
mod runs;
mod sampled;
mod slots;
mod source;
pub(crate) mod stamp;
mod table;
#[cfg(test)]
mod tests;
mod word;

pub use condition::condition_holds;
pub use error::Error;
pub use table::{Files, MissingColumns, Recording};
