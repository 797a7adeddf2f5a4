//! The display definition: what the display must show for given data, written down
//! independently of the code that draws it.
//!
//! *The question*: what does this file say, and can it be true? A file that a person wrote has
//! slips in it, and a slip here turns into a missed fault or a nuisance trip later, so
//! everything that can be refused is refused here, with its line and column, all at once.
//!
//! *The method*: TOML becomes a tree with byte ranges ([`read`](Definition::from_toml)), joined by the trees of
//! the files that it includes (`include`), the tree is held against the JSON Schema that the types of [`model`] give ([`schema`]), then
//! becomes those types, and then their meaning is checked: names, ranges, geometry. serde alone
//! would be simpler; it stops at the first error and loses the place inside a symbol.
//!
//! *What it cannot see*: whether the numbers are those of the real display. [`lint`] gives
//! advice on what is possible but unwise, above all tolerances that the pixels cannot show.

mod check;
pub mod error;
pub(crate) mod expression;
mod include;
pub mod lint;
pub(crate) mod logic;
pub mod model;
pub mod pages;
pub mod palettes;
pub mod parts;
mod place;
mod read;
pub mod recording_form;
pub mod schema;
mod shape;
pub mod symbols;
pub mod tables;
#[cfg(test)]
mod tests;
mod tree;
pub mod uses;

pub use error::{Error, Problem};

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::artwork::Artwork;
use crate::files::FileContent;
use crate::picture::{Rect, Rgb};
use crate::recording::inputs::{ChannelId, Inputs};
use crate::reference::text::{Font, FontId};
use crate::requirements::Requirements;
use logic::Logic;
use model::{Budget, Channel, DisplayFile, Page, Region};
use pages::PageSet;
use recording_form::RecordingForm;

/// A definition whose names all resolve.
///
/// # Guarantees
/// Every channel, colour and font named in `file` exists, every number is finite and in its
/// permitted range, and regions lie on the canvas and do not overlap. Look-ups of names that
/// stand in `file` therefore never fail.
#[derive(Clone, Debug)]
pub struct Definition {
    file: DisplayFile,
    logic: Arc<Logic>,
    palette: BTreeMap<String, Rgb>,
    fonts: Vec<(String, Font)>,
    artworks: BTreeMap<String, Arc<Artwork>>,
    requirements: Option<Arc<Requirements>>,
    contents: Vec<DefinitionFile>,
    /// By region.
    pages_of: Vec<PageSet>,
    source: Arc<Source>,
}

/// A file that a definition was read from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DefinitionFile {
    /// What it is to the definition, as manifests say it: `display`, `include`, `font`, `artwork` or `requirements`.
    pub role: &'static str,
    /// What it held when it was read.
    pub file: FileContent,
}

/// A file that a definition is written in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DefinitionText<'d> {
    /// What messages call it.
    pub origin: &'d str,
    /// What it says.
    pub text: &'d str,
    /// By `[[region]]` of the file: the ids of the regions that come of it, one for each of the file's places.
    pub regions: Vec<Vec<&'d str>>,
}

/// What a definition was read from, for places in it.
#[derive(Debug)]
struct Source {
    root: tree::Node,
    places: error::Places,
}

impl Definition {
    /// What its file held when it was read, after that each file that is included, in the order in which they are first
    /// named, each font file and each artwork file, in the order of their names, and the file of requirements; of a
    /// definition from text all but the first.
    #[must_use]
    pub fn contents(&self) -> &[DefinitionFile] {
        &self.contents
    }

