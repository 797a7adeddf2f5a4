//! Pages while a check goes on: which are due, which regions that puts in force, and which page stands there instead.

use std::sync::Arc;

use super::place::LEAST_SEEN;
use super::run::{Run, not_judged};
use crate::capture::CapturedFrame;
use crate::definition::pages::PageSet;
use crate::examine::blank;
use crate::examine::region::{Explanation, Findings, Moment};
use crate::examine::signature::Signature;
use crate::judge::region::RegionJudge;
use crate::recording::condition::all_hold;
use crate::recording::inputs::{ChannelId, Value};

/// How many of a page's own regions look as they should.
#[derive(Clone, Copy, Debug, Default)]
struct SeenPage {
    /// Those that would look different when blank.
    with_ink: usize,
    /// Those of them whose picture is explained.
    explained: usize,
    /// Those, with ink or without, whose picture is not.
    unexplained: usize,
}

impl SeenPage {
    /// Whether the page stands there, with nothing wrong on it.
    const fn is_all(self) -> bool {
        self.with_ink > 0 && self.unexplained == 0
    }
}

impl Run<'_> {
    /// Which pages the display may show, and so which regions are to be examined. One that comes back is judged afresh.
    pub(super) fn turn_pages(&mut self, moment: &Moment) {
        let definition = self.definition;
        let pages = definition.pages();
        if !pages.is_empty() {
            // One that has become due may take its latency and its transition.
            let latency_ms = definition.file().display.max_latency_ms;
            let now_s = moment.time_s;
            let due = (0..pages.len())
                .find(|k| self.recording.pages_due(now_s, now_s) == PageSet::one(*k));
            let slow_ms = due.map_or(0.0, |k| pages[k].transition_ms);
            self.turn_s = (latency_ms + slow_ms) / 1000.0;
            let by_inputs = self.recording.pages_due(now_s - self.turn_s, now_s);
            self.pages = match &mut self.reversion {
                Some(watch) => {
                    watch.choose(self.recording.reversions_due(now_s - self.turn_s, now_s));
                    watch.due(by_inputs, now_s - self.offset_s)
                }
                None => by_inputs,
            };
            if let Some(page) = self.pages.only() {
                self.inputs.page = page;
            }
        }
        for (k, examiner) in self.regions.examiners.iter().enumerate() {
            let pages = definition.pages_of(k);
            // What calls for a reversion is judged until that has come.
            let calls = self.reversion.as_ref().is_some_and(|w| w.is_cause(k));
            let is_due = pages.contains_all(self.pages) || (calls && pages.meets(self.pages));
            let mut is_in_force = is_due && self.has_data(k);
            if is_in_force && !self.resolved.is_known(k, self.recording, moment) {
                self.resolved.pass_over(k);
                is_in_force = false;
            }
            if is_in_force && !self.in_force[k] && self.frames > 0 {
                let (freedoms, channels) = (examiner.freedoms(), examiner.channels());
                self.regions.judges[k] = RegionJudge::new(definition, k, freedoms, channels);
            }
            self.in_force[k] = is_in_force;
        }
    }

    /// Whether there is anything to examine a region by.
    fn has_data(&self, region: usize) -> bool {
        let examiner = &self.regions.examiners[region];
        let is_known = |c: &ChannelId| *self.inputs.value(*c) != Value::Missing;
        let is_paged = self.definition.pages_of(region) != PageSet::ALL;
        !examiner.is_unchecked()
            && self.seen[region] >= LEAST_SEEN
            && examiner.channels().iter().all(is_known)
            && (!is_paged || self.page_channels.iter().all(is_known))
    }

    /// The page that stands there where nothing explains what the regions of the page that is due show: all that the other
    /// page has of its own agrees with it.
    pub(super) fn find_page(
        &mut self,
        moment: &Moment,
        found: &[Findings],
        has_ink: &[bool],
    ) -> Option<usize> {
        let definition = self.definition;
        let pages = 0..definition.pages().len();
        let due = (pages.clone()).find(|page| self.pages == PageSet::one(*page))?;
        let is_nothing = |k: usize| matches!(found[k].explanation, Explanation::Nothing { .. });
        let shown = (0..found.len()).filter(|k| self.in_force[*k] && has_ink[*k]);
        let shown: Vec<usize> = shown.collect();
        if !shown.iter().any(|k| is_nothing(*k)) {
            return None;
        }
        pages.filter(|page| *page != due).find(|page| {
            // What both pages have says nothing.
            let has = |k: usize| definition.pages_of(k).contains(*page);
            let mut gone = shown.iter().filter(|k| !has(**k)).peekable();
            gone.peek().is_some()
                && gone.all(|k| is_nothing(*k))
                && self.seen_of(moment, *page, PageSet::one(due)).is_all()
        })
    }

    /// What is to be seen of the regions that page `page` has and those of `others` lack.
    fn seen_of(&mut self, moment: &Moment, page: usize, others: PageSet) -> SeenPage {
        let definition = self.definition;
        let is_own = |k: &usize| {
            let pages = definition.pages_of(*k);
            pages.contains(page) && !pages.meets(others)
        };
        let own = (0..definition.regions().len()).filter(is_own);
        let own: Vec<usize> = own.filter(|k| self.has_data(*k)).collect();
        let mut seen = SeenPage::default();
        for k in own {
            let examiner = Arc::make_mut(&mut self.regions.examiners[k]);
            let found = examiner.examine(moment, &self.inputs, &mut self.painters[k]);
            let has_ink = !blank::is_uniform(examiner.due().reference());
            let is_explained = !matches!(found.explanation, Explanation::Nothing { .. });
            seen.with_ink += usize::from(has_ink);
            seen.explained += usize::from(has_ink && is_explained);
            seen.unexplained += usize::from(!is_explained);
        }
        seen
    }

    /// Whether the page of a reversion has come up where it may. In that frame what it lacks is not judged.
    pub(super) fn look_for_reversion(
        &mut self,
        frame: &CapturedFrame,
        moment: &Moment,
        found: &mut [Findings],
    ) {
        let Some(watch) = &self.reversion else { return };
        let page = watch.page();
        let has_come = if watch.is_awaited() {
            let by_inputs = self
                .recording
                .pages_due(moment.time_s - self.turn_s, moment.time_s);
            let others = by_inputs.without(PageSet::one(page));
            if others == PageSet::default() || self.wrong_page == Some(page) {
                true
            } else {
                // One that has come with something wrong on it has come.
                let seen = self.seen_of(moment, page, others);
                if seen.with_ink == 0
                    && let Some(watch) = &mut self.reversion
                {
                    watch.cannot_be_told();
                }
                2 * seen.explained > seen.with_ink
            }
        } else if self.wrong_page == Some(page) {
            let cause: Vec<usize> = self.log.near_calling().collect();
            if let Some(watch) = self.reversion.as_mut().filter(|_| !cause.is_empty()) {
                watch.call(frame.index, frame.time_s, &cause);
            }
            !cause.is_empty()
        } else {
            false
        };
        if !has_come {
            return;
        }
        self.wrong_page = None;
        for (k, found) in found.iter_mut().enumerate() {
            if !self.definition.pages_of(k).contains(page) {
                self.in_force[k] = false;
                *found = not_judged();
            }
        }
        if let Some(watch) = &mut self.reversion {
            watch.come_up(frame.time_s);
        }
    }

    /// Tells the watch of reversions what the frame has brought. True for the first frame in which one should have come and has
    /// not.
    pub(super) fn follow_reversion(&mut self, frame: &CapturedFrame) -> bool {
        let Some(watch) = &mut self.reversion else {
            return false;
        };
        let calling: Vec<usize> = self.log.calling().collect();
        if !calling.is_empty() {
            watch.call(frame.index, frame.time_s, &calling);
        }
        let reset = watch.reset();
        let is_reset = !reset.is_empty() && all_hold(reset, self.definition, &self.inputs);
        watch.step(frame.index, frame.time_s, is_reset, self.turn_s)
    }

    /// Page `page` stands there: what it lacks can be read, and is wrong.
    pub(super) fn read_wrong_page(&mut self, page: usize, found: &mut [Findings]) {
        (self.broken, self.exchanged) = (None, None);
        for (k, f) in found.iter_mut().enumerate() {
            let is_gone = self.in_force[k] && !self.definition.pages_of(k).contains(page);
            if is_gone && matches!(f.explanation, Explanation::Nothing { .. }) {
                let signature = Signature::Readable;
                f.explanation = Explanation::Nothing { signature };
            }
        }
    }
}
