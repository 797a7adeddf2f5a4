//! From the rows of a source to the channels of a definition.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::clock::{Clock, Tick, Told};
use super::error::{Error, Kind, MissingColumn};
use super::number;
use super::sampled::Sampled;
use super::slots::Stay;
use super::source::{Cell, Source};
use super::table::{MissingColumns, Values};
use super::word::{self, Said, WordCode};
use crate::definition::Definition;
use crate::definition::model::Channel;
use crate::definition::recording_form::{Decimal, RecordingForm, Repeats};

/// What a file holds for a definition.
pub(super) struct Columns {
    pub(super) times_s: Vec<f64>,
    pub(super) channels: Vec<Values>,
    pub(super) missing: Vec<String>,
    pub(super) missing_validity: Vec<String>,
    /// Columns with a name that nothing is read from.
    pub(super) unread: Vec<String>,
    /// What its times count from.
    pub(super) zero: Option<Told>,
    /// What had which slot of a table when.
    pub(super) stays: Vec<Stay>,
}

/// Where a channel stands in the file, and what was read of it so far.
pub(super) struct Binding {
    pub(super) channel: String,
    column: usize,
    how: How,
    validity: Option<usize>,
    /// The newest validity word.
    is_valid: bool,
    repeats: Repeats,
    pub(super) sampled: Sampled,
}

impl Binding {
    /// Forgets what was said of the validity of what comes next.
    pub(super) const fn forget_validity(&mut self) {
        self.is_valid = self.validity.is_none();
    }
}

/// How a cell becomes a value.
enum How {
    /// Words as they are.
    Text,
    /// What is written, times `scale` plus `offset`.
    Number {
        decimal: Decimal,
        scale: f64,
        offset: f64,
    },
    /// A word of a bus, and the value in it likewise.
    Word {
        code: WordCode,
        scale: f64,
        offset: f64,
    },
}

/// Reads all rows of a source for a definition. Channels of tables are left out.
pub(super) fn read(
    source: &mut dyn Source,
    origin: &str,
    form: &RecordingForm,
    definition: &Definition,
    missing: MissingColumns,
) -> Result<Columns, Error> {
    let columns = source.columns().to_vec();
    let own = (definition.channels().iter()).filter(|(_, c)| c.table.is_none());
    let time_column =
        find_time(&columns, form).map_err(|kind| Error::at(origin, source.names_at(), kind))?;
    let Bound {
        mut bindings,
        by_channel,
        missing: mut lacking_channels,
        missing_validity,
    } = bind(&columns, form, own, missing)
        .map_err(|kind| Error::at(origin, source.names_at(), kind))?;
    let mut wanted: Vec<usize> = vec![time_column];
    wanted.extend(bindings.iter().flat_map(Binding::columns));
    source.want(&wanted);

    let mut clock = Clock::new(form);
    let mut times_s: Vec<f64> = Vec::new();
    let mut words = BTreeSet::new();
    while source.next()? {
        let place = source.place();
        let wrong =
            |column: usize, kind| Error::at(origin, place, kind).in_column(&columns[column]);
        let tick = clock
            .tick(source.cell(time_column), place)
            .map_err(|kind| match kind {
                Kind::NotANumber {
                    found,
                    written_with: None,
                } if times_s.is_empty() => Kind::FirstIsNoNumber { found },
                other => other,
            });
        if let Tick::Next(time_s) = tick.map_err(|kind| wrong(time_column, kind))? {
            times_s.push(time_s);
        }
        let row = times_s.len() - 1;
        for binding in &mut bindings {
            let taken = binding.take(row, source, &mut words);
            taken.map_err(|(column, kind)| wrong(column, kind))?;
        }
    }
    if times_s.is_empty() {
        return Err(Error::of_file(origin, Kind::NoRows));
    }
    let unread = unread(&columns, &wanted);
    // A label that never comes is what a missing column is elsewhere.
    let is_silent = |b: &&Binding| matches!(b.how, How::Word { .. }) && b.sampled.is_empty();
    let silent: Vec<String> = bindings
        .iter()
        .filter(is_silent)
        .map(|b| b.channel.clone())
        .collect();
    if missing == MissingColumns::Refuse && !silent.is_empty() {
        return Err(Error::of_file(
            origin,
            Kind::SilentLabels { channels: silent },
        ));
    }
    // Bindings were made in the order of the channels.
    let mut bindings = bindings.into_iter();
    let mut values = || match bindings.next() {
        Some(b) if silent.contains(&b.channel) => Values::Missing,
        Some(mut b) => {
            b.sampled.finish(times_s.len());
            Values::Column(b.sampled)
        }
        None => Values::Missing,
    };
    let mut by_channel = by_channel.into_iter();
    let channels = definition.channels().iter().map(|(_, c)| {
        // What stands in a table is read later.
        let own = c.table.is_none().then(|| by_channel.next());
        match own.flatten() {
            Some(From::Column) => values(),
            Some(From::Expression) => Values::Derived,
            Some(From::Nowhere) | None => Values::Missing,
        }
    });
    let channels = channels.collect();
    lacking_channels.extend(silent);
    Ok(Columns {
        times_s,
        channels,
        missing: lacking_channels,
        missing_validity,
        unread,
        zero: clock.zero(),
        stays: Vec::new(),
    })
}