    /// The files that it is written in, its own and those that it includes, with the regions that stand in each.
    #[must_use]
    pub fn texts(&self) -> Vec<DefinitionText<'_>> {
        let Source { root, places } = &*self.source;
        let texts = places.files().into_iter();
        let mut texts: Vec<_> = texts
            .map(|(origin, text)| DefinitionText {
                origin,
                text,
                regions: Vec::new(),
            })
            .collect();
        let nodes = root.get("region").and_then(tree::Node::as_array);
        // Regions of one place of a file stand in the order of the file.
        let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
        for (region, node) in self.regions().iter().zip(nodes.unwrap_or_default()) {
            let (origin, place) = places.file_at(node.span.start);
            let count = counts.entry(place).or_default();
            if let Some(text) = texts.iter_mut().find(|t| t.origin == origin) {
                if text.regions.len() <= *count {
                    text.regions.push(Vec::new());
                }
                text.regions[*count].push(&region.id);
            }
            *count += 1;
        }
        texts
    }

    /// What the artwork file called `name` draws, in the file's own px. Where it stands and how large is said in
    /// [`model::ArtworkSource`].
    ///
    /// # Panics
    /// When `name` does not stand in the file; see the guarantees.
    #[must_use]
    pub fn artwork(&self, name: &str) -> &Artwork {
        &self.artworks[name]
    }

    /// The requirements with their wording, where the file names any.
    #[must_use]
    pub fn requirements(&self) -> Option<&Requirements> {
        self.requirements.as_deref()
    }

    /// What the file says.
    #[must_use]
    pub const fn file(&self) -> &DisplayFile {
        &self.file
    }

    /// How recordings of its channels are written, where nothing else is said.
    #[must_use]
    pub fn recording_form(&self) -> &RecordingForm {
        static PLAIN: RecordingForm = RecordingForm::PLAIN;
        self.file.recording.as_ref().unwrap_or(&PLAIN)
    }

    /// Canvas width and height, px.
    #[must_use]
    pub const fn size(&self) -> (usize, usize) {
        (
            self.file.display.width as usize,
            self.file.display.height as usize,
        )
    }

    /// Regions in the order of the file.
    #[must_use]
    pub fn regions(&self) -> &[Region] {
        &self.file.region
    }

    /// The pages that a region belongs to.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn pages_of(&self, region: usize) -> PageSet {
        self.pages_of[region]
    }

    /// The regions that the page has which is due, with their indices, in the order of the file.
    pub fn regions_due<'d>(
        &'d self,
        inputs: &Inputs,
    ) -> impl Iterator<Item = (usize, &'d Region)> + use<'d> {
        let page = inputs.page;
        let regions = self.file.region.iter().enumerate();
        regions.filter(move |(k, _)| self.pages_of(*k).contains(page))
    }

    /// Age that the data of a region may have, s.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn max_latency_s(&self, region: usize) -> f64 {
        let own = self.file.region[region].max_latency_ms;
        own.unwrap_or(self.file.display.max_latency_ms) / 1000.0
    }

    /// What a region may spend of the budget of its hazard class, which its regions share alike; `None` where its faults are
    /// confirmed by time.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn budget(&self, region: usize) -> Option<Budget> {
        let own = &self.file.region[region];
        let of_class = self.file.budget?.of(own.hazard);
        let regions = self.file.region.iter();
        let sharing = regions.filter(|r| r.hazard == own.hazard && !r.is_unchecked());
        of_class
            .filter(|_| own.confirm_ms.is_none())
            .map(|budget| Budget {
                nuisance_per_hour: budget.nuisance_per_hour / sharing.count().max(1) as f64,
                ..budget
            })
    }

    /// Pages in the order of the file; none when every region is shown all the time.
    #[must_use]
    pub fn pages(&self) -> &[Page] {
        &self.file.page
    }

    /// Channels with their names, by [`ChannelId`].
    #[must_use]
    pub fn channels(&self) -> &[(String, Channel)] {
        &self.logic.channels
    }

    /// How channels, conditions and alerts depend on the inputs and their history.
    pub(crate) const fn logic(&self) -> &Arc<Logic> {
        &self.logic
    }

    /// The channel called `name`.
    ///
    /// # Panics
    /// When `name` does not stand in the file; see the guarantees.
    #[must_use]
    pub fn channel(&self, name: &str) -> ChannelId {
        let found = self.logic.find(name);
        found.expect("a checked definition names only channels it has")
    }

    /// The colour called `name`, or written as `#rrggbb`.
    ///
    /// # Panics
    /// When `name` does not stand in the file; see the guarantees.
    #[must_use]
    pub fn color(&self, name: &str) -> Rgb {
        self.palette
            .get(name)
            .copied()
            .or_else(|| Rgb::from_hex(name))
            .unwrap_or_else(|| panic!("a checked definition names only colours it has: {name}"))
    }

    /// Colour of the empty canvas.
    #[must_use]
    pub fn background(&self) -> Rgb {
        self.color(&self.file.display.background)
    }

    /// The font called `name`.
    ///
    /// # Panics
    /// When `name` does not stand in the file; see the guarantees.
    #[must_use]
    pub fn font(&self, name: &str) -> FontId {
        let found = self.fonts.binary_search_by(|(n, _)| n.as_str().cmp(name));
        FontId(found.expect("a checked definition names only fonts it has"))
    }

    /// Fonts with their names, by [`FontId`].
    #[must_use]
    pub fn fonts(&self) -> &[(String, Font)] {
        &self.fonts
    }

    /// The same display with every symbol written out in parts, as a file of its own; it draws the same bytes.
    ///
    /// # Panics
    /// Never: what was read from TOML can be written as TOML.
    #[must_use]
    pub fn expanded(&self) -> String {
        let mut file = self.file.clone();
        let colors = &mut file.colors;
        for symbol in file.region.iter_mut().flat_map(|r| &mut r.symbol) {
            if !matches!(symbol, model::Symbol::Parts(_)) {
                let name = symbol.called().unwrap_or(symbol.kind());
                let (name, mut part) = (Some(name.into()), symbol.parts());
                name_colors(&mut part, colors);
                *symbol = model::Symbol::Parts(parts::Parts { name, part });
            }
        }
        toml::to_string(&file).expect("what was read from TOML can be written as TOML")
    }

    /// A variation: the same display with one region changed. `change` may only use names that stand in the
    /// file, and must leave the conditions of the file, and number and place of the region's alerts, alone.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn with_region(&self, region: usize, change: impl FnOnce(&mut Region)) -> Self {
        let mut other = self.clone();
        change(&mut other.file.region[region]);
        other
    }

    /// A variation: the same display with another colour for `name`, which must stand in the file.
    #[must_use]
    pub fn with_color(&self, name: &str, color: Rgb) -> Self {
        let mut other = self.clone();
        if let Some(shown) = other.palette.get_mut(name) {
            *shown = color;
        }
        other
    }

    /// The outlines of a font.
    #[must_use]
    pub fn face(&self, font: FontId) -> &Font {
        &self.fonts[font.0].1
    }
}

