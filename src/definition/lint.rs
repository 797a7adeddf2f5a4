//! Advice on a definition that is possible but unwise, and where its channels come from.
//!
//! *The question*: will this definition judge as its author believes? The commonest
//! disappointment is a tolerance that the pixels cannot show: the checker then sees nothing
//! between "agrees" and an error several times as large. So for each channel that moves a mark
//! the tolerance is turned into pixels of travel.
//!
//! *What it assumes*: half a pixel of travel is the least that is told apart on a compressed
//! capture (readings there have a standard error of about 0.1 px, and the least error that is
//! surely seen is several times that); digits need 9 px of cap height, and 12 px once the
//! capture was compressed at H.264 crf 23. *What it cannot see*: the capture chain. Measure it
//! with the calibration before relying on a tolerance that is near these limits.

use std::collections::BTreeSet;
use std::fmt;

use super::Definition;
use super::model::{
    Alerts, Align, Attitude, Band, Dial, Hazard, Interpolation, NumberFormat, Readout, Region,
    Rose, Symbol,
};
use super::uses::{self, Role, Use};
use crate::picture::{Point, Rect, Rgb};
use crate::reference::scene::{Bounds, on_clock};

/// Least travel that a tolerance should have, px.
pub const LEAST_TRAVEL_PX: f64 = 0.5;
/// Cap height below which digits cannot be told apart reliably, px.
pub const LEAST_CAP_HEIGHT_PX: f64 = 9.0;
/// Cap height that digits need on captures compressed at H.264 crf 23, px.
pub const COMPRESSED_CAP_HEIGHT_PX: f64 = 12.0;
/// Thickness below which a line that moves is too thin to count on, px: below half of it, its loss is not noticed
/// (`crate::reference::slivers`), and a needle's point is thinner than the needle.
const LEAST_LINE_PX: f64 = 1.0;
/// How far ink may reach over a region's border before it is worth a word, px: the
/// anti-aliased edge.
const OUTSIDE_PX: f64 = 1.0;

