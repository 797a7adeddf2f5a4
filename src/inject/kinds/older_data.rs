//! The picture shows older data than it should, by a steady amount: an older picture of the same capture.
//!
//! An age up to [`HARMLESS_S`], or of one frame, is what healthy displays have in hand: they may be some 150 ms late
//! and are usually a third of that.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{show_frame, twin, whole_and_regions};
use crate::capture::CapturedFrame;
use crate::definition::model::Symbol;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Index of the look in which the frame before is shown, whatever the size.
const ONE_FRAME_OLDER: usize = 1;

/// Added age that a healthy display may have, s.
const HARMLESS_S: f64 = 0.1;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "added age",
        unit: "s",
        usual: 0.5,
        range: [0.0, 60.0],
    }),
    looks: &["by time", "one frame"],
    needs_motion: true,
    ..About::new(
        "older_data",
        Group::Value,
        "the picture shows data that are older than allowed",
    )
};

/// See the module.
pub struct OlderData;

impl Model for OlderData {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        whole_and_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.look == ONE_FRAME_OLDER || fault.size <= HARMLESS_S {
            &[]
        } else {
            &[Verdict::Late]
        }
    }

    /// What the permitted latency leaves beside that of the display as it is.
    fn permitted(&self, clip: &Clip, target: Target) -> Option<f64> {
        let definition = clip.definition();
        let region = target.region.map(|k| &definition.regions()[k]);
        let latency_ms = region
            .and_then(|r| r.max_latency_ms)
            .unwrap_or(definition.file().display.max_latency_ms);
        // A liveness cell tells that it changes, not when.
        let hold_ms = region.and_then(|r| {
            r.symbol
                .iter()
                .flat_map(Symbol::liveness)
                .map(|l| l.max_hold_ms)
                .next()
        });
        let allowed_ms = hold_ms.map_or(latency_ms, |h| h.max(latency_ms));
        Some((allowed_ms / 1000.0 - clip.profile.latency_s).max(0.0))
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(
            fault,
            ABOUT.name,
            0.0,
            ONE_FRAME_OLDER,
            "one more frame of latency",
        )
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let reach_s = clip.frames[clip.onset].time_s - clip.frames[0].time_s;
        // Half a frame in hand: the nearest picture is shown.
        if fault.look != ONE_FRAME_OLDER && fault.size > reach_s + 0.01 {
            return None;
        }
        Some(Box::new(Older(fault.clone())))
    }
}

struct Older(Fault);

impl Injector for Older {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let older = if self.0.look == ONE_FRAME_OLDER {
            k - 1
        } else {
            clip.older(k, self.0.size)
        };
        show_frame(clip, self.0.target, older, frame);
        Delivery::Sent
    }
}
