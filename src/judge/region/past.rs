//! What a region showed in its latest frames, beside what was due.

use std::collections::VecDeque;

use crate::examine::reader::RECOGNISED;
use crate::examine::region::{Explanation, Findings};
use crate::examine::signature::Signature;
use crate::judge::constants::{CROSSING_S, LONGEST_DELAY_S, STORY_S};
use crate::judge::story::{Point, Series};
use crate::recording::inputs::Inputs;
use crate::reference::parts::Freedom;

/// One frame of a region. Values are by freedom.
#[derive(Clone)]
pub(super) struct Frame {
    /// Recording time, s.
    pub time_s: f64,
    /// Values that were due, as the symbol can show them.
    pub due: Vec<Option<f64>>,
    /// Values read, where the symbol was recognised.
    pub shown: Vec<Option<f64>>,
    /// Standard errors of what was read, px.
    pub error_px: Vec<f64>,
    /// Pixels for a unit; the latest known.
    pub px_per_unit: Vec<f64>,
    /// Speed of what was due since the frame before, px/s.
    speed_px_s: Vec<f64>,
    /// Something else than what is due explains the picture.
    is_off: bool,
    /// The picture is one of data that are no older than permitted.
    is_permitted: bool,
    /// The verdict was a fault.
    pub is_faulty: bool,
    /// Data times that the picture shows, where it is that of another moment, s.
    pub data_span_s: Option<[f64; 2]>,
    /// What the numbers written are off by, in steps of their last digits.
    pub steps_off: Vec<f64>,
}

impl Frame {
    /// A display that is late by what it may be shows something else than what is due all the time.
    const fn is_stale(&self) -> bool {
        !self.is_permitted || self.is_faulty
    }
}

/// The latest frames of a region.
#[derive(Clone)]
pub(super) struct Past {
    freedoms: Vec<Freedom>,
    frames: VecDeque<Frame>,
    due_px: Vec<f64>,
}

impl Past {
    /// Without frames.
    pub fn new(freedoms: &[Freedom]) -> Self {
        Self {
            freedoms: freedoms.to_vec(),
            frames: VecDeque::new(),
            due_px: vec![0.0; freedoms.len()],
        }
    }

    /// Keeps what was found in the frame at recording time `time_s`, as yet without a verdict.
    pub fn push(&mut self, time_s: f64, findings: &Findings, inputs: &Inputs, is_permitted: bool) {
        let due: Vec<Option<f64>> = self
            .freedoms
            .iter()
            .map(|f| {
                let v = inputs.value(f.channel).number()?;
                Some(if f.period.is_some() {
                    v
                } else {
                    v.clamp(f.low, f.high)
                })
            })
            .collect();
        let last = self.frames.back();
        let px_per_unit: Vec<f64> = findings
            .readings
            .iter()
            .enumerate()
            .map(|(k, r)| match r {
                Some(f) if f.px_per_unit > 0.0 => f.px_per_unit,
                _ => last.map_or(0.0, |p| p.px_per_unit[k]),
            })
            .collect();
        let mut speed_px_s = vec![0.0; due.len()];
        if let Some(last) = last {
            for (k, f) in self.freedoms.iter().enumerate() {
                if let (Some(now), Some(before)) = (due[k], last.due[k]) {
                    let step_px = f.difference(now, before) * px_per_unit[k];
                    self.due_px[k] += step_px;
                    speed_px_s[k] = step_px.abs() / (time_s - last.time_s);
                }
            }
        }
        let is_readable = !matches!(
            findings.explanation,
            Explanation::Nothing {
                signature: Signature::Blank
                    | Signature::Noise
                    | Signature::LostLines
                    | Signature::Torn
            }
        );
        let read = findings.readings.iter().map(|r| {
            r.filter(|f| is_readable && f.misfit <= RECOGNISED)
                .map(|f| f.value)
        });
        self.frames.push_back(Frame {
            time_s,
            due,
            shown: read.collect(),
            error_px: (findings.readings.iter())
                .map(|r| r.map_or(f64::INFINITY, |f| f.standard_error * f.px_per_unit))
                .collect(),
            px_per_unit,
            speed_px_s,
            is_off: findings.explanation != Explanation::Due,
            is_permitted,
            is_faulty: false,
            data_span_s: findings.data_span_s,
            steps_off: findings
                .digits
                .iter()
                .map(|d| d.error() / d.resolution)
                .collect(),
        });
        let forgotten = self.frames.partition_point(|p| time_s - p.time_s > STORY_S);
        self.frames.drain(..forgotten);
    }

