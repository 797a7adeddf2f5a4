//! What do all regions together tell: does the whole display stand still, or show old data?
//!
//! Asked as soon as two regions are faulty. One region alone can often not tell old data from a value
//! that is off, or a slow delay from a standstill; the readings of all regions together can, since one
//! moment, or one delay, must fit every one of them. Regions that agree take part, so that a fault of some
//! regions among live ones is no story of the whole display.

use super::constants::{AGE_STRETCH_S, BEFORE_S, DECISIVE, LONGEST_DELAY_S, REGIONS, RETOLD_S};
use super::errors::age_scatter_s;
use super::region::{RegionJudge, RegionVerdict};
use super::story::{self, Series, Story, Timing};
use super::verdict::Verdict;
use crate::examine::region::Moment;

/// Follows what all regions tell together.
#[derive(Clone, Debug, Default)]
pub struct Company {
    story: Option<Story>,
    faulty: usize,
    /// Time since it was told, s.
    age_s: f64,
    /// Regions within their tolerances have jumped against what was due, just before the faults or since.
    jumped_together: bool,
    /// By region: recording time since which it has been seen to follow its inputs, s.
    live_since_s: Vec<f64>,
    /// By region that is not faulty: age of what it shows on the average of the last moments, with its standard error, s.
    ages_s: Vec<Option<[f64; 2]>>,
}

impl Company {
    /// The story that holds for the whole display, when there is one: held or late.
    #[must_use]
    pub const fn story(&self) -> Option<Story> {
        self.story
    }

    /// Recording time of the data that the whole display shows at `time_s` when it is late, s.
    #[must_use]
    pub fn data_time_s(&self, time_s: f64) -> Option<f64> {
        match self.story {
            Some(Story::Late { staleness_s, .. }) => Some(time_s - staleness_s),
            _ => None,
        }
    }

    /// Latest recording time since which a region other than `region` has been seen to follow its
    /// inputs, s: data shown by the display as a whole are no older.
    #[must_use]
    pub fn others_live_since_s(&self, region: usize) -> f64 {
        self.live_since_s
            .iter()
            .enumerate()
            .filter(|(k, _)| *k != region)
            .fold(f64::NEG_INFINITY, |latest, (_, s)| latest.max(*s))
    }

    /// Age of what the regions other than `region` show on the average, and its standard error, s: the display is one process, whose age its
    /// regions share. Where they do not tell the same to within their errors, the error grows by as much (the ratio of Birge,
    /// Physical Review 40 (1932) 207, from memory). `None` where nothing tells.
    #[must_use]
    pub fn others_age_s(&self, region: usize) -> Option<[f64; 2]> {
        let others = || {
            let told = self.ages_s.iter().enumerate();
            told.filter(|(k, _)| *k != region).filter_map(|(_, a)| *a)
        };
        let weight = |error_s: f64| 1.0 / (error_s * error_s);
        let information: f64 = others().map(|[_, e]| weight(e)).sum();
        let mean_s = others().map(|[age_s, e]| age_s * weight(e)).sum::<f64>() / information;
        let squares = others().map(|[age_s, e]| (age_s - mean_s).powi(2) * weight(e));
        let ratio = squares.sum::<f64>() / (others().count().max(2) - 1) as f64;
        (information > 0.0).then(|| [mean_s, (ratio.max(1.0) / information).sqrt()])
    }

    /// Takes the verdicts of a frame.
    pub fn update(&mut self, moment: &Moment, judges: &[RegionJudge], verdicts: &[RegionVerdict]) {
        let is_candidate = |v: &RegionVerdict| {
            matches!(
                v.verdict,
                Verdict::Frozen | Verdict::Late | Verdict::Misleading
            )
        };
        let faulty = verdicts.iter().filter(|v| is_candidate(v)).count();
        if faulty > 0 && !self.jumped_together {
            self.jumped_together = jump_together(moment, judges, verdicts);
        }
        if faulty < if self.jumped_together { 1 } else { REGIONS } {
            self.story = None;
            self.faulty = 0;
            self.jumped_together = false;
        } else if faulty > self.faulty || self.age_s >= RETOLD_S {
            self.age_s = 0.0;
            self.faulty = faulty.max(self.faulty);
            self.story = tell(moment, judges, verdicts, self.jumped_together);
        }
        self.age_s += moment.interval_s;
        self.ages_s.clear();
        self.ages_s.extend(verdicts.iter().map(|v| {
            let age_s = [v.staleness_s?, of_average_s(v.staleness_se_s?, moment)];
            (!v.verdict.is_faulty()).then_some(age_s)
        }));
        self.live_since_s.resize(verdicts.len(), f64::NEG_INFINITY);
        for ((latest, v), judge) in self.live_since_s.iter_mut().zip(verdicts).zip(judges) {
            // A mark that only lives says nothing of the age of data.
            if let Some(since_s) = v.live_since_s.filter(|_| judge.reads_values()) {
                *latest = latest.max(since_s);
            }
        }
    }
}

/// Standard error of the age of the last moments on the average, s, where that of one frame is `of_frame_s`: the age of one frame
/// scatters about it, unless it was told of the picture itself.
fn of_average_s(of_frame_s: f64, moment: &Moment) -> f64 {
    let scatter_s = age_scatter_s(moment.age_scatter_s, moment.interval_s);
    let frames = (AGE_STRETCH_S / moment.interval_s).max(1.0);
    let rest = of_frame_s * of_frame_s - scatter_s * scatter_s;
    let rest = if rest < 0.0 {
        scatter_s * scatter_s
    } else {
        rest
    };
    libm::hypot(rest.sqrt(), scatter_s / frames.sqrt())
}

/// Recording time since which the oldest fault lasts, within the stretch that is looked at, s.
fn faulty_since_s(moment: &Moment, judges: &[RegionJudge]) -> f64 {
    judges
        .iter()
        .filter_map(RegionJudge::faulty_since_s)
        .fold(f64::INFINITY, f64::min)
        .max(moment.time_s - LONGEST_DELAY_S)
}

/// Whether regions within their tolerances jumped against what was due, just before the oldest fault or since.
fn jump_together(moment: &Moment, judges: &[RegionJudge], verdicts: &[RegionVerdict]) -> bool {
    let since_s = faulty_since_s(moment, judges) - BEFORE_S;
    let right = judges.iter().zip(verdicts).filter(|(_, v)| is_within(v));
    let series: Vec<Series> = right.flat_map(|(j, _)| j.series_since(since_s)).collect();
    story::jump_together(&series, timing(moment))
}

fn timing(moment: &Moment) -> Timing {
    Timing::new(moment.interval_s, moment.age_scatter_s)
}

fn is_within(verdict: &RegionVerdict) -> bool {
    verdict.readings.iter().all(|r| !r.is_outside)
}

fn tell(
    moment: &Moment,
    judges: &[RegionJudge],
    verdicts: &[RegionVerdict],
    jumped_together: bool,
) -> Option<Story> {
    let since_s = faulty_since_s(moment, judges);
    let mut all = Vec::new();
    for (judge, verdict) in judges.iter().zip(verdicts) {
        let mut series = judge.series_since(since_s);
        if jumped_together && is_within(verdict) {
            series.iter_mut().for_each(|s| s.may_be_off = false);
        }
        all.append(&mut series);
    }
    // Constant offsets of all regions at once are no story that one would tell of a display.
    match story::tell(&all, moment.recording, timing(moment), DECISIVE, |_| true) {
        Story::Wrong => None,
        Story::Held if jumped_together => None,
        told => Some(told),
    }
}
