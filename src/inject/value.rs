//! A symbol that shows another value than it was given: drawn anew, or taken from another moment.

use super::redraw::Redraw;
use super::{Clip, Delivery, Fault, Injector, Method, paint};
use crate::capture::CapturedFrame;
use crate::definition::model::Interpolation;
use crate::judge::constants::LONGEST_DELAY_S;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::scale::half_turn;

/// Share of a tolerance that a donor's value may be off by.
const DONOR_SHARE: f64 = 0.25;

/// The value to be shown, from the frame of the clip and the value that is due.
pub type Wrong = Box<dyn Fn(&Clip, usize, f64) -> f64 + Send>;

/// Shows `wrong` instead of the due value of `channel` in the fault's region. `None` when the channel has no
/// number here, or no donor shows what is wanted.
#[must_use]
pub fn shown(
    clip: &Clip,
    fault: &Fault,
    channel: ChannelId,
    wrong: Wrong,
) -> Option<Box<dyn Injector>> {
    let region = fault.target.region?;
    let tolerance = clip.tolerance(fault.target);
    let due = due_values(clip, channel);
    due[clip.onset]?;
    match fault.method {
        Method::Redraw => Some(Box::new(Redrawn {
            redraw: Redraw::new(clip, region, None, fault.seed),
            channel,
            wrong,
            tolerance: tolerance.unwrap_or(0.0),
            is_within: false,
        })),
        Method::Donor => {
            // A page that has just been turned may still stand there.
            let turn_s = clip.definition().max_latency_s(region);
            let offered = due.iter().zip(clip.frames).map(|(due, frame)| {
                due.filter(|_| clip.is_on_page(region, frame.time_s - turn_s, frame.time_s))
            });
            let donor = Donor {
                fault: fault.clone(),
                channel,
                offered: offered.collect(),
                due,
                wrong,
                tolerance: tolerance?,
                within: None,
            };
            // Whether the capture has the value at all is asked where the fault begins.
            donor.nearest(clip, clip.onset)?;
            Some(Box::new(donor))
        }
    }
}

/// The due value of `channel` in every frame of the clip.
#[must_use]
pub fn due_values(clip: &Clip, channel: ChannelId) -> Vec<Option<f64>> {
    let mut inputs = Inputs::default();
    (0..clip.frames.len())
        .map(|k| {
            clip.inputs(k, &mut inputs);
            inputs.value(channel).number()
        })
        .collect()
}

/// The error that `wrong` makes in every faulty frame in which the channel has a value, in tolerances.
#[must_use]
pub fn errors(clip: &Clip, fault: &Fault, channel: ChannelId, wrong: &Wrong) -> Vec<f64> {
    let Some(tolerance) = clip.tolerance(fault.target) else {
        return Vec::new();
    };
    let due = due_values(clip, channel);
    (clip.onset..clip.end)
        .filter_map(|k| {
            let v = due[k]?;
            let wanted = in_range(clip, channel, wrong(clip, k, v));
            Some(distance(clip, channel, wanted, v) / tolerance)
        })
        .collect()
}

/// Whether the channel can have the value.
#[must_use]
pub fn is_possible(clip: &Clip, channel: ChannelId, value: f64) -> bool {
    let (_, model) = &clip.definition().channels()[channel.0];
    let turns = model.interpolation == Interpolation::Angular;
    let mut range = model.range.into_iter();
    turns || range.all(|[low, high]| (low..=high).contains(&value))
}

/// How much more `a` is than `b`, the short way round.
fn difference(clip: &Clip, channel: ChannelId, a: f64, b: f64) -> f64 {
    let (_, model) = &clip.definition().channels()[channel.0];
    match model.interpolation {
        Interpolation::Angular => half_turn(a - b),
        Interpolation::Linear | Interpolation::Hold | Interpolation::Text => a - b,
    }
}

/// How far two values of a channel are apart.
fn distance(clip: &Clip, channel: ChannelId, a: f64, b: f64) -> f64 {
    difference(clip, channel, a, b).abs()
}

