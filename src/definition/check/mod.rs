//! Is what a well-formed file says possible? Names resolve, numbers lie in their ranges,
//! scales rise, regions fit the canvas and each other.
//!
//! Every finding is kept, so that one run shows all there is to mend. Places come from walking
//! the spanned tree along the same keys as the model.

mod artwork;
mod channels;
mod conditions;
pub(super) mod limits;
mod pages;
mod parts;
pub(super) mod recording;
mod requirements;
pub(super) mod symbols;
mod tables;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::place::At;
use limits::*;

use super::DefinitionFile;
use super::error::{Found, Places, suggestion};
use super::expression::Derivations;
use super::model::{
    DisplayFile, FontSource, Hazard, Interpolation, MAX_WINDOW_FRAMES, Region, Symbol,
};
use super::tree::Node;
use super::uses::{self, Role, Use};
use crate::artwork::Artwork;
use crate::files::{self, FileContent, Limit};
use crate::picture::{Rect, Rgb};
use crate::reference::text::Font;
use crate::requirements::Requirements;

/// Largest canvas side, px.
const CANVAS_PX: u32 = 8192;
const REGIONS: usize = 256;
const SYMBOLS: usize = 1024;
/// More marks than this on one scale are a slip in the step, and would only fill memory.
const TICKS: f64 = 2000.0;
/// Longest name of a region or channel, characters.
const NAME_CHARS: usize = 64;
/// Where a path begins, for whoever looks for the file elsewhere.
const FROM_WHERE: &str = "the path is taken from the folder of the file that it stands in";
const FONT_FILE: Limit = Limit {
    kind: "a font",
    bytes: 32 << 20,
};

/// What checking makes of the names in a file.
pub(super) struct Resolved {
    pub palette: BTreeMap<String, Rgb>,
    pub fonts: Vec<(String, Font)>,
    pub artworks: BTreeMap<String, Arc<Artwork>>,
    pub requirements: Option<Arc<Requirements>>,
    /// The font files, then the artwork files, in the order of their names, then that of the requirements.
    pub contents: Vec<DefinitionFile>,
    pub derivations: Derivations,
}

/// Looks at everything that `file` says; `root` is the tree that it was read from, and `places` the texts of that.
pub(super) fn check(
    file: &DisplayFile,
    root: &Node,
    places: &Places,
    base_dir: &Path,
) -> Result<Resolved, Vec<Found>> {
    let mut check = Check {
        file,
        places,
        found: Vec::new(),
        palette: BTreeMap::new(),
        fonts: BTreeMap::new(),
        artworks: BTreeMap::new(),
        requirements: None,
        contents: Vec::new(),
        memories: 0,
    };
    check.colors(&At::root(root, "colors"));
    check.fonts(&At::root(root, "fonts"), base_dir);
    check.artwork(&At::root(root, "artwork"), base_dir);
    check.requirements(&At::root(root, "requirements"), base_dir);
    check.display(&At::root(root, "display"));
    check.budgets(&At::root(root, "budget"));
    check.tables(&At::root(root, "tables"));
    let derivations = check.channels(&At::root(root, "channels"));
    check.recording(&At::root(root, "recording"));
    check.pages(&At::root(root, "page"));
    check.regions(&At::root(root, "region"));
    if check.found.is_empty() {
        let fonts = check
            .fonts
            .into_iter()
            .filter_map(|(name, font)| Some((name, font?)))
            .collect();
        Ok(Resolved {
            palette: check.palette,
            fonts,
            artworks: check.artworks,
            requirements: check.requirements,
            contents: check.contents,
            derivations,
        })
    } else {
        Err(check.found)
    }
}

/// What is looked at, and what was found.
pub(super) struct Check<'f> {
    file: &'f DisplayFile,
    places: &'f Places,
    found: Vec<Found>,
    palette: BTreeMap<String, Rgb>,
    /// `None` for a font that could not be had; it was reported once.
    fonts: BTreeMap<String, Option<Font>>,
    artworks: BTreeMap<String, Arc<Artwork>>,
    requirements: Option<Arc<Requirements>>,
    contents: Vec<DefinitionFile>,
    /// Conditions with a memory so far.
    memories: usize,
}

impl<'f> Check<'f> {
    pub(super) fn say(&mut self, at: &At<'_>, message: impl Into<String>) {
        self.found.push(Found {
            span: at.span.clone(),
            message: message.into(),
            help: None,
        });
    }

    pub(super) fn say_with(
        &mut self,
        at: &At<'_>,
        message: impl Into<String>,
        help: Option<String>,
    ) {
        self.found.push(Found {
            span: at.span.clone(),
            message: message.into(),
            help,
        });
    }

