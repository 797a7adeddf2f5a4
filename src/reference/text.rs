//! Outlines and metrics of the fonts.

use std::collections::BTreeMap;

use crate::picture::Point;

/// Index of a font in the definition's fonts, in order of their names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FontId(pub usize);

/// One character of a font. Lengths are in em; y grows down from the base line.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Glyph {
    /// Distance to the next character.
    pub advance: f64,
    /// Closed contours, curves as quadratic segments: see [`Segment`].
    pub contours: Vec<Vec<Segment>>,
}

/// A piece of an outline; a contour begins with `Move`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Segment {
    /// Starts a contour.
    Move(Point),
    /// Straight.
    Line(Point),
    /// Quadratic: control point, end point.
    Quad(Point, Point),
    /// Cubic: two control points, end point.
    Cubic(Point, Point, Point),
}

/// A face with the characters that it has.
#[derive(Clone, Debug, PartialEq)]
pub struct Font {
    /// Family name, for SVG.
    pub family: String,
    /// CSS weight (400 regular, 700 bold), for SVG.
    pub weight: u16,
    /// Height of capitals, em.
    pub cap_height: f64,
    /// The TrueType file that it came from.
    pub file: Vec<u8>,
    glyphs: BTreeMap<char, Glyph>,
}

const BUILT_IN: [(&str, &[u8]); 4] = [
    (
        "B612 Regular",
        include_bytes!("../../reference_frames/fonts/B612-Regular.ttf"),
    ),
    (
        "B612 Bold",
        include_bytes!("../../reference_frames/fonts/B612-Bold.ttf"),
    ),
    (
        "B612 Mono Regular",
        include_bytes!("../../reference_frames/fonts/B612Mono-Regular.ttf"),
    ),
    (
        "B612 Mono Bold",
        include_bytes!("../../reference_frames/fonts/B612Mono-Bold.ttf"),
    ),
];

impl Font {
    /// Names of the faces that are part of the tool.
    pub fn built_in_names() -> impl Iterator<Item = &'static str> {
        BUILT_IN.iter().map(|(name, _)| *name)
    }

    /// A face that is part of the tool.
    #[must_use]
    pub fn built_in(name: &str) -> Option<Self> {
        let (_, bytes) = BUILT_IN.iter().find(|(n, _)| *n == name)?;
        Self::from_true_type(bytes).ok()
    }

    /// Reads a TrueType or OpenType file.
    ///
    /// # Errors
    /// The reader's words when the bytes are not a font or have no outlines.
    pub fn from_true_type(bytes: &[u8]) -> Result<Self, String> {
        let face = ttf_parser::Face::parse(bytes, 0).map_err(|e| e.to_string())?;
        let em = f64::from(face.units_per_em());
        let mut glyphs = BTreeMap::new();
        let mut codes = Vec::new();
        if let Some(cmap) = face.tables().cmap {
            for table in cmap.subtables {
                if table.is_unicode() {
                    table.codepoints(|c| codes.extend(char::from_u32(c)));
                }
            }
        }
        for c in codes {
            let Some(id) = face.glyph_index(c) else {
                continue;
            };
            let advance = f64::from(face.glyph_hor_advance(id).unwrap_or(0)) / em;
            let mut pen = Pen {
                em,
                contours: Vec::new(),
            };
            face.outline_glyph(id, &mut pen);
            glyphs.insert(
                c,
                Glyph {
                    advance,
                    contours: pen.contours,
                },
            );
        }
        if glyphs.is_empty() {
            return Err("the font maps no characters".into());
        }
        let family = face
            .names()
            .into_iter()
            .find(|n| n.name_id == ttf_parser::name_id::FAMILY && n.is_unicode())
            .and_then(|n| n.to_string())
            .unwrap_or_else(|| "sans-serif".into());
        let cap_height = face.capital_height().map_or(0.72, |h| f64::from(h) / em);
        Ok(Self {
            family,
            weight: face.weight().to_number(),
            cap_height,
            file: bytes.to_vec(),
            glyphs,
        })
    }

    /// The character's outline, when the font has it.
    #[must_use]
    pub fn glyph(&self, c: char) -> Option<&Glyph> {
        self.glyphs.get(&c)
    }

    /// All characters of the font.
    pub fn characters(&self) -> impl Iterator<Item = char> {
        self.glyphs.keys().copied()
    }

    /// Advance of one character, em; that of a space-like gap of 0.5 em when the font lacks it.
    #[must_use]
    pub fn advance(&self, c: char) -> f64 {
        self.glyphs.get(&c).map_or(0.5, |g| g.advance)
    }

    /// Advance of a line of words, em. No kerning is applied.
    #[must_use]
    pub fn line_advance(&self, words: &str) -> f64 {
        words.chars().map(|c| self.advance(c)).sum()
    }

    /// What the font says of pairs of characters; `None` when it says nothing.
    #[must_use]
    pub fn pairs(&self) -> Option<Pairs<'_>> {
        Pairs::new(ttf_parser::Face::parse(&self.file, 0).ok()?)
    }
}

