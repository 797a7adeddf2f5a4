//! The display definition as it is written: plain data, one type per table of the TOML file.
//!
//! All positions are display pixels from the top left corner of the canvas; sizes are
//! pixels; angles are degrees, clock-wise, 0 pointing up, unless a field says otherwise.
//! Colours, fonts and channels are named here and resolved by `check`.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use super::include::{Include, Placed};
pub use super::pages::Page;
pub use super::palettes::Palette;
pub use super::recording_form::RecordingForm;
pub use super::symbols::{
    Symbol,
    alerts::{
        Alert, AlertClass, AlertColors, AlertHazards, Alerts, More, NewLook, SlotGround,
        Unacknowledged,
    },
    attitude::{Attitude, BankFixed, BankScale, PitchLadder, Slip},
    bar::{Bar, BarStyle},
    dial::{Dial, DialPointer, PointerShape},
    flag::{Flag, FlagLook, FlagState},
    liveness::Liveness,
    readout::Readout,
    rose::{Rose, Wind},
    tape::{Tape, Window},
    target::{Icon, IconShape, Target},
    text::Text,
    unchecked::Unchecked,
};
pub use super::tables::{ForEach, Table};

/// A name of a channel, colour or font, given elsewhere in the same file.
pub type Name = String;

/// The whole file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DisplayFile {
    /// Files whose tables belong to this one, in drawing order, before what stands here. Empty in a definition that was
    /// read: their tables stand among the others then.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub include: Vec<Include>,
    /// The canvas and what holds for the whole display.
    pub display: Display,
    /// Fonts by name: a built-in face or a TrueType file beside the definition.
    #[serde(default)]
    pub fonts: BTreeMap<Name, FontSource>,
    /// Colours by name, as `#rrggbb`.
    #[serde(default)]
    pub colors: BTreeMap<Name, String>,
    /// Artwork by name: SVG files beside the definition.
    #[serde(default)]
    pub artwork: BTreeMap<Name, ArtworkSource>,
    /// The requirements that regions verify, with their wording.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub requirements: Option<RequirementsSource>,
    /// How often the monitor may trip with nothing wrong, and how soon it must alert when something is, by hazard class.
    /// Regions of a class without a budget, or with confirmation times of their own, are confirmed by time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<Budgets>,
    /// Input channels by name.
    #[serde(default)]
    pub channels: BTreeMap<Name, Channel>,
    /// Further tables of the recording by name, each with a row a thing and time.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub tables: BTreeMap<Name, Table>,
    /// How recordings of the channels are written. Another bench says so in a file of its own (`--recording`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recording: Option<RecordingForm>,
    /// Pages that the display shows in turn: of those whose conditions hold the first is due. Without any, every region is
    /// shown all the time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub page: Vec<Page>,
    /// Other colours by condition: of the palettes whose conditions hold the first is due. Without any, colours are always
    /// those of `[colors]`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub palette: Vec<Palette>,
    /// Regions in drawing order; later ones lie on top.
    #[serde(default)]
    pub region: Vec<Region>,
}

/// The canvas and what holds for the whole display.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Display {
    /// What the display is called in reports.
    pub name: String,
    /// Canvas width, px.
    pub width: u32,
    /// Canvas height, px.
    pub height: u32,
    /// Colour of the empty canvas.
    pub background: Name,
    /// Staleness up to which a healthy display may lag its inputs, ms.
    #[serde(default = "default_max_latency_ms")]
    pub max_latency_ms: f64,
}

fn default_max_latency_ms() -> f64 {
    150.0
}

/// Budgets by hazard class.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Budgets {
    /// Of catastrophic regions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub catastrophic: Option<Budget>,
    /// Of hazardous ones.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hazardous: Option<Budget>,
    /// Of major ones.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub major: Option<Budget>,
    /// Of minor ones.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minor: Option<Budget>,
    /// Of those without a safety effect.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub none: Option<Budget>,
}

