//! From findings to verdicts, and from verdicts to events.

pub mod persistence;
