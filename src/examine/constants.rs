//! All constants that examining a region hangs on, each with where it comes from.
//!
//! *Derived*: it follows from what is said beside it. *Measured*: by the command that is named. *Budget*: a search ends there,
//! for time or memory. *Judged*: set by hand on the material of `tests/foreign`, with no model behind it; an error model should
//! replace it.

/// Of `examine/agreement.rs`.
pub mod agreement {
    /// Side of a cell, px. Derived: the blocks of codecs.
    pub const CELL: usize = 8;
    /// Share of the reference's squared gradient that a harmless difference of rasteriser, registration
    /// and codec may have as squared difference. Displacement of 0.25 px gives 0.06. Derived.
    pub const GRADIENT_SHARE: f32 = 0.06;
}

/// Of `examine/blank.rs`.
pub mod blank {
    /// Levels within which an area counts as uniform, both sides of its median. Judged.
    pub const UNIFORM: i32 = 12;
    /// Share of pixels that must be uniform. Judged.
    pub const UNIFORM_SHARE: f64 = 0.995;
    /// Share of the reference that must stand out for a blank area to be a fault. Judged.
    pub const INK_SHARE: f64 = 0.004;
    /// Difference of the ground's level that a blank picture may be told by, levels. Judged.
    pub const GROUND: i32 = 5;
    /// Contrast with the ground that makes ink, levels; pixels of it that make a rest of a picture, and the share of
    /// them that must be where they are due. Judged.
    pub const INK: i32 = 60;
    /// See [`INK`].
    pub const REST_PX: u32 = 12;
    /// See [`INK`].
    pub const REST_SHARE: f64 = 0.7;
}

/// Of `examine/cells.rs`.
pub mod cells {
    /// Correlation above which no other character can be nearer. The most alike pair of digits at
    /// 9 px correlates at 0.90 (0 and 8); half the angle between them has a cosine of 0.975. Derived.
    pub const CERTAIN: f32 = 0.975;
    /// How much better another character must match before the cell counts as wrong.
    /// Judged.
    pub const MARGIN: f32 = 0.04;
    /// Match that another character must reach. Judged.
    pub const LEAST_MATCH: f32 = 0.72;
}

/// Of `examine/comparison.rs`.
pub mod comparison {
    /// Disagreeing luma pixels in a window of 16 x 16 that make a difference. Judged.
    pub const LUMA_PX: u32 = 6;
    /// Disagreeing colour samples in a window of 16 x 16 samples that make a difference. Judged.
    pub const CHROMA_PX: u32 = 4;
    /// What they must be off by together beyond the tolerance of flat ground, levels: codecs take colour out of thin
    /// marks, all along them, up to 250 of a whole pitch ladder in H.264 crf 28. Measured: there.
    pub const CHROMA_EXCESS: u32 = 300;
}

/// Of `examine/data_time.rs`.
pub mod data_time {
    /// Standard error that readings have at least against other rasterisers, px.
    /// Judged.
    pub const READING_PX: f64 = 0.15;
    /// Ages from one to the next, s. Budget.
    pub const STEP_S: f64 = 0.02;
    /// How long a frame counts, s. Judged.
    pub const MEMORY_S: f64 = 0.5;
    /// Most that a reading counts against an age: one that was misread must not decide. Judged.
    pub const MOST: f64 = 36.0;
    /// Sums that differ by less say the same: three standard errors. Derived.
    pub const ALIKE: f64 = 9.0;
    /// Steps of Gauss and Newton to the moment itself. Budget.
    pub const STEPS: usize = 4;
    /// Motion between two moments from which values are read, px: half of it is well within what a reading walks.
    /// Derived.
    pub const START_PX: f64 = 8.0;
    /// Most such moments. Budget.
    pub const MOST_STARTS: usize = 24;
}