impl Budgets {
    /// That of a hazard class.
    #[must_use]
    pub const fn of(&self, hazard: Hazard) -> Option<Budget> {
        match hazard {
            Hazard::Catastrophic => self.catastrophic,
            Hazard::Hazardous => self.hazardous,
            Hazard::Major => self.major,
            Hazard::Minor => self.minor,
            Hazard::None => self.none,
        }
    }
}

/// What the regions of a hazard class may cost, and what is asked of them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Budget {
    /// Nuisance trips of all regions of the class together, at most, 1/h.
    pub nuisance_per_hour: f64,
    /// Time from the first frame with an error that matters until the alert, at most, ms.
    pub time_to_alert_ms: f64,
}

/// Where the outlines of a font come from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FontSource {
    /// A face that is part of the tool: `B612 Regular`, `B612 Bold`, `B612 Mono Regular`, `B612 Mono Bold`.
    pub builtin: Option<String>,
    /// A TrueType file, relative to the file that names it.
    #[schemars(extend("x-included" = "path"))]
    pub file: Option<String>,
}

/// An SVG file whose elements are drawn as they stand there, or are shapes of parts. Its text is set in the fonts of this
/// file, by their families. What is not drawn (filters, masks, pictures, references to other files) is refused.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ArtworkSource {
    /// The SVG file, relative to the file that names it, in its folder or one inside that.
    #[schemars(extend("x-included" = "path"))]
    pub file: String,
    /// Where the file's top left corner stands on the display, px.
    #[serde(default)]
    pub at: [f64; 2],
    /// Display pixels for one px of the file.
    #[serde(default = "default_artwork_scale")]
    pub scale: f64,
    /// Colours of the file, as `#rrggbb`, and for each the name of the colour that is drawn instead.
    #[serde(default)]
    pub colors: BTreeMap<String, Name>,
}

fn default_artwork_scale() -> f64 {
    1.0
}

/// A file of requirements: a table in CSV with a header, or an exchange file in ReqIF. Reports show what it says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RequirementsSource {
    /// The file, relative to the file that names it.
    #[schemars(extend("x-included" = "path"))]
    pub file: String,
    /// Column or attribute that holds the id, as regions name it; `id` or `ReqIF.ForeignID` when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// Column or attribute that holds the wording; `text` or `ReqIF.Text` when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// Column or attribute that holds the method of verification; `method` or `verification method`, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// Column or attribute that holds the hazard class; `hazard` or `hazard class`, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hazard: Option<String>,
}

/// One input quantity over time: a column of the recording, or worked out from other channels.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    /// Column of the recording. A channel has either this or an `expression`.
    pub column: Option<String>,
    /// How the value is worked out from other channels, in CEL (Common Expression Language), as in `fuel / flow * 60.0`.
    /// All numbers are floating-point numbers. Channels are named as they are, or by `channel("name")` where the name is
    /// no word of CEL. There are `+ - * / %`, comparisons, `&& || !`, `c ? a : b`, `x in [a, b]`; `abs`, `min`, `max`,
    /// `floor`, `ceil`, `round` (halves away from zero), `sqrt`, `wrap360` (into 0..360), `wrap180` (into -180..180),
    /// `valid(x)`, `is_channel_name(x)` whether x MHz is the name of a VHF channel (8.33 or 25 kHz), `is_transponder_code(x)`
    /// whether x is four octal digits, `x.to("kt")` (unit conversion); and of the recording's history, from its first row on:
    /// `seconds_since(c)` since `c` last began to hold, `seconds_within(c)` for which `c` has held in all,
    /// `delayed(c, s)` whether `c` has held for s seconds, `latched(set, reset)` from when `set` holds until `reset` holds
    /// and `set` does not, `held(x, c)` the value that `x` had before `c` began to hold and `x` itself while `c` does not,
    /// `rate(x)` the change of `x` a second since the row before, `rate(x, s)` over the last s seconds, `before(x, s)` the
    /// value that `x` had s seconds ago. The result has no value where it is divided by zero, is
    /// not finite, or depends on data without a value. A truth is shown as 1 or 0, and is a truth in other expressions.
    pub expression: Option<String>,
    /// Engineering unit, as reports print it. In expressions, values of different units are not added or compared.
    #[serde(default)]
    pub unit: String,
    /// Lowest and highest value that the source can give; a value outside counts as invalid. Not for text. Where it
    /// goes below 0, an angular channel counts in the turn about its middle: `[-180, 180]` makes values lie in -180..180.
    pub range: Option<[f64; 2]>,
    /// How values between two rows are found. An expression is worked out from the values of its channels at the moment
    /// itself; with `hold`, from those at the row before.
    #[serde(default)]
    pub interpolation: Interpolation,
    /// Age of the newest row with a value, ms, after which the data count as invalid.
    #[serde(default = "default_max_age_ms")]
    pub max_age_ms: f64,
    /// Column that says whether the value is valid (1, true, yes, valid) or not (0, false, no, invalid). Not with an
    /// expression, which is valid when what it is worked out from is.
    pub validity_column: Option<String>,
    /// The table of `[tables]` that its columns are of; the recording itself when absent. Its name then holds `{slot}` for
    /// the number of each slot, after the table's name and `_`: `traffic_{slot}_distance`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub table: Option<Name>,
    /// The slot of the table, counted from 1: that of `{slot}` when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slot: Option<u32>,
}

