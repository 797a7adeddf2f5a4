//! All constants that the measuring and watching of a chain hang on, each with where it comes from.
//!
//! *Derived*: it follows from what is said beside it. *Measured*: by the command that is named. *Budget*: a search ends there,
//! for time or memory. *Judged*: set by hand on the material of `tests/foreign`, with no model behind it; an error model should
//! replace it.

/// Of `chain/change.rs`.
pub mod change {
    /// Shift that counts as a changed chain, px. Judged.
    pub const CHAIN_SHIFT_PX: f64 = 0.4;
    /// Colour change that counts as a changed chain, levels. Judged.
    pub const CHAIN_LEVELS: f64 = 8.0;
}

/// Of `chain/colors.rs`.
pub mod colors {
    /// Contrast of the neighbourhood up to which a pixel is flat, levels. Judged.
    pub const FLAT: u8 = 3;
    /// Samples farther from the reference than this are some fault's, levels. Judged.
    pub const FARTHEST: u8 = 90;
    /// Fewest samples of a colour that say anything of it. Judged.
    pub const LEAST_SAMPLES: u32 = 20;
    /// Colours that are looked at, those with the most samples. Budget.
    pub const MOST_COLORS: usize = 64;
    /// Distance that makes a colour another one, and two colours unlike in some plane, levels. Judged.
    pub const MOVED: f64 = 3.0;
    /// See [`MOVED`].
    pub const UNLIKE: f64 = 16.0;
    /// Samples count for a colour's level up to so many median distances from its median. Judged.
    pub const NEAR: usize = 4;
    /// Rounds of a fit, at most, and the change of its map that ends it. Budget.
    pub const FIT_ROUNDS: usize = 20;
    /// See [`FIT_ROUNDS`].
    pub const SETTLED: f64 = 1e-6;
    /// Least scale of what remains after a fit, levels: rounding and coding of flat areas. Judged.
    pub const LEAST_SCALE: f64 = 1.5;
    /// Levels beyond which a colour is left out, in scales. 95 % efficient for Gaussian noise.
    /// Derived: Huber, Robust Statistics, 1981 (from memory).
    pub const BIWEIGHT: f64 = 4.685;
    /// Pull to the gain, as a share of what all colours weigh: enough where the display's colours leave an affine map open,
    /// and too little to hold back what a few colours show. Judged.
    pub const PULL: f64 = 2e-5;
    /// A rule is preferred for being simple if it leaves at most so many times what the best one leaves, and so much of every
    /// colour, squared levels: codecs round colours to one side. Judged.
    pub const SIMPLER: f64 = 1.5;
    /// See [`SIMPLER`].
    pub const ROUNDING: f64 = 1.0;
    /// Level of no colour. Derived: ITU-R BT.601 and BT.709.
    pub const CENTER: f64 = 128.0;
    /// What a chain may make of the contrast of luma and of colour; with less, colours cannot be told. Judged.
    pub const LUMA_CONTRAST: std::ops::RangeInclusive<f64> = 0.6..=1.7;
    /// See [`LUMA_CONTRAST`].
    pub const COLOR_CONTRAST: std::ops::RangeInclusive<f64> = 0.4..=1.7;
    /// Contrast that a display must have for that, levels. Judged.
    pub const LEAST_CONTRAST: f64 = 32.0;
}

/// Of `chain/error_model.rs`.
pub mod error_model {
    /// Most that an error counts as, of what is usual: a display that is wrong from the beginning is no chain.
    /// Derived: three standard errors.
    pub const MOST: f64 = 3.0;
    /// Independent readings that what was known before is worth. Judged.
    pub const PRIOR: f64 = 8.0;
    /// Least variation of the age that is looked for, s: motion in this time must be clear of a reading's error.
    /// Judged.
    pub const LEAST_AGE_S: f64 = 0.005;
    /// Most variation of an age between two frames, s. Judged.
    pub const MOST_AGE_S: f64 = 0.1;
    /// Fast readings that an age's variance is told from. Judged.
    pub const ENOUGH: usize = 12;
    /// Factors are kept to this: no rounding on another machine can change them. Derived.
    pub const STEP: f64 = 1e-3;
}

