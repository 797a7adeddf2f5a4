//! All constants that the line of a check hangs on, each with where it comes from.
//!
//! *Derived*: it follows from what is said beside it. *Measured*: by the command that is named. *Budget*: a search ends there,
//! for time or memory. *Judged*: set by hand on the material of `tests/foreign`, with no model behind it; an error model should
//! replace it.

/// Of `check/beside.rs`.
pub mod beside {
    /// Standard errors that a difference may be explained by, as everywhere in judging. Derived.
    pub const SIGMAS: f64 = 3.0;
}

/// Of `check/clock.rs`.
pub mod clock {
    /// Most decimals that are looked at. Derived: nanoseconds.
    pub const DECIMALS_MAX: i32 = 9;
}

/// Of `check/gaps.rs`.
pub mod gaps {
    /// Newest spacings that say what is usual. Budget.
    pub const RECENT: usize = 8;
    /// Fewest of them that say something. Judged.
    pub const FEWEST: usize = 4;
    /// A gap is so many times longer than usual, and at least so long, s. Judged.
    pub const LONG: f64 = 3.0;
    /// See [`LONG`]. Judged.
    pub const SHORTEST_S: f64 = 0.1;
    /// Share of the age of a gap after which the picture is judged again. Budget.
    pub const GROWTH: f64 = 0.02;
}

/// Of `check/other_units.rs`.
pub mod other_units {
    /// Most moments whose readings are kept: half of them go when there are more, and half as many are taken from then on.
    /// Budget.
    pub const MOST_MOMENTS: usize = 256;
    /// Fewest readings that a line is laid through. Judged.
    pub const FEWEST: usize = 12;
    /// Share of the readings that must be off, and must lie on the line: some are misread. Judged.
    pub const SHARE: f64 = 0.8;
    /// Readings that stand for one independent one: those of neighbouring frames err alike.
    /// Judged.
    pub const ALIKE: f64 = 5.0;
    /// Standard errors by which a ratio must differ from 1. Judged.
    pub const MANY: f64 = 8.0;
    /// Ratios nearer to 1 than this are a matter of calibration, and of the tolerance. Judged.
    pub const LEAST_GAIN: f64 = 0.01;
    /// Frames of a run in which a region is wrong before it is drawn otherwise, and between two such trials.
    /// Budget.
    pub const TRIAL_EVERY: u64 = 20;
    /// Trials of a region, and the fewest that must agree; two thirds of them must at any rate. Budget.
    pub const MOST_TRIALS: u32 = 6;
    /// See [`MOST_TRIALS`].
    pub const FEWEST_TRIALS: u32 = 3;
}

/// Of `check/place.rs`.
pub mod place {
    /// Corners of the display that lie so far from the picture's are told to be elsewhere, px of the capture: nearer, the
    /// measuring of the chain finds them by itself. Derived.
    pub const ELSEWHERE_PX: f64 = 2.0;
    /// Frames of a stretch by which the display is looked for. Budget.
    pub const LOOKED_AT: usize = 3;
    /// Share of a region that must be in the picture for what is left of it to be judged. Judged.
    pub const LEAST_SEEN: f64 = 0.5;
}

/// Of `check/resolved.rs`.
pub mod resolved {
    /// Share of what a value may be off to which it must be known. Judged.
    pub const KNOWN_TO: f64 = 0.5;
}

/// Of `check/run.rs`.
pub mod run {
    /// Regions that must show a picture that nothing explains before the whole frame is looked at.
    /// Derived: of one alone nothing is told of the display.
    pub const BROKEN_REGIONS: usize = 2;
    /// Step in which offsets and the times of frames are told, s. Derived: thousandths.
    pub const TOLD_STEP_S: f64 = 1e-3;
}

/// Of `check/stretch.rs`.
pub mod stretch {
    /// Frames that the chain is measured from, at most; and the stretch that they cover, s. Budget.
    pub const FIRST_FRAMES: usize = 48;
    /// See [`FIRST_FRAMES`].
    pub const FIRST_STRETCH_S: f64 = 1.6;
    /// Share of the next best offset's difference at which the best is no better. Judged.
    pub const INDISTINCT: f64 = 0.98;
    /// Furthest that an offset found from pictures is moved by readings, s. Judged.
    pub const FARTHEST_REFINED_S: f64 = 0.5;
    /// How far into a capture a stretch that agrees is looked for, s. Budget.
    pub const SEARCH_S: f64 = 120.0;
}