    pub(super) fn number(&mut self, at: &At<'_>, value: f64, limits: &Limits) -> bool {
        let holds = limits.holds(value);
        if !holds {
            self.say(at, limits.refusal(value));
        }
        holds
    }

    pub(super) fn number_if(&mut self, at: &At<'_>, value: Option<f64>, limits: &Limits) {
        if let Some(value) = value {
            self.number(at, value, limits);
        }
    }

    pub(super) fn pair(&mut self, at: &At<'_>, pair: [f64; 2], limits: &Limits) {
        for (k, value) in pair.into_iter().enumerate() {
            self.number(&at.index(k), value, limits);
        }
    }

    pub(super) fn rect(&mut self, at: &At<'_>, rect: [i32; 4]) -> bool {
        let [x, y, width, height] = rect.map(f64::from);
        let mut holds = self.number(&at.index(0), x, &POSITION);
        holds &= self.number(&at.index(1), y, &POSITION);
        holds &= self.number(&at.index(2), width, &SIZE);
        holds & self.number(&at.index(3), height, &SIZE)
    }

    fn colors(&mut self, at: &At<'_>) {
        for (name, text) in &self.file.colors {
            match Rgb::from_hex(text) {
                Some(rgb) => {
                    self.palette.insert(name.clone(), rgb);
                }
                None => {
                    let message = format!(
                        "\"{text}\" is not a colour; expected \"#rrggbb\" with six hexadecimal digits"
                    );
                    self.say(&at.key(name), message);
                }
            }
        }
    }

    fn fonts(&mut self, at: &At<'_>, base_dir: &Path) {
        for (name, source) in &self.file.fonts {
            let at = at.key(name);
            let font = match source {
                FontSource {
                    builtin: Some(face),
                    file: None,
                } => {
                    let font = Font::built_in(face);
                    if font.is_none() {
                        let message = format!("there is no built-in face \"{face}\"");
                        self.say_with(
                            &at.key("builtin"),
                            message,
                            suggestion(face, Font::built_in_names()),
                        );
                    }
                    font
                }
                FontSource {
                    builtin: None,
                    file: Some(file),
                } => match font_file(&base_dir.join(file)) {
                    Ok((font, file)) => {
                        let role = "font";
                        self.contents.push(DefinitionFile { role, file });
                        Some(font)
                    }
                    Err(why) => {
                        let message = format!("cannot use font file \"{file}\": {why}");
                        self.say_with(&at.key("file"), message, Some(FROM_WHERE.into()));
                        None
                    }
                },
                _ => {
                    let message =
                        format!("font \"{name}\" must have either \"builtin\" or \"file\"");
                    let help = Font::built_in_names().collect::<Vec<_>>().join(", ");
                    self.say_with(&at, message, Some(format!("built-in faces: {help}")));
                    None
                }
            };
            self.fonts.insert(name.clone(), font);
        }
    }

    fn display(&mut self, at: &At<'_>) {
        let display = &self.file.display;
        for (key, side) in [("width", display.width), ("height", display.height)] {
            if side == 0 || side > CANVAS_PX {
                self.say(
                    &at.key(key),
                    format!(
                        "canvas {key} {side} px: must be at least 1 and at most {CANVAS_PX} px"
                    ),
                );
            }
        }
        self.color(&at.key("background"), &display.background);
        self.number(&at.key("max_latency_ms"), display.max_latency_ms, &TIME);
    }

    fn regions(&mut self, at: &At<'_>) {
        let regions = &self.file.region;
        if regions.is_empty() {
            self.say(
                at,
                "the display has no [[region]]; there is nothing to check",
            );
        }
        if regions.len() > REGIONS {
            self.say(
                at,
                format!("{} regions; at most {REGIONS} are supported", regions.len()),
            );
            return;
        }
        for (k, region) in regions.iter().enumerate() {
            let at_region = at.index(k);
            self.region_id(&at_region.key("id"), &region.id);
            let before = regions[..k].iter().position(|r| r.id == region.id);
            self.given_once(at, "region", k, before);
            self.region_pages(&at_region.key("pages"), region);
            self.region_area(&at_region.key("rect"), region, &regions[..k]);
            self.region(&at_region, region);
        }
    }

    fn region_id(&mut self, at: &At<'_>, id: &str) {
        if id == "*" {
            self.say(at, "region id \"*\" is kept for the whole frame");
        } else {
            self.name(at, "region id", id);
        }
    }

