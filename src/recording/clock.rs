//! The time column: from what the logger wrote to seconds of recording time that rise.

use super::error::{Kind, Place};
use super::source::Cell;
use super::{number, stamp};
use crate::definition::recording_form::{RecordingForm, Repeats, TimeUnit, TimeZero};

/// Largest magnitude of a time, s. Covers clocks that count from 1970; beyond it (as in
/// microseconds from 1970) the steps of a double are too coarse to tell frames apart.
pub(super) const TIME_LIMIT_S: f64 = 1e11;

/// Reads one time after the other.
pub(super) struct Clock<'f> {
    form: &'f RecordingForm,
    unit: TimeUnit,
    zone_s: Option<i32>,
    /// What counts as 0; `None` before the first row, where that one does.
    zero: Option<Told>,
    /// Whether that was said: dates count from the first row only where nobody said what from.
    is_said: bool,
    before: Option<(f64, Place)>,
}

/// What a cell tells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Told {
    /// In the unit of the column.
    Number(f64),
    /// Nanoseconds of UTC since the beginning of 1970.
    Ns(i128),
}

/// What a row's time says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Tick {
    /// Recording time of a new row, s.
    Next(f64),
    /// The row is one with the row before.
    Same,
}

impl<'f> Clock<'f> {
    /// Of a form that was checked.
    pub(super) fn new(form: &'f RecordingForm) -> Self {
        let unit = form.time_unit.unwrap_or_default();
        Self {
            form,
            unit,
            zone_s: form.time_zone.as_deref().and_then(stamp::zone),
            zero: match &form.time_zero {
                Some(TimeZero::Number(zero)) => Some(Told::Number(*zero)),
                Some(TimeZero::Text(text)) => stamp::parsed(text)
                    .and_then(|s| s.utc_ns(None))
                    .map(Told::Ns),
                // Dates and times count from the first row.
                None if unit == TimeUnit::Utc => None,
                None => Some(Told::Number(0.0)),
            },
            is_said: form.time_zero.is_some(),
            before: None,
        }
    }

    /// The same, counted from what another clock counts from.
    pub(super) fn counted_from(mut self, zero: Option<Told>) -> Self {
        self.is_said = zero.is_some();
        self.zero = zero;
        self
    }

    /// What it counts from; nothing before the first row of dates and times.
    pub(super) const fn zero(&self) -> Option<Told> {
        self.zero
    }

    /// Takes the time of the row at `place`.
    pub(super) fn tick(&mut self, cell: Cell, place: Place) -> Result<Tick, Kind> {
        let told = self.told(cell)?;
        let zero = match (self.zero, told) {
            // Whoever said nothing meant no number.
            (Some(Told::Number(_)), Told::Ns(_)) if !self.is_said => told,
            (Some(zero), _) => zero,
            (None, _) => told,
        };
        self.zero = Some(zero);
        let time_s = match (told, zero) {
            (Told::Number(v), Told::Number(zero)) => (v - zero) / self.a_second(),
            (Told::Ns(ns), Told::Ns(zero)) => (ns - zero) as f64 / stamp::NS as f64,
            _ => return Err(Kind::ZeroUnlikeTimes),
        };
        if time_s.is_nan() || time_s.abs() > TIME_LIMIT_S {
            return Err(Kind::TimeTooLarge { found: time_s });
        }
        if let Some((before_s, before)) = self.before {
            if time_s == before_s {
                return match self.form.repeats() {
                    Repeats::Refuse => Err(Kind::TimeRepeats { time_s }),
                    Repeats::First | Repeats::Last => Ok(Tick::Same),
                };
            }
            if time_s < before_s {
                return Err(Kind::TimeFalls {
                    time_s,
                    before_s,
                    before,
                });
            }
        }
        self.before = Some((time_s, place));
        Ok(Tick::Next(time_s))
    }

    const fn a_second(&self) -> f64 {
        match self.unit {
            TimeUnit::S | TimeUnit::Utc => 1.0,
            TimeUnit::Ms => 1e3,
            TimeUnit::Us => 1e6,
        }
    }

    fn told(&self, cell: Cell) -> Result<Told, Kind> {
        let is_utc = self.unit == TimeUnit::Utc;
        match cell {
            Cell::Empty => Err(Kind::EmptyTime),
            Cell::Text(text) => match (stamp::parsed(text), is_utc) {
                (Some(stamp), true) => {
                    let ns = stamp.utc_ns(self.zone_s);
                    ns.map(Told::Ns)
                        .ok_or_else(|| Kind::NoZone { found: text.into() })
                }
                (Some(_), false) => Err(Kind::IsAStamp { found: text.into() }),
                (None, true) => Err(Kind::NotAStamp { found: text.into() }),
                (None, false) => number::parsed(text, self.form.decimal()).map(Told::Number),
            },
            Cell::Number(v) if is_utc => Err(Kind::NotAStamp {
                found: v.to_string(),
            }),
            Cell::Number(v) => Ok(Told::Number(v)),
            Cell::Moment { ns, is_utc } => {
                let zone_s = if is_utc { Some(0) } else { self.zone_s };
                let zone_s = zone_s.ok_or_else(|| Kind::NoZone {
                    found: "a time without a zone".into(),
                })?;
                Ok(Told::Ns(ns - i128::from(zone_s) * stamp::NS))
            }
            Cell::Truth(_) => Err(Kind::Unusable {
                what: "true or false",
                wanted: "a time",
            }),
            Cell::Unusable(what) => Err(Kind::Unusable {
                what,
                wanted: "a time",
            }),
        }
    }
}