/// Of `chain/hinting.rs`.
pub mod hinting {
    /// Farthest that a character is looked for from its place, px: lines are short, and not every advance is another one.
    /// Budget.
    pub const FARTHEST_PX: i32 = 10;
    /// What the match of the next character must gain for an advance to be another one. Judged.
    pub const LEAST_GAIN: f32 = 0.05;
}

/// Of `chain/latency.rs`.
pub mod latency {
    /// Frames from which the latency is told to within what remains small: all of a stretch then tell it, and the errors.
    /// Budget.
    pub const FEW_FRAMES: usize = 12;
    /// A step to the latency below this ends the search, s. Judged.
    pub const SETTLED_S: f64 = 0.002;
    /// How far back the speed of what is shown is asked for, s. Budget.
    pub const BACK_S: f64 = 0.02;
    /// A reading that is further off is of something else, px. Judged.
    pub const FARTHEST_PX: f64 = 40.0;
    /// Part of a stretch, from its begin, that tells nothing of errors: the first picture of a stream is its best, and what codecs
    /// do comes after it. Judged.
    pub const BEST_PART: usize = 3;
    /// Standard error that a reading is taken to have when the latency is asked for, px: errors of a symbol hang together
    /// from frame to frame. Judged.
    pub const READING_PX: f64 = 0.2;
}

/// Of `chain/locate.rs`.
pub mod locate {
    /// Longer side of the reduced picture, px. Budget.
    pub const REDUCED_PX: usize = 240;
    /// Static edges that are laid over the picture. Budget.
    pub const EDGES: usize = 300;
    /// A step of scale: half of it moves the edge of the reduced picture by less than a pixel and a half. Derived.
    pub const SCALE_STEP: f64 = 1.025;
    /// Smallest and largest scale that is tried, where 1 is the largest display that fits into the picture: beyond it parts of
    /// the display are cut off. Budget.
    pub const SCALES: [f64; 2] = [0.2, 2.0];
    /// Places that are looked at closely. Budget.
    pub const CLOSE_LOOKS: usize = 6;
    /// Slope that counts half, levels/px. Derived.
    pub const HALF_SLOPE: f32 = super::register::LEAST_SLOPE as f32;
    /// Share of edges that must run the same way for a display to be found: by chance an eighth does. Judged.
    pub const LEAST_AGREEMENT: f64 = 0.5;
    /// The same on the way there, and for a picture to be of the display at all. Judged.
    pub const LEAST_NEAR: f64 = 0.35;
    /// Share at which no other place needs to be looked at. Judged.
    pub const SURE_AGREEMENT: f64 = 0.9;
    /// Share of a reduced pixel that must be known. Judged.
    pub const LEAST_KNOWN: f64 = 0.75;
    /// Tiles along each side of the display from which edges are taken by turns, so that they lie all over it.
    /// Budget.
    pub const TILES: usize = 8;
    /// Corners that a scale and shift of each axis leave so far from where a homography puts them are seen at an angle, px.
    /// Judged.
    pub const AT_AN_ANGLE_PX: f64 = 0.5;
    /// Factor by which a picture is reduced in which blur of some pixels does not show. Budget.
    pub const SOFT_STEP: usize = 4;
}