    /// Of regions or pages, `at` which they stand, the `k`-th has the id that the one `before` has.
    fn given_once(&mut self, at: &At<'_>, what: &str, k: usize, before: Option<usize>) {
        let id = |k: usize| at.index(k).key("id");
        let (here, Some(before)) = (id(k), before.map(id)) else {
            return;
        };
        let name = here.value.and_then(Node::as_str).unwrap_or_default();
        let message = format!("{what} id \"{name}\" is given twice");
        let other = self.places.named(before.span.start);
        self.say_with(
            &here,
            message,
            Some(format!("the other one stands at {other}")),
        );
    }

    /// What a region or channel may be called: names stand in lines of results and reports, in axes of
    /// plots, and in file names.
    fn name(&mut self, at: &At<'_>, what: &str, name: &str) {
        let is_awkward = |c: char| c.is_control() || matches!(c, '/' | '\\' | '"');
        let length = name.chars().count();
        if name.is_empty() {
            self.say(at, format!("{what} is empty"));
        } else if length > NAME_CHARS {
            self.say(
                at,
                format!("{what} has {length} characters; at most {NAME_CHARS} are allowed"),
            );
        } else if name.starts_with('.') || name.contains(is_awkward) {
            self.say(at, format!("{what} {name:?} must not begin with a dot or hold slashes, quotes or control characters"));
        }
    }

    fn region_area(&mut self, at: &At<'_>, region: &Region, before: &[Region]) {
        if !self.rect(at, region.rect) {
            return;
        }
        let (width, height) = (self.file.display.width, self.file.display.height);
        if width == 0 || height == 0 || width > CANVAS_PX || height > CANVAS_PX {
            return;
        }
        let area = region.area();
        let canvas = Rect::new(0, 0, width as i32, height as i32);
        if area.intersection(&canvas) != area {
            let message = format!(
                "region \"{}\" reaches from ({}, {}) to ({}, {}), off the canvas of {width} x {height} px",
                region.id,
                area.x,
                area.y,
                area.right(),
                area.bottom()
            );
            self.say(at, message);
        }
        for other in before {
            let [x, y, w, h] = other.rect.map(f64::from);
            let is_sound = POSITION.holds(x) && POSITION.holds(y) && SIZE.holds(w) && SIZE.holds(h);
            if !is_sound || !self.are_together(region, other) {
                continue;
            }
            let common = area.intersection(&other.area());
            if !common.is_empty() {
                let message = format!(
                    "region \"{}\" overlaps region \"{}\" by {} x {} px at ({}, {})",
                    region.id, other.id, common.width, common.height, common.x, common.y
                );
                self.say(at, message);
            }
        }
    }

    fn budgets(&mut self, at: &At<'_>) {
        let Some(budgets) = self.file.budget else {
            return;
        };
        for hazard in Hazard::ALL {
            let Some(budget) = budgets.of(hazard) else {
                continue;
            };
            let at = at.key(hazard.name());
            self.number(
                &at.key("nuisance_per_hour"),
                budget.nuisance_per_hour,
                &RATE,
            );
            self.number(&at.key("time_to_alert_ms"), budget.time_to_alert_ms, &ALERT);
        }
    }

    fn region(&mut self, at: &At<'_>, region: &'f Region) {
        self.number_if(&at.key("confirm_ms"), region.confirm_ms, &TIME);
        if let Some([k, n]) = region.confirm_frames
            && !(1 <= k && k <= n && n <= MAX_WINDOW_FRAMES)
        {
            self.say(
                &at.key("confirm_frames"),
                format!("[{k}, {n}] frames: must be [k, n], 1 <= k <= n <= {MAX_WINDOW_FRAMES}"),
            );
        }
        self.number(&at.key("recover_ms"), region.recover_ms, &TIME);
        self.number_if(&at.key("max_latency_ms"), region.max_latency_ms, &TIME);
        for (name, tolerance) in &region.tolerance {
            let at = at.key("tolerance");
            self.number(&at.key(name), *tolerance, &TOLERANCE);
            self.channel(&at.name(name), name, Role::Compared);
        }
        if region.symbol.len() > SYMBOLS {
            let count = region.symbol.len();
            self.say(
                at,
                format!(
                    "region \"{}\" has {count} symbols; at most {SYMBOLS} are supported",
                    region.id
                ),
            );
            return;
        }
        for (k, each) in region.for_each.iter().enumerate() {
            // What is of a known table has been written out.
            let at = at.key("for_each").index(k);
            if self.file.tables.contains_key(&each.table) {
                self.say(
                    &at,
                    "it has no `symbol`: nothing stands there for a slot".to_owned(),
                );
            } else {
                self.no_table(&at.key("table"), &each.table);
            }
        }
        for (k, symbol) in region.symbol.iter().enumerate() {
            let at = at.key("symbol").index(k);
            self.names(&at, region, symbol);
            self.symbol(&at, symbol);
        }
    }

