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

mod recording;
mod trace;
mod warning;

use std::collections::{BTreeMap, BTreeSet};

use std::fmt;

pub use recording::{RecordingWarning, lint_recording, unbound_columns};
pub use warning::Warning;

use super::Definition;
use super::error::{Found, Places, Problem};
use super::model::{
    Alerts, Band, Hazard, Interpolation, LimitMark, NumberFormat, Readout, Region, Symbol,
};
use super::place::At;
use super::tree::Node;
use super::uses::{self, Role, Use};
use crate::picture::Rgb;
use crate::reference::drawing::Drawing;
use crate::reference::scene::Bounds;
use crate::requirements::Requirements;

/// Least travel that a tolerance should have, px.
pub const LEAST_TRAVEL_PX: f64 = 0.5;
/// Cap height below which digits cannot be told apart reliably, px.
pub const LEAST_CAP_HEIGHT_PX: f64 = 9.0;
/// Cap height that digits need on captures compressed at H.264 crf 23, px.
pub const COMPRESSED_CAP_HEIGHT_PX: f64 = 12.0;
/// Standard error that readings usually have on captures compressed at H.264 crf 23, px.
pub const USUAL_ERROR_PX: f64 = 0.08;
/// Thickness below which a line that moves is too thin to count on, px: below half of it, its loss is not noticed
/// (`crate::reference::slivers`), and a needle's point is thinner than the needle.
const LEAST_LINE_PX: f64 = 1.0;
/// How far ink may reach over a region's border before it is worth a word, px: the
/// anti-aliased edge.
const OUTSIDE_PX: f64 = 1.0;

/// Where a channel comes from and where it goes.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSource<'d> {
    /// The channel.
    pub channel: &'d str,
    /// Column of the recording, when it comes from one.
    pub column: Option<&'d str>,
    /// How it is worked out from other channels, when it is.
    pub expression: Option<&'d str>,
    /// Column of its validity.
    pub validity_column: Option<&'d str>,
    /// Unit.
    pub unit: &'d str,
    /// How values between two rows are found.
    pub interpolation: Interpolation,
    /// Ids of the regions that depend on it, by themselves or through derived channels, in the order of the file.
    pub regions: Vec<&'d str>,
}

/// All channels, by name, with their columns and the regions that depend on them.
#[must_use]
pub fn channel_sources(definition: &Definition) -> Vec<ChannelSource<'_>> {
    let regions = definition.regions().iter().enumerate();
    let used: Vec<_> = regions
        .map(|(k, r)| {
            let mut names = definition.channels_needed(k);
            definition.logic().add_sources(&mut names);
            (r, names)
        })
        .collect();
    let sources = definition.channels().iter().map(|(name, channel)| {
        let regions = used
            .iter()
            .filter(|(_, names)| names.contains(name.as_str()));
        ChannelSource {
            channel: name,
            column: channel.column.as_deref(),
            expression: channel.expression.as_deref(),
            validity_column: channel.validity_column.as_deref(),
            unit: &channel.unit,
            interpolation: channel.interpolation,
            regions: regions.map(|(r, _)| r.id.as_str()).collect(),
        }
    });
    sources.collect()
}

/// A warning with its place in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// What is unwise.
    pub warning: Warning,
    /// The same in words, with its line, and the way out as its help.
    pub problem: Problem,
}

impl fmt::Display for Advice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.problem.fmt(f)
    }
}

/// Advice on `definition`, in the order of its regions; names that nothing uses come last.
#[must_use]
pub fn lint(definition: &Definition) -> Vec<Advice> {
    lint_against(definition, definition.requirements(), &|_, _| None)
}

/// As [`lint`], held against these requirements, and the budgets against what pixels show: `reach` says of a region with so
/// many freedoms from how many standard errors beyond its tolerance on an error is found in time, where a budget decides.
#[must_use]
pub fn lint_against(
    definition: &Definition,
    requirements: Option<&Requirements>,
    reach: &dyn Fn(usize, usize) -> Option<f64>,
) -> Vec<Advice> {
    let source = &definition.source;
    let root = &source.root;
    let mut lint = Lint {
        definition,
        drawing: std::rc::Rc::new(Drawing::new(definition)),
        places: &source.places,
        reach,
        advice: Vec::new(),
    };
    let regions = At::root(root, "region");
    for k in 0..definition.regions().len() {
        lint.region(k, &regions.index(k));
    }
    if let Some(requirements) = requirements {
        lint.trace(root, requirements);
    }
    lint.unused(root);
    lint.advice
}

/// What is looked at, and what is advised.
pub(super) struct Lint<'d> {
    definition: &'d Definition,
    drawing: std::rc::Rc<Drawing>,
    places: &'d Places,
    reach: &'d dyn Fn(usize, usize) -> Option<f64>,
    advice: Vec<Advice>,
}