impl Channel {
    /// Where the turn begins that an angular channel counts in, deg: its values lie from there to 360 above it. It begins at
    /// 0, but where the range goes below 0, the middle of the range is the middle of the turn.
    #[must_use]
    pub fn turn_begin_deg(&self) -> f64 {
        match self.range {
            Some([low, high]) if low < 0.0 => f64::midpoint(low, high) - 180.0,
            _ => 0.0,
        }
    }
}

fn default_max_age_ms() -> f64 {
    2000.0
}

/// How values between two rows are found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Interpolation {
    /// Straight line between neighbouring rows.
    #[default]
    Linear,
    /// The shortest way round a circle of 360 degrees; results lie in 0..360, or, where `range` goes below 0, in
    /// the turn about its middle.
    Angular,
    /// The value of the row before.
    Hold,
    /// The text of the row before.
    Text,
}

/// What a wrong picture in a region means for the crew, most severe first.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Hazard {
    /// Catastrophic.
    Catastrophic,
    /// Hazardous.
    Hazardous,
    /// Major.
    Major,
    /// Minor.
    Minor,
    /// No safety effect.
    None,
}

impl Hazard {
    /// All classes, most severe first.
    pub const ALL: [Self; 5] = [
        Self::Catastrophic,
        Self::Hazardous,
        Self::Major,
        Self::Minor,
        Self::None,
    ];

    /// Its word in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Catastrophic => "catastrophic",
            Self::Hazardous => "hazardous",
            Self::Major => "major",
            Self::Minor => "minor",
            Self::None => "none",
        }
    }

    /// The class that a word of another tool means; `None` where it is none of these.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        let word = word.trim().to_ascii_lowercase();
        match word.as_str() {
            // As the classes of failure conditions are called in AMC 25.1309 (from memory).
            "no safety effect" | "no effect" => Some(Self::None),
            other => Self::ALL.into_iter().find(|h| h.name() == other),
        }
    }
}

