//! Does the recording speak of something else than the display shows: other units, another zero, another channel?
//!
//! *The question*: a region is wrong from the first frame to the last. Is that the display, or was the recording read
//! wrongly? *The method*: two ways, since a symbol that is far from where it is due cannot always be read (a scale that
//! repeats looks the same a label further, and a number with more digits than are due is not taken to pieces).
//!
//! - *By pictures*: now and then a region that is wrong is drawn again with its channels converted from each related unit
//!   ([`units`]), or with two channels of the region exchanged with others of the same unit. Where that agrees with
//!   the capture in most of the frames that are tried, the recording is the plainer explanation.
//! - *By readings*: what was read over the run is held against what was recorded. Where all of it lies on a line through zero
//!   with another slope than 1, or off by the same amount, to within the tolerance, the ratio or the offset is told.
//!
//! What is said is a note. It changes no verdict: a display that shows one thing as another is misleading all the same.
//!
//! *What it cannot see*: a display that is wrong in one of these ways itself. The note asks, and does not say which of both
//! is wrong.

use std::collections::BTreeMap;

use crate::capture::CapturedFrame;
use crate::check::constants::other_units::{
    ALIKE, FEWEST, FEWEST_TRIALS, LEAST_GAIN, MANY, MOST_MOMENTS, MOST_TRIALS, SHARE, TRIAL_EVERY,
};
use crate::definition::Definition;
use crate::definition::expression::units;
use crate::examine::comparison::{ChainLook, Comparison};
use crate::examine::subject::Subject;
use crate::judge::region::RegionVerdict;
use crate::recording::Recording;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::painter::Painter;
use crate::reference::parts::Freedom;
use crate::reference::scale::half_period;

/// What was read of one thing at one moment.
#[derive(Clone, Copy, Debug)]
struct Shown {
    of: Of,
    displayed: f64,
    standard_error: f64,
}

/// What was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Of {
    channel: ChannelId,
    region: usize,
    /// Digits come first: they are not taken for those of the next label.
    is_symbol: bool,
    index: usize,
}

/// Another story of what the recording holds.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Story {
    /// These channels are in this unit.
    Unit(Vec<ChannelId>, &'static str),
    /// Two channels are exchanged.
    Exchanged([ChannelId; 2]),
}

/// Gathers what is shown over a run.
#[derive(Clone, Debug)]
pub(super) struct OtherUnits {
    stride: u64,
    count: u64,
    /// Recording time of the data that were due, s, and what was read.
    moments: Vec<(f64, Vec<Shown>)>,
    /// By region: frames in which it was wrong, and trials.
    wrong: Vec<(u64, u32)>,
    /// By region and story: in how many trials it agreed.
    agreed: BTreeMap<(usize, Story), u32>,
}

impl OtherUnits {
    pub(super) fn new(regions: usize) -> Self {
        Self {
            stride: 1,
            count: 0,
            moments: Vec::new(),
            wrong: vec![(0, 0); regions],
            agreed: BTreeMap::new(),
        }
    }