/// What is nearest to `value` and no further than `tolerance` from `due`.
fn nearest_within(clip: &Clip, channel: ChannelId, value: f64, due: f64, tolerance: f64) -> f64 {
    let off = difference(clip, channel, value, due);
    if off.abs() <= tolerance {
        return value;
    }
    in_range(clip, channel, due + tolerance.copysign(off))
}

/// `value` in the range that the channel counts in.
fn in_range(clip: &Clip, channel: ChannelId, value: f64) -> f64 {
    let (_, model) = &clip.definition().channels()[channel.0];
    match model.interpolation {
        Interpolation::Angular => {
            let begin = model.turn_begin_deg();
            begin + (value - begin).rem_euclid(360.0)
        }
        _ => value,
    }
}

struct Redrawn {
    redraw: Redraw,
    channel: ChannelId,
    wrong: Wrong,
    tolerance: f64,
    is_within: bool,
}

impl Injector for Redrawn {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let (channel, wrong) = (self.channel, &self.wrong);
        let tolerance = self.is_within.then_some(self.tolerance);
        self.redraw.apply(clip, k, &mut frame.picture, |inputs| {
            if let Value::Number(v) = &mut inputs.values[channel.0] {
                let shown = in_range(clip, channel, wrong(clip, k, *v));
                *v = tolerance.map_or(shown, |t| nearest_within(clip, channel, shown, *v, t));
            }
        });
        Delivery::Sent
    }

    fn keep_within(&mut self, _: &Clip) -> bool {
        self.is_within = true;
        true
    }
}

struct Donor {
    fault: Fault,
    channel: ChannelId,
    due: Vec<Option<f64>>,
    /// By frame: its due value, where its picture has the region.
    offered: Vec<Option<f64>>,
    wrong: Wrong,
    tolerance: f64,
    /// Draws what is within the tolerance over what a donor shows.
    within: Option<Redraw>,
}

impl Donor {
    /// The frame of the clip that shows the wanted value best, when one shows it well enough. A fault of
    /// size zero finds the frame itself.
    fn nearest(&self, clip: &Clip, k: usize) -> Option<usize> {
        let due = self.due[k]?;
        let wanted = in_range(clip, self.channel, (self.wrong)(clip, k, due));
        let distance = |v: f64| distance(clip, self.channel, v, wanted);
        // What was shown a moment ago is late, and no wrong value.
        let oldest_s = clip.frames[k].time_s - LONGEST_DELAY_S;
        let recent = clip.frames.partition_point(|f| f.time_s < oldest_s)..k;
        let candidates = self.offered.iter().enumerate();
        let candidates = candidates.filter(|(i, _)| !recent.contains(i));
        let (best, off, _) = candidates
            .filter_map(|(i, v)| Some((i, distance((*v)?), i.abs_diff(k))))
            .min_by(|a, b| a.1.total_cmp(&b.1).then(a.2.cmp(&b.2)))?;
        (off <= DONOR_SHARE * self.tolerance).then_some(best)
    }
}

impl Injector for Donor {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        // Where the capture runs out of the value the fault holds its last picture, which is as wrong.
        let donor = (clip.onset..=k).rev().find_map(|k| self.nearest(clip, k));
        if let Some(donor) = donor {
            let area = clip.area(self.fault.target);
            paint::copy(&clip.frames[donor].picture, &mut frame.picture, area);
            if let (Some(redraw), Some(due)) = (&mut self.within, self.due[k]) {
                let (channel, tolerance) = (self.channel, self.tolerance);
                redraw.apply(clip, donor, &mut frame.picture, |inputs| {
                    if let Value::Number(v) = &mut inputs.values[channel.0] {
                        *v = nearest_within(clip, channel, *v, due, tolerance);
                    }
                });
            }
        }
        Delivery::Sent
    }

    fn keep_within(&mut self, clip: &Clip) -> bool {
        let seed = self.fault.seed;
        let region = self.fault.target.region;
        self.within = region.map(|region| Redraw::new(clip, region, None, seed));
        self.within.is_some()
    }
}
