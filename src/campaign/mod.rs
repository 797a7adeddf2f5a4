//! Campaigns: many trials with known faults, and what their figures mean.

pub mod statistics;