    /// Takes what was read in a frame; `freedoms` are by region.
    pub(super) fn read<'f>(
        &mut self,
        due_time_s: f64,
        verdicts: &[RegionVerdict],
        freedoms: impl Fn(usize) -> &'f [Freedom],
    ) {
        let is_kept = self.count.is_multiple_of(self.stride);
        self.count += 1;
        if !is_kept {
            return;
        }
        let mut shown = Vec::new();
        for (region, verdict) in verdicts.iter().enumerate() {
            shown.extend(verdict.digits.iter().enumerate().map(|(index, d)| Shown {
                of: Of {
                    channel: d.channel,
                    region,
                    is_symbol: false,
                    index,
                },
                displayed: d.displayed,
                // Uniform within a step of the last digit.
                standard_error: d.resolution / 12f64.sqrt(),
            }));
            shown.extend(verdict.readings.iter().map(|r| Shown {
                of: Of {
                    channel: freedoms(region)[r.freedom].channel,
                    region,
                    is_symbol: true,
                    index: r.freedom,
                },
                displayed: r.displayed,
                standard_error: r.standard_error,
            }));
        }
        self.moments.push((due_time_s, shown));
        if self.moments.len() > MOST_MOMENTS {
            let mut k = 0;
            self.moments.retain(|_| {
                k += 1;
                k % 2 == 1
            });
            self.stride *= 2;
        }
    }

    /// Draws regions otherwise that are wrong, now and then. `inputs` are those that are due.
    pub(super) fn try_stories(
        &mut self,
        subject: Subject,
        chain: &ChainLook,
        frame: &CapturedFrame,
        inputs: &Inputs,
        verdicts: &[RegionVerdict],
        painter: &mut Painter,
    ) {
        let size = (frame.picture.width(), frame.picture.height());
        for (region, verdict) in verdicts.iter().enumerate() {
            let (frames, trials) = &mut self.wrong[region];
            if !verdict.verdict.is_faulty() {
                continue;
            }
            *frames += 1;
            if !frames.is_multiple_of(TRIAL_EVERY) || *trials == MOST_TRIALS {
                continue;
            }
            *trials += 1;
            let mut comparison = Comparison::new(subject, region, chain, size, painter);
            for story in stories(subject.definition(), region) {
                let Some(told) = story.told(subject.definition(), inputs) else {
                    continue;
                };
                comparison.draw(&told, painter);
                if comparison.agrees(&frame.picture) {
                    *self.agreed.entry((region, story)).or_default() += 1;
                }
            }
        }
    }

    /// What is to be said, a sentence a channel.
    pub(super) fn notes(&self, definition: &Definition, recording: &Recording) -> Vec<String> {
        let mut notes = Vec::new();
        let mut said = Vec::new();
        for ((region, story), agreed) in &self.agreed {
            let (_, trials) = self.wrong[*region];
            // A number on the edge of rounding, or a mode that a region has of its own, spoils one now and then.
            if *agreed < FEWEST_TRIALS || 3 * *agreed < 2 * trials {
                continue;
            }
            let new: Vec<ChannelId> = story
                .channels()
                .into_iter()
                .filter(|c| !said.contains(c))
                .collect();
            if new.is_empty() {
                continue;
            }
            said.extend(new);
            notes.push(format!(
                "{} (region {}, drawn so, agrees in {agreed} of {trials} frames that were tried)",
                story.in_words(definition),
                definition.regions()[*region].id
            ));
        }
        let mut readings: BTreeMap<Of, Vec<Pair>> = BTreeMap::new();
        let mut values = Vec::new();
        for (due_time_s, shown) in &self.moments {
            recording.values_at(shown.iter().map(|s| s.of.channel), *due_time_s, &mut values);
            for (s, value) in shown.iter().zip(&values) {
                if let Some(recorded) = value.number() {
                    readings.entry(s.of).or_default().push(Pair {
                        recorded,
                        displayed: s.displayed,
                        standard_error: s.standard_error,
                    });
                }
            }
        }
        for (of, pairs) in &readings {
            let (name, channel) = &definition.channels()[of.channel.0];
            if said.contains(&of.channel) {
                continue;
            }
            let tolerance = definition.regions()[of.region].tolerance.get(name).copied();
            let is_round =
                channel.interpolation == crate::definition::model::Interpolation::Angular;
            if let Some(line) = line(pairs, tolerance, is_round) {
                said.push(of.channel);
                notes.push(line.in_words(name, &channel.unit));
            }
        }
        notes
    }
}

/// What else the recording might hold, as far as one region shows it.
fn stories(definition: &Definition, region: usize) -> Vec<Story> {
    let used = definition.regions()[region].channels_used();
    let numbers: Vec<ChannelId> = used.iter().map(|name| definition.channel(name)).collect();
    let unit = |c: &ChannelId| definition.channels()[c.0].1.unit.as_str();
    let is_recorded = |c: &ChannelId| definition.channels()[c.0].1.column.is_some();
    let mut stories = Vec::new();
    for own in &numbers {
        let alike: Vec<ChannelId> = numbers
            .iter()
            .copied()
            .filter(|c| unit(c) == unit(own))
            .collect();
        let is_first = alike.first() == Some(own);
        for other in units::related(unit(own)) {
            // A bench that records one speed in km/h mostly records them all so.
            if is_first && alike.len() > 1 {
                stories.push(Story::Unit(alike.clone(), other));
            }
            stories.push(Story::Unit(vec![*own], other));
        }
        let all = (0..definition.channels().len()).map(ChannelId);
        let others = all.filter(|c| c != own && unit(c) == unit(own) && !unit(c).is_empty());
        for other in others.filter(|c| is_recorded(own) && is_recorded(c)) {
            let mut pair = [*own, other];
            pair.sort_unstable();
            if !stories.contains(&Story::Exchanged(pair)) {
                stories.push(Story::Exchanged(pair));
            }
        }
    }
    stories
}

impl Story {
    fn channels(&self) -> Vec<ChannelId> {
        match self {
            Self::Unit(channels, _) => channels.clone(),
            Self::Exchanged(pair) => pair.to_vec(),
        }
    }

