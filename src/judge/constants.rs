//! All constants that verdicts and events hang on, each with its reason: *derived*, *measured* by a command, or a *budget*.
//!
//! What an engineer sets (tolerances, permitted latency, confirmation) is in the display definition; what is measured (errors of
//! readings, scatter of the age) in the capture profile. Nothing here is counted in frames.

/// What a codec at a loss for bits holds slow motion back by, px: the one thing that stated errors lack. Measured: readings of H.264
/// crf 28 were off by up to 0.3 to 0.4 px where they moved slowly (`tests/foreign/clean.py --codecs crf28`).
pub const HELD_BACK_PX: f64 = 0.4;
/// How long errors of a symbol hang together, s. Measured: at 12.5 to 60 frames a second by `tests/foreign/pulls.py`.
pub const MEMORY_S: f64 = 0.1;
/// Degrees of freedom of Student's t by which departures count. Derived: the usual choice (see [`super::errors`]).
pub const TAIL_DEGREES: f64 = 4.0;
/// Standard errors of a reading, or of the mean of a varying age, that are never held against a value. Derived: beyond them lies one in 370.
pub const SIGMAS: f64 = 3.0;
/// Sequential tests of one reading, which share its budget. Derived: off to either side, held, and of another age.
pub const TESTS_OF_A_READING: usize = 4;
/// Standard errors that no tolerance has: where an error must be as large to be found, it is not. Budget.
pub const UNREACHED_SIGMAS: f64 = 1e4;
/// Sum of log-likelihoods at which a reading counts as held where the definition sets no budget. Derived: no false alarm in fewer than e^16 independent readings
/// (Lorden, Annals of Mathematical Statistics 42 (1971) 1897-1908, from memory), 490 hours of one that moves all the time.
pub const ALARM: f64 = 16.0;
/// The sum stops growing at so many alarms, so that a display that recovers is believed soon. Derived: three alarms to come down.
pub const CEILING_ALARMS: f64 = 4.0;
/// Difference of misfit (twice a log-likelihood) that decides between two stories of a fault. Derived: odds of 400 to 1.
pub const DECISIVE: f64 = 12.0;

/// Longest delay that counts as late, s; older data stand still for all that anybody can tell. Budget: delays are searched one by one.
pub const LONGEST_DELAY_S: f64 = 2.0;
/// Longest stretch that a story is told from, and as long are pictures of a region remembered, s. Derived: a delay shows only in data that
/// are older than it, and as much again must be seen of it.
pub const STORY_S: f64 = 2.0 * LONGEST_DELAY_S;
/// What costs much is looked at anew so often while something is wrong, s. Budget: telling a story searches all delays, and a look at the
/// whole picture costs as much as all regions.
pub const RETOLD_S: f64 = 0.11;
/// How long what is due may be shown within a stretch of late data, s: they cross it now and then. Derived: as long as errors of
/// readings hang together, and a frame at the slowest rate.
pub const CROSSING_S: f64 = 0.18;
/// How long after it began to stand still a display may take to be seen so, s: what was due then is looked for as far back. Measured:
/// the slowest freezes of the campaign behind the codec (`tests/foreign/every_kind.py`).
pub const MET_S: f64 = 0.5;
/// How long before the first fault a region within its tolerances may have jumped, s: it takes as long to become faulty. Derived: twice
/// [`MET_S`].
pub const BEFORE_S: f64 = 1.0;
/// Faulty regions from which on all are asked. Derived: of one alone nothing is told of the display.
pub const REGIONS: usize = 2;

/// Shortest and longest stretch over which a value is held against one age of its data, s. Derived: a shorter one is worth one reading
/// ([`MEMORY_S`]), a longer one is no longer news.
pub const STRETCH_S: [f64; 2] = [0.2, 1.0];
/// How far in the future of a frame its data may lie, s. Derived: times of captures and recordings are rounded to hundredths.
pub const EARLY_S: f64 = 0.01;
/// Instants of a span of time at which inputs are looked at, less one. Budget.
pub const SAMPLES: usize = 8;
/// Stretch in which motion must show for a freeze to be seen, s; else the region is blind. Derived: the goal for a freeze of 0.1 px a
/// frame.
pub const ALLOWED_BLIND_S: f64 = 1.0;

/// Stretch whose motion gives the age of data, s. Measured: ages are told best by it (`tests/foreign/pulls.py`).
pub const AGE_STRETCH_S: f64 = 0.6;
/// Standard error of an age that says nothing any more, s. Derived: as long as the longest delay.
pub const UNKNOWN_AGE_S: f64 = LONGEST_DELAY_S;
/// Farthest that readings may move the moment that a picture was found to show, s. Budget: beyond it another picture is shown.
pub const FARTHEST_S: f64 = 0.25;

/// Share of the confirmation time, or of the sum of a test, after which a display that reverts had a cause. Budget: its monitor looks at other frames than this one,
/// and the first of them may be missing here and there.
pub const NEARLY: f64 = 0.5;
/// How far the onset of a freeze is dated back at most, s. Derived: as far as a delay.
pub const LONGEST_HOLD_S: f64 = LONGEST_DELAY_S;
/// Slack in comparisons of times, s. Derived: decimal times are not exact in binary.
pub const TIME_SLACK_S: f64 = 1e-9;