/// Something possible but unwise.
#[derive(Clone, Debug, PartialEq)]
pub enum Warning {
    /// The largest permitted error moves the mark by less than the pixels show.
    ToleranceBelowPixels {
        /// Region.
        region: String,
        /// Kind of the symbol.
        symbol: &'static str,
        /// Channel.
        channel: String,
        /// Its tolerance, in its unit.
        tolerance: f64,
        /// Its unit.
        unit: String,
        /// Travel for the tolerance, px.
        travel_px: f64,
    },
    /// A readout is written in steps that are larger than the permitted error.
    ReadoutCoarserThanTolerance {
        /// Region.
        region: String,
        /// Channel.
        channel: String,
        /// Step of the readout, in the channel's unit.
        step: f64,
        /// Tolerance of the channel.
        tolerance: f64,
    },
    /// Rounding is finer than the digits that are written.
    QuantumFinerThanDigits {
        /// Region.
        region: String,
        /// Channel.
        channel: String,
        /// The format's quantum.
        quantum: f64,
        /// The format's decimals.
        decimals: u8,
    },
    /// A tolerance for a channel that the region does not use.
    ToleranceUnused {
        /// Region.
        region: String,
        /// Channel.
        channel: String,
    },
    /// The tolerance is so wide that no value in the channel's range can break it.
    ToleranceCoversRange {
        /// Region.
        region: String,
        /// Channel.
        channel: String,
        /// Tolerance.
        tolerance: f64,
        /// Width of the channel's range.
        range: f64,
    },
    /// A symbol draws outside its region.
    SymbolOutsideRegion {
        /// Region.
        region: String,
        /// Index of the symbol.
        index: usize,
        /// Its kind.
        symbol: &'static str,
        /// How far, px.
        by_px: f64,
    },
    /// Words whose capitals are too low.
    TextTooSmall {
        /// Region.
        region: String,
        /// Font.
        font: String,
        /// Size of the em, px.
        size: f64,
        /// Height of capitals, px.
        cap_height_px: f64,
    },
    /// A line that moves and that rasterisers may leave out.
    LineTooThin {
        /// Region.
        region: String,
        /// Kind of the symbol.
        symbol: &'static str,
        /// Width of the line, px.
        width_px: f64,
    },
    /// A band or limit that lies outside its scale.
    MarkOutsideScale {
        /// Region.
        region: String,
        /// Kind of the symbol.
        symbol: &'static str,
        /// The value outside.
        value: f64,
        /// Ends of the scale.
        scale: [f64; 2],
    },
    /// A repeating scale whose marks do not meet at the seam.
    SeamInScale {
        /// Region.
        region: String,
        /// Period.
        period: f64,
        /// Step that does not divide it.
        step: f64,
    },
    /// A region that traces to no requirement.
    RegionWithoutRequirement {
        /// Region.
        region: String,
    },
    /// A region that has nothing to check.
    NothingToCheck {
        /// Region.
        region: String,
    },
    /// A region without safety effect that verifies requirements.
    HazardNoneWithRequirements {
        /// Region.
        region: String,
    },
    /// A severe hazard that stands for long before it is raised.
    SlowConfirmation {
        /// Region.
        region: String,
        /// Hazard class.
        hazard: Hazard,
        /// Latency and confirmation together, ms.
        after_ms: f64,
    },
    /// Advice that is never shown.
    AdviceNeverShown {
        /// Region.
        region: String,
        /// Words of the first such alert.
        alert: String,
    },
    /// Alerts in one list that look the same.
    AlertsAlike {
        /// Region.
        region: String,
        /// Words of both.
        alert: String,
    },
    /// A colour that says something else than its alert class.
    AlertColor {
        /// Region.
        region: String,
        /// `warning`, `caution` or `advisory`.
        class: &'static str,
        /// Name of the colour.
        color: String,
    },
    /// A number format on a text channel.
    FormatUnused {
        /// Region.
        region: String,
        /// Channel.
        channel: String,
    },
    /// A colour that nothing uses.
    UnusedColor {
        /// Name.
        name: String,
    },
    /// A font that nothing uses.
    UnusedFont {
        /// Name.
        name: String,
    },
    /// A channel that nothing uses.
    UnusedChannel {
        /// Name.
        name: String,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ToleranceBelowPixels {
                region,
                symbol,
                channel,
                tolerance,
                unit,
                travel_px,
            } => {
                let unit = if unit.is_empty() {
                    String::new()
                } else {
                    format!(" {unit}")
                };
                write!(
                    f,
                    "region \"{region}\": an error of {tolerance}{unit} in \"{channel}\" moves the {symbol} by {travel_px:.2} px"
                )
            }
            Self::ReadoutCoarserThanTolerance {
                region,
                channel,
                step,
                tolerance,
            } => write!(
                f,
                "region \"{region}\": \"{channel}\" is written in steps of {step}, coarser than its tolerance {tolerance}"
            ),
            Self::QuantumFinerThanDigits {
                region,
                channel,
                quantum,
                decimals,
            } => write!(
                f,
                "region \"{region}\": \"{channel}\" is rounded to {quantum} but written with {decimals} decimals"
            ),
            Self::ToleranceUnused { region, channel } => {
                write!(
                    f,
                    "region \"{region}\" has a tolerance for \"{channel}\" but does not use it"
                )
            }
            Self::ToleranceCoversRange {
                region,
                channel,
                tolerance,
                range,
            } => write!(
                f,
                "region \"{region}\": tolerance {tolerance} for \"{channel}\" covers its whole range of {range}"
            ),
            Self::SymbolOutsideRegion {
                region,
                index,
                symbol,
                by_px,
            } => {
                write!(
                    f,
                    "region \"{region}\": symbol {index} ({symbol}) reaches {by_px:.1} px over its border"
                )
            }
            Self::TextTooSmall {
                region,
                font,
                size,
                cap_height_px,
            } => write!(
                f,
                "region \"{region}\": font \"{font}\" at {size} px has capitals of {cap_height_px:.1} px"
            ),
            Self::LineTooThin {
                region,
                symbol,
                width_px,
            } => write!(
                f,
                "region \"{region}\": a line of the {symbol} that moves is {width_px} px wide"
            ),
            Self::MarkOutsideScale {
                region,
                symbol,
                value,
                scale: [low, high],
            } => write!(
                f,
                "region \"{region}\": {value} is marked on a {symbol} that runs from {low} to {high}"
            ),
            Self::SeamInScale {
                region,
                period,
                step,
            } => {
                write!(
                    f,
                    "region \"{region}\": the tape's period {period} is no multiple of its step {step}"
                )
            }
            Self::RegionWithoutRequirement { region } => {
                write!(f, "region \"{region}\" names no requirement")
            }
            Self::NothingToCheck { region } => {
                write!(f, "region \"{region}\" holds nothing that is checked")
            }
            Self::HazardNoneWithRequirements { region } => {
                write!(
                    f,
                    "region \"{region}\" has hazard none and yet verifies requirements"
                )
            }
            Self::SlowConfirmation {
                region,
                hazard,
                after_ms,
            } => write!(
                f,
                "region \"{region}\": a {} picture stands for at least {after_ms} ms before it is raised",
                match hazard {
                    Hazard::Catastrophic => "catastrophic",
                    Hazard::Hazardous => "hazardous",
                    Hazard::Major => "major",
                    Hazard::Minor => "minor",
                    Hazard::None => "harmless",
                }
            ),
            Self::AdviceNeverShown { region, alert } => {
                write!(
                    f,
                    "region \"{region}\": the advice of \"{alert}\" has no place to be shown"
                )
            }
            Self::AlertsAlike { region, alert } => {
                write!(
                    f,
                    "region \"{region}\": two alerts of one class both read \"{alert}\""
                )
            }
            Self::AlertColor {
                region,
                class,
                color,
            } => write!(
                f,
                "region \"{region}\": {class} alerts are shown in \"{color}\", which is not {}",
                match *class {
                    "warning" => "red",
                    "caution" => "amber",
                    _ => "told apart from red and amber",
                }
            ),
            Self::FormatUnused { region, channel } => {
                write!(
                    f,
                    "region \"{region}\": the readout of the text channel \"{channel}\" has a number format"
                )
            }
            Self::UnusedColor { name } => write!(f, "colour \"{name}\" is not used"),
            Self::UnusedFont { name } => write!(f, "font \"{name}\" is not used"),
            Self::UnusedChannel { name } => write!(f, "channel \"{name}\" is not used"),
        }
    }
}