/// Of `examine/digits.rs`.
pub mod digits {
    /// Height of digits, of the em. Judged.
    pub const CAPITALS: f64 = 0.75;
    /// Pixels of such a stretch that may disagree: a point of the smallest digits has as many. Judged.
    pub const DIFFERENT_PX: u32 = 8;
}

/// Of `examine/displacement.rs`.
pub mod displacement {
    /// Farthest displacement that is looked for, px. Budget.
    pub const FARTHEST_PX: i32 = 12;
    /// Sum of squared slopes along an axis below which nothing says where the picture lies, levels²/px². Judged.
    pub const LEAST_SLOPES: f64 = 4e4;
    /// Rounds of Gauss-Newton. Budget.
    pub const ROUNDS: usize = 8;
}

/// Of `examine/fit.rs`.
pub mod fit {
    /// Most freedoms that are solved for at once. Budget.
    pub const MOST: usize = 6;
    /// Side of a cell, px: the blocks of codecs; an edge that another rasteriser lays down otherwise does so all along it.
    /// Derived.
    pub const CELL_PX: usize = 8;
    /// Levels of noise that the weights always allow. Judged.
    pub const LEAST_SCALE: f64 = 4.0;
    /// Tukey's constant: 95 % efficiency on Gaussian noise (Huber, Robust Statistics, 1981; from memory). Derived.
    pub const TUKEY: f64 = 4.685;
    /// Steps below this are weighted, px. Judged.
    pub const WEIGHTED_BELOW_PX: f64 = 0.7;
    /// Cells that must speak for a freedom, for them to tell how well. Derived: fewer fit themselves.
    pub const LEAST_CELLS: f64 = 3.0;
    /// Information below which the samples do not bear on a freedom: squared levels for a pixel of motion. Judged.
    pub const LEAST_INFORMATION: f64 = 400.0;
}

/// Of `examine/overlay.rs`.
pub mod overlay {
    /// Steps in which the age of what the display shows is tried, s. Budget.
    pub const AGE_STEP_S: f64 = 0.01;
}

/// Of `examine/resemblance.rs`.
pub mod resemblance {
    /// Correlation of gradients from which on a part shows what is due. By regions of the demo display, medians: 0.94 blurred by
    /// 0.8 px, 0.61 by 2 px, 0.63 displaced by 1 px, 0.89 with noise of 16 levels; at most 0.07 of 20 pictures that are another.
    /// Measured.
    pub const LEAST_RESEMBLANCE: f64 = 0.4;
    /// Mean squared gradient of a part that has something to show, squared levels for two pixels. Judged.
    pub const LEAST_INK: f64 = 9.0;
}

