//! The recording: all channels of a definition over time.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::condition::{Look, decide};
use super::error::{Error, Kind};
use super::inputs::{ChannelId, Due, Inputs, Value};
use super::moment::Moment;
use super::read::{self, Columns};
use super::runs::Runs;
use super::sampled::Sampled;
use super::slots::{self, Stay};
use super::source;
use crate::definition::Definition;
use crate::definition::expression::CallId;
use crate::definition::logic::Logic;
use crate::definition::model::{Channel, Condition};
use crate::definition::pages::PageSet;
use crate::definition::recording_form::RecordingForm;
use crate::files::{self, FileContent};

/// What happens to channels whose column the file lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MissingColumns {
    /// They are an error that names them all.
    Refuse,
    /// Their value is [`Value::Missing`] throughout. A lacking validity column leaves every
    /// value valid; see [`Recording::missing_validity`].
    Allow,
}

/// Where the values of a channel come from.
#[derive(Clone, Debug)]
pub(super) enum Values {
    /// The file has no such column, or none for what it is worked out from.
    Missing,
    /// A column of the file.
    Column(Sampled),
    /// Other channels.
    Derived,
}

/// All channels of a definition over time.
///
/// # Guarantees
/// There is at least one row, times rise strictly, and every number is finite. Nothing
/// changes after reading, so one recording can serve many threads.
#[derive(Clone, Debug)]
pub struct Recording {
    times_s: Vec<f64>,
    /// By channel.
    channels: Vec<Values>,
    logic: Arc<Logic>,
    /// What is remembered of the rows for each call of a function of history.
    calls: Vec<Runs>,
    /// The same for each condition with a memory.
    conditions: Vec<Runs>,
    /// The same for each alert.
    alerts: Vec<Runs>,
    /// The same for what acknowledges alerts.
    acknowledgements: Vec<Runs>,
    missing: Vec<String>,
    missing_validity: Vec<String>,
    unread: Vec<String>,
    content: Option<FileContent>,
    form: RecordingForm,
    form_file: Option<FileContent>,
    /// Tables by name, as far as they came from files.
    table_files: Vec<(String, FileContent)>,
    /// What had which slot of a table when.
    stays: Vec<Stay>,
}

/// The files that a recording is read from.
#[derive(Clone, Copy, Debug)]
pub struct Files<'p> {
    /// The recording itself.
    pub inputs: &'p Path,
    /// What says how it is written, where that is not in the definition.
    pub form: Option<&'p Path>,
    /// Further tables by the names that the definition has for them.
    pub tables: &'p BTreeMap<String, PathBuf>,
}

/// Something to read from, and what errors call it.
struct Readable<'r> {
    reader: Box<dyn Read + 'r>,
    origin: &'r str,
}

impl Recording {
    /// Reads a file for a definition without further tables, written as that says; see the stage's page for the rules.
    ///
    /// # Errors
    /// When the file cannot be read or holds what a recording may not contain. The text names
    /// the file, line and column, what was expected and the way out.
    pub fn load(
        path: &Path,
        definition: &Definition,
        missing: MissingColumns,
    ) -> Result<Self, Error> {
        let files = Files {
            inputs: path,
            form: None,
            tables: &BTreeMap::new(),
        };
        Self::load_all(&files, definition, missing)
    }