/// Pairs of characters that are moved together or apart.
///
/// # Source
/// OpenType specification: `GPOS`, feature `kern`, lookups of type 2 (pair adjustment); else the table `kern`.
pub struct Pairs<'a> {
    face: ttf_parser::Face<'a>,
    /// Lookups of the feature, without repeats. Scripts share them as a rule.
    lookups: Vec<u16>,
}

impl<'a> Pairs<'a> {
    fn new(face: ttf_parser::Face<'a>) -> Option<Self> {
        let mut lookups = Vec::new();
        if let Some(table) = face.tables().gpos {
            let is_kerning = |f: &ttf_parser::opentype_layout::Feature| {
                f.tag == ttf_parser::Tag::from_bytes(b"kern")
            };
            for feature in table.features.into_iter().filter(is_kerning) {
                lookups.extend(feature.lookup_indices);
            }
        }
        lookups.sort_unstable();
        lookups.dedup();
        (!lookups.is_empty() || face.tables().kern.is_some()).then_some(Self { face, lookups })
    }

    /// What is added to the advance of `left` before `right`, em.
    #[must_use]
    pub fn kerning(&self, left: char, right: char) -> f64 {
        let id = |c| self.face.glyph_index(c);
        let (Some(left), Some(right)) = (id(left), id(right)) else {
            return 0.0;
        };
        let units = if self.lookups.is_empty() {
            self.by_kern(left, right)
        } else {
            self.by_gpos(left, right)
        };
        f64::from(units) / f64::from(self.face.units_per_em())
    }

    fn by_gpos(&self, left: ttf_parser::GlyphId, right: ttf_parser::GlyphId) -> i16 {
        use ttf_parser::gpos::{PairAdjustment, PositioningSubtable};
        let Some(table) = self.face.tables().gpos else {
            return 0;
        };
        // The first subtable of a lookup that has the pair ends the lookup.
        let in_subtable = |subtable| match subtable {
            PositioningSubtable::Pair(PairAdjustment::Format1 { coverage, sets }) => {
                let set = sets.get(coverage.get(left)?)?;
                set.get(right).map(|(first, _)| first.x_advance)
            }
            PositioningSubtable::Pair(PairAdjustment::Format2 {
                coverage,
                classes,
                matrix,
            }) => {
                coverage.get(left)?;
                let classes = (classes.0.get(left), classes.1.get(right));
                matrix.get(classes).map(|(first, _)| first.x_advance)
            }
            _ => None,
        };
        self.lookups
            .iter()
            .filter_map(|index| table.lookups.get(*index))
            .filter_map(|lookup| {
                lookup
                    .subtables
                    .into_iter::<PositioningSubtable>()
                    .find_map(in_subtable)
            })
            .sum()
    }

    fn by_kern(&self, left: ttf_parser::GlyphId, right: ttf_parser::GlyphId) -> i16 {
        let Some(table) = self.face.tables().kern else {
            return 0;
        };
        table
            .subtables
            .into_iter()
            .filter(|s| s.horizontal && !s.variable && !s.has_cross_stream)
            .filter_map(|s| s.glyphs_kerning(left, right))
            .sum()
    }
}

struct Pen {
    em: f64,
    contours: Vec<Vec<Segment>>,
}

impl Pen {
    fn point(&self, x: f32, y: f32) -> Point {
        Point::new(f64::from(x) / self.em, -f64::from(y) / self.em)
    }

    fn push(&mut self, segment: Segment) {
        if let Some(contour) = self.contours.last_mut() {
            contour.push(segment);
        }
    }
}

impl ttf_parser::OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        let p = self.point(x, y);
        self.contours.push(vec![Segment::Move(p)]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        let p = self.point(x, y);
        self.push(Segment::Line(p));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (c, p) = (self.point(x1, y1), self.point(x, y));
        self.push(Segment::Quad(c, p));
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (a, b, p) = (self.point(x1, y1), self.point(x2, y2), self.point(x, y));
        self.push(Segment::Cubic(a, b, p));
    }

    fn close(&mut self) {}
}