impl Warning {
    /// What to do about it.
    #[must_use]
    pub fn advice(&self) -> String {
        match self {
            Self::ToleranceBelowPixels { tolerance, travel_px, .. } => {
                let least = tolerance * LEAST_TRAVEL_PX / travel_px;
                format!("allow at least {least:.3}, or draw the scale larger: below {LEAST_TRAVEL_PX} px a reading cannot be relied on")
            }
            Self::ReadoutCoarserThanTolerance { step, .. } => format!(
                "digits show an error only from half a step on; allow at least {step}, or write finer steps"
            ),
            Self::QuantumFinerThanDigits { .. } => "give more decimals, or a quantum that the digits can show".into(),
            Self::ToleranceUnused { .. } => "remove it, or move it to the region that shows the channel".into(),
            Self::ToleranceCoversRange { .. } => "no error can be found with it; give a smaller one".into(),
            Self::SymbolOutsideRegion { .. } => {
                "enlarge the region: what is drawn outside is cut off and not checked".into()
            }
            Self::TextTooSmall { cap_height_px, .. } if *cap_height_px < LEAST_CAP_HEIGHT_PX => {
                format!("digits cannot be told apart reliably below {LEAST_CAP_HEIGHT_PX} px")
            }
            Self::TextTooSmall { .. } => format!(
                "enough for clean captures; {COMPRESSED_CAP_HEIGHT_PX} px are recommended for captures compressed at H.264 crf 23"
            ),
            Self::LineTooThin { .. } => format!(
                "draw it {LEAST_LINE_PX} px wide or more: rasterisers may leave out what is thinner, and its loss may go unnoticed"
            ),
            Self::MarkOutsideScale { .. } => "it is cut at the end of the scale; correct the value or the scale".into(),
            Self::SeamInScale { .. } => "marks and numbers jump where the scale repeats; choose a step that divides the period".into(),
            Self::RegionWithoutRequirement { .. } => "add requirements = [...], so that its results can be traced".into(),
            Self::NothingToCheck { .. } => "give it symbols, or remove it".into(),
            Self::HazardNoneWithRequirements { .. } => "faults there are only noted; check the class against the safety assessment".into(),
            Self::SlowConfirmation { .. } => "check confirm_ms and max_latency_ms against the time that the safety assessment allows".into(),
            Self::AdviceNeverShown { .. } => "give advice_position, or remove the advice".into(),
            Self::AlertsAlike { .. } => "give them different words: which of them is shown cannot be seen".into(),
            Self::AlertColor { class, .. } => match *class {
                "warning" => "red is the colour of warnings (14 CFR 27.1322)".into(),
                "caution" => "amber is the colour of cautions (14 CFR 27.1322)".into(),
                _ => "red and amber are kept for warnings and cautions (14 CFR 27.1322)".into(),
            },
            Self::FormatUnused { .. } => "remove it: text is written as it is".into(),
            Self::UnusedColor { .. } | Self::UnusedFont { .. } | Self::UnusedChannel { .. } => {
                "remove it, or use it".into()
            }
        }
    }
}

