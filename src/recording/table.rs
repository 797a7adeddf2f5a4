//! The recording: all channels of a definition over time.

use std::borrow::Cow;
use std::io::{BufReader, Read};
use std::path::Path;

use super::alerts::{self, Activation};
use super::error::{Error, Kind};
use super::inputs::{ChannelId, Inputs, Value};
use super::read;
use super::sampled::Sampled;
use crate::definition::Definition;
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

/// All channels of a definition over time.
///
/// # Guarantees
/// There is at least one row, times rise strictly, and every number is finite. Nothing
/// changes after reading, so one recording can serve many threads.
#[derive(Clone, Debug)]
pub struct Recording {
    times_s: Vec<f64>,
    /// By channel; `None` where the file has no such column.
    channels: Vec<Option<Sampled>>,
    alerts: Vec<Activation>,
    missing: Vec<String>,
    missing_validity: Vec<String>,
    content: Option<FileContent>,
}

impl Recording {
    /// Reads a CSV file for a definition; see the stage's page for the rules.
    ///
    /// # Errors
    /// When the file cannot be read or holds what a recording may not contain. The text names
    /// the file, line and column, what was expected and the way out.
    pub fn load(
        path: &Path,
        definition: &Definition,
        missing: MissingColumns,
    ) -> Result<Self, Error> {
        let origin = path.display().to_string();
        let file =
            files::open(path).map_err(|e| Error::of_file(&origin, Kind::Open(e.into_cause())))?;
        let mut reader = files::Reader::new(file);
        let mut recording = Self::from_reader(&mut reader, &origin, definition, missing)?;
        let content = reader
            .content()
            .map_err(|e| Error::of_file(&origin, Kind::Read(e)))?;
        let path = path.to_owned();
        recording.content = Some(FileContent { path, content });
        Ok(recording)
    }

    /// What its file held when it was read; `None` when it was read from elsewhere.
    #[must_use]
    pub const fn content(&self) -> Option<&FileContent> {
        self.content.as_ref()
    }

    /// Reads CSV from anywhere. `origin` is what errors call it.
    ///
    /// # Errors
    /// As [`Recording::load`].
    pub fn from_reader<R: Read>(
        reader: R,
        origin: &str,
        definition: &Definition,
        missing: MissingColumns,
    ) -> Result<Self, Error> {
        let columns = read::read(
            BufReader::with_capacity(1 << 16, reader),
            origin,
            definition,
            missing,
        )?;
        let mut recording = Self {
            times_s: columns.times_s,
            channels: columns.channels,
            alerts: alerts::of_definition(definition),
            missing: columns.missing,
            missing_validity: columns.missing_validity,
            content: None,
        };
        recording.find_activations();
        Ok(recording)
    }

    fn find_activations(&mut self) {
        let mut alerts = std::mem::take(&mut self.alerts);
        for (row, &time_s) in self.times_s.iter().enumerate() {
            for alert in &mut alerts {
                if alert.holds(|channel| Cow::Owned(self.value(channel.0, Some(row), time_s))) {
                    alert.note_active(row);
                }
            }
        }
        self.alerts = alerts;
    }

    fn value(&self, channel: usize, row: Option<usize>, time_s: f64) -> Value {
        match (&self.channels[channel], row) {
            (None, _) => Value::Missing,
            (Some(_), None) => Value::Invalid,
            (Some(sampled), Some(row)) => sampled.value_at(&self.times_s, row, time_s),
        }
    }

    /// The last row that does not lie after `time_s`.
    fn row_at(&self, time_s: f64) -> Option<usize> {
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
        let row = self.row_at(time_s);
        out.time_s = time_s;
        out.values.clear();
        out.values
            .extend((0..self.channels.len()).map(|channel| self.value(channel, row, time_s)));
        out.active_since_s.clear();
        let values = &out.values;
        out.active_since_s.extend(self.alerts.iter().map(|alert| {
            alert
                .holds(|channel| Cow::Borrowed(&values[channel.0]))
                .then(|| {
                    row.and_then(|row| alert.run_start(row))
                        .map_or(time_s, |first| self.times_s[first])
                })
        }));
    }

    /// Fills `out` with the values of `channels` at `time_s` (recording time, s), in their order: the work of
    /// [`Self::inputs_at`] for what is asked for alone.
    pub fn values_at(
        &self,
        channels: impl Iterator<Item = ChannelId>,
        time_s: f64,
        out: &mut Vec<Value>,
    ) {
        let row = self.row_at(time_s);
        out.clear();
        out.extend(channels.map(|channel| self.value(channel.0, row, time_s)));
    }

    /// All channels at `time_s`, in a buffer of their own.
    #[must_use]
    pub fn inputs(&self, time_s: f64) -> Inputs {
        let mut out = Inputs::default();
        self.inputs_at(time_s, &mut out);
        out
    }

    /// Times of the first and the last row, s.
    #[must_use]
    pub fn span_s(&self) -> (f64, f64) {
        // A recording has at least one row.
        (self.times_s[0], self.times_s[self.times_s.len() - 1])
    }

    /// Times of all rows, s, strictly rising.
    #[must_use]
    pub fn times_s(&self) -> &[f64] {
        &self.times_s
    }

    /// Channels whose column the file lacks, in the order of their names.
    #[must_use]
    pub fn missing_channels(&self) -> &[String] {
        &self.missing
    }

    /// Channels that have a column but whose validity column the file lacks, in the order of
    /// their names: all their values count as valid.
    #[must_use]
    pub fn missing_validity(&self) -> &[String] {
        &self.missing_validity
    }
}