impl Lint<'_> {
    pub(super) fn say(&mut self, at: &At<'_>, warning: Warning) {
        if self.advice.iter().any(|a| a.warning == warning) {
            return;
        }
        let problem = self.places.problem(Found {
            span: at.span.clone(),
            message: warning.to_string(),
            help: Some(warning.advice()),
        });
        self.advice.push(Advice { warning, problem });
    }

    fn region(&mut self, k: usize, at: &At<'_>) {
        let definition = self.definition;
        let r = &definition.regions()[k];
        let region = r.id.clone();
        let symbols = at.key("symbol");
        if r.symbol.is_empty() {
            self.say(&at.key("id"), Warning::NothingToCheck { region });
            return;
        }
        for index in 0..r.symbol.len() {
            self.extent(k, index, &symbols.index(index));
        }
        if r.symbol.iter().all(Symbol::is_unchecked) {
            // Said in the file, with a reason: nothing to trace, nothing to resolve.
            return;
        }
        if r.requirements.is_empty() {
            let region = region.clone();
            self.say(&at.key("id"), Warning::RegionWithoutRequirement { region });
        } else if r.hazard == Hazard::None {
            let region = region.clone();
            self.say(
                &at.key("hazard"),
                Warning::HazardNoneWithRequirements { region },
            );
        }
        let latency_ms = r
            .max_latency_ms
            .unwrap_or(definition.file().display.max_latency_ms);
        let budget = definition.budget(k);
        let after_ms = latency_ms + budget.map_or(r.confirm_ms(), |b| b.time_to_alert_ms);
        // Recovery from an unusual attitude is to begin within 1 s (AMC 25-11, appendix 1); a
        // picture that misleads for as long as that has been acted on.
        if r.hazard <= Hazard::Hazardous && after_ms > 1000.0 {
            self.say(
                &at.key("confirm_ms"),
                Warning::SlowConfirmation {
                    region,
                    hazard: r.hazard,
                    after_ms,
                },
            );
        }
        self.tolerances(k, at);
        self.text_sizes(r, &symbols);
        for (index, symbol) in r.symbol.iter().enumerate() {
            let at = symbols.index(index);
            symbol.as_kind().advise(r, &at, self);
        }
    }

    fn tolerances(&mut self, k: usize, at: &At<'_>) {
        let definition = self.definition;
        let r = &definition.regions()[k];
        let at = at.key("tolerance");
        let drawing = self.drawing.clone();
        let freedoms = drawing.freedoms(definition, k);
        let reach = (self.reach)(k, freedoms.len());
        for shown in freedoms {
            let channel = &definition.channels()[shown.channel.0].0;
            let Some(&tolerance) = r.tolerance.get(channel) else {
                continue;
            };
            let px_per_unit = drawing.least_px_per_unit(k, &shown);
            let travel_px = tolerance * px_per_unit;
            // Where a scale is flat on purpose, no tolerance is large enough.
            if px_per_unit > f64::MIN_POSITIVE && travel_px < LEAST_TRAVEL_PX {
                self.say(
                    &at.key(channel),
                    Warning::ToleranceBelowPixels {
                        region: r.id.clone(),
                        symbol: r.symbol[shown.symbol].kind(),
                        channel: channel.clone(),
                        tolerance,
                        unit: self.unit(channel),
                        travel_px,
                    },
                );
            }
            // An error of twice the tolerance lies one tolerance beyond it.
            let error_px = reach.map(|sigmas| travel_px / sigmas);
            if let (Some(budget), Some(error_px)) = (definition.budget(k), error_px)
                && px_per_unit > f64::MIN_POSITIVE
                && error_px < USUAL_ERROR_PX
            {
                self.say(
                    &at.key(channel),
                    Warning::BudgetNotKept {
                        region: r.id.clone(),
                        channel: channel.clone(),
                        time_ms: budget.time_to_alert_ms,
                        error_px,
                    },
                );
            }
        }
        let used = r.channels_used();
        for (channel, &tolerance) in &r.tolerance {
            if !used.contains(channel.as_str()) {
                self.say(
                    &at.name(channel),
                    Warning::ToleranceUnused {
                        region: r.id.clone(),
                        channel: channel.clone(),
                    },
                );
            }
            let range = definition.file().channels[channel].range;
            if let Some(range) = range
                .map(|[low, high]| high - low)
                .filter(|&w| tolerance >= w)
            {
                self.say(
                    &at.key(channel),
                    Warning::ToleranceCoversRange {
                        region: r.id.clone(),
                        channel: channel.clone(),
                        tolerance,
                        range,
                    },
                );
            }
        }
    }

    fn unit(&self, channel: &str) -> String {
        self.definition.file().channels[channel].unit.clone()
    }

    fn text_sizes(&mut self, r: &Region, symbols: &At<'_>) {
        // Sizes are positive, so their bits sort as they do.
        let mut sizes: BTreeMap<(String, u64), At<'_>> = BTreeMap::new();
        for (index, symbol) in r.symbol.iter().enumerate() {
            let at = symbols.index(index);
            uses::of_symbol(symbol, &mut |path, what| {
                if let Use::Font { name, size } = what {
                    sizes
                        .entry((name.to_owned(), size.to_bits()))
                        .or_insert_with(|| at.along(path));
                }
            });
        }
        for ((font, bits), at) in sizes {
            let size = f64::from_bits(bits);
            let cap_height_px = size * self.definition.face(self.definition.font(&font)).cap_height;
            if cap_height_px < COMPRESSED_CAP_HEIGHT_PX {
                self.say(
                    &at,
                    Warning::TextTooSmall {
                        region: r.id.clone(),
                        font,
                        size,
                        cap_height_px,
                    },
                );
            }
        }
    }

    fn extent(&mut self, region: usize, index: usize, at: &At<'_>) {
        let definition = self.definition;
        let r = &definition.regions()[region];
        let symbol = &r.symbol[index];
        for part in self.drawing.never_seen(definition, region, index) {
            let warning = Warning::PartNeverSeen {
                region: r.id.clone(),
                index,
                symbol: symbol.kind(),
                part: part.to_string(),
            };
            self.say(at, warning);
        }
        let ink = self.drawing.reach(self.definition, region, index);
        if ink.is_empty() {
            return;
        }
        let over = |area: &Bounds| {
            (area.left - ink.left)
                .max(area.top - ink.top)
                .max(ink.right - area.right)
                .max(ink.bottom - area.bottom)
        };
        let area = Bounds::from_rect(r.rect);
        let by_px = over(&area);
        if by_px <= OUTSIDE_PX {
            return;
        }
        let (width, height) = self.definition.size();
        let canvas = Bounds::from_rect([0, 0, width as i32, height as i32]);
        let place = ["rect", "center", "position"].map(|key| at.key(key));
        let place = place.iter().find(|p| p.value.is_some()).unwrap_or(at);
        self.say(
            place,
            Warning::SymbolOutsideRegion {
                region: r.id.clone(),
                index,
                symbol: symbol.kind(),
                by_px,
                is_wholly: ink.intersection(&area).is_empty(),
                is_off_canvas: over(&canvas) > OUTSIDE_PX,
            },
        );
    }

    /// Says so when a line that moves is thin.
    pub(super) fn line(&mut self, r: &Region, symbol: &'static str, at: &At<'_>, width_px: f64) {
        if width_px < LEAST_LINE_PX {
            let region = r.id.clone();
            self.say(
                at,
                Warning::LineTooThin {
                    region,
                    symbol,
                    width_px,
                },
            );
        }
    }

    /// Says so when a scale that repeats has a seam.
    pub(super) fn seam(&mut self, r: &Region, at: &At<'_>, period: f64, step: f64) {
        let turns = period / step;
        if (turns - turns.round()).abs() > 1e-9 * turns {
            let region = r.id.clone();
            self.say(
                at,
                Warning::SeamInScale {
                    region,
                    period,
                    step,
                },
            );
        }
    }

    /// Advice on bands and limits.
    pub(super) fn marks(
        &mut self,
        r: &Region,
        symbol: &'static str,
        at: &At<'_>,
        scale: [f64; 2],
        bands: &[Band],
        limits: &[LimitMark],
    ) {
        let bands = bands.iter().enumerate().flat_map(|(k, b)| {
            let at = at.key("bands").index(k);
            [(b.from, at.key("from")), (b.to, at.key("to"))]
        });
        let limits = limits
            .iter()
            .enumerate()
            .map(|(k, l)| (l.at, at.key("limits").index(k).key("at")));
        for (value, at) in bands.chain(limits) {
            if value < scale[0] || value > scale[1] {
                self.say(
                    &at,
                    Warning::MarkOutsideScale {
                        region: r.id.clone(),
                        symbol,
                        value,
                        scale,
                    },
                );
            }
        }
    }

    /// Advice on a readout.
    pub(super) fn readout(&mut self, r: &Region, readout: Option<&Readout>, at: &At<'_>) {
        let Some(readout) = readout else { return };
        let (region, channel) = (r.id.clone(), readout.channel.clone());
        let format = &readout.format;
        if self.definition.file().channels[&channel].interpolation == Interpolation::Text {
            if *format != NumberFormat::default() {
                self.say(&at.key("format"), Warning::FormatUnused { region, channel });
            }
            return;
        }
        let digit = 10f64.powi(-i32::from(format.decimals));
        let quantum = format.quantum.unwrap_or(digit);
        let in_digits = quantum / digit;
        if in_digits < 1.0 - 1e-9 || (in_digits - in_digits.round()).abs() > 1e-9 * in_digits {
            let decimals = format.decimals;
            let (region, channel) = (region.clone(), channel.clone());
            self.say(
                &at.key("format"),
                Warning::QuantumFinerThanDigits {
                    region,
                    channel,
                    quantum,
                    decimals,
                },
            );
        }
        let step = quantum.max(digit) / format.scale.abs();
        if let Some(&tolerance) = r
            .tolerance
            .get(&channel)
            .filter(|&&t| step > t * (1.0 + 1e-9))
        {
            self.say(
                &at.key("channel"),
                Warning::ReadoutCoarserThanTolerance {
                    region,
                    channel,
                    step,
                    tolerance,
                },
            );
        }
    }

    /// Advice on an alert list.
    pub(super) fn alerts(&mut self, r: &Region, a: &Alerts, at: &At<'_>) {
        let region = || r.id.clone();
        if a.advice_position.is_none()
            && let Some(k) = a.alert.iter().position(|x| !x.advice.is_empty())
        {
            let (region, alert) = (region(), a.alert[k].text.clone());
            self.say(
                &at.key("alert").index(k).key("advice"),
                Warning::AdviceNeverShown { region, alert },
            );
        }
        if a.failure.is_none() {
            self.say(
                &at.key("kind"),
                Warning::AlertsWithoutFlag { region: region() },
            );
        }
        for (k, alert) in a.alert.iter().enumerate() {
            if a.alert[..k]
                .iter()
                .any(|x| x.text == alert.text && x.class == alert.class)
            {
                self.say(
                    &at.key("alert").index(k).key("text"),
                    Warning::AlertsAlike {
                        region: region(),
                        alert: alert.text.clone(),
                    },
                );
            }
        }
        let colors = &a.colors;
        for (class, color, suits) in [
            ("warning", &colors.warning, is_red as fn(Rgb) -> bool),
            ("caution", &colors.caution, is_amber),
            ("advisory", &colors.advisory, |c| !is_red(c) && !is_amber(c)),
        ] {
            if !suits(self.definition.color(color)) {
                self.say(
                    &at.key("colors").key(class),
                    Warning::AlertColor {
                        region: region(),
                        class,
                        color: color.clone(),
                    },
                );
            }
        }
    }

    /// Names that nothing uses. Those of files that are included are for whoever needs them.
    fn unused(&mut self, root: &Node) {
        let definition = self.definition;
        let (mut colors, mut fonts, mut channels) =
            (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
        colors.insert(definition.file().display.background.as_str());
        for symbol in definition.regions().iter().flat_map(|r| &r.symbol) {
            uses::of_symbol(symbol, &mut |_, what| {
                match what {
                    Use::Channel { name, role } => {
                        let (Role::Compared
                        | Role::Matched
                        | Role::Chooses
                        | Role::Written
                        | Role::Moves) = role;
                        channels.insert(name)
                    }
                    Use::Color(name) => colors.insert(name),
                    Use::Font { name, .. } => fonts.insert(name),
                    Use::Words { .. } | Use::Number { .. } | Use::Condition(_) => false,
                };
            });
        }
        channels.append(&mut definition.page_channels());
        definition.logic().add_sources(&mut channels);
        let file = definition.file();
        let places = self.places;
        let is_left = |names: &BTreeSet<&str>, name: &str, at: &At<'_>| {
            !names.contains(name) && !places.is_included(at.name(name).span.start)
        };
        let at = At::root(root, "channels");
        for name in file.channels.keys().filter(|n| is_left(&channels, n, &at)) {
            self.say(
                &at.name(name),
                Warning::UnusedChannel { name: name.clone() },
            );
        }
        let at = At::root(root, "colors");
        for name in file.colors.keys().filter(|n| is_left(&colors, n, &at)) {
            self.say(&at.name(name), Warning::UnusedColor { name: name.clone() });
        }
        let at = At::root(root, "fonts");
        // Which faces the text of artwork is set in is known to the artwork alone.
        let is_known = file.artwork.is_empty();
        let names = file.fonts.keys();
        for name in names.filter(|n| is_known && is_left(&fonts, n, &at)) {
            self.say(&at.name(name), Warning::UnusedFont { name: name.clone() });
        }
    }
}

/// Ends of a scale.
pub(super) fn ends(breakpoints: &[[f64; 2]]) -> [f64; 2] {
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
