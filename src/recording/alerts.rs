//! Since when each alert has been active.

use super::condition::value_meets;
use super::inputs::{ChannelId, Value};
use crate::definition::Definition;
use crate::definition::model::{Condition, Symbol};

/// One alert: what activates it, and the stretches of rows where it is active.
#[derive(Clone, Debug)]
pub(super) struct Activation {
    conditions: Vec<(ChannelId, Condition)>,
    /// First row and one past the last row of each stretch, in order.
    runs: Vec<(usize, usize)>,
}

/// All alerts of the definition: regions, symbols, alerts in the order of the file.
pub(super) fn of_definition(definition: &Definition) -> Vec<Activation> {
    definition
        .regions()
        .iter()
        .flat_map(|region| &region.symbol)
        .flat_map(Symbol::alerts)
        .flat_map(|list| &list.alert)
        .map(|alert| {
            let resolved = |c: &Condition| (definition.channel(&c.channel), c.clone());
            Activation {
                conditions: alert.when.iter().map(resolved).collect(),
                runs: Vec::new(),
            }
        })
        .collect()
}

impl Activation {
    /// Whether all conditions hold, given a way to look a channel up.
    pub(super) fn holds<'v, F>(&self, mut value: F) -> bool
    where
        F: FnMut(ChannelId) -> std::borrow::Cow<'v, Value>,
    {
        self.conditions
            .iter()
            .all(|(channel, c)| value_meets(c, &value(*channel)))
    }

    /// Notes that the alert is active at `row`; rows come in rising order.
    pub(super) fn note_active(&mut self, row: usize) {
        match self.runs.last_mut() {
            Some((_, end)) if *end == row => *end = row + 1,
            _ => self.runs.push((row, row + 1)),
        }
    }

    /// First row of the stretch that covers `row`.
    pub(super) fn run_start(&self, row: usize) -> Option<usize> {
        let next = self.runs.partition_point(|(first, _)| *first <= row);
        let (first, end) = *self.runs.get(next.checked_sub(1)?)?;
        (row < end).then_some(first)
    }
}