/// Where a channel comes from and where it goes.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSource<'d> {
    /// The channel.
    pub channel: &'d str,
    /// Column of the recording.
    pub column: &'d str,
    /// Column of its validity.
    pub validity_column: Option<&'d str>,
    /// Unit.
    pub unit: &'d str,
    /// How values between two rows are found.
    pub interpolation: Interpolation,
    /// Ids of the regions that depend on it, in the order of the file.
    pub regions: Vec<&'d str>,
}

/// All channels, by name, with their columns and the regions that depend on them.
#[must_use]
pub fn channel_sources(definition: &Definition) -> Vec<ChannelSource<'_>> {
    let used: Vec<_> = definition
        .regions()
        .iter()
        .map(|r| (r, r.channels_used()))
        .collect();
    let sources = definition.channels().iter().map(|(name, channel)| {
        let regions = used
            .iter()
            .filter(|(_, names)| names.contains(name.as_str()));
        ChannelSource {
            channel: name,
            column: &channel.column,
            validity_column: channel.validity_column.as_deref(),
            unit: &channel.unit,
            interpolation: channel.interpolation,
            regions: regions.map(|(r, _)| r.id.as_str()).collect(),
        }
    });
    sources.collect()
}

/// Advice on `definition`, in the order of the file; names that nothing uses come last.
#[must_use]
pub fn lint(definition: &Definition) -> Vec<Warning> {
    let mut lint = Lint {
        definition,
        warnings: Vec::new(),
    };
    for region in definition.regions() {
        lint.region(region);
    }
    lint.unused();
    lint.warnings
}

struct Lint<'d> {
    definition: &'d Definition,
    warnings: Vec<Warning>,
}