/// Of `examine/signature.rs`.
pub mod signature {
    /// Neighbourhood contrast of the reference up to which a pixel is flat ground. Judged.
    pub const FLAT_CONTRAST: i32 = 6;
    /// Share of a square's flat pixels that must be noisy; on black ground half of the noise is cut off. Judged.
    pub const NOISY_SHARE: f64 = 0.08;
    /// Difference up to which it is moderate, levels, and the share of the noisy pixels that must be. Judged.
    pub const MODERATE: i32 = 90;
    /// See [`MODERATE`].
    pub const MODERATE_SHARE: f64 = 0.65;
    /// Share of the squares of flat ground that must be noisy. Judged.
    pub const COVERED: f64 = 0.75;
    /// Height up to which a run of bad lines is lost lines, px. Judged.
    pub const LOST_RUN: usize = 14;
    /// Correlation below which a line has nothing to do with its reference. Judged.
    pub const BAD_LINE: f32 = 0.45;
    /// Correlation above which a line agrees. Judged.
    pub const GOOD_LINE: f32 = 0.85;
    /// Standard deviation that a line needs for its correlation to mean anything, levels. Judged.
    pub const TEXTURED: f32 = 6.0;
    /// Height of a band within a region, and within the whole frame, px. Judged.
    pub const BAND_PX: usize = 6;
    /// See [`BAND_PX`]. Judged.
    pub const FRAME_BAND_PX: usize = 12;
    /// Side of the squares of flat ground that noise is looked for in, px. Derived: the blocks of codecs.
    pub const NOISE_CELL: usize = 8;
    /// Flat pixels that such a square needs. Judged.
    pub const NOISE_FLAT: u32 = 16;
    /// Range of levels up to which a line is one level (the few highest and lowest left out). Judged.
    pub const ONE_LEVEL: u8 = 14;
    /// Columns that the coarse search of a displacement takes together. Budget.
    pub const COARSE: usize = 4;
    /// Displacements up to this are none, px. Judged.
    pub const STILL_PX: i32 = 3;
    /// Displacements that are looked into, those of most bands first. Budget.
    pub const MOST_DISPLACEMENTS: usize = 3;
    /// How far a picture as a whole is looked for above, below and aside, px. Budget.
    pub const MOVED_PX: i32 = 8;
    /// Share of what the reference in place leaves that a moved one may leave. Judged.
    pub const MOVED_SHARE: f64 = 0.3;
    /// Lines that each part must have at least. Judged.
    pub const PART_LINES: usize = 6;
    /// Differences up to this are no sign, levels. Judged.
    pub const NO_SIGN: u8 = 24;
    /// Share of what either picture leaves that the parted one may leave. Judged.
    pub const PARTED_SHARE: f64 = 0.3;
    /// The same where most bands of the part that stands aside show one displacement: that part may be older as well.
    /// Judged.
    pub const TORN_SHARE: f64 = 0.5;
    /// What each picture must leave in the other's part: a few pixels of full contrast. Judged.
    pub const LEAST_SIGN: u64 = 12 * 100 * 100;
}

/// Of `examine/strokes.rs`.
pub mod strokes {
    /// Range of levels up and down a stroke within which it counts as upright. Judged.
    pub const UPRIGHT: u8 = 24;
    /// Contrast with the ground that makes it a stroke, levels. Judged.
    pub const STROKE: u8 = 60;
    /// Strokes that a lost line must have crossed, px, and the share of them that must be gone. Judged.
    pub const LOST_PX: u32 = 6;
    /// See [`LOST_PX`].
    pub const LOST_SHARE: f32 = 0.6;
    /// Share of the contrast by which a pixel must be off to be gone; half a pixel of displacement gives 0.5.
    /// Derived: clear of what half a pixel gives.
    pub const GONE: f32 = 0.65;
    /// The same where it is known that the picture disagrees: a codec fills single lines up. Judged.
    pub const PARTLY_GONE: f32 = 0.4;
    /// Most neighbouring lines that are lost together and not a thing that is missing. Judged.
    pub const LOST_TOGETHER: usize = 3;
}

/// Of `examine/words.rs`.
pub mod words {
    /// Cells that are matched with every character per frame, besides those that were wrong before. Budget.
    pub const MATCHED_A_FRAME: usize = 3;
    /// Suspects that are matched again in every frame. Budget.
    pub const MOST_SUSPECTS: usize = 6;
    /// Height of capitals below which characters are not told apart, px. Judged.
    pub const LEAST_CAP_PX: f64 = 7.0;
    /// Cells that are remembered. Budget.
    pub const MOST_MATCHED: usize = 1024;
}

