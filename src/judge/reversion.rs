//! What the display's own monitor did: did the page of its reversion come where it had to, in time, and stay?
//!
//! From the moment at which an event that calls for reversion is confirmed, that page may stand there; once the time that the
//! definition allows is over it must. A display that reverts by itself once half of the confirmation time of such a fault is over
//! has a cause: its monitor need not confirm in the very frame in which this one does. Without a cause the page is a wrong page.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::event::{AsAWhole, Event, PictureError, bench_action};
use super::verdict::Verdict;
use crate::definition::Definition;
use crate::definition::model::{Condition, Hazard};
use crate::definition::pages::{PageSet, Reversion};
use crate::evidence::records::rounded;

/// A reversion that was called for. Times are capture times, s.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReversionRecord {
    /// The page that must stand there.
    pub page: String,
    /// Regions whose fault calls for it.
    pub cause: Vec<String>,
    /// When it was called for, or the display reverted by itself.
    pub called_at_s: f64,
    /// First frame in which the page stands there; `null` where it has not come.
    pub up_at_s: Option<f64>,
    /// How long it may take, ms.
    pub within_ms: f64,
    /// Why nobody can say whether it came in time, where that is so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub untold: Option<Untold>,
}

/// Why nobody can say whether a reversion came in time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Untold {
    /// What was judged ended before its time was over.
    Ended,
    /// Nothing that the page alone has could be examined.
    Unseen,
    /// It was reset before its time was over.
    Reset,
}

impl std::fmt::Display for ReversionRecord {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (page, cause, within_ms) = (&self.page, self.cause.join(", "), self.within_ms);
        write!(f, "called for by {cause} at {:.3} s: ", self.called_at_s)?;
        match (self.up_at_s, self.untold) {
            (Some(up_at_s), _) => {
                let took_ms = 1000.0 * (up_at_s - self.called_at_s);
                write!(f, "the page \"{page}\" stood there {took_ms:.0} ms later")
            }
            (None, None) => write!(f, "the page \"{page}\" has not come"),
            (None, Some(Untold::Ended)) => {
                write!(f, "what was judged ended before its time was over")
            }
            (None, Some(Untold::Unseen)) => write!(
                f,
                "nothing that the page \"{page}\" alone has could be examined"
            ),
            (None, Some(Untold::Reset)) => write!(f, "it was reset before its time was over"),
        }?;
        write!(f, " ({within_ms:.0} ms are allowed)")
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    /// The inputs say which page is due.
    ByInputs,
    /// The page has been called for and has not come.
    Called,
    /// It stands there.
    Up,
    /// It has been reset, and the page that the inputs say may take until then, s.
    Leaving { until_s: f64 },
    /// It may stand there or not, until a reset: nobody can tell.
    Unseen,
}

/// The frames from the first to the last in which the page did not stand there though its time was over, with their times, s.
#[derive(Clone, Copy, Debug)]
struct Overdue {
    first: (u64, f64),
    last: (u64, f64),
}

/// A reversion, and what is known of it.
#[derive(Clone, Debug)]
struct Called {
    /// The page that it puts up.
    page: usize,
    frame: u64,
    at_s: f64,
    cause: Vec<usize>,
    up_at_s: Option<f64>,
    overdue: Option<Overdue>,
    untold: Option<Untold>,
}

/// Follows the reversions of a run.
#[derive(Clone, Debug)]
pub struct ReversionWatch<'d> {
    definition: &'d Definition,
    /// The page that a reversion puts up now, and all that it may be while that changes.
    page: usize,
    pages: PageSet,
    state: State,
    /// Whether the conditions of a reset held in the last frame: only one that begins resets.
    was_reset: bool,
    called: Vec<Called>,
}

impl<'d> ReversionWatch<'d> {
    /// Of a display that has a page for it.
    #[must_use]
    pub fn new(definition: &'d Definition) -> Option<Self> {
        let mut pages = definition.pages().iter();
        let page = pages.position(|model| model.reversion.is_some())?;
        Some(Self {
            definition,
            page,
            pages: PageSet::one(page),
            state: State::ByInputs,
            was_reset: false,
            called: Vec::new(),
        })
    }

    /// A reversion now puts up one of `pages`.
    pub fn choose(&mut self, pages: PageSet) {
        self.pages = pages;
        if let Some(page) = pages.only() {
            self.page = page;
        }
    }

