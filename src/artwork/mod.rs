//! Artwork: SVG files as areas and their paints.
//!
//! *The question*: what would any drawing program show for this file? An engineer draws a panel once, in the program that
//! he likes; what stands in the definition then is only what moves.
//!
//! *The method*: the file's words are held against a list of what is drawn (`screen`, `vocabulary`), so that nothing
//! is left out or taken for something else in silence. An SVG reader (`usvg`) then resolves styles, references,
//! transforms, units and text; fills, strokes and clip paths become areas with straight edges on a fine grid
//! (`outline`, `region`), in the order of drawing (`plates`). How an area becomes pixels is the renderer's matter.
//!
//! *What it cannot see*: what the authors of other programs decide where SVG leaves it open, above all how text is kerned.
//! Clip paths cut outlines, where others mix two coverages: pixels on the edge of both differ.

mod arcs;
mod error;
mod fonts;
mod outline;
mod plates;
mod region;
mod screen;
#[cfg(test)]
mod tests;
mod vocabulary;

pub use error::Error;
pub use fonts::ArtworkFont;

use std::collections::BTreeMap;
use std::ops::Range;

use crate::colour::Shade;
use crate::files::Limit;
use crate::picture::{Point, Rgb};

/// The most that an artwork file may hold.
pub const LIMIT: Limit = Limit {
    kind: "an artwork",
    bytes: 4 << 20,
};

/// What an area is painted with.
#[derive(Clone, Debug, PartialEq)]
pub enum Paint {
    /// One colour.
    Flat(Rgb),
    /// Colours along a line.
    Linear(Shade),
}

/// An area in one paint.
#[derive(Clone, Debug, PartialEq)]
pub struct Plate {
    /// Closed contours, non-zero rule, px of the file; they neither cross nor overlap, holes run the other way round.
    pub contours: Vec<Vec<Point>>,
    /// What it is painted with.
    pub paint: Paint,
    /// How much it hides of what lies below, above 0 to 1.
    pub opacity: f64,
    /// The name of the colour that replaced the file's; `None` where none did, and of a linear paint.
    pub color_name: Option<String>,
}

/// A colour to take instead of one of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Replacement {
    /// What the definition calls it.
    pub name: String,
    /// The colour.
    pub color: Rgb,
}

/// What a file draws.
#[derive(Clone, Debug, PartialEq)]
pub struct Artwork {
    size_px: [f64; 2],
    plates: Vec<Plate>,
    ids: BTreeMap<String, Range<usize>>,
}

impl Artwork {
    /// Reads an SVG file. Text is set in `fonts`; colours of the file that `replace` has become those that it says.
    ///
    /// # Errors
    /// The first thing that is not drawn, with its line.
    ///
    /// # Examples
    /// ```
    /// use framevouch::artwork::Artwork;
    /// use std::collections::BTreeMap;
    ///
    /// let file = br#"<svg xmlns="http://www.w3.org/2000/svg" width="20" height="10">
    ///   <rect id="lamp" x="1" y="2" width="4" height="5" fill="red"/>
    /// </svg>"#;
    /// let artwork = Artwork::read(file, &[], &BTreeMap::new())?;
    /// assert_eq!(artwork.size_px(), [20.0, 10.0]);
    /// assert_eq!(artwork.element("lamp").unwrap()[0].contours[0].len(), 4);
    /// # Ok::<(), framevouch::artwork::Error>(())
    /// ```
    pub fn read(
        bytes: &[u8],
        fonts: &[ArtworkFont<'_>],
        replace: &BTreeMap<Rgb, Replacement>,
    ) -> Result<Self, Error> {
        if bytes.len() as u64 > LIMIT.bytes {
            let most = LIMIT.bytes >> 20;
            return Err(Error::of_file(format!(
                "the file is larger than {most} MiB"
            )));
        }
        let Ok(text) = str::from_utf8(bytes) else {
            return Err(Error::of_file(
                "not UTF-8 text; save it as plain SVG in UTF-8",
            ));
        };
        let families: Vec<&str> = fonts.iter().map(|f| f.family).collect();
        let screened = screen::screen(text, &families)?;
        let missing = fonts::Missing::default();
        let options = fonts::reader_options(fonts, &missing);
        let tree = usvg::Tree::from_str(&screened.text, &options)
            .map_err(|e| Error::of_file(e.to_string()))?;
        if let Some(what) = fonts::first_missing(&missing) {
            let text = screened.first_text.as_ref();
            return Err(text.map_or_else(
                || Error::of_file(&what),
                |t| t.error(format!("{what} (in it or a text after it)")),
            ));
        }
        let plates::Plates { plates, ids } = plates::plates(&tree, &screened, replace)?;
        Ok(Self {
            size_px: [tree.size().width(), tree.size().height()].map(f64::from),
            plates,
            ids,
        })
    }

    /// Width and height of the picture, px.
    #[must_use]
    pub const fn size_px(&self) -> [f64; 2] {
        self.size_px
    }

    /// All of it, in the order of drawing.
    #[must_use]
    pub fn whole(&self) -> &[Plate] {
        &self.plates
    }

    /// What the element with this id draws, in the order of drawing and where the file has it: transforms, clips and
    /// opacities of what it stands in are applied. `None` when there is no such element, or it draws nothing.
    #[must_use]
    pub fn element(&self, id: &str) -> Option<&[Plate]> {
        self.ids.get(id).map(|range| &self.plates[range.clone()])
    }

    /// Ids of the elements that draw something.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.ids.keys().map(String::as_str)
    }
}
