//! One moment of a recording: channels, and what is remembered of the rows up to it.
//!
//! What has a memory is stepped from row to row when a recording is read, and kept as runs of rows. At a moment between
//! two rows it is stepped once more, from the row before to the moment itself. So its state is a function of the recording
//! and the time alone, wherever a check starts and in whatever order moments are asked for.

use std::borrow::Cow;

use super::condition::{self, Look};
use super::expression::Datum;
use super::inputs::{ChannelId, Value};
use super::sampled::{TIME_SLACK_S, angle_in_turn};
use super::table::{Recording, Values};
use crate::definition::expression::{Call, CallId, Expression};
use crate::definition::model::{Channel, Condition, Interpolation};

/// A recording at one moment.
#[derive(Clone, Copy)]
pub(super) struct Moment<'r> {
    pub(super) recording: &'r Recording,
    /// The last row at or before the moment.
    pub(super) row: Option<usize>,
    pub(super) time_s: f64,
}

impl<'r> Moment<'r> {
    /// Any moment.
    pub(super) fn new(recording: &'r Recording, time_s: f64) -> Self {
        Self {
            recording,
            row: recording.row_at(time_s),
            time_s,
        }
    }

    /// The moment of a row.
    pub(super) fn at_row(recording: &'r Recording, row: usize) -> Self {
        Self {
            recording,
            row: Some(row),
            time_s: recording.times_s()[row],
        }
    }

    /// The moment of a row of the same recording.
    pub(super) fn of_row(&self, row: usize) -> Self {
        Self::at_row(self.recording, row)
    }

    /// A channel at the moment.
    pub(super) fn channel(&self, channel: ChannelId) -> Value {
        let recording = self.recording;
        match (&recording.sources()[channel.0], self.row) {
            (Values::Missing, _) => Value::Missing,
            (_, None) => Value::Invalid,
            (Values::Column(sampled), Some(row)) => {
                sampled.value_at(recording.times_s(), row, self.time_s)
            }
            (Values::Derived, Some(row)) => self.derived(channel, row),
        }
    }

    fn derived(&self, channel: ChannelId, row: usize) -> Value {
        let logic = self.recording.logic();
        let model = &logic.channels[channel.0].1;
        let Some(expression) = &logic.expressions[channel.0] else {
            return Value::Invalid;
        };
        let at_row = self.of_row(row);
        if self.time_s - at_row.time_s > model.max_age_ms / 1000.0 + TIME_SLACK_S {
            return Value::Invalid;
        }
        let datum = match model.interpolation {
            Interpolation::Linear | Interpolation::Angular => self.evaluate(expression),
            Interpolation::Hold | Interpolation::Text => at_row.evaluate(expression),
        };
        match datum {
            Datum::Number(v) => in_range(model, v),
            Datum::Truth(is) => in_range(model, if is { 1.0 } else { 0.0 }),
            Datum::Text(words) => Value::Text(words),
            Datum::Nothing => Value::Invalid,
        }
    }

    /// First row of the run in which `call` had held up to the last row.
    pub(super) fn call_start(&self, call: CallId) -> Option<usize> {
        self.recording.call(call).start(self.row?)
    }

    /// Whether a call's condition, or its latch, holds at the moment.
    pub(super) fn call_holds(&self, call: CallId) -> bool {
        let had_held = self.call_start(call).is_some();
        self.step(&self.recording.logic().calls[call.0], had_held)
    }

    /// The same, told whether it had held before.
    pub(super) fn step(&self, call: &Call, had_held: bool) -> bool {
        let holds = |e: &Expression| matches!(self.evaluate(e), Datum::Truth(true));
        match call {
            Call::Holds(condition) => holds(condition),
            Call::Latch { set, reset } => holds(set) || (had_held && !holds(reset)),
        }
    }

    /// Whether a condition with a memory holds, whatever its delay, told whether it had held before.
    pub(super) fn step_condition(&self, memory: usize, had_held: bool) -> bool {
        let logic = self.recording.logic();
        let condition = &logic.remembered[memory];
        condition::decide_undelayed(condition, had_held, logic, self) == Some(true)
    }

    /// Whether an alert is active.
    pub(super) fn alert_holds(&self, alert: usize) -> bool {
        let logic = self.recording.logic();
        self.all_hold(&logic.alerts[alert])
    }

    /// Whether alerts are being acknowledged.
    pub(super) fn acknowledges(&self, acknowledgement: usize) -> bool {
        let logic = self.recording.logic();
        self.all_hold(&logic.acknowledgements[acknowledgement])
    }

    fn all_hold(&self, when: &[Condition]) -> bool {
        let logic = self.recording.logic();
        when.iter()
            .all(|c| condition::decide(c, logic, self) == Some(true))
    }
}

impl Look for Moment<'_> {
    fn time_s(&self) -> f64 {
        self.time_s
    }

    fn value(&self, channel: ChannelId) -> Cow<'_, Value> {
        Cow::Owned(self.channel(channel))
    }

    fn held_since_s(&self, memory: usize) -> Option<f64> {
        self.recording.held_since_s(memory, self.row)
    }
}

/// A worked-out number as the channel shows it.
fn in_range(channel: &Channel, v: f64) -> Value {
    if !v.is_finite() {
        return Value::Invalid;
    }
    let v = match channel.interpolation {
        Interpolation::Angular => angle_in_turn(v, channel.turn_begin_deg()),
        Interpolation::Linear | Interpolation::Hold | Interpolation::Text => v,
    };
    match channel.range {
        Some([low, high]) if !(low..=high).contains(&v) => Value::Invalid,
        _ => Value::Number(v),
    }
}