/// Of `examine/reader/mod.rs`.
pub mod reader {
    /// Half the distance between the two drawings of a step, px.
    /// Derived: the derivative of an edge that covers a pixel.
    pub const HALF_STEP_PX: f64 = 0.5;
    /// Steps beyond this are cut, px. Judged.
    pub const LONGEST_STEP_PX: f64 = 2.5;
    /// A step below this ends the iteration, px: what is left is below a hundredth. Derived.
    pub const SETTLED_PX: f64 = 0.05;
    /// Pixels for a unit up to which a symbol stands still: a mark parked at the end of its scale.
    /// Derived: not zero.
    pub const LEAST_PX_PER_UNIT: f64 = 1e-9;
    /// How far a fit may move from where it began, px. Judged.
    pub const FARTHEST_WALK_PX: f64 = 6.0;
    /// Most steps. Budget.
    pub const MOST_STEPS: usize = 8;
    /// Misfit up to which the symbol was recognised. Judged.
    pub const RECOGNISED: f64 = 0.35;
    /// What is left of a reading by a fit that ends at [`SETTLED_PX`], px; no sample tells of it.
    /// Judged.
    pub const LEFT_PX: f64 = 0.005;
    /// How much the variance of a motion may grow by what else moves for a fit to be trusted from one start: a correlation of 0.4.
    /// Derived.
    pub const ENTANGLED: f64 = 1.2;
    /// How far aside the other starts lie, px: nearer, a mark behind another is hardly seen, on either side.
    /// Judged.
    pub const ASIDE_PX: f64 = 2.0;
    /// Steps that a mark is moved to each side to find where it comes into view: those of a mark of 32 px behind one as large.
    /// Budget.
    pub const HIDDEN_STEPS: u32 = 32;
    /// Standard deviation of where a character stands that is put on a whole pixel: any place within half a pixel is as likely, px.
    /// Derived.
    pub const WHOLE_PIXEL_PX: f64 = 0.289;
}

/// Of `examine/reader/scan.rs`.
pub mod reader_scan {
    /// Distance between candidates of the near scan, and how many to each side, px.
    /// Judged.
    pub const SCAN_STEP_PX: f64 = 2.0;
    /// See [`SCAN_STEP_PX`].
    pub const SCAN_EACH_SIDE: i32 = 16;
    /// Most candidates of the far scan. Budget.
    pub const FAR_CANDIDATES: usize = 72;
    /// Most minima of the near scan that are fitted. Budget.
    pub const MINIMA: usize = 10;
    /// Ratio of what a candidate may leave to what a nearer one leaves. Judged.
    pub const NEARER_ADVANTAGE: (u64, u64) = (8, 7);
    /// How many times better than the best near candidate a far one must be. Judged.
    pub const FAR_ADVANTAGE: u64 = 2;
    /// A step below this ends the fit of a minimum, px: it is fitted on from there. Budget.
    pub const NEAR_PX: f64 = 0.3;
}

/// Of `examine/region/explain.rs`.
pub mod region_explain {
    /// Most different pictures of other times that are tried in a frame. Budget.
    pub const MOST_TRIALS: usize = 8;
    /// Most repetitions of a scale to each side that are looked at: an altitude of 24,000 ft in turns of 1,000.
    /// Budget.
    pub const MOST_REPEATS: u32 = 24;
    /// How often far values are scanned for while nothing explains the picture, s. Budget.
    pub const SCAN_EVERY_S: f64 = 0.24;
    /// Finest step in which moments are looked for, s: no display is drawn anew more often. Derived.
    pub const FINEST_STEP_S: f64 = 0.005;
    /// How far from the values of a picture a reading of it is certain to be of the same repetition, px. Judged.
    pub const NEAR_PX: f64 = 1.0;
    /// Step in which moments are told apart by what they write, s: a readout that counts 500 a second shows each number as
    /// long. Derived.
    pub const WRITING_STEP_S: f64 = 0.002;
    /// How often it is looked for what a picture is that nothing explains, s; it is taken to be the same until then.
    /// Budget.
    pub const LOOK_EVERY_S: f64 = 0.12;
    /// How far back the older part of a picture torn in time may be, s. Budget.
    pub const PARTING_S: f64 = 0.64;
}

/// Of `examine/region/lasting.rs`.
pub mod region_lasting {
    /// What two times of frames may differ by that are meant to be the same, s.
    /// Derived: decimal times are not exact in binary.
    pub const SLACK_S: f64 = 1e-6;
}

/// Of `examine/region/mod.rs`.
pub mod region {
    /// How far back the data of a stale picture are looked for, s. Budget.
    pub const OLDEST_S: f64 = 2.5;
}
