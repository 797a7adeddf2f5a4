//! What can be seen of a fault at a moment of a clip: whether it can begin there, and what its pictures look like to one who does
//! not know of it.

use super::stretch::Moment;
use crate::capture::CapturedFrame;
use crate::inject::{Clip, Delivery, Fault, Group, Injector, Model, Target, paint};

/// Luma pixels that must change, and by how many levels, for a fault to be visible.
pub(super) const VISIBLE_PX: u64 = 12;
/// See [`VISIBLE_PX`].
pub(super) const VISIBLE_LEVELS: u8 = 24;
/// Whether the target's region is on the page that is due, from the onset until `until_s`.
pub(super) fn is_shown(clip: &Clip, target: Target, until_s: f64) -> bool {
    target.region.is_none_or(|k| {
        let span_s = [clip.frames[clip.onset].time_s, until_s];
        let [from_s, to_s] = span_s.map(|s| s + clip.offset_s - clip.profile.latency_s);
        let due = clip.recording.pages_due(from_s, to_s);
        clip.definition().pages_of(k).contains_all(due)
    })
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
    /// What it changes is there for less than it takes to confirm a fault: it need not be raised.
    pub is_brief: bool,
    /// For as long as it can be seen, its place stands as it did just before it began. Nobody can tell it from a place that
    /// stands still.
    pub stands: bool,
}

/// What can be seen of a fault until `end_s`. What the display showed at any age that is permitted is no change. `injector` is its
/// own.
pub(super) fn sight(clip: &Clip, fault: &Fault, end_s: f64, injector: &mut dyn Injector) -> Sight {
    let area = clip.area(fault.target);
    let frames = || (clip.onset..clip.frames.len()).map(|k| &clip.frames[k]);
    let lasting_s = |k: usize| {
        let next = clip.frames.get(k + 1);
        next.map_or(0.0, |f| f.time_s - clip.frames[k].time_s)
    };
    let definition = clip.definition();
    let struck = || {
        let all = 0..definition.regions().len();
        all.filter(|k| fault.target.region.is_none_or(|r| r == *k))
    };
    let needed_s = struck().map(|k| {
        let r = &definition.regions()[k];
        let often_s = r
            .confirm_frames
            .map(|[k, _]| f64::from(k) * lasting_s(clip.onset));
        (r.confirm_ms() / 1000.0).min(often_s.unwrap_or(f64::INFINITY))
    });
    let needed_s = needed_s.fold(f64::INFINITY, f64::min);
    let oldest_s = struck().map(|k| definition.max_latency_s(k));
    let permitted_s = oldest_s.fold(f64::INFINITY, f64::min) - clip.profile.latency_s;
    let differ = |a: &CapturedFrame, b: &CapturedFrame| {
        paint::differs(&a.picture, &b.picture, area, VISIBLE_LEVELS)
    };
    let before = &clip.frames[clip.onset - 1];
    let stands_as = |a: &CapturedFrame, b: &CapturedFrame| {
        paint::differing_px(&a.picture, &b.picture, area, VISIBLE_LEVELS) < VISIBLE_PX
    };
    // Until the last of the frames that show it so far, and until the next: one is there from its first frame to its last.
    let (mut shown_s, mut there_s) = (None, 0.0);
    let mut stands = true;
    let mut frame = CapturedFrame::new();
    for (k, clean) in (clip.onset..).zip(frames()) {
        let is_long = shown_s.is_some_and(|s| s >= needed_s - 1e-6);
        if clean.time_s >= end_s - 1e-6 || (is_long && !stands) {
            break;
        }
        frame.clone_from(clean);
        let is_lost = injector.apply(clip, k, &mut frame) == Delivery::Lost;
        let permitted = clip.frames[..=k].iter().rev();
        let mut permitted =
            permitted.take_while(|f| f.time_s >= clean.time_s - permitted_s.max(0.0) - 1e-6);
        let is_there =
            is_lost || frame.time_s != clean.time_s || permitted.all(|f| differ(f, &frame));
        if is_there {
            shown_s = Some(there_s);
            there_s += lasting_s(k);
            stands &= is_lost || stands_as(before, &frame);
        }
    }
    // What is never there to be seen is another matter.
    Sight {
        is_brief: shown_s.is_some_and(|s| s < needed_s - 1e-6),
        stands: stands && shown_s.is_some(),
    }
}