    /// The newest frame.
    pub fn newest(&self) -> Option<&Frame> {
        self.frames.back()
    }

    /// Says that the verdict on the newest frame was a fault, or none.
    pub fn judged(&mut self, is_faulty: bool) {
        if let Some(newest) = self.frames.back_mut() {
            newest.is_faulty = is_faulty;
        }
    }

    /// All frames, oldest first.
    pub fn frames(&self) -> impl DoubleEndedIterator<Item = &Frame> + ExactSizeIterator + Clone {
        self.frames.iter()
    }

    /// Unwrapped position of the due value of freedom `k`, px, from its motion since the first frame.
    pub fn due_px(&self, k: usize) -> f64 {
        self.due_px[k]
    }

    /// Recording time of the first frame of the run of faulty frames that still lasts, s.
    pub fn faulty_since_s(&self) -> Option<f64> {
        let run = self.frames.iter().rev().take_while(|p| p.is_faulty);
        run.last().map(|p| p.time_s)
    }

    /// Newest frames in which something else than what was due was shown, with those of a short time between and after them
    /// that are not so; the newest has no verdict yet.
    pub fn frames_off(&self) -> usize {
        self.newest_frames(CROSSING_S, |p| p.is_off || p.is_faulty)
    }

    /// Whether the begin of that run is forgotten.
    pub fn is_begin_forgotten(&self) -> bool {
        self.frames_off() == self.frames.len()
    }

    /// Recording time of the first frame of that run, s.
    pub fn off_since_s(&self) -> Option<f64> {
        let begin = self.frames.len() - self.frames_off();
        self.frames.get(begin).map(|p| p.time_s)
    }

    /// Newest frames, without a gap, in which a picture was shown that is older than permitted, and the frame before
    /// them.
    pub fn stale(&self) -> (impl Iterator<Item = &Frame> + Clone, Option<&Frame>) {
        let begin = self.frames.len() - self.newest_frames(0.0, Frame::is_stale);
        let before = begin.checked_sub(1).and_then(|k| self.frames.get(k));
        (self.frames.range(begin..), before)
    }

    /// The same with those between and after them that are not so: a number that was late at one of its changes is asked again
    /// at the next.
    pub fn stale_with_crossings(&self) -> impl Iterator<Item = &Frame> + Clone {
        let count = self.newest_frames(LONGEST_DELAY_S, Frame::is_stale);
        self.frames.range(self.frames.len() - count..)
    }

    /// Newest frames of which `is_so` holds, with those between and after them of which it does not for no longer than
    /// `crossing_s` at a time.
    fn newest_frames(&self, crossing_s: f64, is_so: impl Fn(&Frame) -> bool) -> usize {
        let Some(mut so_s) = self.frames.back().map(|p| p.time_s) else {
            return 0;
        };
        let mut count = 0;
        for (k, p) in self.frames.iter().rev().enumerate() {
            if is_so(p) {
                (count, so_s) = (k + 1, p.time_s);
            } else if so_s - p.time_s >= crossing_s {
                break;
            }
        }
        count
    }

    /// Readings since the region last showed what was due.
    pub fn series_off(&self) -> Vec<Series> {
        self.series_from(self.frames.len() - self.frames_off())
    }

    /// Readings since recording time `since_s`.
    pub fn series_since(&self, since_s: f64) -> Vec<Series> {
        self.series_from(self.frames.partition_point(|p| p.time_s < since_s))
    }

    fn series_from(&self, begin: usize) -> Vec<Series> {
        let point = |p: &Frame, k: usize| {
            Some(Point {
                time_s: p.time_s,
                shown: p.shown[k]?,
                due: p.due[k]?,
                px_per_unit: p.px_per_unit[k],
                error_px: p.error_px[k],
                speed_px_s: p.speed_px_s[k],
            })
        };
        let freedoms = self.freedoms.iter().enumerate();
        freedoms
            .map(|(k, f)| Series {
                channel: f.channel,
                period: f.period,
                points: self
                    .frames
                    .range(begin..)
                    .filter_map(|p| point(p, k))
                    .collect(),
                may_be_off: true,
            })
            .collect()
    }
}
