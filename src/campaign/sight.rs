//! What can be seen of a fault at a moment of a clip: whether it can begin there, and what its pictures look like to one who does
//! not know of it.

use super::stretch::Moment;
use crate::capture::CapturedFrame;
use crate::inject::{Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use crate::judge::persistence::KOfN;

/// Pixels that must change, and by how many levels, for a fault to be visible.
pub(super) const VISIBLE_PX: u64 = 12;
/// See [`VISIBLE_PX`].
pub(super) const VISIBLE_LEVELS: u8 = 24;

/// Whether the target's region is on the page that is due, from the onset until `until_s`.
pub(super) fn is_shown(clip: &Clip, target: Target, until_s: f64) -> bool {
    let onset_s = clip.frames[clip.onset].time_s;
    let mut region = target.region.into_iter();
    region.all(|k| clip.is_on_page(k, onset_s, until_s))
}

/// Whether a fault that begins at this moment, and lasts so long, can be seen.
pub(super) fn is_visible(
    model: &dyn Model,
    clip: &Clip,
    moment: &Moment,
    fault: &Fault,
    duration_s: f64,
) -> bool {
    if model.about().needs_motion {
        return match fault.target.region {
            Some(k) => moment.moves[k],
            None => moment.moves.iter().any(|m| *m),
        };
    }
    let usual = model
        .about()
        .axis
        .map_or(fault.size, |a| a.usual.max(fault.size));
    let usual = Fault {
        size: usual,
        ..fault.clone()
    };
    let Some(mut injector) = model.prepare(clip, &usual) else {
        return false;
    };
    let at = if model.about().grows {
        let middle_s = clip.frames[clip.onset].time_s + duration_s / 2.0;
        clip.frames.partition_point(|f| f.time_s < middle_s)
    } else {
        clip.onset
    };
    let clean = &clip.frames[at];
    let mut frame = clean.clone();
    if injector.apply(clip, at, &mut frame) == Delivery::Lost {
        return true;
    }
    frame.time_s != clean.time_s
        || model.about().group == Group::Signal
        || paint::differing_px(
            &clean.picture,
            &frame.picture,
            clip.area(fault.target),
            VISIBLE_LEVELS,
        ) >= VISIBLE_PX
}

/// What the pictures of a fault are to one who does not know of it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sight {
    /// What it changes beyond what is permitted is there for less than it takes to confirm a fault: it need not be raised.
    pub is_brief: bool,
    /// For as long as it can be seen, its place stands as it did when it was last right. Nobody can tell it from a place that stands
    /// still.
    pub stands: bool,
}

/// What can be seen of a fault until `end_s`. What the display showed at any age that is permitted is no change, nor is what of the
/// fault itself is permitted. Both are made by injectors of their own.
pub(super) fn sight(
    clip: &Clip,
    fault: &Fault,
    end_s: f64,
    injector: &mut dyn Injector,
    mut permitted: Option<Box<dyn Injector>>,
) -> Sight {
    let area = clip.area(fault.target);
    let definition = clip.definition();
    let regions = definition.regions().iter().enumerate();
    let struck = regions.filter(|(k, _)| fault.target.region.is_none_or(|r| r == *k));
    let oldest_s = struck.clone().map(|(k, _)| definition.max_latency_s(k));
    let newest_s = oldest_s.fold(f64::INFINITY, f64::min) - clip.profile.latency_s;
    let mut confirming: Vec<(f64, Option<KOfN>)> = struck
        .map(|(_, r)| {
            let often = r.confirm_frames.and_then(KOfN::checked);
            (r.confirm_ms() / 1000.0, often)
        })
        .collect();
    let differ = |a: &CapturedFrame, b: &CapturedFrame| {
        paint::differing_samples(&a.picture, &b.picture, area, VISIBLE_LEVELS) >= VISIBLE_PX
    };
    let mut last_right = clip.frames[clip.onset - 1].clone();
    let (mut since_s, mut is_confirmed, mut is_seen) = (None, false, false);
    let mut stands = true;
    let (mut frame, mut other) = (CapturedFrame::new(), CapturedFrame::new());
    for (k, clean) in clip.frames.iter().enumerate().skip(clip.onset) {
        if clean.time_s >= end_s - 1e-6 || (is_confirmed && !stands) {
            break;
        }
        frame.clone_from(clean);
        let is_lost = injector.apply(clip, k, &mut frame) == Delivery::Lost;
        let mut is_there = is_lost || frame.time_s != clean.time_s;
        if !is_there {
            let recent = clip.frames[..=k].iter().rev();
            // As a check takes it: a picture is of its time to half a frame.
            let half_s = (clean.time_s - clip.frames[k - 1].time_s) / 2.0;
            let oldest_s = clean.time_s - newest_s.max(0.0) - half_s;
            let mut recent = recent.take_while(|f| f.time_s >= oldest_s - 1e-6);
            is_there = recent.all(|f| differ(f, &frame));
        }
        if let Some(permitted) = permitted.as_mut().filter(|_| is_there && !is_lost) {
            other.clone_from(clean);
            permitted.apply(clip, k, &mut other);
            is_there = !paint::is_same(&other.picture, &frame.picture, area);
        }
        if is_there {
            is_seen = true;
            stands &= is_lost || !differ(&last_right, &frame);
            since_s.get_or_insert(clean.time_s);
        } else {
            since_s = None;
            last_right.clone_from(&frame);
        }
        // A fault is there from its first frame to its last.
        let lasted_s = since_s.map(|since_s| clean.time_s - since_s);
        for (needed_s, often) in &mut confirming {
            is_confirmed |= lasted_s.is_some_and(|s| s >= *needed_s - 1e-6);
            is_confirmed |= often.as_mut().is_some_and(|often| often.push(is_there));
        }
    }
    Sight {
        is_brief: !is_confirmed,
        stands: stands && is_seen,
    }
}
