//! Thresholds from stored measurements: misses, nuisance trips and detection time against each other.
//!
//! *The question*: which tolerances and confirmation times catch what must be caught, in time, and trip
//! seldom enough when nothing is wrong, and how far is it to either side?
//!
//! *The method*: a region is raised when its frames stay faulty for the confirmation time. A frame is faulty
//! when a reading lies beyond its tolerance, so each frame has a strength, in tolerances: the smallest factor
//! on the region's tolerances at which it would not be faulty. What confirmation makes of strengths is
//! another strength: the least within the confirmation time, the k-th largest of n. For each clip these are
//! computed once for each confirmation time ([`strength`]); after that a set of thresholds costs a look-up for each
//! clip ([`search`]).
//!
//! *What it cannot see*: faults that no tolerance bears on (a picture that is wrong in itself) count as of
//! endless strength, and the class that a fault would be given is not judged again. The set that is
//! recommended is to be checked with `check` and `campaign` before anyone relies on it.

pub mod in_the_way;
pub mod limit;
pub mod material;
pub mod patch;
pub mod plot;
pub mod search;
pub mod strength;
pub mod tail;