/// Of `chain/measure.rs`.
pub mod measure {
    /// Standard error of a latency that is measured well, s. Judged.
    pub const GOOD_LATENCY_SE_S: f64 = 0.03;
    /// A display cannot show data before they are there; this is measuring, s. Judged.
    pub const EARLIEST_S: f64 = -0.05;
    /// Share of regions that must agree for a stretch to count as good. Judged.
    pub const GOOD_SHARE: f64 = 0.6;
    /// Share of their slope that static edges must have for a picture that disagrees to be judged. Judged.
    pub const LEAST_SHARPNESS: f64 = 0.3;
    /// Noise of luma at which nothing can be told any more, levels: it is no stretch to measure from. Judged.
    pub const MOST_NOISE: f64 = 20.0;
    /// Colour changes below this are rounding, levels. Judged.
    pub const COLOR_CHANGE: f64 = 3.0;
    /// Geometry below this is measurement error, px. Judged.
    pub const SHIFT_PX: f64 = 0.02;
}

/// Of `chain/offset.rs`.
pub mod offset {
    /// Most offsets that are tried in the first pass. Budget.
    pub const MOST_OFFSETS: usize = 4000;
    /// Candidates of the first pass that are looked at closely. Budget.
    pub const CLOSE_LOOKS: usize = 24;
}

/// Of `chain/optics.rs`.
pub mod optics {
    /// Rounds in which a blur is measured, at most; share of its variance below which one has come to rest; and the largest
    /// variance that is looked for, px². Budget.
    pub const BLUR_ROUNDS: usize = 8;
    /// See [`BLUR_ROUNDS`].
    pub const BLUR_AT_REST: f64 = 0.01;
    /// See [`BLUR_ROUNDS`].
    pub const MOST_BLUR_PX2: f64 = 36.0;
    /// Difference of gain over the display from which on light is taken to fall off; the most that it may. Judged.
    pub const LEAST_FALL: f64 = 0.04;
    /// See [`LEAST_FALL`].
    pub const MOST_FALL: f64 = 0.6;
    /// Every so many pixels along and down are asked how bright they are. Budget.
    pub const SHADING_STEP: usize = 3;
    /// Difference of levels beyond which a pixel shows something else than is due, and least level above black that tells gain.
    /// Judged.
    pub const SHADED_LEVELS: f64 = 80.0;
    /// See [`SHADED_LEVELS`].
    pub const LIT_LEVELS: f64 = 24.0;
}

/// Of `chain/register.rs`.
pub mod register {
    /// Farthest whole-frame shift that is looked for, px. Budget.
    pub const FARTHEST_PX: i32 = 8;
    /// Slope above which the reference has an edge, levels/px: twice that below which none is seen. Derived.
    pub const LEAST_SLOPE_DUE: u8 = 12;
    /// Slope below which the captured picture has no edge, levels/px: noise of codecs is below. Judged.
    pub const LEAST_SLOPE: f64 = 6.0;
    /// Share of the static edges that must be there for a picture to be registered: of another one an eighth is by chance.
    /// Judged.
    pub const LEAST_AGREEMENT: f64 = 0.6;
    /// Fewest pixels of static artwork of either curvature that a part's blur is measured from. Judged.
    pub const LEAST_BLURRED_PX: u32 = 100;
    /// Fewest pixels of static edges by which a part is told to be in its place. Judged.
    pub const LEAST_EDGES: u32 = 40;
    /// Edges that are held against the capture in each place, about. Budget.
    pub const SAMPLED_EDGES: usize = 1500;
    /// Most that one round moves the middle of the picture, or its edges against it, px.
    /// Judged.
    pub const MOST_A_ROUND_PX: f64 = 1.5;
    /// Motion in a round below which registration has come to rest, px. Derived: below what is kept of a geometry.
    pub const AT_REST_PX: f64 = 0.004;
    /// Difference of levels beyond which a pixel shows something else. Judged.
    pub const ELSE_LEVELS: f64 = 60.0;
    /// Rounds in which a place is refined, at most. Budget.
    pub const ROUNDS: usize = 12;
}