impl Lint<'_> {
    fn say(&mut self, warning: Warning) {
        if !self.warnings.contains(&warning) {
            self.warnings.push(warning);
        }
    }

    fn region(&mut self, r: &Region) {
        let region = r.id.clone();
        let is_left_out = |s: &Symbol| matches!(s, Symbol::Unchecked(_));
        if r.symbol.is_empty() {
            self.say(Warning::NothingToCheck { region });
            return;
        }
        if r.symbol.iter().all(is_left_out) {
            // Said in the file, with a reason: nothing to trace, nothing to resolve.
            for (index, symbol) in r.symbol.iter().enumerate() {
                self.extent(r, index, symbol);
            }
            return;
        }
        if r.requirements.is_empty() {
            let region = region.clone();
            self.say(Warning::RegionWithoutRequirement { region });
        } else if r.hazard == Hazard::None {
            let region = region.clone();
            self.say(Warning::HazardNoneWithRequirements { region });
        }
        let latency_ms = r
            .max_latency_ms
            .unwrap_or(self.definition.file().display.max_latency_ms);
        let after_ms = latency_ms + r.confirm_ms;
        // Recovery from an unusual attitude is to begin within 1 s (AMC 25-11, appendix 1); a
        // picture that misleads for as long as that has been acted on.
        if r.hazard <= Hazard::Hazardous && after_ms > 1000.0 {
            self.say(Warning::SlowConfirmation {
                region,
                hazard: r.hazard,
                after_ms,
            });
        }
        self.tolerances(r);
        self.text_sizes(r);
        for (index, symbol) in r.symbol.iter().enumerate() {
            self.extent(r, index, symbol);
            self.lines(r, symbol);
            self.symbol(r, symbol);
        }
    }

    fn tolerances(&mut self, r: &Region) {
        for shown in r.shown() {
            let Some(&tolerance) = r.tolerance.get(shown.channel) else {
                continue;
            };
            let travel_px = tolerance * shown.px_per_unit;
            if travel_px < LEAST_TRAVEL_PX {
                self.say(Warning::ToleranceBelowPixels {
                    region: r.id.clone(),
                    symbol: r.symbol[shown.symbol].kind(),
                    channel: shown.channel.to_owned(),
                    tolerance,
                    unit: self.unit(shown.channel),
                    travel_px,
                });
            }
        }
        let used = r.channels_used();
        for (channel, &tolerance) in &r.tolerance {
            if !used.contains(channel.as_str()) {
                self.say(Warning::ToleranceUnused {
                    region: r.id.clone(),
                    channel: channel.clone(),
                });
            }
            let range = self.definition.file().channels[channel].range;
            if let Some(range) = range
                .map(|[low, high]| high - low)
                .filter(|&w| tolerance >= w)
            {
                let (region, channel) = (r.id.clone(), channel.clone());
                self.say(Warning::ToleranceCoversRange {
                    region,
                    channel,
                    tolerance,
                    range,
                });
            }
        }
    }

    fn unit(&self, channel: &str) -> String {
        self.definition.file().channels[channel].unit.clone()
    }

    fn text_sizes(&mut self, r: &Region) {
        let mut sizes = BTreeSet::new();
        for symbol in &r.symbol {
            uses::of_symbol(symbol, &mut |_, what| {
                if let Use::Font { name, size } = what {
                    // Sizes are positive, so their bits sort as they do.
                    sizes.insert((name.to_owned(), size.to_bits()));
                }
            });
        }
        for (font, bits) in sizes {
            let size = f64::from_bits(bits);
            let cap_height_px = size * self.definition.face(self.definition.font(&font)).cap_height;
            if cap_height_px < COMPRESSED_CAP_HEIGHT_PX {
                self.say(Warning::TextTooSmall {
                    region: r.id.clone(),
                    font,
                    size,
                    cap_height_px,
                });
            }
        }
    }

    fn extent(&mut self, r: &Region, index: usize, symbol: &Symbol) {
        let ink = Extent {
            definition: self.definition,
            ink: Bounds::EMPTY,
        }
        .of(symbol);
        if ink.is_empty() {
            return;
        }
        let area = Bounds::from_rect(r.rect);
        let by_px = (area.left - ink.left)
            .max(area.top - ink.top)
            .max(ink.right - area.right)
            .max(ink.bottom - area.bottom);
        if by_px > OUTSIDE_PX {
            let (region, symbol) = (r.id.clone(), symbol.kind());
            self.say(Warning::SymbolOutsideRegion {
                region,
                index,
                symbol,
                by_px,
            });
        }
    }

    fn lines(&mut self, r: &Region, symbol: &Symbol) {
        let widths: Vec<f64> = match symbol {
            Symbol::Attitude(a) => vec![a.line_width],
            Symbol::Dial(d) => d.pointers.iter().map(|p| p.width).collect(),
            Symbol::Tape(t) => vec![t.ticks.width],
            Symbol::Rose(rose) => {
                let wind = rose.wind.iter().map(|w| w.width);
                std::iter::once(rose.mark_width).chain(wind).collect()
            }
            _ => Vec::new(),
        };
        for width_px in widths.into_iter().filter(|w| *w < LEAST_LINE_PX) {
            self.say(Warning::LineTooThin {
                region: r.id.clone(),
                symbol: symbol.kind(),
                width_px,
            });
        }
    }

    fn symbol(&mut self, r: &Region, symbol: &Symbol) {
        let kind = symbol.kind();
        match symbol {
            Symbol::Attitude(_)
            | Symbol::Flag(_)
            | Symbol::Text(_)
            | Symbol::Liveness(_)
            | Symbol::Unchecked(_) => {}
            Symbol::Dial(d) => {
                self.marks(
                    r,
                    kind,
                    ends(&d.breakpoints),
                    &d.bands,
                    d.limits.iter().map(|l| l.at),
                );
                self.readouts(r, d.readout.iter());
            }
            Symbol::Tape(t) => {
                match t.period {
                    None => self.marks(r, kind, [t.min, t.max], &t.bands, std::iter::empty()),
                    Some(period) => {
                        let steps = [Some(t.ticks.major_step), t.ticks.minor_step];
                        for step in steps.into_iter().flatten() {
                            let turns = period / step;
                            if (turns - turns.round()).abs() > 1e-9 * turns {
                                self.say(Warning::SeamInScale {
                                    region: r.id.clone(),
                                    period,
                                    step,
                                });
                            }
                        }
                    }
                }
                self.readouts(r, t.window.iter().map(|w| &w.readout));
            }
            Symbol::Rose(rose) => {
                let wind = rose.wind.iter();
                let wind = wind.flat_map(|w| w.direction_readout.iter().chain(&w.speed_readout));
                self.readouts(r, wind.chain(&rose.readout));
            }
            Symbol::Bar(b) => {
                self.marks(
                    r,
                    kind,
                    ends(&b.breakpoints),
                    &b.bands,
                    b.limits.iter().map(|l| l.at),
                );
            }
            Symbol::Readout(readout) => self.readouts(r, std::iter::once(readout)),
            Symbol::Alerts(a) => self.alerts(r, a),
        }
    }

    fn marks(
        &mut self,
        r: &Region,
        symbol: &'static str,
        scale: [f64; 2],
        bands: &[Band],
        limits: impl Iterator<Item = f64>,
    ) {
        for value in bands.iter().flat_map(|b| [b.from, b.to]).chain(limits) {
            if value < scale[0] || value > scale[1] {
                self.say(Warning::MarkOutsideScale {
                    region: r.id.clone(),
                    symbol,
                    value,
                    scale,
                });
            }
        }
    }

    fn readouts<'r>(&mut self, r: &Region, readouts: impl Iterator<Item = &'r Readout>) {
        for readout in readouts {
            let (region, channel) = (r.id.clone(), readout.channel.clone());
            let format = &readout.format;
            if self.definition.file().channels[&channel].interpolation == Interpolation::Text {
                if *format != NumberFormat::default() {
                    self.say(Warning::FormatUnused { region, channel });
                }
                continue;
            }
            let digit = 10f64.powi(-i32::from(format.decimals));
            let quantum = format.quantum.unwrap_or(digit);
            let in_digits = quantum / digit;
            if in_digits < 1.0 - 1e-9 || (in_digits - in_digits.round()).abs() > 1e-9 * in_digits {
                let decimals = format.decimals;
                let (region, channel) = (region.clone(), channel.clone());
                self.say(Warning::QuantumFinerThanDigits {
                    region,
                    channel,
                    quantum,
                    decimals,
                });
            }
            let step = quantum.max(digit) / format.scale.abs();
            if let Some(&tolerance) = r
                .tolerance
                .get(&channel)
                .filter(|&&t| step > t * (1.0 + 1e-9))
            {
                self.say(Warning::ReadoutCoarserThanTolerance {
                    region,
                    channel,
                    step,
                    tolerance,
                });
            }
        }
    }

    fn alerts(&mut self, r: &Region, a: &Alerts) {
        let region = || r.id.clone();
        if a.advice_position.is_none()
            && let Some(silent) = a.alert.iter().find(|x| !x.advice.is_empty())
        {
            let (region, alert) = (region(), silent.text.clone());
            self.say(Warning::AdviceNeverShown { region, alert });
        }
        for (k, alert) in a.alert.iter().enumerate() {
            if a.alert[..k]
                .iter()
                .any(|x| x.text == alert.text && x.class == alert.class)
            {
                self.say(Warning::AlertsAlike {
                    region: region(),
                    alert: alert.text.clone(),
                });
            }
        }
        let colors = &a.colors;
        for (class, color, suits) in [
            ("warning", &colors.warning, is_red as fn(Rgb) -> bool),
            ("caution", &colors.caution, is_amber),
            ("advisory", &colors.advisory, |c| !is_red(c) && !is_amber(c)),
        ] {
            if !suits(self.definition.color(color)) {
                self.say(Warning::AlertColor {
                    region: region(),
                    class,
                    color: color.clone(),
                });
            }
        }
    }

    fn unused(&mut self) {
        let definition = self.definition;
        let (mut colors, mut fonts, mut channels) =
            (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
        colors.insert(definition.file().display.background.as_str());
        for symbol in definition.regions().iter().flat_map(|r| &r.symbol) {
            uses::of_symbol(symbol, &mut |_, what| {
                match what {
                    Use::Channel { name, role } => {
                        let (Role::Compared | Role::Chooses | Role::Written | Role::Moves { .. }) =
                            role;
                        channels.insert(name)
                    }
                    Use::Color(name) => colors.insert(name),
                    Use::Font { name, .. } => fonts.insert(name),
                    Use::Words { .. } | Use::Number { .. } => false,
                };
            });
        }
        let file = definition.file();
        let is_left = |names: &BTreeSet<&str>, name: &str| !names.contains(name);
        for name in file.channels.keys().filter(|n| is_left(&channels, n)) {
            self.say(Warning::UnusedChannel { name: name.clone() });
        }
        for name in file.colors.keys().filter(|n| is_left(&colors, n)) {
            self.say(Warning::UnusedColor { name: name.clone() });
        }
        for name in file.fonts.keys().filter(|n| is_left(&fonts, n)) {
            self.say(Warning::UnusedFont { name: name.clone() });
        }
    }
}