/// A rectangle of the display with its own symbols, tolerances, hazard class and verdict.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// Name in verdicts and reports; unique.
    #[schemars(extend("x-included" = "id"))]
    pub id: String,
    /// `[x, y, width, height]`, px.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// What a wrong picture here means for the crew.
    pub hazard: Hazard,
    /// Pages that it belongs to, by their `id`; all of them when absent.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pages: Vec<Name>,
    /// Requirement ids that the region verifies.
    #[serde(default)]
    pub requirements: Vec<String>,
    /// How long a fault must persist before it is raised, ms; where its hazard class has a `budget`, that decides, and pictures
    /// that are wrong in themselves are confirmed after the usual time. 300 when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confirm_ms: Option<f64>,
    /// Also raises a fault that comes and goes: `[k, n]`, at least k of the last n frames were faulty.
    pub confirm_frames: Option<[u32; 2]>,
    /// How long the picture must agree before the event ends, ms.
    #[serde(default = "default_recover_ms")]
    pub recover_ms: f64,
    /// Staleness allowed here, ms; the display's when absent.
    pub max_latency_ms: Option<f64>,
    /// Largest permitted error by channel, in the channel's unit.
    #[serde(default)]
    pub tolerance: BTreeMap<Name, f64>,
    /// Symbols in drawing order.
    #[serde(default)]
    pub symbol: Vec<Symbol>,
    /// Symbols that stand there once for every slot of a table, after the others.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub for_each: Vec<ForEach>,
}

/// Confirmation time where a definition gives none, ms.
const USUAL_CONFIRM_MS: f64 = 300.0;

impl Region {
    /// How long a fault must persist before it is raised, ms, where no budget decides.
    #[must_use]
    pub fn confirm_ms(&self) -> f64 {
        self.confirm_ms.unwrap_or(USUAL_CONFIRM_MS)
    }
}

impl DisplayFile {
    /// Writes the usual confirmation time into each region whose faults are confirmed by time and that gives none: a region
    /// without one has a budget then.
    pub(super) fn settle_confirmation(&mut self) {
        for region in &mut self.region {
            let has_budget = self.budget.is_some_and(|b| b.of(region.hazard).is_some());
            if region.confirm_frames.is_some() || !has_budget {
                region.confirm_ms.get_or_insert(USUAL_CONFIRM_MS);
            }
        }
    }
}

fn default_recover_ms() -> f64 {
    500.0
}

/// Longest window of [`Region::confirm_frames`].
pub const MAX_WINDOW_FRAMES: u32 = 128;

/// What a symbol must look like when its data are invalid or too old.
///
/// The symbol's area is cleared to `background`, crossed out with two diagonal lines in
/// `color` when `cross` is set, and `text` stands in its middle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FailureFlag {
    /// Area of the flag, `[x, y, width, height]`, px.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// Words of the flag; may be empty.
    #[serde(default)]
    pub text: String,
    /// Font of the words.
    pub font: Name,
    /// Size of the words (em), px.
    pub size: f64,
    /// Colour of words and cross.
    pub color: Name,
    /// Colour that the area is cleared to.
    pub background: Name,
    /// Whether the area is crossed out.
    #[serde(default)]
    pub cross: bool,
    /// Width of the cross, px.
    #[serde(default = "default_cross_width")]
    pub cross_width: f64,
    /// Free space that a cross leaves round the words, em.
    #[serde(default = "default_text_margin")]
    pub text_margin: f64,
}

fn default_cross_width() -> f64 {
    3.0
}

fn default_text_margin() -> f64 {
    0.3
}

/// How a number is written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct NumberFormat {
    /// Multiplies the value first (unit conversion).
    pub scale: f64,
    /// Is added after `scale`.
    pub offset: f64,
    /// The result is rounded to a multiple of this; `10^-decimals` when absent. Halves go away from zero.
    pub quantum: Option<f64>,
    /// Digits after the point.
    pub decimals: u8,
    /// Least number of digits before the point, filled with zeros.
    pub digits: u8,
    /// Whether a plus sign is written.
    pub plus: bool,
    /// Whether a number of seconds is written as minutes and seconds, `02:05`; `digits` are those of the minutes then. A
    /// stopwatch that shows whole seconds gone by has an `offset` of -0.4999.
    #[serde(skip_serializing_if = "is_not")]
    pub minutes: bool,
    /// Values are brought into `0..wrap` after rounding (360 for headings).
    pub wrap: Option<f64>,
    /// Written instead of 0 after wrapping (a heading reads 360, not 000).
    pub zero_as_wrap: bool,
    /// Written before the number.
    pub prefix: String,
    /// Written after the number.
    pub suffix: String,
}

