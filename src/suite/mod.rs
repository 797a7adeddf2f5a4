//! Many runs: captures with their recordings, checked side by side, told as one, and held against the last time.
//!
//! *The question*: which of these captures is faulty, and what is new since the suite was run last? *The method*: a
//! [`plan`] names runs; each is an ordinary check with a result folder of its own below `runs/` ([`run`]), kept where
//! it is still what would come out. All that is said of them together ([`records`], one [`page`], [`junit`]) is made
//! of these folders, never of the library's memory, and so shards of a suite can be joined ([`merge`]). Against
//! the last suite events are matched run by run, as a report does it for two checks ([`last`]). *What it cannot see*:
//! whether runs of one id mean the same in two suites; the ids are the user's.
//!
//! Who checks a capture is asked for it ([`run::Checker`]): this part knows checks by their results.

mod error;
pub mod folder;
pub mod junit;
pub mod last;
pub mod merge;
pub mod page;
pub mod plan;
pub mod records;
pub mod run;
mod totals;
mod verdict;

pub use error::Error;
