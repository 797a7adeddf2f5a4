//! Campaigns: thousands of faults put into clean video, and what the check says of each.
//!
//! *The question*: which faults are caught, how fast, down to which size, and what is raised for nothing?
//!
//! *The method*: a [`plan`] is walked, [`trials`] by trial. The capture is read once, in [`stretch`]es that
//! are first checked as they are. At some moments of a stretch the check is kept; each trial goes on from such a
//! moment with faulty frames, and only regions whose pixels differ from the clean ones are examined again: of
//! the others the same would be found. So a trial costs what its fault touches.
//!
//! *What it cannot see*: a fault that was there before the stretch began, or that a codec would have
//! changed; see [`crate::inject`].

pub mod clean;
pub mod division;
pub mod nearness;
pub mod parts;
pub mod plan;
pub mod plots;
pub mod records;
pub mod results;
pub mod run;
mod sight;
pub mod statistics;
pub mod stretch;
pub mod summary;
pub mod trial;
pub mod trials;
mod window;