impl Default for NumberFormat {
    fn default() -> Self {
        Self {
            scale: 1.0,
            offset: 0.0,
            quantum: None,
            decimals: 0,
            digits: 1,
            plus: false,
            minutes: false,
            wrap: None,
            zero_as_wrap: false,
            prefix: String::new(),
            suffix: String::new(),
        }
    }
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands over references"
)]
const fn is_not(v: &bool) -> bool {
    !*v
}

/// A colour that holds while every condition does; the first rule that holds wins.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ColorRule {
    /// All of these must hold.
    pub when: Vec<Condition>,
    /// The colour then.
    pub color: Name,
}

/// What must hold of the inputs: comparisons of one channel, or other conditions joined by `all`, `any` or `not`.
///
/// A comparison with data that are invalid is undecided: neither it nor its `not` holds. `all` fails as soon as one member
/// is known to fail, and `any` holds as soon as one is known to hold, whatever is undecided (Kleene's logic of three values).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Condition {
    /// The channel looked at; every comparison that is given must hold of it.
    pub channel: Option<Name>,
    /// Holds when the value is below this.
    pub below: Option<Operand>,
    /// Holds when the value is at or below this.
    pub at_most: Option<Operand>,
    /// Holds when the value is at or above this.
    pub at_least: Option<Operand>,
    /// Holds when the value is above this.
    pub above: Option<Operand>,
    /// Holds when the value equals this: a number, or the words of a text channel.
    pub equals: Option<Operand>,
    /// Holds when the value equals one of these.
    pub is_one_of: Option<Vec<Operand>>,
    /// Whether the value without its sign is compared.
    #[serde(default)]
    pub absolute: bool,
    /// Holds when the data are valid (`true`), or when they are invalid or too old (`false`).
    pub valid: Option<bool>,
    /// How far the value must go back past a bound before the condition ends, in the channel's unit: with `below = 50` and
    /// `hysteresis = 2` it begins to hold below 50 and ends at 52; with `at_least = 100` it ends below 98. What held before
    /// is known from the recording's rows, from the first one on.
    pub hysteresis: Option<f64>,
    /// Holds while all of these do.
    pub all: Option<Vec<Self>>,
    /// Holds while at least one of these does.
    pub any: Option<Vec<Self>>,
    /// Holds while this does not.
    pub not: Option<Box<Self>>,
    /// Holds only after what is asked has held this long, ms, counted from the first row of the recording at which it did.
    pub delay_ms: Option<f64>,
}

impl Condition {
    /// The conditions that this one joins.
    pub fn members(&self) -> impl Iterator<Item = &Self> {
        let lists = [&self.all, &self.any].into_iter().flatten().flatten();
        lists.chain(self.not.as_deref())
    }

    /// Comparisons with a bound, in the order of the keys, and the word of each in the file.
    #[must_use]
    pub fn bounds(&self) -> [(&'static str, Option<&Operand>); 5] {
        [
            ("below", self.below.as_ref()),
            ("at_most", self.at_most.as_ref()),
            ("at_least", self.at_least.as_ref()),
            ("above", self.above.as_ref()),
            ("equals", self.equals.as_ref()),
        ]
    }

    /// Whether it depends on what was before, and not on the inputs of the moment alone. Those of its members do not count.
    #[must_use]
    pub const fn has_memory(&self) -> bool {
        self.hysteresis.is_some() || self.delay_ms.is_some()
    }

    /// Whether its channel must be one of numbers: it is compared by size, or with a number.
    #[must_use]
    pub fn needs_number(&self) -> bool {
        let is_number = |o: &Operand| matches!(o, Operand::Number(_));
        let [order @ .., _] = self.bounds();
        self.absolute
            || self.hysteresis.is_some()
            || order.iter().any(|(_, bound)| bound.is_some())
            || self
                .equals
                .iter()
                .chain(self.is_one_of.iter().flatten())
                .any(is_number)
    }

    /// Calls `visit` with every channel whose value is compared here or in a member; not with those of which only the
    /// validity is asked.
    pub fn compared_channels<'c>(&'c self, visit: &mut dyn FnMut(&'c str)) {
        if self.valid.is_none() {
            self.channel.as_deref().into_iter().for_each(&mut *visit);
        }
        let bounds = self.bounds().into_iter().filter_map(|(_, b)| b);
        for operand in bounds.chain(self.is_one_of.iter().flatten()) {
            if let Operand::Channel { channel } = operand {
                visit(channel);
            }
        }
        for member in self.members() {
            member.compared_channels(visit);
        }
    }
}

/// What a channel is compared with: a number, words, or another channel, as in `{ channel = "target_speed" }`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged, deny_unknown_fields)]
pub enum Operand {
    /// A number.
    Number(f64),
    /// Words, for a text channel.
    Text(String),
    /// The value of another channel at the same moment.
    Channel {
        /// The other channel.
        channel: Name,
    },
}

impl Condition {
    /// Holds while the channel is at or above `low` and below `high`.
    #[must_use]
    pub fn between(channel: &str, low: f64, high: f64) -> Self {
        Self {
            below: Some(Operand::Number(high)),
            ..Self::at_least(channel, low)
        }
    }

