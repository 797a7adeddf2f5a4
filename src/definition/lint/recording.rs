//! Advice on a recording: what is in it that a check would stumble over, and what is not in it that a check would never see.
//!
//! *The question*: will a check with this recording say something of the display, or of the recording? Rows that lie too far
//! apart, times that are milliseconds and columns that nothing reads look like faults of the display later. And a scale of
//! which the recording uses a tenth has not been checked on the other nine.

use std::fmt;

use crate::definition::Definition;
use crate::definition::recording_form::RecordingForm;
use crate::recording::Recording;
use crate::recording::inputs::ChannelId;
use crate::reference::drawing::Drawing;

/// Something in a recording that is worth a word before a check.
#[derive(Clone, Debug, PartialEq)]
pub enum RecordingWarning {
    /// Rows so far apart that their times are most likely counted in something shorter than seconds.
    TimeUnit {
        /// Usual time from row to row, as it was read, s.
        spacing_s: f64,
        /// What it would be, and the word for it in `[recording]`.
        likely: (f64, &'static str),
    },
    /// Rows farther apart than the display may be late.
    CoarseRows {
        /// Usual time from row to row, s.
        spacing_s: f64,
        /// What the display may be late, ms.
        latency_ms: f64,
    },
    /// Values of a channel lie farther apart than they may be old.
    ValuesTooFarApart {
        /// The channel.
        channel: String,
        /// The longest time from one to the next, s, and where it begins.
        longest_s: f64,
        /// See `longest_s`.
        from_s: f64,
        /// How many such times there are.
        count: usize,
        /// Age limit, s.
        max_age_s: f64,
    },
    /// A channel that never has a value.
    NeverValid {
        /// The channel.
        channel: String,
        /// Samples without a usable value.
        count: usize,
    },
    /// A scale of which the recording uses less than half.
    ScaleNotReached {
        /// The region.
        region: String,
        /// The channel.
        channel: String,
        /// Ends of the scale.
        scale: [f64; 2],
        /// Lowest and highest value of the recording.
        reached: [f64; 2],
        /// Unit of the channel.
        unit: String,
    },
    /// Columns that no channel reads.
    UnreadColumns {
        /// Their names.
        columns: Vec<String>,
    },
    /// Columns of `[recording.columns]` that no channel reads.
    UnboundColumns {
        /// Their names.
        columns: Vec<String>,
    },
}

/// Usual time between rows from which times are looked at with suspicion, s.
const SUSPICIOUS_S: f64 = 5.0;
/// Usual time between rows that a logger has, s.
const USUAL_S: [f64; 2] = [0.000_5, 2.0];
/// Share of a scale below which it is said what is not reached.
const LEAST_REACHED: f64 = 0.5;
/// Names that are written out.
const LISTED: usize = 8;

/// What is worth a word of `recording`.
#[must_use]
pub fn lint_recording(definition: &Definition, recording: &Recording) -> Vec<RecordingWarning> {
    let mut found = Vec::new();
    let spacing_s = recording.usual_spacing_s().unwrap_or(0.0);
    let units = [(1e3, "ms"), (1e6, "us")];
    let likely = units
        .into_iter()
        .find(|(count, _)| (USUAL_S[0]..=USUAL_S[1]).contains(&(spacing_s / count)));
    let latency_ms = definition.file().display.max_latency_ms;
    if let Some((count, unit)) = likely.filter(|_| spacing_s >= SUSPICIOUS_S) {
        let likely = (spacing_s / count, unit);
        found.push(RecordingWarning::TimeUnit { spacing_s, likely });
    } else if spacing_s * 1000.0 > latency_ms {
        found.push(RecordingWarning::CoarseRows {
            spacing_s,
            latency_ms,
        });
    }
    for k in 0..definition.channels().len() {
        values(definition, recording, ChannelId(k), &mut found);
    }
    scales(definition, recording, &mut found);
    let unread = recording.unread_columns().to_vec();
    if !unread.is_empty() {
        found.push(RecordingWarning::UnreadColumns { columns: unread });
    }
    let unbound = unbound_columns(definition, recording.form());
    if !unbound.is_empty() {
        found.push(RecordingWarning::UnboundColumns { columns: unbound });
    }
    found
}

/// Columns that `form` says something of, and that no channel knows by that name.
#[must_use]
pub fn unbound_columns(definition: &Definition, form: &RecordingForm) -> Vec<String> {
    let is_known = |name: &String| {
        let mut channels = definition.channels().iter();
        channels.any(|(_, c)| {
            c.column.as_ref() == Some(name) || c.validity_column.as_ref() == Some(name)
        })
    };
    form.columns
        .keys()
        .filter(|name| !is_known(name))
        .cloned()
        .collect()
}

/// Whether values of a channel come often enough, and at all.
fn values(
    definition: &Definition,
    recording: &Recording,
    id: ChannelId,
    found: &mut Vec<RecordingWarning>,
) {
    let (name, channel) = &definition.channels()[id.0];
    let is_missing = recording.missing_channels().contains(name);
    // What stands in a table comes and goes.
    if channel.column.is_none() || channel.table.is_some() || is_missing {
        return;
    }
    let max_age_s = channel.max_age_ms / 1000.0;
    let is_text = channel.interpolation == crate::definition::model::Interpolation::Text;
    let (_, end_s) = recording.span_s();
    let (mut longest, mut count, mut samples, mut usable) = ((0.0, 0.0), 0, 0, 0);
    let mut before: Option<f64> = None;
    for (time_s, value) in recording.samples(id) {
        samples += 1;
        usable += usize::from(value.is_some());
        if let Some(before_s) = before.replace(time_s) {
            let apart_s = time_s - before_s;
            count += usize::from(apart_s > max_age_s);
            if apart_s > longest.0 {
                longest = (apart_s, before_s);
            }
        }
    }
    // What comes after the last one is too old as well.
    if let Some(before_s) = before.filter(|b| end_s - b > max_age_s) {
        count += 1;
        if end_s - before_s > longest.0 {
            longest = (end_s - before_s, before_s);
        }
    }
    if usable == 0 && !is_text {
        let channel = name.clone();
        found.push(RecordingWarning::NeverValid {
            channel,
            count: samples,
        });
    } else if count > 0 {
        found.push(RecordingWarning::ValuesTooFarApart {
            channel: name.clone(),
            longest_s: longest.0,
            from_s: longest.1,
            count,
            max_age_s,
        });
    }
}

/// Scales of which little is reached.
fn scales(definition: &Definition, recording: &Recording, found: &mut Vec<RecordingWarning>) {
    let drawing = Drawing::new(definition);
    for (k, region) in definition.regions().iter().enumerate() {
        for freedom in drawing.freedoms(definition, k) {
            let (name, channel) = &definition.channels()[freedom.channel.0];
            let scale = [freedom.low, freedom.high];
            let numbers = recording
                .samples(freedom.channel)
                .filter_map(|(_, value)| value);
            let reached = numbers.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| {
                let v = v.clamp(scale[0], scale[1]);
                [low.min(v), high.max(v)]
            });
            let width = scale[1] - scale[0];
            let is_told = found.iter().any(|w| {
                matches!(w, RecordingWarning::ScaleNotReached { region: r, channel: c, .. } if *r == region.id && c == name)
            });
            if is_told || !(width.is_finite() && width > 0.0 && reached[0] <= reached[1]) {
                continue;
            }
            if reached[1] - reached[0] < LEAST_REACHED * width {
                found.push(RecordingWarning::ScaleNotReached {
                    region: region.id.clone(),
                    channel: name.clone(),
                    scale,
                    reached,
                    unit: channel.unit.clone(),
                });
            }
        }
    }
}

