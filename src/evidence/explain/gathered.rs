//! What the frames of a run say of one event: verdicts, values, ages, and what confirmed it.

use std::collections::BTreeMap;

use crate::evidence::display::{DisplayRecord, RegionInfo};
use crate::evidence::records::{FrameRecord, ReadingRecord};
use crate::judge::event::{Event, WorstError};
use crate::judge::persistence::{KOfN, Persistence, Transition};
use crate::judge::verdict::Verdict;

/// A frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct At {
    /// Its number.
    pub frame: u64,
    /// Its capture time, s.
    pub time_s: f64,
}

/// What one thing showed in the faulty frames of its region.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// Number of readings.
    pub count: u64,
    /// The first of them.
    pub first: (At, ReadingRecord),
    /// The last.
    pub last: (At, ReadingRecord),
    /// That with the largest error.
    pub worst: (At, ReadingRecord),
}

/// How old the data were that a region showed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Age {
    /// Age, ms.
    pub ms: f64,
    /// Its standard error, ms.
    pub se_ms: f64,
    /// In which frame.
    pub at: At,
}

impl Age {
    /// What it is at least, but for three standard errors, ms.
    pub fn surely_ms(&self) -> f64 {
        self.ms - 3.0 * self.se_ms
    }
}

/// What confirmed the fault of a region.
#[derive(Clone, Debug, PartialEq)]
pub struct Confirmed {
    /// Id of the region.
    pub region: String,
    /// First frame of the unbroken run of faulty frames up to there.
    pub since: At,
    /// The frame that confirmed it.
    pub at: At,
    /// Whether it had lasted for the confirmation time; else it had come often enough.
    pub has_lasted: bool,
    /// Faulty frames since the event began.
    pub faulty: u64,
}

/// One region's verdicts, through the judge's persistence.
#[derive(Debug)]
struct Watch {
    region: String,
    /// As the definition asks for.
    persistence: Persistence,
    /// Without the window of k of n frames.
    lasting: Persistence,
    run: Option<At>,
    faulty: u64,
    confirmed: Option<Confirmed>,
}

/// All of it.
#[derive(Debug)]
pub struct Gathered {
    span: [u64; 2],
    detected_s: f64,
    end_s: f64,
    worst: Option<WorstError>,
    watches: Vec<Watch>,
    /// The last frame before it.
    pub before: Option<(At, Verdict)>,
    /// Its first frame.
    pub first: Option<At>,
    /// The first frame at which it counts as confirmed.
    pub detected: Option<At>,
    /// The frame that shows it best.
    pub best: Option<At>,
    /// Its last.
    pub last: Option<At>,
    /// The frame that ends it: the first that agrees again.
    pub end: Option<At>,
    best_frame: u64,
    /// By region: frames of the event by verdict.
    pub verdicts: BTreeMap<String, BTreeMap<Verdict, u64>>,
    /// By region, channel and what shows it.
    pub shown: BTreeMap<(String, String, String), Shown>,
    /// By region: the age, of those in its faulty frames, that is most surely high.
    pub oldest: BTreeMap<String, Age>,
    /// The reading that the event's worst error is, with its region, where its frame has it.
    pub worst_reading: Option<(String, At, ReadingRecord)>,
}

/// How far times in records of the same frame may lie apart, s: they are rounded to a millionth.
const SAME_S: f64 = 1e-5;

/// Regions that an event concerns, in the order of the definition.
pub fn concerned<'d>(display: &'d DisplayRecord, event: &Event) -> Vec<&'d RegionInfo> {
    let is_concerned = |r: &&RegionInfo| event.regions.iter().any(|e| e == "*" || *e == r.id);
    display.regions.iter().filter(is_concerned).collect()
}

impl Gathered {
    /// Nothing seen yet.
    pub fn new(display: &DisplayRecord, event: &Event) -> Self {
        let watch = |r: &&RegionInfo| {
            let lasting = Persistence::new(r.confirm_ms, r.recover_ms);
            Watch {
                region: r.id.clone(),
                persistence: lasting.or_often(r.confirm_frames.and_then(KOfN::checked)),
                lasting,
                run: None,
                faulty: 0,
                confirmed: None,
            }
        };
        Self {
            span: [event.first_frame, event.last_frame],
            detected_s: event.detected_s,
            end_s: event.end_s,
            worst: event.worst_error.clone(),
            watches: concerned(display, event).iter().map(watch).collect(),
            before: None,
            first: None,
            detected: None,
            best: None,
            last: None,
            end: None,
            best_frame: event.best_frame,
            verdicts: BTreeMap::new(),
            shown: BTreeMap::new(),
            oldest: BTreeMap::new(),
            worst_reading: None,
        }
    }