    /// Holds while the channel is at or above `low`.
    #[must_use]
    pub fn at_least(channel: &str, low: f64) -> Self {
        Self {
            channel: Some(channel.into()),
            at_least: Some(Operand::Number(low)),
            ..Self::default()
        }
    }
}

/// How a line of words sits on its position.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Align {
    /// The position is the left end.
    Left,
    /// The position is the middle.
    #[default]
    Center,
    /// The position is the right end.
    Right,
}

pub(in crate::definition) fn default_line_width() -> f64 {
    2.0
}

/// A coloured stretch of a scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Value where the band begins.
    pub from: f64,
    /// Value where the band ends.
    pub to: f64,
    /// Colour.
    pub color: Name,
}

/// A value marked by a short line across the scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LimitMark {
    /// The value.
    pub at: f64,
    /// Colour.
    pub color: Name,
}

/// Marks and numbers of a scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Ticks {
    /// Units between long marks.
    pub major_step: f64,
    /// Length of a long mark, px.
    pub major_length: f64,
    /// Units between short marks; none when absent.
    pub minor_step: Option<f64>,
    /// Length of a short mark, px.
    #[serde(default)]
    pub minor_length: f64,
    /// Width of the marks, px.
    #[serde(default = "default_line_width")]
    pub width: f64,
    /// Width of the short marks, px; that of the long ones when absent.
    pub minor_width: Option<f64>,
    /// Colour of marks and numbers.
    pub color: Name,
    /// Numbers at the long marks; none when absent.
    pub labels: Option<Labels>,
}

/// Numbers of a scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Labels {
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// Units between numbers; that of the long marks when absent.
    pub step: Option<f64>,
    /// Distance of the middle of a number from the scale's line, px.
    pub distance: f64,
    /// How a number is written.
    #[serde(default)]
    pub format: NumberFormat,
}

pub(in crate::definition) fn default_band_width() -> f64 {
    6.0
}

/// Which way a straight scale runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Values grow upwards.
    Up,
    /// Values grow downwards.
    Down,
    /// Values grow to the right.
    Right,
    /// Values grow to the left.
    Left,
}

/// On which edge of its area a straight scale has its line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Edge {
    /// Left edge.
    Left,
    /// Right edge.
    Right,
    /// Top edge.
    Top,
    /// Bottom edge.
    Bottom,
}

/// A mark at the value of another channel; it stops at the ends of a tape, and is not drawn when invalid.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Bug {
    /// The channel that it shows.
    pub channel: Name,
    /// Colour.
    pub color: Name,
    /// Size along and across the scale, px.
    pub size: [f64; 2],
    /// Width and depth of the notch that stands at the value, against those of the bug.
    #[serde(default = "default_notch")]
    pub notch: [f64; 2],
}

fn default_notch() -> [f64; 2] {
    [0.5, 0.5]
}
