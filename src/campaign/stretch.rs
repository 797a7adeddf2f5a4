//! A stretch of clean video: checked once, with the moments kept at which faults begin.

use std::ops::Range;
use std::sync::Arc;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

use crate::capture::CapturedFrame;
use crate::capture::profile::Profile;
use crate::check::beside::Beside;
use crate::check::run::{Examined, Run};
use crate::evidence::measurements::Header;
use crate::examine::comparison::ChainLook;
use crate::examine::subject::Subject;
use crate::inject::{self, Clip, Target};
use crate::judge::event::Event;
use crate::judge::region::RegionVerdict;
use crate::recording::Recording;
use crate::reference::painter::Painter;
use crate::reference::parts::Freedom;

/// One capture with what is known of it.
#[derive(Clone, Copy)]
pub struct Material<'a> {
    /// The display.
    pub subject: Subject<'a>,
    /// The inputs.
    pub recording: &'a Recording,
    /// The chain.
    pub profile: &'a Profile,
    /// Recording time = capture time + this, s.
    pub offset_s: f64,
    /// What another display showed of the same recording.
    pub beside: Option<&'a Arc<Beside>>,
}

/// Motion in the second after the onset that shows a standstill, px.
const MOTION_PX: f64 = 3.0;
/// That second, s.
const MOTION_S: f64 = 1.0;

/// A moment at which faults begin.
pub struct Moment<'a> {
    /// Index of the first faulty frame in the stretch's frames.
    pub onset: usize,
    /// The check before that frame.
    pub run: Run<'a>,
    /// By region: a standstill would show.
    pub moves: Vec<bool>,
}

/// A stretch that was checked without faults.
pub struct Stretch<'a> {
    /// What it shows.
    pub material: Material<'a>,
    /// Its frames.
    pub frames: &'a [CapturedFrame],
    /// What was found in each.
    pub examined: Vec<Examined>,
    /// The moments.
    pub moments: Vec<Moment<'a>>,
    /// What was raised, though nothing is wrong.
    pub events: Vec<Event>,
    /// Verdicts, by frame and region.
    pub verdicts: Vec<Vec<RegionVerdict>>,
    /// What is measured.
    pub header: Header,
}

impl<'a> Stretch<'a> {
    /// Checks `frames` and keeps the check at `onsets` (indices of frames, rising).
    ///
    /// # Errors
    /// When the chain changes on the way: nothing can be learned there.
    pub fn check(
        material: Material<'a>,
        frames: &'a [CapturedFrame],
        onsets: &[usize],
    ) -> Result<Self, crate::check::Error> {
        let Material {
            subject,
            recording,
            profile,
            offset_s,
            beside,
        } = material;
        let mut run = Run::new(
            subject.definition(),
            subject,
            recording,
            &ChainLook::of(profile),
            (profile.width, profile.height),
            offset_s,
            profile.latency_s,
            Painter::new(),
        );
        if let Some(beside) = beside {
            run.compare_with(Arc::clone(beside));
        }
        let header = Header::of(subject.definition(), &run);
        let mut examined = Vec::with_capacity(frames.len());
        let mut verdicts = Vec::with_capacity(frames.len());
        let mut runs = Vec::with_capacity(onsets.len());
        let freedoms: Vec<Vec<Freedom>> = run.examiners().map(|e| e.freedoms().to_vec()).collect();
        for (k, frame) in frames.iter().enumerate() {
            if onsets.contains(&k) {
                runs.push((k, run.clone()));
            }
            if k > 0 {
                run.hold(&frames[k - 1], frame.time_s, |_, _| Ok(()))?;
            }
            let found = run.examine(frame, None);
            examined.push(Examined {
                findings: found.findings.clone(),
                has_ink: run.ink(),
            });
            let judged = run.judge(frame, found)?;
            run.compare(frame, &judged);
            verdicts.push(judged);
        }
        let clean = Clean {
            material,
            frames,
            examined: &examined,
            verdicts: &verdicts,
        };
        let moments = runs
            .into_iter()
            .map(|(onset, run)| {
                let freedoms = freedoms.iter().enumerate();
                let moves = freedoms
                    .map(|(k, freedoms)| clean.moves(freedoms, onset, k))
                    .collect();
                Moment { onset, run, moves }
            })
            .collect();
        Ok(Self {
            material,
            frames,
            examined,
            moments,
            events: run.events(),
            verdicts,
            header,
        })
    }

    /// The clip of a fault that begins at `onset` and lasts so long.
    #[must_use]
    pub fn clip(&self, onset: usize, duration_s: f64) -> Clip<'a> {
        let end_s = self.frames[onset].time_s + duration_s - 1e-6;
        Clip {
            subject: self.material.subject,
            recording: self.material.recording,
            profile: self.material.profile,
            offset_s: self.material.offset_s,
            frames: self.frames,
            onset,
            end: self.frames.partition_point(|f| f.time_s < end_s),
        }
    }
}

/// What was found in frames without faults.
struct Clean<'a> {
    material: Material<'a>,
    frames: &'a [CapturedFrame],
    examined: &'a [Examined],
    verdicts: &'a [Vec<RegionVerdict>],
}

impl Clean<'_> {
    /// Whether a standstill of region `k` from `onset` on would show within a second: a symbol moves far enough,
    /// or, where nothing continuous is read, what is drawn changes.
    fn moves(&self, freedoms: &[Freedom], onset: usize, k: usize) -> bool {
        let begin_s = self.frames[onset].time_s;
        let end = self
            .frames
            .partition_point(|f| f.time_s <= begin_s + MOTION_S);
        let first = &self.verdicts[onset - 1][k].readings;
        if first.is_empty() {
            return (onset..end).any(|i| !self.examined[i].findings[k].is_unchanged);
        }
        let definition = self.material.subject.definition();
        first.iter().any(|before| {
            let freedom = &freedoms[before.freedom];
            // Where the recording does not say when a value moved, it has to leave its tolerance.
            let least = if self.is_timed(freedom, onset..end, k) {
                0.0
            } else {
                let target = Target {
                    region: Some(k),
                    channel: Some(freedom.channel),
                    symbol: None,
                };
                inject::tolerance(definition, target).unwrap_or(0.0)
            };
            let later = self.verdicts[onset..end].iter();
            let mut later = later.flat_map(|v| &v[k].readings);
            later.any(|now| {
                let moved = freedom.difference(now.expected, before.expected).abs();
                now.freedom == before.freedom
                    && moved * now.px_per_unit >= MOTION_PX
                    && moved >= least
            })
        })
    }

    /// Whether the recording tells how the channel of a freedom of region `k` moves in such frames.
    fn is_timed(&self, freedom: &Freedom, frames: Range<usize>, k: usize) -> bool {
        let Material {
            subject,
            recording,
            profile,
            offset_s,
            ..
        } = self.material;
        let dense_s = subject.definition().max_latency_s(k);
        let mut times_s = self.frames[frames].iter().map(|f| f.time_s);
        times_s.all(|s| {
            recording.doubt(freedom.channel, s + offset_s - profile.latency_s, dense_s) <= 0.0
        })
    }
}

/// `count` frames of `from..to` at which faults begin, rising; fewer where there are fewer.
#[must_use]
pub fn choose_onsets(from: usize, to: usize, count: usize, seed: u64) -> Vec<usize> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut rest: Vec<usize> = (from..to).collect();
    let mut chosen = Vec::new();
    while chosen.len() < count && !rest.is_empty() {
        let k = (rng.next_u64() % rest.len() as u64) as usize;
        chosen.push(rest.swap_remove(k));
    }
    chosen.sort_unstable();
    chosen
}