    fn reversion(&self, page: usize) -> Option<&'d Reversion> {
        self.definition.pages()[page].reversion.as_ref()
    }

    /// How long the page may take to come, ms.
    fn within_ms(&self, called: &Called) -> f64 {
        self.reversion(called.page).map_or(0.0, |r| r.within_ms)
    }

    /// The page of a reversion.
    #[must_use]
    pub const fn page(&self) -> usize {
        self.page
    }

    /// What must hold for the display to leave the page; nothing where it stays for good.
    #[must_use]
    pub fn reset(&self) -> &'d [Condition] {
        self.reversion(self.page).map_or(&[], |r| &r.reset)
    }

    /// Pages of which one must stand there at capture time `now_s`, where the inputs say that it is one of `by_inputs`.
    #[must_use]
    pub fn due(&self, by_inputs: PageSet, now_s: f64) -> PageSet {
        match self.state {
            State::ByInputs => by_inputs,
            State::Called if self.is_overdue(now_s) => by_inputs,
            State::Called | State::Leaving { .. } | State::Unseen => by_inputs.with(self.pages),
            State::Up => self.pages,
        }
    }

    /// Whether the page may come now: whoever knows looks whether it does.
    #[must_use]
    pub fn is_awaited(&self) -> bool {
        self.state == State::Called
    }

    /// Whether the page is awaited for a fault of `region`.
    #[must_use]
    pub fn is_cause(&self, region: usize) -> bool {
        let last = self.called.last().filter(|_| self.is_awaited());
        last.is_some_and(|c| c.cause.contains(&region))
    }

    fn deadline_s(&self, called: &Called) -> f64 {
        called.at_s + self.within_ms(called) / 1000.0
    }

    fn is_overdue(&self, now_s: f64) -> bool {
        let last = self.called.last().filter(|_| self.is_awaited());
        last.is_some_and(|c| now_s > self.deadline_s(c))
    }

    /// Faults of the regions `cause` call for a reversion in frame `frame`, at `now_s`.
    pub fn call(&mut self, frame: u64, now_s: f64, cause: &[usize]) {
        if self.state != State::ByInputs {
            return;
        }
        self.called.push(Called {
            page: self.page,
            frame,
            at_s: now_s,
            cause: cause.to_vec(),
            up_at_s: None,
            overdue: None,
            untold: None,
        });
        self.state = State::Called;
    }

    /// The page stands there at `now_s`.
    pub fn come_up(&mut self, now_s: f64) {
        if let Some(called) = self.called.last_mut() {
            called.up_at_s.get_or_insert(now_s);
            called.page = self.page;
        }
        self.state = State::Up;
    }

    /// Nothing that the page alone has can be examined.
    pub fn cannot_be_told(&mut self) {
        if let Some(called) = self.called.last_mut() {
            called.untold = Some(Untold::Unseen);
        }
        self.state = State::Unseen;
    }

    /// Takes the time of a frame whose page is known. Once a reset begins (`is_reset`), the display may take `turn_s` to show the
    /// page that the inputs say. True for the first frame in which the page should stand there and does not.
    pub fn step(&mut self, frame: u64, now_s: f64, is_reset: bool, turn_s: f64) -> bool {
        let begins = is_reset && !std::mem::replace(&mut self.was_reset, is_reset);
        let is_overdue = self.is_overdue(now_s);
        match self.state {
            State::Called | State::Up | State::Unseen if begins => {
                if let Some(called) = self
                    .called
                    .last_mut()
                    .filter(|c| self.state == State::Called && c.overdue.is_none() && !is_overdue)
                {
                    called.untold = Some(Untold::Reset);
                }
                let until_s = now_s + turn_s;
                self.state = State::Leaving { until_s };
            }
            State::Leaving { until_s } if now_s > until_s => self.state = State::ByInputs,
            State::Called if is_overdue => {
                if let Some(called) = self.called.last_mut() {
                    let (now, is_new) = ((frame, now_s), called.overdue.is_none());
                    let overdue = called.overdue.get_or_insert(Overdue {
                        first: now,
                        last: now,
                    });
                    overdue.last = now;
                    return is_new;
                }
            }
            _ => {}
        }
        false
    }

    /// The run has ended.
    pub fn finish(&mut self) {
        if let Some(called) = self
            .called
            .last_mut()
            .filter(|_| self.state == State::Called)
            && called.overdue.is_none()
        {
            called.untold = Some(Untold::Ended);
        }
    }

    /// Takes back what was called for from frame `frame` on.
    pub fn forget_from(&mut self, frame: u64) {
        self.called.retain(|c| c.frame < frame);
    }

    /// All that were called for.
    pub fn records(&self) -> impl Iterator<Item = ReversionRecord> {
        self.called.iter().map(|c| self.record(c))
    }

    fn record(&self, called: &Called) -> ReversionRecord {
        let regions = self.definition.regions();
        ReversionRecord {
            page: self.definition.pages()[called.page].id.clone(),
            cause: called
                .cause
                .iter()
                .map(|k| regions[*k].id.clone())
                .collect(),
            called_at_s: rounded(called.at_s),
            up_at_s: called.up_at_s.map(rounded),
            within_ms: self.within_ms(called),
            untold: called.untold,
        }
    }

    /// Those that did not come in time, as events.
    pub fn events(&self) -> impl Iterator<Item = Event> {
        let overdue = self.called.iter();
        overdue.filter_map(|called| Some(self.event(called, called.overdue?)))
    }

    fn event(&self, called: &Called, overdue: Overdue) -> Event {
        let regions = self.definition.regions();
        let own = regions.iter().enumerate();
        let own: Vec<_> = own
            .filter(|(k, r)| {
                self.definition.pages_of(*k).contains(called.page) && !r.is_unchecked()
            })
            .map(|(_, r)| r)
            .collect();
        let mut requirements: Vec<&str> = own
            .iter()
            .flat_map(|r| r.requirements.iter().map(String::as_str))
            .collect();
        requirements.sort_unstable();
        requirements.dedup();
        let causes = called.cause.iter().map(|k| &regions[*k]);
        let hazards = own.iter().copied().chain(causes).map(|r| r.hazard);
        let hazard = hazards.min().unwrap_or(Hazard::None);
        Event {
            class: Verdict::Misleading,
            regions: own.iter().map(|r| r.id.clone()).collect(),
            onset_s: self.deadline_s(called),
            detected_s: overdue.first.1,
            end_s: called.up_at_s.unwrap_or(overdue.last.1),
            first_frame: overdue.first.0,
            last_frame: overdue.last.0,
            hazard,
            action: bench_action(hazard),
            worst_error: None,
            picture_error: PictureError::default(),
            place: None,
            symbol: None,
            things: Vec::new(),
            requirement: requirements.join(", "),
            as_a_whole: Some(AsAWhole::NotReverted),
            test: None,
            remarks: vec![format!("did not revert in time: {}", self.record(called))],
            best_frame: overdue.first.0,
        }
    }
}