fn ends(breakpoints: &[[f64; 2]]) -> [f64; 2] {
    match breakpoints {
        [first, .., last] => [first[0], last[0]],
        _ => [f64::NEG_INFINITY, f64::INFINITY],
    }
}

/// Hue, degrees (0 red, 60 yellow), and saturation, 0 to 1; hue 0 for greys.
fn hue(Rgb(levels): Rgb) -> (f64, f64) {
    let [r, g, b] = levels.map(f64::from);
    let (most, least) = (r.max(g).max(b), r.min(g).min(b));
    let chroma = most - least;
    if chroma <= 0.0 {
        return (0.0, 0.0);
    }
    let sixth = if most == r {
        ((g - b) / chroma).rem_euclid(6.0)
    } else if most == g {
        (b - r) / chroma + 2.0
    } else {
        (r - g) / chroma + 4.0
    };
    (60.0 * sixth, chroma / most)
}

// No rule gives numbers for these colours; the limits are where most people change the name.
fn is_red(color: Rgb) -> bool {
    let (hue, saturation) = hue(color);
    saturation > 0.5 && !(15.0..345.0).contains(&hue)
}

fn is_amber(color: Rgb) -> bool {
    let (hue, saturation) = hue(color);
    saturation > 0.5 && (25.0..=62.0).contains(&hue)
}