/// Some names, and how many more there are.
fn listed(names: &[String]) -> String {
    let shown: Vec<String> = names
        .iter()
        .take(LISTED)
        .map(|n| format!("{n:?}"))
        .collect();
    match names.len().saturating_sub(LISTED) {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// A number without the noise of its last digits.
fn short(v: f64) -> String {
    let text = format!("{v:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl fmt::Display for RecordingWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TimeUnit {
                spacing_s,
                likely: (likely_s, unit),
            } => write!(
                f,
                "rows lie {} s apart: as {unit} that would be {} s",
                short(*spacing_s),
                short(*likely_s)
            ),
            Self::CoarseRows {
                spacing_s,
                latency_ms,
            } => write!(
                f,
                "rows lie {} s apart, and the display may be {} ms late",
                short(*spacing_s),
                short(*latency_ms)
            ),
            Self::ValuesTooFarApart {
                channel,
                longest_s,
                from_s,
                count,
                max_age_s,
            } => write!(
                f,
                "\"{channel}\": values lie up to {} s apart (from {} s on; {count} times more than its age limit of {} s)",
                short(*longest_s),
                short(*from_s),
                short(*max_age_s)
            ),
            Self::NeverValid { channel, count: 0 } => {
                write!(f, "\"{channel}\": the recording has no value of it")
            }
            Self::NeverValid { channel, count } => write!(
                f,
                "\"{channel}\": none of its {count} values can be used: flagged invalid, or outside its range"
            ),
            Self::ScaleNotReached {
                region,
                channel,
                scale,
                reached,
                unit,
            } => {
                let blank = if unit.is_empty() { "" } else { " " };
                let [scale_low, scale_high, low, high] =
                    [scale[0], scale[1], reached[0], reached[1]].map(short);
                write!(
                    f,
                    "region \"{region}\": \"{channel}\" has a scale from {scale_low} to {scale_high}{blank}{unit}, the recording reaches {low} to {high}"
                )
            }
            Self::UnreadColumns { columns } => write!(f, "no channel reads {}", listed(columns)),
            Self::UnboundColumns { columns } => {
                write!(
                    f,
                    "[recording.columns] has {}, which no channel reads",
                    listed(columns)
                )
            }
        }
    }
}

impl RecordingWarning {
    /// The way out.
    #[must_use]
    pub fn advice(&self) -> String {
        match self {
            Self::TimeUnit { likely: (_, unit), .. } => {
                format!("say time_unit = \"{unit}\" in [recording] if that is so")
            }
            Self::CoarseRows { .. } => "between rows only what these say for certain is judged, which says nothing of the display; \
                 record more often than it may be late, or look at the share that was not judged"
                .into(),
            Self::ValuesTooFarApart { .. } => {
                "between them the data count as invalid, and the display must say so; record them more often, or set max_age_ms to \
                 what the display itself waits"
                    .into()
            }
            Self::NeverValid { .. } => {
                "the display must show its failure all the time; look at the unit, the range and the validity column".into()
            }
            Self::ScaleNotReached { .. } => "the rest of the scale is not checked by this recording".into(),
            Self::UnreadColumns { .. } => "nothing in them is checked; name the column in a channel, if the display shows it".into(),
            Self::UnboundColumns { .. } => {
                "its keys are the names that channels know columns by (column, validity_column), not those of the recording".into()
            }
        }
    }
}