    /// Reads files for a definition. What the file says that tells how they are written stands before what the definition
    /// says.
    ///
    /// # Errors
    /// As [`Recording::load`], when something is wrong with any of the files, when a table has none, and when there is one
    /// for a table that the definition has not.
    pub fn load_all(
        files: &Files,
        definition: &Definition,
        missing: MissingColumns,
    ) -> Result<Self, Error> {
        let (form, form_file) = match files.form {
            Some(path) => {
                let (form, file) = RecordingForm::load(path).map_err(Error::of_form)?;
                (form.over(definition.recording_form()), Some(file))
            }
            None => (definition.recording_form().clone(), None),
        };
        let tables = files.tables.iter();
        let named = [(None, files.inputs)].into_iter();
        let named = named.chain(tables.map(|(name, path)| (Some(name), path.as_path())));
        let mut opened = Vec::new();
        for (name, path) in named {
            let origin = path.display().to_string();
            let file = files::open(path)
                .map_err(|e| Error::of_file(&origin, Kind::Open(e.into_cause())))?;
            opened.push((name, path, origin, files::Reader::new(file)));
        }
        let readable = opened.iter_mut().map(|(name, _, origin, reader)| {
            let reader = Box::new(reader) as Box<dyn Read>;
            (*name, Readable { reader, origin })
        });
        let mut readable = readable.collect::<Vec<_>>().into_iter();
        let Some((_, inputs)) = readable.next() else {
            return Err(Error::of_file("", Kind::NoRows));
        };
        let tables = readable.filter_map(|(name, r)| Some((name?.as_str(), r)));
        let tables = tables.collect();
        let mut recording = Self::assemble(inputs, tables, definition, missing, &form)?;
        recording.form_file = form_file;
        for (name, path, origin, reader) in opened {
            let content = reader
                .content()
                .map_err(|e| Error::of_file(&origin, Kind::Read(e)))?;
            let path = path.to_owned();
            let file = FileContent { path, content };
            match name {
                None => recording.content = Some(file),
                Some(name) => recording.table_files.push((name.clone(), file)),
            }
        }
        Ok(recording)
    }

    /// What its file held when it was read; `None` when it was read from elsewhere.
    #[must_use]
    pub const fn content(&self) -> Option<&FileContent> {
        self.content.as_ref()
    }

    /// What the file held that says how it is written, when there is one beside the definition.
    #[must_use]
    pub const fn form_content(&self) -> Option<&FileContent> {
        self.form_file.as_ref()
    }

    /// How it was said to be written.
    #[must_use]
    pub const fn form(&self) -> &RecordingForm {
        &self.form
    }

    /// What the files of further tables held, by the names of the tables.
    #[must_use]
    pub fn table_contents(&self) -> &[(String, FileContent)] {
        &self.table_files
    }

    /// The files that it was read from.
    pub fn files(&self) -> impl Iterator<Item = &FileContent> {
        let tables = self.table_files.iter().map(|(_, file)| file);
        self.content.iter().chain(&self.form_file).chain(tables)
    }

    /// Reads a recording from anywhere, written as the definition says. `origin` is what errors call it.
    ///
    /// # Errors
    /// As [`Recording::load`].
    pub fn from_reader<R: Read>(
        reader: R,
        origin: &str,
        definition: &Definition,
        missing: MissingColumns,
    ) -> Result<Self, Error> {
        Self::from_reader_as(
            reader,
            origin,
            definition,
            missing,
            definition.recording_form(),
        )
    }

    /// Reads a recording from anywhere, written as `form` says. `origin` is what errors call it.
    ///
    /// # Errors
    /// As [`Recording::load`].
    pub fn from_reader_as<R: Read>(
        reader: R,
        origin: &str,
        definition: &Definition,
        missing: MissingColumns,
        form: &RecordingForm,
    ) -> Result<Self, Error> {
        Self::from_readers_as(reader, origin, &[], definition, missing, form)
    }

    /// The same with further tables: the name, and the bytes, of each.
    ///
    /// # Errors
    /// As [`Recording::load_all`].
    pub fn from_readers_as<R: Read>(
        reader: R,
        origin: &str,
        tables: &[(&str, &[u8])],
        definition: &Definition,
        missing: MissingColumns,
        form: &RecordingForm,
    ) -> Result<Self, Error> {
        let reader = Box::new(reader);
        let tables = tables.iter().map(|(name, bytes)| {
            let reader = Box::new(*bytes);
            let origin = *name;
            (*name, Readable { reader, origin })
        });
        let inputs = Readable { reader, origin };
        Self::assemble(inputs, tables.collect(), definition, missing, form)
    }