/// Gives a name to fillings whose colour a kind says itself: in a file colours are named.
fn name_colors(parts: &mut [parts::Part], colors: &mut BTreeMap<String, String>) {
    for part in parts {
        if let Some(fill) = part.fill.as_mut().filter(|f| f.starts_with('#')) {
            let name = fill.replacen('#', "rgb_", 1);
            colors.insert(name.clone(), std::mem::replace(fill, name));
        }
        name_colors(&mut part.part, colors);
    }
}

#[cfg(test)]
impl Definition {
    /// A definition from plain data, without the checks: only for tests, and until reading stands.
    pub(crate) fn unchecked_for_tests(file: DisplayFile) -> Self {
        let derivations =
            expression::derivations(&file.channels).expect("a test's expressions are right");
        let logic = Arc::new(Logic::new(&file, derivations));
        let palette = file
            .colors
            .iter()
            .map(|(name, hex)| {
                (
                    name.clone(),
                    Rgb::from_hex(hex).expect("a test writes #rrggbb"),
                )
            })
            .collect();
        let face =
            |s: &model::FontSource| Font::built_in(s.builtin.as_deref().unwrap_or("B612 Regular"));
        let fonts = file
            .fonts
            .iter()
            .map(|(n, s)| (n.clone(), face(s).expect("a test names a face")))
            .collect();
        let pages_of = file.region.iter().map(|r| PageSet::of(&file, r)).collect();
        Self {
            pages_of,
            file,
            logic,
            palette,
            fonts,
            artworks: BTreeMap::new(),
            requirements: None,
            contents: Vec::new(),
            source: Arc::new(Source {
                root: tree::Node {
                    span: 0..0,
                    value: tree::Value::Boolean(true),
                },
                places: error::Places::new("", ""),
            }),
        }
    }
}

impl Region {
    /// The region's pixels.
    #[must_use]
    pub const fn area(&self) -> Rect {
        let [x, y, w, h] = self.rect;
        Rect::new(x, y, w, h)
    }
}