/// Of `chain/shades.rs`.
pub mod shades {
    /// Colours of the picture count for a known change where it moves a level by so much. BT.709 sky and earth read
    /// with the matrix of BT.601 move by 1.5 to 3. Derived.
    pub const MOVED_LEVELS: f64 = 1.5;
    /// One colour alone is enough where it moves by so much. Judged.
    pub const FAR_LEVELS: f64 = 6.0;
    /// Share of a colour's samples that must have moved: all of them did, but noise hides a small step of half of them.
    /// Judged.
    pub const MOVED_SHARE: f64 = 0.3;
    /// Levels that make two colours of the reference different ones. Judged.
    pub const ANOTHER_COLOR_LEVELS: f64 = 16.0;
    /// Fewest samples of a colour. Judged.
    pub const LEAST_SAMPLES: f64 = 50.0;
    /// Share of the squared differences that an explanation may leave, of all colours and of each. Judged.
    pub const LEFT_SHARE: f64 = 0.3;
    /// See [`LEFT_SHARE`].
    pub const LEFT_OF_EACH: f64 = 0.6;
    /// Regions that a change of gain must move: what moves fewer may be a fault of theirs. Judged.
    pub const LEAST_REGIONS: usize = 3;
    /// Samples of a colour count for a change of gain up to so many. Judged.
    pub const MOST_SAMPLES: f64 = 500.0;
    /// Least spread of the colours' luma that a gain is measured from, one standard deviation, levels. Judged.
    pub const LEAST_SPREAD: f64 = 15.0;
    /// Least colour that a gain of colour is measured from, one standard deviation, levels. Judged.
    pub const LEAST_COLOR: f64 = 8.0;
    /// Steps of levels there are: -255 to 255. Derived.
    pub const STEPS: usize = 511;
}

/// Of `chain/text_rules.rs`.
pub mod text_rules {
    /// Frames that are looked at. Budget.
    pub const FRAMES: usize = 3;
    /// Rounds in which hinted advances are told. Budget.
    pub const HINTING_ROUNDS: usize = 3;
    /// Levels by which two drawings must differ in a pixel for it to be asked. Judged.
    pub const DIFFERENCE: u8 = 12;
    /// A difference counts no more than this, levels: what covers a word says nothing of its place. Judged.
    pub const MOST: u8 = 96;
    /// Share of the squared differences of simpler places that rules must leave at most, in the pixels that they move. A
    /// rule that is wrong leaves more, and a rasteriser of another kind moves edges but by fractions of a pixel.
    /// Judged.
    pub const LEFT_SHARE: f64 = 0.7;
    /// Fewest pixels that must differ, of all frames. Judged.
    pub const LEAST_PIXELS: u64 = 40;
}

/// Of `chain/watch.rs`.
pub mod watch {
    /// How long nearly all regions must disagree for the chain to be looked at, s. Judged.
    pub const SUSPECT_S: f64 = 0.27;
    /// Share of regions with ink that make it nearly all. Judged.
    pub const SUSPECT_SHARE: f64 = 0.7;
    /// Time between looks at the colours of the whole picture while all is well, s. Budget.
    pub const LOOK_EVERY_S: f64 = 0.5;
    /// The same while regions disagree, s. Budget.
    pub const LOOK_WHEN_WRONG_S: f64 = 0.2;
    /// Regions that must disagree for that. Judged.
    pub const WRONG_REGIONS: usize = 3;
    /// Time between two looks at the picture's place and blur while any region disagrees, s. Budget.
    pub const EDGES_EVERY_S: f64 = 1.9;
    /// What is left on static edges where they belong, as a share of what is left there where they do not. Judged.
    pub const LEFT_ON_EDGES: f64 = 0.6;
    /// Fewest parts of the picture that must show a change for it to be one of all.
    /// Derived: of one part alone nothing is told of the whole.
    pub const LEAST_PARTS: usize = 2;
    /// Variance of more blur than before that is another chain, in all parts of the picture, px². Judged.
    pub const MORE_BLUR_PX2: f64 = 0.2;
    /// How long one known change must explain all frames, s. Judged.
    pub const SURE_S: f64 = 0.11;
}
