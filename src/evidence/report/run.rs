//! All frames of a run in short: runs of verdicts by region, what readings were like, and readings round events.

use std::collections::BTreeMap;

use crate::evidence::display::DisplayRecord;
use crate::evidence::records::FrameRecord;
use crate::evidence::stills::by_importance;
use crate::judge::event::Event;
use crate::judge::verdict::Verdict;

/// A stretch of frames with one verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The verdict.
    pub verdict: Verdict,
    /// Number of frames.
    pub frames: u64,
}

/// What the readings of one thing were like over a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadingSummary {
    /// Number of readings while the region agreed.
    pub count: u64,
    /// Sum of their errors.
    pub sum: f64,
    /// Sum of the squares.
    pub sum_of_squares: f64,
    /// The largest, either way.
    pub worst: f64,
    /// The frame it was in.
    pub worst_frame: u64,
    /// Unit of all.
    pub unit: String,
}

impl ReadingSummary {
    /// Mean error.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.sum / self.count.max(1) as f64
    }

    /// Root mean square error.
    #[must_use]
    pub fn rms(&self) -> f64 {
        libm::sqrt(self.sum_of_squares / self.count.max(1) as f64)
    }

    fn push(&mut self, error: f64, frame: u64, unit: &str) {
        self.count += 1;
        self.sum += error;
        self.sum_of_squares += error * error;
        if error.abs() > self.worst.abs() {
            (self.worst, self.worst_frame) = (error, frame);
        }
        if self.unit.is_empty() {
            unit.clone_into(&mut self.unit);
        }
    }
}

/// Names a reading: region, channel, what shows it.
pub type ReadingKey = (String, String, String);

/// Readings of one thing round an event.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// Capture time s, value shown, value due.
    pub points: Vec<[f64; 3]>,
    /// Unit of the values.
    pub unit: String,
}

/// The stretch round an event whose readings are kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// Place of the event.
    pub event: usize,
    /// Capture times, s.
    pub span_s: [f64; 2],
    /// By reading.
    pub series: BTreeMap<ReadingKey, Series>,
    regions: Vec<String>,
}

/// Time before an event, and after its end, whose readings are kept, s.
const ROUND_S: f64 = 2.0;
/// Longest part of an event whose readings are kept, s.
const LONGEST_S: f64 = 8.0;
/// Events whose readings are kept: those that get a card on the page.
pub const MOST_CARDS: usize = 60;

/// All frames in short.
#[derive(Clone, Debug)]
pub struct FrameSummary {
    /// Number of frames.
    pub frames: u64,
    /// Capture times by frame: points of a line, `(frame, time s)`.
    pub times: Vec<(u64, f64)>,
    /// The whole frame's verdicts.
    pub whole: Vec<Stretch>,
    /// By region in the order of the definition.
    pub regions: Vec<Vec<Stretch>>,
    /// By reading.
    pub readings: BTreeMap<ReadingKey, ReadingSummary>,
    /// The oldest data that any region showed, ms; `None` where no age could be measured.
    pub worst_staleness_ms: Option<f64>,
    /// By region and channel: the largest error of a reading in any frame, without its sign.
    pub worst_errors: BTreeMap<(String, String), f64>,
    /// Round the most important events.
    pub windows: Vec<Window>,
    ids: Vec<String>,
    last_time_s: f64,
}

/// How far a time may be from the line through its neighbours, s.
const TIME_TOLERANCE_S: f64 = 1e-3;

impl FrameSummary {
    /// Nothing seen yet.
    #[must_use]
    pub fn new(display: &DisplayRecord, events: &[Event]) -> Self {
        let windows = by_importance(events)
            .into_iter()
            .take(MOST_CARDS)
            .map(|k| {
                let e = &events[k];
                let end_s = e.end_s.min(e.onset_s + LONGEST_S);
                Window {
                    event: k,
                    span_s: [e.onset_s - ROUND_S, end_s + ROUND_S],
                    series: BTreeMap::new(),
                    regions: e.regions.clone(),
                }
            })
            .collect();
        Self {
            frames: 0,
            times: Vec::new(),
            whole: Vec::new(),
            regions: vec![Vec::new(); display.regions.len()],
            readings: BTreeMap::new(),
            worst_staleness_ms: None,
            worst_errors: BTreeMap::new(),
            windows,
            ids: display.regions.iter().map(|r| r.id.clone()).collect(),
            last_time_s: 0.0,
        }
    }

    /// Takes the next frame.
    pub fn push(&mut self, record: &FrameRecord) {
        self.push_time(record.time_s);
        self.last_time_s = record.time_s;
        self.frames += 1;
        lengthen(&mut self.whole, record.verdict);
        for (k, id) in self.ids.iter().enumerate() {
            let verdict = record
                .regions
                .get(id)
                .map_or(Verdict::NotJudged, |r| r.verdict);
            lengthen(&mut self.regions[k], verdict);
        }
        for (id, region) in &record.regions {
            if let Some(age_ms) = region.staleness_ms {
                let worst_ms = self.worst_staleness_ms.map_or(age_ms, |w| w.max(age_ms));
                self.worst_staleness_ms = Some(worst_ms);
            }
            for r in &region.readings {
                let key = (id.clone(), r.channel.clone());
                let worst = self.worst_errors.entry(key).or_default();
                *worst = worst.max(r.error.abs());
            }
            let agrees = matches!(region.verdict, Verdict::Agrees | Verdict::Blind);
            for r in region.readings.iter().filter(|_| agrees) {
                let key = (id.clone(), r.channel.clone(), r.what.clone());
                self.readings
                    .entry(key)
                    .or_default()
                    .push(r.error, record.frame, &r.unit);
            }
        }
        for window in &mut self.windows {
            if record.time_s >= window.span_s[0] && record.time_s <= window.span_s[1] {
                window.push(record);
            }
        }
    }