    /// Takes the next frame of the run.
    pub fn push(&mut self, record: &FrameRecord) {
        let at = At {
            frame: record.frame,
            time_s: record.time_s,
        };
        let [first, last] = self.span;
        if at.frame < first {
            self.before = Some((at, record.verdict));
            return;
        }
        let is_reached = |time_s: f64| at.time_s >= time_s - SAME_S;
        if self.end.is_none() && at.frame > last && is_reached(self.end_s) {
            self.end = Some(at);
        }
        if at.frame > last {
            return;
        }
        self.first.get_or_insert(at);
        if at.frame == self.best_frame {
            self.best = Some(at);
        }
        self.last = Some(at);
        if self.detected.is_none() && is_reached(self.detected_s) {
            self.detected = Some(at);
        }
        for watch in &mut self.watches {
            let Some(region) = record.regions.get(&watch.region) else {
                continue;
            };
            watch.push(at, region.verdict.is_faulty());
            let counts = self.verdicts.entry(watch.region.clone()).or_default();
            *counts.entry(region.verdict).or_default() += 1;
            if let (true, Some(ms), Some(se_ms)) = (
                region.verdict.is_faulty(),
                region.staleness_ms,
                region.staleness_se_ms,
            ) {
                let age = Age { ms, se_ms, at };
                let oldest = self.oldest.entry(watch.region.clone()).or_insert(age);
                if age.surely_ms() > oldest.surely_ms() {
                    *oldest = age;
                }
            }
            for reading in &region.readings {
                let key = (
                    watch.region.clone(),
                    reading.channel.clone(),
                    reading.what.clone(),
                );
                let here = (at, reading.clone());
                if self.worst.as_ref().is_some_and(|w| is_it(w, at, reading)) {
                    self.worst_reading = Some((watch.region.clone(), at, reading.clone()));
                }
                // What was right meanwhile says nothing of the fault.
                if !region.verdict.is_faulty() {
                    continue;
                }
                self.shown
                    .entry(key)
                    .and_modify(|shown| shown.push(&here))
                    .or_insert_with(|| Shown {
                        count: 1,
                        first: here.clone(),
                        last: here.clone(),
                        worst: here.clone(),
                    });
            }
        }
    }

    /// What confirmed the event: the regions whose fault was confirmed when it was. None where that was at an instant
    /// of which there is no frame.
    pub fn confirmed(&self) -> Vec<&Confirmed> {
        let all = self.watches.iter().filter_map(|w| w.confirmed.as_ref());
        all.filter(|c| (c.at.time_s - self.detected_s).abs() < SAME_S)
            .collect()
    }
}

/// Whether a reading is the one that an event names as its worst error; that one is not rounded.
fn is_it(worst: &WorstError, at: At, reading: &ReadingRecord) -> bool {
    let same = |a: f64, b: f64| (a - b).abs() <= 1e-5 * b.abs().max(1.0);
    worst.frame == Some(at.frame)
        && worst.channel == reading.channel
        && same(reading.displayed, worst.displayed)
        && same(reading.expected, worst.expected)
}

impl Shown {
    fn push(&mut self, here: &(At, ReadingRecord)) {
        self.count += 1;
        self.last = here.clone();
        if here.1.error.abs() > self.worst.1.error.abs() {
            self.worst = here.clone();
        }
    }
}

impl Watch {
    fn push(&mut self, at: At, is_faulty: bool) {
        self.faulty += u64::from(is_faulty);
        let since = *self.run.get_or_insert(at);
        let raised = |t: Option<Transition>| matches!(t, Some(Transition::Raised { .. }));
        let has_lasted = raised(self.lasting.push(at.time_s, is_faulty));
        if raised(self.persistence.push(at.time_s, is_faulty)) && self.confirmed.is_none() {
            self.confirmed = Some(Confirmed {
                region: self.region.clone(),
                since,
                at,
                has_lasted,
                faulty: self.faulty,
            });
        }
        if !is_faulty {
            self.run = None;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::records::RegionRecord;
    use crate::evidence::report::tests::{display, event};

    /// Frames of 40 ms from frame 25 on; `#` is faulty.
    fn gathered(frames: &str, confirm_frames: Option<[u32; 2]>) -> Gathered {
        let mut display = display();
        display.regions[0].confirm_frames = confirm_frames;
        let mut event = event("misleading", "speed", 1.0);
        event.last_frame = event.first_frame + frames.len() as u64;
        let mut gathered = Gathered::new(&display, &event);
        for (k, f) in frames.bytes().enumerate() {
            let verdict = if f == b'#' {
                Verdict::Misleading
            } else {
                Verdict::Agrees
            };
            let region = RegionRecord {
                verdict,
                staleness_ms: Some(10.0 * k as f64),
                // The oldest is unsure, and the last one agrees or is less sure.
                staleness_se_ms: Some(if k == 16 { 50.0 } else { 1.0 }),
                readings: Vec::new(),
                hidden: Vec::new(),
            };
            gathered.push(&FrameRecord {
                frame: event.first_frame + k as u64,
                time_s: event.onset_s + 0.04 * k as f64,
                crc32: 0,
                verdict,
                regions: [("speed".to_owned(), region)].into(),
            });
        }
        gathered
    }

    #[test]
    fn what_lasted_and_what_came_often_are_told_apart() {
        // 300 ms are eight steps of 40 ms: the ninth frame is the first at which they have passed.
        let lasted = gathered("##########", None);
        let [confirmed] = lasted.confirmed()[..] else {
            panic!("{lasted:?}")
        };
        assert!(
            confirmed.has_lasted && confirmed.faulty == 9,
            "{confirmed:?}"
        );
        assert_eq!(confirmed.since.frame, lasted.span[0]);
        let often = gathered("##.##.##.##.##.##", Some([8, 16]));
        let watch = &often.watches[0];
        let confirmed = watch.confirmed.as_ref().expect("8 of 16 are faulty");
        assert!(
            !confirmed.has_lasted && confirmed.faulty == 8,
            "{confirmed:?}"
        );
        assert_eq!(often.oldest["speed"].ms, 150.0);
    }

    #[test]
    fn a_window_that_cannot_be_is_no_panic() {
        for odd in [[0, 0], [9, 8], [1, 100_000]] {
            let _ = gathered("####", Some(odd));
        }
    }
}