/// Where a symbol can have ink: an outer bound from its own measures. What is clipped to a
/// symbol's area counts with that area.
struct Extent<'d> {
    definition: &'d Definition,
    ink: Bounds,
}

impl Extent<'_> {
    fn of(mut self, symbol: &Symbol) -> Bounds {
        match symbol {
            Symbol::Attitude(a) => self.attitude(a),
            Symbol::Dial(d) => {
                self.dial(d);
                self.readouts(d.readout.iter());
                self.rect(d.failure.rect);
            }
            Symbol::Tape(t) => {
                self.rect(t.rect);
                if let Some(window) = &t.window {
                    self.rect(window.rect);
                }
                self.readouts(t.window.iter().map(|w| &w.readout));
                self.rect(t.failure.rect);
            }
            Symbol::Rose(r) => self.rose(r),
            Symbol::Bar(b) => {
                self.rect(b.rect);
                self.rect(b.failure.rect);
            }
            Symbol::Readout(r) => self.readouts(std::iter::once(r)),
            Symbol::Alerts(a) => self.alerts(a),
            Symbol::Flag(f) => self.rect(f.rect),
            Symbol::Text(t) => {
                let width = self.width(&t.font, t.size, &t.text);
                self.line(t.position, t.align, &t.font, t.size, width);
            }
            Symbol::Liveness(l) => self.rect(l.rect),
            Symbol::Unchecked(u) => self.rect(u.rect),
        }
        self.ink
    }

    fn add(&mut self, b: Bounds) {
        self.ink.left = self.ink.left.min(b.left);
        self.ink.top = self.ink.top.min(b.top);
        self.ink.right = self.ink.right.max(b.right);
        self.ink.bottom = self.ink.bottom.max(b.bottom);
    }

    fn rect(&mut self, rect: [i32; 4]) {
        self.add(Bounds::from_rect(rect));
    }

    fn circle(&mut self, [x, y]: [f64; 2], radius: f64) {
        self.add(Bounds {
            left: x - radius,
            top: y - radius,
            right: x + radius,
            bottom: y + radius,
        });
    }

    /// The sector that scale and pointers sweep: its ends, and where it crosses up, right, down
    /// and left, at the outermost and innermost radius.
    fn dial(&mut self, d: &Dial) {
        let [x, y] = d.center;
        let places = d.breakpoints.iter().map(|b| b[1]);
        let first = places.clone().fold(f64::INFINITY, f64::min);
        let last = places.fold(f64::NEG_INFINITY, f64::max);
        let tips = d.pointers.iter().map(|p| p.tip_radius);
        let outer = tips.fold(d.radius + d.line_width / 2.0, f64::max);
        let tails = d.pointers.iter().map(|p| p.tail_radius);
        let inner = tails.fold(d.radius, f64::min);
        let quarters = (-40..=40).map(|k| f64::from(k) * 90.0);
        let crossed = quarters.filter(|a| (first..=last).contains(a));
        for angle in [first, last].into_iter().chain(crossed) {
            self.ink.include(on_clock(Point::new(x, y), outer, angle));
            self.ink.include(on_clock(Point::new(x, y), inner, angle));
        }
    }

    fn attitude(&mut self, a: &Attitude) {
        self.rect(a.rect);
        self.rect(a.failure.rect);
    }

    fn rose(&mut self, r: &Rose) {
        self.circle(r.center, r.radius);
        let [x, y] = r.center;
        let top = y - r.radius - r.lubber_length;
        self.add(Bounds {
            left: x,
            top,
            right: x,
            bottom: y,
        });
        if let Some(w) = &r.wind {
            self.circle(w.center, w.length / 2.0);
            self.readouts(w.direction_readout.iter().chain(&w.speed_readout));
        }
        self.readouts(r.readout.iter());
        self.rect(r.failure.rect);
    }

    fn alerts(&mut self, a: &Alerts) {
        let widths = a.alert.iter().map(|x| self.width(&a.font, a.size, &x.text));
        let width = widths.fold(0.0, f64::max);
        let [x, y] = a.position;
        for row in [0, a.slots - 1] {
            let at = [x, y + row as f64 * a.line_height];
            self.line(at, Align::Left, &a.font, a.size, width);
        }
        if let Some(position) = a.advice_position {
            let size = a.advice_size.unwrap_or(a.size);
            let widths = a.alert.iter().map(|x| self.width(&a.font, size, &x.advice));
            let width = widths.fold(0.0, f64::max);
            self.line(position, Align::Left, &a.font, size, width);
        }
    }

    fn width(&self, font: &str, size: f64, words: &str) -> f64 {
        self.definition
            .face(self.definition.font(font))
            .line_advance(words)
            * size
    }

    /// A line of words: x as `align` says, y the middle of the capitals.
    fn line(&mut self, [x, y]: [f64; 2], align: Align, font: &str, size: f64, width: f64) {
        let half = size * self.definition.face(self.definition.font(font)).cap_height / 2.0;
        let left = match align {
            Align::Left => x,
            Align::Center => x - width / 2.0,
            Align::Right => x - width,
        };
        self.add(Bounds {
            left,
            top: y - half,
            right: left + width,
            bottom: y + half,
        });
    }

    fn readouts<'r>(&mut self, readouts: impl Iterator<Item = &'r Readout>) {
        for r in readouts {
            let range = self.definition.file().channels[&r.channel]
                .range
                .unwrap_or([0.0, 0.0]);
            let numbers = range.map(|v| self.width(&r.font, r.size, &longest(&r.format, v)));
            let dashes = self.width(&r.font, r.size, &r.invalid_text);
            let width = numbers[0].max(numbers[1]).max(dashes);
            self.line(r.position, r.align, &r.font, r.size, width);
        }
    }
}

/// As many characters as `format` writes for `value`.
fn longest(format: &NumberFormat, value: f64) -> String {
    let number = value * format.scale + format.offset;
    let number = format.wrap.map_or(number, |w| number.clamp(0.0, w));
    let mut whole = format!("{:.0}", number.abs());
    while whole.len() < usize::from(format.digits) {
        whole.push('0');
    }
    let sign = if number < 0.0 {
        "-"
    } else if format.plus {
        "+"
    } else {
        ""
    };
    let point = if format.decimals > 0 { "." } else { "" };
    let decimals = "0".repeat(usize::from(format.decimals));
    format!(
        "{}{sign}{whole}{point}{decimals}{}",
        format.prefix, format.suffix
    )
}

/// Pixels of the canvas that no region covers.
#[must_use]
pub fn uncovered_px(definition: &Definition) -> i64 {
    let (width, height) = definition.size();
    let regions = definition.regions().iter().map(|r| r.area().area());
    // Regions lie on the canvas and do not overlap.
    Rect::new(0, 0, width as i32, height as i32).area() - regions.sum::<i64>()
}