    /// The inputs by this story; `None` where it changes nothing.
    fn told(&self, definition: &Definition, inputs: &Inputs) -> Option<Inputs> {
        let mut told = inputs.clone();
        match self {
            Self::Unit(channels, other) => {
                for c in channels {
                    let unit = &definition.channels()[c.0].1.unit;
                    let (factor, offset) = units::conversion(other, unit)?;
                    let value = told.values[c.0].number()?;
                    told.values[c.0] = Value::Number(value * factor + offset);
                }
            }
            Self::Exchanged([a, b]) => told.values.swap(a.0, b.0),
        }
        (told.values != inputs.values).then_some(told)
    }

    fn in_words(&self, definition: &Definition) -> String {
        let name = |c: &ChannelId| definition.channels()[c.0].0.as_str();
        match self {
            Self::Unit(channels, other) => {
                let names: Vec<&str> = channels.iter().map(name).collect();
                let unit = &definition.channels()[channels[0].0].1.unit;
                let (factor, offset) = units::conversion(other, unit).unwrap_or((1.0, 0.0));
                let verb = if names.len() == 1 { "reads" } else { "read" };
                units_in_words(&names.join(", "), verb, (factor, offset), unit, other)
            }
            Self::Exchanged([a, b]) => format!(
                "{} shows what the recording has as {}, and the other way round: are their columns exchanged?",
                name(a),
                name(b)
            ),
        }
    }
}

/// That a channel is recorded in another unit, as a sentence without its end.
fn units_in_words(
    names: &str,
    verb: &str,
    (factor, offset): (f64, f64),
    unit: &str,
    other: &str,
) -> String {
    let plus = match offset {
        0.0 => String::new(),
        v => format!(
            " {} {}",
            if v < 0.0 { "less" } else { "plus" },
            figure(v.abs())
        ),
    };
    let way_out = match offset {
        0.0 => format!("scale = {}", exact(factor)),
        v => format!("scale = {}, offset = {}", exact(factor), exact(v)),
    };
    format!(
        "{names} {verb} {}{plus} of the inputs: {unit} shown, {other} recorded? Then say {way_out} in [recording.columns]",
        figure(factor)
    )
}

/// Three or four digits that count.
fn figure(v: f64) -> String {
    let decimals = match v.abs() {
        0.0 => 0,
        a => (3 - libm::floor(libm::log10(a)) as i32 - 1).clamp(0, 9) as usize,
    };
    format!("{v:.decimals$}")
}

/// All digits that a conversion has, without the noise of the last ones.
fn exact(v: f64) -> String {
    let text = format!("{v:.9}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What is shown and what was recorded.
#[derive(Clone, Copy, Debug)]
struct Pair {
    recorded: f64,
    displayed: f64,
    standard_error: f64,
}

/// How what is shown lies to what was recorded.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Line {
    /// So much of it, and the standard error of that.
    Ratio(f64, f64),
    /// So much more, and the standard error of that.
    Offset(f64, f64),
}

/// The median; values are finite.
fn median(mut values: Vec<f64>) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n => f64::midpoint(values[(n - 1) / 2], values[n / 2]),
    }
}

/// Standard error of a median, by the median of what is left; that of a normal distribution is 1.253 times the one of its mean.
fn median_error(values: &[f64], middle: f64) -> f64 {
    let left = median(values.iter().map(|v| (v - middle).abs()).collect());
    1.253 * 1.483 * left / (values.len() as f64 / ALIKE).max(1.0).sqrt()
}

/// The line that nearly all pairs lie on, when that is not the one on which both are the same.
fn line(pairs: &[Pair], tolerance: Option<f64>, is_round: bool) -> Option<Line> {
    if pairs.len() < FEWEST {
        return None;
    }
    let error = median(pairs.iter().map(|p| p.standard_error).collect());
    let allowed = tolerance.unwrap_or(0.0).max(3.0 * error);
    let way = |d: f64| if is_round { half_period(d, 360.0) } else { d };
    let share = |holds: &dyn Fn(&Pair) -> bool| {
        pairs.iter().filter(|p| holds(p)).count() as f64 / pairs.len() as f64
    };
    if share(&|p| way(p.displayed - p.recorded).abs() > allowed) < SHARE {
        return None;
    }
    let offsets: Vec<f64> = pairs
        .iter()
        .map(|p| way(p.displayed - p.recorded))
        .collect();
    let offset = median(offsets.clone());
    let is_off_alike = share(&|p| way(p.displayed - p.recorded - offset).abs() <= allowed) >= SHARE;
    // Near zero everything is a multiple of everything.
    let ratios: Vec<f64> = pairs
        .iter()
        .filter(|p| p.displayed.abs() > allowed && p.recorded != 0.0)
        .map(|p| p.displayed / p.recorded)
        .collect();
    if ratios.len() >= FEWEST && !(is_off_alike && is_round) {
        let ratio = median(ratios.clone());
        let ratio_error = median_error(&ratios, ratio);
        let is_on_line = share(&|p| (p.displayed - ratio * p.recorded).abs() <= allowed) >= SHARE;
        let is_clear = (ratio - 1.0).abs() > (MANY * ratio_error).max(LEAST_GAIN);
        // What hardly moves lies on both lines; then a ratio that stands for a unit is told by whoever asks.
        if is_on_line && is_clear && (!is_off_alike || is_a_unit(ratio, ratio_error)) {
            return Some(Line::Ratio(ratio, ratio_error));
        }
    }
    is_off_alike.then(|| Line::Offset(offset, median_error(&offsets, offset)))
}

