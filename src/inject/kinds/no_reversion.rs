//! A fault calls for a reversion, its region being dark, and the page does not come: it comes late, or never.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, Watch, page};
use super::{blank, drawn_regions};
use crate::capture::CapturedFrame;
use crate::definition::pages::{Page, PageSet};
use crate::examine::subject::Subject;
use crate::judge::event::{Action, action};
use crate::judge::verdict::Verdict;

/// When the page comes, in times of what is allowed: by look.
const COMES: [f64; 3] = [f64::INFINITY, 2.0, 0.5];
/// Index of the look in which it comes in time.
const IN_TIME: usize = 2;

const ABOUT: About = About {
    looks: &["never", "late", "in time"],
    watch: Watch::Reversion,
    ..About::new(
        "no_reversion",
        Group::Picture,
        "a region is dark, and the display does not revert for it in time",
    )
};

/// See the module.
pub struct NoReversion;

impl Model for NoReversion {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    /// Regions whose fault calls for a reversion, on displays that have a page for it.
    fn targets(&self, subject: Subject) -> Vec<Target> {
        let definition = subject.definition();
        let mut targets = drawn_regions(subject);
        let pages = definition.pages();
        let calls = |k: usize| {
            let puts_up = |(page, model): (usize, &Page)| {
                model.reversion.is_some() && !definition.pages_of(k).contains(page)
            };
            action(definition.regions()[k].hazard) == Action::Revert
                && pages.iter().enumerate().any(puts_up)
        };
        targets.retain(|t| t.region.is_some_and(calls));
        targets
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.look == IN_TIME {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        let twin = Fault {
            look: IN_TIME,
            ..fault.clone()
        };
        Some((twin, "the page comes in half the time that is allowed"))
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let region = fault.target.region?;
        let due_s = [clip.onset, clip.end - 1].map(|k| clip.due_time_s(k));
        let page = clip.recording.reversions_due(due_s[0], due_s[1]).only()?;
        let reversion = clip.definition().pages()[page].reversion.as_ref()?;
        let due = clip.recording.pages_due(due_s[0], due_s[1]);
        if due.meets(PageSet::one(page)) || clip.definition().pages_of(region).contains(page) {
            return None;
        }
        let confirm_ms = clip.definition().regions()[region].confirm_ms();
        let comes_ms = confirm_ms + COMES[fault.look] * reversion.within_ms;
        // Whether it has come in time is known once that is over.
        if clip.since_onset_s(clip.end - 1) * 1000.0 < confirm_ms + reversion.within_ms {
            return None;
        }
        let dark = Fault {
            kind: "blank",
            look: 0,
            ..fault.clone()
        };
        Some(Box::new(Reverting {
            dark: blank::Blank.prepare(clip, &dark)?,
            page: page::Page::new(page, fault.seed),
            comes_s: comes_ms / 1000.0,
        }))
    }
}

struct Reverting {
    dark: Box<dyn Injector>,
    page: page::Page,
    /// When the page comes, s after the onset.
    comes_s: f64,
}

impl Injector for Reverting {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        if clip.since_onset_s(k) < self.comes_s {
            self.dark.apply(clip, k, frame)
        } else {
            self.page.apply(clip, k, frame)
        }
    }
}