/// Names of columns that nothing is read from.
pub(super) fn unread(columns: &[String], wanted: &[usize]) -> Vec<String> {
    let unread = columns.iter().enumerate();
    let unread = unread.filter(|(k, name)| !name.is_empty() && !wanted.contains(k));
    unread.map(|(_, name)| name.clone()).collect()
}

pub(super) fn find_time(columns: &[String], form: &RecordingForm) -> Result<usize, Kind> {
    let wanted = form.time_column().trim();
    if let Some(column) = columns.iter().position(|name| name == wanted) {
        return Ok(column);
    }
    const USUAL: [&str; 8] = [
        "t",
        "time",
        "time_s",
        "t_sec",
        "seconds",
        "timestamp",
        "t_ms",
        "time_ms",
    ];
    let usual = |name: &&String| USUAL.contains(&name.to_lowercase().as_str());
    let nearest = columns.iter().find(usual).cloned();
    Err(Kind::NoTimeColumn {
        wanted: wanted.to_owned(),
        nearest: nearest.or_else(|| nearest_name(wanted, columns, wanted)),
    })
}

/// The name that is most like `wanted`, when any is; never that of the time column.
pub(super) fn nearest_name(wanted: &str, names: &[String], time: &str) -> Option<String> {
    const LIKE: f64 = 0.5;
    let wanted = wanted.to_lowercase();
    let mut best: Option<(f64, &String)> = None;
    let is_short = |name: &&String| !name.is_empty() && *name != time && name.len() <= 200;
    for name in names.iter().filter(is_short) {
        let likeness = strsim::normalized_damerau_levenshtein(&wanted, &name.to_lowercase());
        if likeness >= LIKE && best.is_none_or(|(b, _)| likeness > b) {
            best = Some((likeness, name));
        }
    }
    best.map(|(_, name)| name.clone())
}

/// Where a channel's values come from.
pub(super) enum From {
    /// Its column is not in the file.
    Nowhere,
    /// The next binding.
    Column,
    /// It is worked out.
    Expression,
}

pub(super) struct Bound {
    pub(super) bindings: Vec<Binding>,
    pub(super) by_channel: Vec<From>,
    pub(super) missing: Vec<String>,
    pub(super) missing_validity: Vec<String>,
}