    fn assemble(
        inputs: Readable,
        tables: Vec<(&str, Readable)>,
        definition: &Definition,
        missing: MissingColumns,
        form: &RecordingForm,
    ) -> Result<Self, Error> {
        let Readable { reader, origin } = inputs;
        let reader = BufReader::with_capacity(1 << 16, reader);
        let mut source = source::open(reader, origin, form)?;
        let mut columns = read::read(&mut *source, origin, form, definition, missing)?;
        let named = &definition.file().tables;
        let mut lacking: BTreeSet<&String> = named.keys().collect();
        for (name, Readable { reader, origin }) in tables {
            let Some((name, table)) = named.get_key_value(name) else {
                let (table, known) = (name.to_owned(), named.keys().cloned().collect());
                return Err(Error::of_file(origin, Kind::UnknownTable { table, known }));
            };
            lacking.remove(name);
            let reader = BufReader::with_capacity(1 << 16, reader);
            let mut source = source::open(reader, origin, form)?;
            let read = slots::Reading {
                origin,
                form,
                definition,
                missing,
                name,
                table,
            };
            read.put_into(&mut *source, &mut columns)?;
        }
        let Columns {
            times_s,
            channels,
            missing: mut missing_channels,
            missing_validity,
            unread,
            zero: _,
            stays,
        } = columns;
        if let (Some(table), MissingColumns::Refuse) = (lacking.first(), missing) {
            let table = (*table).clone();
            return Err(Error::of_file(origin, Kind::NoTable { table }));
        }
        let of_lacking = |c: &Channel| c.table.as_ref().is_some_and(|t| lacking.contains(t));
        let without = definition.channels().iter();
        let without = without
            .filter(|(_, c)| of_lacking(c))
            .map(|(n, _)| n.clone());
        missing_channels.extend(without);
        let mut recording = Self {
            times_s,
            channels,
            logic: Arc::clone(definition.logic()),
            calls: Vec::new(),
            conditions: Vec::new(),
            alerts: Vec::new(),
            acknowledgements: Vec::new(),
            missing: missing_channels,
            missing_validity,
            unread,
            content: None,
            form: form.clone(),
            form_file: None,
            table_files: Vec::new(),
            stays,
        };
        recording.miss_what_depends_on_missing();
        recording.remember();
        Ok(recording)
    }

    /// A channel that is worked out from missing ones is missing too.
    fn miss_what_depends_on_missing(&mut self) {
        let logic = Arc::clone(&self.logic);
        for (k, (name, _)) in logic.channels.iter().enumerate() {
            if !matches!(self.channels[k], Values::Derived) {
                continue;
            }
            let mut sources = BTreeSet::from([name.as_str()]);
            logic.add_sources(&mut sources);
            if sources.iter().any(|s| self.missing.iter().any(|m| m == s)) {
                self.channels[k] = Values::Missing;
                self.missing.push(name.clone());
            }
        }
        self.missing.sort_unstable();
    }

    /// Goes through the rows for all that depends on what was before. Each is done before what depends on it.
    fn remember(&mut self) {
        let logic = Arc::clone(&self.logic);
        for call in &logic.calls {
            let runs = self.runs(|moment, had_held| moment.step(call, had_held));
            self.calls.push(runs);
        }
        for memory in 0..logic.remembered.len() {
            let runs = self.runs(|moment, had_held| moment.step_condition(memory, had_held));
            self.conditions.push(runs);
        }
        for alert in 0..logic.alerts.len() {
            let runs = self.runs(|moment, _| moment.alert_holds(alert));
            self.alerts.push(runs);
        }
        for which in 0..logic.acknowledgements.len() {
            let runs = self.runs(|moment, _| moment.acknowledges(which));
            self.acknowledgements.push(runs);
        }
    }

