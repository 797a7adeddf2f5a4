//! What lint has to say, in words.

use std::fmt;

use super::{
    COMPRESSED_CAP_HEIGHT_PX, LEAST_CAP_HEIGHT_PX, LEAST_LINE_PX, LEAST_TRAVEL_PX, USUAL_ERROR_PX,
};
use crate::definition::model::Hazard;

/// Ids that are listed in one warning.
const MOST_IDS: usize = 16;

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
    /// An error of twice the tolerance is not found in the time and at the rate of nuisance trips that the budget allows.
    BudgetNotKept {
        /// Region.
        region: String,
        /// Channel.
        channel: String,
        /// Time to the alert, ms.
        time_ms: f64,
        /// Standard error that readings must have, px.
        error_px: f64,
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
        /// None of it lies inside.
        is_wholly: bool,
        /// It leaves the display as well.
        is_off_canvas: bool,
    },
    /// Part of a symbol that lies outside what it is cut to.
    PartNeverSeen {
        /// Region.
        region: String,
        /// Index of the symbol.
        index: usize,
        /// Its kind.
        symbol: &'static str,
        /// Name of the part.
        part: String,
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
    /// A region that traces to a requirement which the file of requirements does not have.
    RequirementUnknown {
        /// Region.
        region: String,
        /// The id.
        id: String,
        /// What may have been meant.
        help: Option<String>,
    },
    /// A region whose hazard class is less severe than that of a requirement which it verifies.
    RequirementMoreSevere {
        /// Region.
        region: String,
        /// Its class.
        hazard: Hazard,
        /// The requirement's id.
        id: String,
        /// The requirement's class.
        required: Hazard,
    },
    /// Requirements that no region verifies.
    RequirementsWithoutRegion {
        /// Their ids.
        ids: Vec<String>,
        /// How many there are in all.
        all: usize,
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
    /// An alert list that looks the same with and without data.
    AlertsWithoutFlag {
        /// Region.
        region: String,
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
            Self::BudgetNotKept {
                region,
                channel,
                time_ms,
                error_px,
            } => write!(
                f,
                "region \"{region}\": under its budget an error of twice the tolerance of \"{channel}\" is found within {time_ms} ms only by \
                 readings with a standard error below {error_px:.3} px; {USUAL_ERROR_PX} px are usual"
            ),
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
            Self::PartNeverSeen {
                region,
                index,
                symbol,
                part,
            } => write!(
                f,
                "region \"{region}\": \"{part}\" of symbol {index} ({symbol}) is never seen: it lies outside what it is cut to"
            ),
            Self::SymbolOutsideRegion {
                region,
                index,
                symbol,
                by_px,
                is_wholly,
                is_off_canvas,
            } => {
                let how = if *is_wholly {
                    format!("lies wholly outside it, {by_px:.1} px over its border")
                } else {
                    format!("reaches {by_px:.1} px over its border")
                };
                let off = if *is_off_canvas {
                    ", and off the display"
                } else {
                    ""
                };
                write!(
                    f,
                    "region \"{region}\": symbol {index} ({symbol}) {how}{off}"
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
            Self::RequirementUnknown { region, id, .. } => write!(
                f,
                "region \"{region}\" names requirement \"{id}\", which the file of requirements does not have"
            ),
            Self::RequirementMoreSevere {
                region,
                hazard,
                id,
                required,
            } => write!(
                f,
                "region \"{region}\" is {}, and its requirement \"{id}\" is {}",
                hazard.name(),
                required.name()
            ),
            Self::RequirementsWithoutRegion { ids, all } => {
                let shown = ids.len().min(MOST_IDS);
                let more = match ids.len() - shown {
                    0 => String::new(),
                    more => format!(" and {more} more"),
                };
                write!(
                    f,
                    "{} of {all} requirements are verified by no region: {}{more}",
                    ids.len(),
                    ids[..shown].join(", ")
                )
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
            Self::AlertsWithoutFlag { region } => write!(
                f,
                "region \"{region}\": the alert list has no failure flag, so one whose data are invalid looks like one with nothing to say"
            ),
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
            Self::BudgetNotKept { .. } => "allow more time to the alert, more nuisance trips or a larger tolerance, or draw the scale larger".into(),
            Self::ReadoutCoarserThanTolerance { step, .. } => format!(
                "digits show an error only from half a step on; allow at least {step}, or write finer steps"
            ),
            Self::QuantumFinerThanDigits { .. } => "give more decimals, or a quantum that the digits can show".into(),
            Self::ToleranceUnused { .. } => "remove it, or move it to the region that shows the channel".into(),
            Self::ToleranceCoversRange { .. } => "no error can be found with it; give a smaller one".into(),
            Self::PartNeverSeen { .. } => "move it, or enlarge the area that it is cut to".into(),
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
            Self::RequirementUnknown { help, .. } => help
                .clone()
                .unwrap_or_else(|| "correct the id, or add the requirement to the file".into()),
            Self::RequirementMoreSevere { .. } => {
                "check the class against the safety assessment: it decides what an event here leads to".into()
            }
            Self::RequirementsWithoutRegion { .. } => {
                "name them in the regions that verify them; reports show them as verified by no region until then".into()
            }
            Self::NothingToCheck { .. } => "give it symbols, or remove it".into(),
            Self::HazardNoneWithRequirements { .. } => "faults there are only noted; check the class against the safety assessment".into(),
            Self::SlowConfirmation { .. } => "check confirm_ms and max_latency_ms against the time that the safety assessment allows".into(),
            Self::AdviceNeverShown { .. } => "give advice_position, or remove the advice".into(),
            Self::AlertsWithoutFlag { .. } => "give the list a failure flag, clear of its slots, if the display has one".into(),
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