/// Finds the columns of channels.
pub(super) fn bind<'c>(
    columns: &[String],
    form: &RecordingForm,
    channels: impl Iterator<Item = &'c (String, Channel)>,
    missing: MissingColumns,
) -> Result<Bound, Kind> {
    let position = |name: &str| {
        columns
            .iter()
            .position(|n| !n.is_empty() && n == name.trim())
    };
    let mut bound = Bound {
        bindings: Vec::new(),
        by_channel: Vec::new(),
        missing: Vec::new(),
        missing_validity: Vec::new(),
    };
    let mut lacking = Vec::new();
    let mut note = |column: &str, channel: &String, is_validity| {
        lacking.push(MissingColumn {
            column: column.to_owned(),
            channel: channel.clone(),
            is_validity,
            nearest: nearest_name(column, columns, form.time_column()),
        });
    };
    for (name, channel) in channels {
        let Some(known_as) = &channel.column else {
            bound.by_channel.push(From::Expression);
            continue;
        };
        let entry = form.columns.get(known_as);
        let word = entry.and_then(|e| e.word.as_ref());
        let own = |known_as| written_name(form, known_as);
        let wanted = match (word, &form.words) {
            (Some(_), Some(words)) => words,
            _ => own(known_as),
        };
        let (scale, offset) = entry.map_or((1.0, 0.0), |e| (e.scale, e.offset));
        let sampled = Sampled::new(channel);
        let how = match word {
            None if sampled.is_text() => How::Text,
            None => How::Number {
                decimal: form.decimal(),
                scale,
                offset,
            },
            Some(word) => How::Word {
                code: WordCode::new(word),
                scale,
                offset,
            },
        };
        if sampled.is_text() && (word.is_some() || (scale, offset) != (1.0, 0.0)) {
            let (column, channel) = (known_as.clone(), name.clone());
            return Err(Kind::TextOfNumbers { column, channel });
        }
        // A word says itself whether its value is valid.
        let validity = channel.validity_column.as_ref().filter(|_| word.is_none());
        let validity = validity.map(|column| (own(column), position(own(column))));
        let column = position(wanted);
        if column.is_none() {
            note(wanted, name, false);
            bound.missing.push(name.clone());
        }
        if let Some((wanted, None)) = validity {
            note(wanted, name, true);
            if column.is_some() {
                bound.missing_validity.push(name.clone());
            }
        }
        let Some(column) = column else {
            bound.by_channel.push(From::Nowhere);
            continue;
        };
        let validity = validity.and_then(|(_, found)| found);
        bound.bindings.push(Binding {
            channel: name.clone(),
            column,
            how,
            validity,
            is_valid: validity.is_none(),
            repeats: form.repeats(),
            sampled,
        });
        bound.by_channel.push(From::Column);
    }
    if missing == MissingColumns::Refuse && !lacking.is_empty() {
        return Err(Kind::MissingColumns(lacking));
    }
    Ok(bound)
}

/// What a recording calls the column that channels know as `known_as`.
pub(super) fn written_name<'f>(form: &'f RecordingForm, known_as: &'f String) -> &'f String {
    let entry = form.columns.get(known_as);
    entry.and_then(|e| e.name.as_ref()).unwrap_or(known_as)
}

/// What is to be remembered of a cell.
enum Sample {
    Number(f64),
    Words(Arc<str>),
    Unusable,
}

impl Binding {
    /// The columns that it reads.
    pub(super) fn columns(&self) -> impl Iterator<Item = usize> + use<> {
        [Some(self.column), self.validity].into_iter().flatten()
    }

    /// Takes this channel's cells of one row. On an error also gives the column it stands in.
    pub(super) fn take(
        &mut self,
        row: usize,
        source: &dyn Source,
        words: &mut BTreeSet<Arc<str>>,
    ) -> Result<(), (usize, Kind)> {
        let mut says_invalid = false;
        if let Some(column) = self.validity
            && let Some(is_valid) = validity(source.cell(column)).map_err(|kind| (column, kind))?
        {
            self.is_valid = is_valid;
            says_invalid = !is_valid;
        }
        let sample = self.sample(source.cell(self.column), words);
        let sample = match sample.map_err(|kind| (self.column, kind))? {
            // A flagged value is read too: a word in its place is a broken file all the same.
            Some(_) if !self.is_valid => Sample::Unusable,
            Some(sample) => sample,
            // The source says that it failed and sends no value along.
            None if says_invalid => Sample::Unusable,
            None => return Ok(()),
        };
        if self.sampled.has(row) {
            match self.repeats {
                Repeats::First => return Ok(()),
                Repeats::Refuse | Repeats::Last => self.sampled.take_back(),
            }
        }
        match sample {
            Sample::Number(value) => self.sampled.push_number(row, value),
            Sample::Words(words) => self.sampled.push_words(row, words),
            Sample::Unusable => self.sampled.push_unusable(row),
        }
        Ok(())
    }

