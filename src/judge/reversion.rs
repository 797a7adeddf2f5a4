//! What the display's own monitor did: did the page of its reversion come where it had to, in time, and stay?
//!
//! From the moment at which an event that calls for reversion is confirmed, that page may stand there; once the time that the
//! definition allows is over it must. A display that reverts by itself once half of the confirmation time of such a fault is over
//! has a cause: its monitor need not confirm in the very frame in which this one does. Without a cause the page is a wrong page.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::events::{Action, Event, PictureError, action};
use super::verdict::Verdict;
use crate::definition::Definition;
use crate::definition::model::{Condition, Hazard};
use crate::definition::pages::PageSet;

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
}

impl ReversionRecord {
    /// When the page must stand there at the latest, s.
    #[must_use]
    pub fn deadline_s(&self) -> f64 {
        self.called_at_s + self.within_ms / 1000.0
    }
}

impl std::fmt::Display for ReversionRecord {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (page, cause) = (&self.page, self.cause.join(", "));
        write!(f, "Called for by {cause} at {:.3} s: ", self.called_at_s)?;
        match self.up_at_s {
            Some(up_at_s) => write!(
                f,
                "the page \"{page}\" stood there {:.0} ms later ({:.0} ms are allowed).",
                1000.0 * (up_at_s - self.called_at_s),
                self.within_ms
            ),
            None => write!(
                f,
                "the page \"{page}\" has not come ({:.0} ms are allowed).",
                self.within_ms
            ),
        }
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
}

/// A frame in which the page did not stand there though its time was over.
#[derive(Clone, Copy, Debug)]
struct Overdue {
    first: (u64, f64),
    last: (u64, f64),
}

/// Follows the reversions of a run.
#[derive(Clone, Debug)]
pub struct ReversionWatch<'d> {
    definition: &'d Definition,
    page: usize,
    within_ms: f64,
    reset: &'d [Condition],
    state: State,
    records: Vec<(ReversionRecord, Option<Overdue>)>,
}

impl<'d> ReversionWatch<'d> {
    /// Of a display that has a page for it.
    #[must_use]
    pub fn new(definition: &'d Definition) -> Option<Self> {
        let mut pages = definition.pages().iter().enumerate();
        pages.find_map(|(page, model)| {
            let reversion = model.reversion.as_ref()?;
            Some(Self {
                definition,
                page,
                within_ms: reversion.within_ms,
                reset: &reversion.reset,
                state: State::ByInputs,
                records: Vec::new(),
            })
        })
    }

    /// The page of a reversion.
    #[must_use]
    pub const fn page(&self) -> usize {
        self.page
    }

    /// What must hold for the display to leave the page; nothing where it stays for good.
    #[must_use]
    pub const fn reset(&self) -> &'d [Condition] {
        self.reset
    }

    /// Pages of which one must stand there at capture time `now_s`, where the inputs say that it is one of `by_inputs`.
    #[must_use]
    pub fn due(&self, by_inputs: PageSet, now_s: f64) -> PageSet {
        match self.state {
            State::ByInputs => by_inputs,
            State::Called if self.is_overdue(now_s) => by_inputs,
            State::Called | State::Leaving { .. } => by_inputs.with(PageSet::one(self.page)),
            State::Up => PageSet::one(self.page),
        }
    }

    /// Whether the page may come now: whoever knows looks whether it does.
    #[must_use]
    pub fn is_awaited(&self) -> bool {
        self.state == State::Called
    }

    fn is_overdue(&self, now_s: f64) -> bool {
        let last = self.records.last();
        self.state == State::Called && last.is_some_and(|(r, _)| now_s > r.deadline_s())
    }

    /// Faults of the regions `cause` call for a reversion at `now_s`.
    pub fn call(&mut self, now_s: f64, cause: impl Iterator<Item = usize>) {
        if matches!(self.state, State::Called | State::Up) {
            return;
        }
        let regions = self.definition.regions();
        let record = ReversionRecord {
            page: self.definition.pages()[self.page].id.clone(),
            cause: cause.map(|k| regions[k].id.clone()).collect(),
            called_at_s: now_s,
            up_at_s: None,
            within_ms: self.within_ms,
        };
        self.records.push((record, None));
        self.state = State::Called;
    }

    /// The page stands there at `now_s`.
    pub fn come_up(&mut self, now_s: f64) {
        if let Some((record, _)) = self.records.last_mut() {
            record.up_at_s.get_or_insert(now_s);
        }
        self.state = State::Up;
    }

    /// Takes the time of a frame whose page is known. Once `is_reset`, the display may take `turn_s` to show the
    /// page that the inputs say. True for the first frame in which the page should stand there and does not.
    pub fn step(&mut self, frame: u64, now_s: f64, is_reset: bool, turn_s: f64) -> bool {
        match self.state {
            State::Called | State::Up if is_reset => {
                let until_s = now_s + turn_s;
                self.state = State::Leaving { until_s };
            }
            State::Leaving { until_s } if now_s > until_s => self.state = State::ByInputs,
            State::Called if self.is_overdue(now_s) => {
                if let Some((_, overdue)) = self.records.last_mut() {
                    let (now, is_new) = ((frame, now_s), overdue.is_none());
                    let overdue = overdue.get_or_insert(Overdue {
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

    /// All that were called for.
    pub fn records(&self) -> impl Iterator<Item = &ReversionRecord> {
        self.records.iter().map(|(record, _)| record)
    }

    /// Those that did not come in time, as events.
    pub fn events(&self) -> impl Iterator<Item = Event> {
        let overdue = self.records.iter();
        overdue.filter_map(|(record, overdue)| Some(self.event(record, (*overdue)?)))
    }

    fn event(&self, record: &ReversionRecord, overdue: Overdue) -> Event {
        let regions = self.definition.regions().iter().enumerate();
        let own: Vec<_> = regions
            .filter(|(k, r)| self.definition.pages_of(*k).contains(self.page) && !r.is_unchecked())
            .map(|(_, r)| r)
            .collect();
        let mut requirements: Vec<&str> = own
            .iter()
            .flat_map(|r| r.requirements.iter().map(String::as_str))
            .collect();
        requirements.sort_unstable();
        requirements.dedup();
        let causes = self.definition.regions().iter();
        let causes = causes.filter(|r| record.cause.contains(&r.id));
        let hazards = own.iter().copied().chain(causes).map(|r| r.hazard);
        let hazard = hazards.min().unwrap_or(Hazard::None);
        let ReversionRecord { page, .. } = record;
        let came = match record.up_at_s {
            Some(up_at_s) => format!("came at {up_at_s:.3} s"),
            None => "has not come".into(),
        };
        let remark = format!(
            "did not revert in time: {} called for it at {:.3} s, and the page \"{page}\" {came}; {:.0} ms are allowed",
            record.cause.join(", "),
            record.called_at_s,
            record.within_ms,
        );
        Event {
            class: Verdict::Misleading,
            regions: own.iter().map(|r| r.id.clone()).collect(),
            onset_s: record.deadline_s(),
            detected_s: overdue.first.1,
            end_s: record.up_at_s.unwrap_or(overdue.last.1),
            first_frame: overdue.first.0,
            last_frame: overdue.last.0,
            hazard,
            action: match action(hazard) {
                // That is what it did not do.
                Action::Revert => Action::Note,
                other => other,
            },
            worst_error: None,
            picture_error: PictureError::default(),
            place: None,
            symbol: None,
            requirement: requirements.join(", "),
            remarks: vec![remark],
            best_frame: overdue.first.0,
        }
    }
}
