//! What a recording must know of a definition: how derived channels are worked out, which conditions have a memory, and
//! what makes alerts active.

use std::collections::{BTreeMap, BTreeSet};

use super::expression::{Call, Derivations, Expression};
use super::model::{Channel, Condition, DisplayFile, Name};
use super::pages::Page;
use super::uses::{self, Use};
use crate::recording::inputs::ChannelId;

/// How channels, conditions and alerts depend on the inputs and their history.
#[derive(Clone, Debug, Default)]
pub(crate) struct Logic {
    /// Channels with their names, by [`ChannelId`].
    pub channels: Vec<(Name, Channel)>,
    /// By [`ChannelId`]; `None` for a column of the recording.
    pub expressions: Vec<Option<Expression>>,
    /// Calls of functions of history, each after those that it depends on.
    pub calls: Vec<Call>,
    /// Conditions that have a memory, once each, each after its members.
    pub remembered: Vec<Condition>,
    /// What must hold for each page to be due, in the order of the file; `None` where no inputs make it due.
    pub pages: Vec<Option<Vec<Condition>>>,
    /// The same for each page to be the one that a reversion puts up; `None` where it is none of a reversion.
    pub reversions: Vec<Option<Vec<Condition>>>,
    /// What must hold for each alert, in the order of [`super::Definition::alerts`].
    pub alerts: Vec<Vec<Condition>>,
    /// By alert: what acknowledges it, as an index; `None` where nothing does.
    pub acknowledged_by: Vec<Option<usize>>,
    /// What must hold for alerts to be acknowledged, by list.
    pub acknowledgements: Vec<Vec<Condition>>,
    sources: BTreeMap<Name, BTreeSet<Name>>,
}

impl Logic {
    pub(super) fn new(file: &DisplayFile, derivations: Derivations) -> Self {
        let channels = file.channels.clone().into_iter().collect();
        let mut remembered = Vec::new();
        let mut alerts = Vec::new();
        let (mut acknowledged_by, mut acknowledgements) = (Vec::new(), Vec::new());
        for symbol in file.region.iter().flat_map(|r| &r.symbol) {
            uses::of_symbol(symbol, &mut |_, what| {
                if let Use::Condition(condition) = what {
                    gather(condition, &mut remembered);
                }
            });
            for list in symbol.alerts() {
                alerts.extend(list.alert.iter().map(|alert| alert.when.clone()));
                let by = list.unacknowledged.as_ref().map(|new| {
                    acknowledgements.push(new.until.clone());
                    acknowledgements.len() - 1
                });
                acknowledged_by.extend(list.alert.iter().map(|_| by));
            }
        }
        for page in &file.page {
            let own = page
                .reversion
                .iter()
                .flat_map(|r| r.when.iter().chain(&r.reset));
            for condition in page.when.iter().chain(own) {
                gather(condition, &mut remembered);
            }
        }
        let due = |p: &Page| (!p.is_for_reversion_only()).then(|| p.when.clone());
        let pages = file.page.iter().map(due).collect();
        let reverted = |p: &Page| p.reversion.as_ref().map(|r| r.when.clone());
        let reversions = file.page.iter().map(reverted).collect();
        Self {
            channels,
            pages,
            reversions,
            expressions: derivations.expressions,
            calls: derivations.calls,
            remembered,
            alerts,
            acknowledged_by,
            acknowledgements,
            sources: derivations.sources,
        }
    }

    /// The channel called `name`, if there is one.
    pub(crate) fn find(&self, name: &str) -> Option<ChannelId> {
        let found = self
            .channels
            .binary_search_by(|(n, _)| n.as_str().cmp(name));
        found.ok().map(ChannelId)
    }

    /// Index of a condition among those with a memory.
    pub(crate) fn memory_of(&self, condition: &Condition) -> Option<usize> {
        self.remembered.iter().position(|c| c == condition)
    }

    /// Adds to `names` the channels that those in it are worked out from.
    pub(crate) fn add_sources<'l>(&'l self, names: &mut BTreeSet<&'l str>) {
        let mut left: Vec<&str> = names.iter().copied().collect();
        while let Some(name) = left.pop() {
            for source in self.sources.get(name).into_iter().flatten() {
                if names.insert(source) {
                    left.push(source);
                }
            }
        }
    }
}

/// Adds `condition` and its members, as far as they have a memory, members first.
fn gather(condition: &Condition, remembered: &mut Vec<Condition>) {
    for member in condition.members() {
        gather(member, remembered);
    }
    if condition.has_memory() && !remembered.contains(condition) {
        remembered.push(condition.clone());
    }
}