    /// Keeps a point of the line of times only where the line bends.
    fn push_time(&mut self, time_s: f64) {
        let n = self.frames;
        match self.times.as_slice() {
            [] | [_] => self.times.push((n, time_s)),
            [.., a, b] => {
                let slope = (b.1 - a.1) / (b.0 - a.0) as f64;
                let expected = a.1 + slope * (n - a.0) as f64;
                if (time_s - expected).abs() > TIME_TOLERANCE_S {
                    if b.0 + 1 < n {
                        self.times.push((n - 1, self.last_time_s));
                    }
                    self.times.push((n, time_s));
                } else if let Some(last) = self.times.last_mut() {
                    *last = (n, time_s);
                }
            }
        }
    }

    /// Capture time of a frame, s.
    #[must_use]
    pub fn time_s(&self, frame: u64) -> f64 {
        let k = self.times.partition_point(|(f, _)| *f < frame);
        match (self.times.get(k.wrapping_sub(1)), self.times.get(k)) {
            (_, Some((f, t))) if *f == frame => *t,
            (Some((f0, t0)), Some((f1, t1))) => {
                t0 + (t1 - t0) * (frame - f0) as f64 / (f1 - f0) as f64
            }
            (None, Some((_, t))) | (Some((_, t)), None) => *t,
            (None, None) => 0.0,
        }
    }
}

fn lengthen(stretches: &mut Vec<Stretch>, verdict: Verdict) {
    match stretches.last_mut() {
        Some(s) if s.verdict == verdict => s.frames += 1,
        _ => stretches.push(Stretch { verdict, frames: 1 }),
    }
}

impl Window {
    fn push(&mut self, record: &FrameRecord) {
        let is_whole = self.regions.iter().any(|r| r == "*");
        for (id, region) in &record.regions {
            if !is_whole && !self.regions.contains(id) {
                continue;
            }
            for r in &region.readings {
                let key = (id.clone(), r.channel.clone(), r.what.clone());
                let series = self.series.entry(key).or_default();
                r.unit.clone_into(&mut series.unit);
                series.points.push([record.time_s, r.displayed, r.expected]);
            }
        }
    }
}

/// `stretches` in steps of `step` frames, each step with the gravest verdict in it.
#[must_use]
pub fn coarser(stretches: &[Stretch], step: u64) -> Vec<Stretch> {
    if step <= 1 {
        return stretches.to_vec();
    }
    let mut out: Vec<Stretch> = Vec::new();
    let mut pending: Option<(Verdict, u64)> = None;
    let mut add = |verdict: Verdict, frames: u64| match out.last_mut() {
        Some(s) if s.verdict == verdict => s.frames += frames,
        _ => out.push(Stretch { verdict, frames }),
    };
    for s in stretches {
        let mut left = s.frames;
        if let Some((verdict, filled)) = pending {
            let take = left.min(step - filled);
            let worst = graver(verdict, s.verdict);
            left -= take;
            if filled + take == step {
                add(worst, step);
                pending = None;
            } else {
                pending = Some((worst, filled + take));
                continue;
            }
        }
        let whole = left / step * step;
        if whole > 0 {
            add(s.verdict, whole);
        }
        if left > whole {
            pending = Some((s.verdict, left - whole));
        }
    }
    if let Some((verdict, frames)) = pending {
        add(verdict, frames);
    }
    out
}

/// The verdict that a reviewer must not miss: faults, then what was not judged, then blind.
fn graver(a: Verdict, b: Verdict) -> Verdict {
    let rank = |v: Verdict| match v {
        Verdict::Agrees => 0,
        Verdict::Blind => 1,
        Verdict::NotJudged => 2,
        v => 3 + v as u8,
    };
    if rank(b) > rank(a) { b } else { a }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretches(text: &[(Verdict, u64)]) -> Vec<Stretch> {
        text.iter()
            .map(|(verdict, frames)| Stretch {
                verdict: *verdict,
                frames: *frames,
            })
            .collect()
    }

    #[test]
    fn coarser_stretches_keep_every_fault_and_every_frame() {
        let fine = stretches(&[
            (Verdict::Agrees, 5),
            (Verdict::Blind, 1),
            (Verdict::Agrees, 7),
            (Verdict::Late, 1),
            (Verdict::Agrees, 9),
        ]);
        let coarse = coarser(&fine, 4);
        assert_eq!(coarse.iter().map(|s| s.frames).sum::<u64>(), 23);
        assert_eq!(
            coarse,
            stretches(&[
                (Verdict::Agrees, 4),
                (Verdict::Blind, 4),
                (Verdict::Agrees, 4),
                (Verdict::Late, 4),
                (Verdict::Agrees, 7),
            ])
        );
        assert_eq!(coarser(&fine, 1), fine);
    }

    #[test]
    fn times_are_kept_where_the_line_bends() {
        let display = crate::evidence::report::tests::display();
        let mut s = FrameSummary::new(&display, &[]);
        let times = (0..100).map(|k| {
            if k < 60 {
                k as f64 * 0.04
            } else {
                k as f64 * 0.04 + 1.0
            }
        });
        let all: Vec<f64> = times.collect();
        for (k, t) in all.iter().enumerate() {
            s.push(&FrameRecord {
                frame: k as u64,
                time_s: *t,
                crc32: 0,
                verdict: Verdict::Agrees,
                regions: BTreeMap::new(),
            });
        }
        assert!(s.times.len() <= 6, "{:?}", s.times);
        for (k, t) in all.iter().enumerate() {
            assert!((s.time_s(k as u64) - t).abs() < 2e-3, "frame {k}");
        }
        assert_eq!(s.whole.len(), 1);
    }
}