    /// Every name that the symbol gives is one of the file's.
    fn names(&mut self, at: &At<'_>, region: &'f Region, symbol: &'f Symbol) {
        let mut named = Vec::new();
        uses::of_symbol(symbol, &mut |path, what| named.push((at.along(path), what)));
        for (at, what) in named {
            match what {
                Use::Channel { name, role } => {
                    let is_known = self.channel(&at, name, role);
                    let is_shown = matches!(role, Role::Moves);
                    if is_known && is_shown && !region.tolerance.contains_key(name) {
                        let by = match symbol {
                            Symbol::Parts(_) => "parts".to_owned(),
                            _ => format!("a {}", symbol.kind()),
                        };
                        let message = format!(
                            "region \"{}\" shows \"{name}\" by {by} but gives no tolerance for it",
                            region.id
                        );
                        let unit = &self.file.channels[name].unit;
                        let help = format!(
                            "add the largest permitted error, {name} = ... ({unit}), to the region's tolerance"
                        );
                        self.say_with(&at, message, Some(help.replace(" ()", "")));
                    }
                }
                Use::Color(name) => self.color(&at, name),
                Use::Condition(condition) => self.condition(&at, condition),
                Use::Font { name, .. } => self.font(&at, name),
                Use::Words { font, words } => self.characters(&at, font, &words),
                Use::Number {
                    font,
                    format,
                    channel,
                } => {
                    let Some(channel) = self.file.channels.get(channel) else {
                        continue;
                    };
                    if channel.interpolation != Interpolation::Text {
                        let low = channel.range.map(
                            |[low, high]| {
                                if format.scale < 0.0 { high } else { low }
                            },
                        );
                        self.characters(&at, font, &uses::written(format, low));
                    }
                }
            }
        }
    }

    fn channel(&mut self, at: &At<'_>, name: &str, role: Role) -> bool {
        let Some(channel) = self.file.channels.get(name) else {
            let names = self.file.channels.keys().map(String::as_str);
            let help = suggestion(name, names);
            self.say_with(at, format!("there is no channel \"{name}\""), help);
            return false;
        };
        let is_text = channel.interpolation == Interpolation::Text;
        let needs = match role {
            Role::Written | Role::Matched => return true,
            Role::Compared => "a number is needed here",
            Role::Chooses => "a flag chooses by a number",
            Role::Moves => "only a readout can show text",
        };
        if is_text {
            self.say(at, format!("\"{name}\" is a text channel; {needs}"));
        }
        !is_text
    }

    fn color(&mut self, at: &At<'_>, name: &str) {
        if self.file.colors.contains_key(name) {
            return;
        }
        let help = if Rgb::from_hex(name).is_some() {
            Some("colours are named: give it a name in [colors] and use the name here".into())
        } else {
            suggestion(name, self.file.colors.keys().map(String::as_str))
        };
        self.say_with(at, format!("there is no colour \"{name}\""), help);
    }

    fn font(&mut self, at: &At<'_>, name: &str) {
        if !self.file.fonts.contains_key(name) {
            let help = suggestion(name, self.file.fonts.keys().map(String::as_str));
            self.say_with(at, format!("there is no font \"{name}\""), help);
        }
    }

    fn characters(&mut self, at: &At<'_>, font: &str, words: &str) {
        let Some(Some(face)) = self.fonts.get(font) else {
            return;
        };
        let mut lacking: Vec<char> = words.chars().filter(|c| face.glyph(*c).is_none()).collect();
        lacking.sort_unstable();
        lacking.dedup();
        if !lacking.is_empty() {
            let list: Vec<String> = lacking.iter().take(12).map(|c| format!("{c:?}")).collect();
            self.say(at, format!("font \"{font}\" lacks {}", list.join(", ")));
        }
    }
}

fn font_file(path: &Path) -> Result<(Font, FileContent), String> {
    let (bytes, content) = files::read(path, FONT_FILE).map_err(|e| match e {
        files::Error::NotRegular { found, .. } => format!("it is not a file but {found}"),
        files::Error::TooLarge { limit, .. } => format!("it is larger than {} MiB", limit >> 20),
        other => other.into_cause().to_string(),
    })?;
    let font = Font::from_true_type(&bytes)
        .map_err(|e| format!("it is not a TrueType or OpenType font ({e})"))?;
    let path = path.to_owned();
    Ok((font, FileContent { path, content }))
}