/// Ratio within its error of that of two units, whichever.
fn is_a_unit(ratio: f64, error: f64) -> bool {
    units::factors().any(|factor| is_near(ratio, error, factor))
}

/// Whether a ratio is a factor, to within its error and that of a picture.
fn is_near(ratio: f64, error: f64, factor: f64) -> bool {
    (ratio - factor).abs() <= (3.0 * error).max(2e-3 * factor.abs())
}

impl Line {
    fn in_words(self, name: &str, unit: &str) -> String {
        match self {
            Self::Ratio(ratio, error) => {
                let known = units::related(unit).find_map(|other| {
                    let (factor, offset) = units::conversion(other, unit)?;
                    (offset == 0.0 && is_near(ratio, error, factor)).then_some((other, factor))
                });
                match known {
                    Some((other, factor)) => {
                        units_in_words(name, "reads", (factor, 0.0), unit, other)
                    }
                    None if is_near(ratio, error, -1.0) => {
                        format!(
                            "{name} reads its inputs with the sign turned: is their sign the display's?"
                        )
                    }
                    None => format!(
                        "{name} reads {} of its inputs throughout (standard error {}): is it recorded in the unit that is shown?",
                        figure(ratio),
                        figure(error)
                    ),
                }
            }
            Self::Offset(offset, error) => {
                let way = if offset < 0.0 { "less" } else { "more" };
                let blank = if unit.is_empty() { "" } else { " " };
                format!(
                    "{name} reads {}{blank}{unit} {way} than its inputs throughout (standard error {}): is its zero the display's?",
                    figure(offset.abs()),
                    figure(error)
                )
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(shown: impl Fn(f64) -> f64) -> Vec<Pair> {
        (0..60)
            .map(|k| {
                let recorded = 120.0 + 40.0 * f64::sin(f64::from(k) / 9.0);
                Pair {
                    recorded,
                    displayed: shown(recorded),
                    standard_error: 0.1,
                }
            })
            .collect()
    }

    fn said(shown: impl Fn(f64) -> f64, unit: &str) -> Option<String> {
        line(&pairs(shown), Some(2.0), false).map(|l| l.in_words("x", unit))
    }

    #[test]
    fn a_ratio_that_is_a_unit_is_named() {
        // NIST Special Publication 811, appendix B.8: 1 kn = 1.852 km/h, 1 ft = 0.3048 m, 1 rad = 57.29578 deg.
        for (unit, factor, said_so) in [
            (
                "kt",
                1.0 / 1.852,
                "x reads 0.540 of the inputs: kt shown, km/h recorded? Then say scale = 0.539956803",
            ),
            (
                "ft",
                1.0 / 0.3048,
                "x reads 3.28 of the inputs: ft shown, m recorded?",
            ),
            (
                "deg",
                57.295_78,
                "x reads 57.3 of the inputs: deg shown, rad recorded?",
            ),
        ] {
            let text = said(|v| v * factor + 0.05 * f64::sin(v), unit).expect("it is said");
            assert!(text.starts_with(said_so), "{text}");
        }
    }

    #[test]
    fn other_ratios_and_offsets_are_figures() {
        let text = said(|v| 1.25 * v, "kt").expect("it is said");
        assert!(
            text.starts_with("x reads 1.25 of its inputs throughout"),
            "{text}"
        );
        let text = said(|v| v - 30.0, "ft").expect("it is said");
        assert!(
            text.starts_with("x reads 30.0 ft less than its inputs throughout"),
            "{text}"
        );
        let text = said(|v| -v, "fpm").expect("it is said");
        assert!(text.contains("sign turned"), "{text}");
    }

    #[test]
    fn nothing_is_said_of_what_agrees_or_lies_on_no_line() {
        assert_eq!(said(|v| v + 0.5, "kt"), None);
        // Right half of the time.
        assert_eq!(said(|v| if v > 120.0 { v } else { v / 1.852 }, "kt"), None);
        // As a scale is read at the wrong label.
        assert_eq!(said(|v| v.rem_euclid(20.0) + 60.0, "kt"), None);
        assert_eq!(line(&pairs(|v| 2.0 * v)[..8], None, false), None);
    }
}
