//! What comes out: records of frames, events and the run, pictures of events, tables, and the page for the
//! reviewer who signs.
//!
//! *The question*: what must stand on paper so that somebody who was not there can say what was checked,
//! with what, what came of it, and get the same again? *The method*: a check leaves a folder of plain files
//! ([`records`], [`display`], [`stills`], [`csv`], [`junit`]) and a [`manifest`] that holds the SHA-256 of each
//! of them and of each input; [`report`] reads such folders, never the library's memory, so that a page can
//! be made of any result at any time, on another machine, and [`results_folder`] lets nobody read what is not as
//! it was written. *What it cannot see*: whether the manifest itself
//! was exchanged together with the files; note its own SHA-256 (the report prints it) where that matters.
//!
//! Nothing here depends on the clock, the number of threads or the machine: same inputs, same bytes.

pub mod campaign_junit;
pub mod csv;
pub mod display;
pub mod explain;
pub mod junit;
pub mod manifest;
pub mod measurements;
pub mod pictures;
pub mod plots;
pub mod records;
pub mod report;
pub mod requirements;
pub mod result_name;
pub mod results_folder;
pub mod run_folder;
pub mod schema;
pub mod standing;
pub mod stills;
pub mod tables;
pub mod trace;
pub mod verify;
pub mod workbook;