    /// What a cell says; nothing when it is empty.
    fn sample(&self, cell: Cell, words: &mut BTreeSet<Arc<str>>) -> Result<Option<Sample>, Kind> {
        match &self.how {
            How::Text => {
                let text = match cell {
                    Cell::Empty => return Ok(None),
                    Cell::Text(text) => shared(text, words),
                    Cell::Number(v) => shared(&v.to_string(), words),
                    Cell::Truth(is) => shared(&is.to_string(), words),
                    Cell::Moment { .. } => return Err(unusable("a time", "text")),
                    Cell::Unusable(what) => return Err(unusable(what, "text")),
                };
                Ok(Some(Sample::Words(text)))
            }
            How::Number {
                decimal,
                scale,
                offset,
            } => {
                let value = match cell {
                    Cell::Empty => return Ok(None),
                    Cell::Text(text) => number::parsed(text, *decimal)?,
                    Cell::Number(v) if v.is_finite() => v,
                    Cell::Number(v) => {
                        return Err(Kind::NotFinite {
                            found: v.to_string(),
                        });
                    }
                    Cell::Truth(is) => f64::from(u8::from(is)),
                    Cell::Moment { .. } => return Err(unusable("a time", "a number")),
                    Cell::Unusable(what) => return Err(unusable(what, "a number")),
                };
                scaled(value, *scale, *offset).map(|v| Some(Sample::Number(v)))
            }
            How::Word {
                code,
                scale,
                offset,
            } => {
                let word = match cell {
                    Cell::Empty => return Ok(None),
                    Cell::Text(text) => word::parsed(text),
                    // A column of signed numbers has the highest bit as its sign.
                    Cell::Number(v) if (-2_147_483_648.0..4_294_967_296.0).contains(&v) => {
                        (v.fract() == 0.0).then_some(v as i64 as u32)
                    }
                    Cell::Number(_) | Cell::Truth(_) | Cell::Moment { .. } | Cell::Unusable(_) => {
                        None
                    }
                };
                let Some(word) = word else {
                    let found = match cell {
                        Cell::Text(text) => text.to_owned(),
                        Cell::Number(v) => v.to_string(),
                        _ => "something else".to_owned(),
                    };
                    return Err(Kind::NotAWord { found });
                };
                match code.read(word) {
                    Said::Nothing => Ok(None),
                    Said::Invalid => Ok(Some(Sample::Unusable)),
                    Said::Value(v) => scaled(v, *scale, *offset).map(|v| Some(Sample::Number(v))),
                    Said::NoDigit(bits, digit) => Err(Kind::NoDigit { word, bits, digit }),
                }
            }
        }
    }
}

/// A value in the units of its channel.
fn scaled(value: f64, scale: f64, offset: f64) -> Result<f64, Kind> {
    // What stands as it should is not touched, so that no rounding gets in.
    let scaled = if (scale, offset) == (1.0, 0.0) {
        value
    } else {
        value * scale + offset
    };
    if scaled.is_finite() {
        Ok(scaled)
    } else {
        Err(Kind::Overflow {
            found: value.to_string(),
        })
    }
}

const fn unusable(what: &'static str, wanted: &'static str) -> Kind {
    Kind::Unusable { what, wanted }
}

/// One copy of equal words.
fn shared(cell: &str, words: &mut BTreeSet<Arc<str>>) -> Arc<str> {
    if let Some(known) = words.get(cell) {
        return Arc::clone(known);
    }
    let new: Arc<str> = cell.into();
    words.insert(Arc::clone(&new));
    new
}

/// What a validity cell says; nothing when it is empty.
fn validity(cell: Cell) -> Result<Option<bool>, Kind> {
    let word = match cell {
        Cell::Empty => return Ok(None),
        Cell::Truth(is) => return Ok(Some(is)),
        Cell::Number(v) if v == 0.0 || v == 1.0 => return Ok(Some(v == 1.0)),
        Cell::Number(v) => {
            return Err(Kind::Validity {
                found: v.to_string(),
            });
        }
        Cell::Text(word) => word,
        Cell::Moment { .. } => return Err(unusable("a time", "a word of validity")),
        Cell::Unusable(what) => return Err(unusable(what, "a word of validity")),
    };
    let is = |words: [&str; 4]| words.iter().any(|w| word.eq_ignore_ascii_case(w));
    if is(["1", "true", "yes", "valid"]) {
        Ok(Some(true))
    } else if is(["0", "false", "no", "invalid"]) {
        Ok(Some(false))
    } else {
        Err(Kind::Validity { found: word.into() })
    }
}