    /// The rows at which something holds, which may depend on whether it held at the row before.
    fn runs(&self, holds: impl Fn(&Moment<'_>, bool) -> bool) -> Runs {
        let mut runs = Runs::default();
        let mut had_held = false;
        for row in 0..self.times_s.len() {
            had_held = holds(&Moment::at_row(self, row), had_held);
            if had_held {
                runs.note(row, &self.times_s);
            }
        }
        runs
    }

    pub(super) fn sources(&self) -> &[Values] {
        &self.channels
    }

    pub(super) fn logic(&self) -> &Logic {
        &self.logic
    }

    pub(super) fn call(&self, call: CallId) -> &Runs {
        &self.calls[call.0]
    }

    /// Since when a condition with a memory had held at `row`, s.
    pub(super) fn held_since_s(&self, memory: usize, row: Option<usize>) -> Option<f64> {
        Some(self.times_s[self.conditions.get(memory)?.start(row?)?])
    }

    /// The last row that does not lie after `time_s`.
    pub(super) fn row_at(&self, time_s: f64) -> Option<usize> {
        self.times_s
            .partition_point(|t| *t <= time_s)
            .checked_sub(1)
    }

    /// Fills `out` with all channels at `time_s` (recording time, s). Buffers are used again.
    ///
    /// An alert is active while all its conditions hold at `time_s`. It counts as active since
    /// the first row of the unbroken stretch of rows where they hold, or, when they hold only
    /// between two rows so far, since `time_s` itself.
    pub fn inputs_at(&self, time_s: f64, out: &mut Inputs) {
        let moment = Moment::new(self, time_s);
        out.time_s = time_s;
        out.values.clear();
        let channels = (0..self.channels.len()).map(ChannelId);
        out.values.extend(channels.map(|c| moment.channel(c)));
        out.held_since_s.clear();
        let memories = 0..self.conditions.len();
        out.held_since_s
            .extend(memories.map(|k| self.held_since_s(k, moment.row)));
        // The alerts look at the inputs that are filled in.
        let mut active_since_s = std::mem::take(&mut out.active_since_s);
        active_since_s.clear();
        let alerts = self.logic.alerts.iter().zip(&self.alerts);
        active_since_s.extend(alerts.map(|(when, runs)| {
            let mut when = when.iter();
            let is_active = when.all(|c| decide(c, &self.logic, out) == Some(true));
            let first = moment.row.and_then(|row| runs.start(row));
            is_active.then(|| first.map_or(time_s, |first| self.times_s[first]))
        }));
        out.acknowledged.clear();
        let alerts = active_since_s.iter().zip(&self.alerts);
        let alerts = alerts.zip(&self.logic.acknowledged_by);
        out.acknowledged.extend(alerts.map(|((since_s, runs), by)| {
            let (Some(_), Some(by)) = (since_s, *by) else {
                return false;
            };
            let first = moment.row.and_then(|row| Some((runs.start(row)?, row)));
            moment.acknowledges(by)
                || first.is_some_and(|(a, b)| self.acknowledgements[by].held_within(a, b))
        }));
        out.active_since_s = active_since_s;
        out.page = page_due(&self.logic.pages, &self.logic, out);
    }

    /// The pages that are due at any moment from `from_s` to `to_s` (recording time, s): at both ends, and at every row
    /// between.
    #[must_use]
    pub fn pages_due(&self, from_s: f64, to_s: f64) -> PageSet {
        self.chosen(&self.logic.pages, from_s, to_s)
    }

    /// The pages that a reversion puts up at any moment from `from_s` to `to_s`, as [`Self::pages_due`].
    #[must_use]
    pub fn reversions_due(&self, from_s: f64, to_s: f64) -> PageSet {
        self.chosen(&self.logic.reversions, from_s, to_s)
    }

    fn chosen(&self, pages: &[Option<Vec<Condition>>], from_s: f64, to_s: f64) -> PageSet {
        if pages.is_empty() {
            return PageSet::one(0);
        }
        let due = |moment: Moment| PageSet::one(page_due(pages, &self.logic, &moment));
        let ends = due(Moment::new(self, from_s)).with(due(Moment::new(self, to_s)));
        let first = self.times_s.partition_point(|t| *t <= from_s);
        let rows = (first..self.times_s.len()).take_while(|row| self.times_s[*row] < to_s);
        rows.fold(ends, |set, row| set.with(due(Moment::at_row(self, row))))
    }

    /// Fills `out` with the values of `channels` at `time_s` (recording time, s), in their order: the work of
    /// [`Self::inputs_at`] for what is asked for alone.
    pub fn values_at(
        &self,
        channels: impl Iterator<Item = ChannelId>,
        time_s: f64,
        out: &mut Vec<Value>,
    ) {
        let moment = Moment::new(self, time_s);
        out.clear();
        out.extend(channels.map(|channel| moment.channel(channel)));
    }

    /// All channels at `time_s`, in a buffer of their own.
    #[must_use]
    pub fn inputs(&self, time_s: f64) -> Inputs {
        let mut out = Inputs::default();
        self.inputs_at(time_s, &mut out);
        out
    }

    /// Fills `out` with the inputs of what was due.
    pub fn inputs_due(&self, due: Due, out: &mut Inputs) {
        self.inputs_at(due.time_s, out);
        out.page = due.page;
    }

    /// Median time from row to row, s; `None` with a single row.
    #[must_use]
    pub fn usual_spacing_s(&self) -> Option<f64> {
        let mut spacings: Vec<f64> = self.times_s.windows(2).map(|w| w[1] - w[0]).collect();
        spacings.sort_unstable_by(f64::total_cmp);
        spacings.get(spacings.len() / 2).copied()
    }

    /// Times of the first and the last row, s.
    #[must_use]
    pub fn span_s(&self) -> (f64, f64) {
        // A recording has at least one row.
        (self.times_s[0], self.times_s[self.times_s.len() - 1])
    }

    /// Recording time, s, and value of each sample of a channel that is a column; no value where it is unusable or words.
    pub fn samples(&self, channel: ChannelId) -> impl Iterator<Item = (f64, Option<f64>)> {
        let sampled = match &self.channels[channel.0] {
            Values::Column(sampled) => Some(sampled),
            Values::Missing | Values::Derived => None,
        };
        let each = sampled.into_iter().flat_map(Sampled::each);
        each.map(|(row, value)| (self.times_s[row], value))
    }

    /// Times of all rows, s, strictly rising.
    #[must_use]
    pub fn times_s(&self) -> &[f64] {
        &self.times_s
    }

    /// What has slot number `slot` (from 1) of a table at recording time `time_s`: what its row says that it is of.
    #[must_use]
    pub fn holder(&self, table: &str, slot: u32, time_s: f64) -> Option<&str> {
        let mut own = self.stays.iter();
        let has = |s: &&Stay| s.table == table && s.slot == slot && s.lasts(time_s);
        own.rfind(has).map(|s| s.key.as_str())
    }

    /// Channels whose column the file lacks, in the order of their names.
    #[must_use]
    pub fn missing_channels(&self) -> &[String] {
        &self.missing
    }

    /// Columns of the file with a name that no channel reads, in the order of the file.
    #[must_use]
    pub fn unread_columns(&self) -> &[String] {
        &self.unread
    }

    /// Channels that have a column but whose validity column the file lacks, in the order of
    /// their names: all their values count as valid.
    #[must_use]
    pub fn missing_validity(&self) -> &[String] {
        &self.missing_validity
    }
}

/// The first of `pages` whose conditions hold; the last that can be due when no other's do, 0 when there are none.
fn page_due<L: Look>(pages: &[Option<Vec<Condition>>], logic: &Logic, look: &L) -> usize {
    let holds = |when: &Vec<Condition>| when.iter().all(|c| decide(c, logic, look) == Some(true));
    let is_due = |when: &Option<Vec<Condition>>| when.as_ref().is_some_and(holds);
    let last = || pages.iter().rposition(Option::is_some);
    let due = pages.iter().position(is_due);
    due.or_else(last).unwrap_or(0)
}
