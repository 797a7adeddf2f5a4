//! The fonts that text of an artwork is set in: those handed in, and no others.

use std::sync::{Arc, Mutex, PoisonError};

use usvg::fontdb;

/// A font that text may be set in.
#[derive(Clone, Copy, Debug)]
pub struct ArtworkFont<'a> {
    /// What the file calls its family.
    pub family: &'a str,
    /// CSS weight: 400 is regular, 700 bold.
    pub weight: u16,
    /// Its TrueType or OpenType file.
    pub bytes: &'a [u8],
}

/// What the SVG reader asked for in vain.
pub(super) type Missing = Arc<Mutex<Vec<String>>>;

/// The fonts as the SVG reader wants them; what it does not find is written into `missing`.
///
/// It would take another weight, another style or another family instead, and the text would stand there in the wrong
/// letters.
pub(super) fn reader_options(
    fonts: &[ArtworkFont<'_>],
    missing: &Missing,
) -> usvg::Options<'static> {
    let mut known = Vec::new();
    let mut options = usvg::Options::default();
    for font in fonts {
        let source = fontdb::Source::Binary(Arc::new(font.bytes.to_vec()));
        for id in options.fontdb_mut().load_font_source(source) {
            known.push((font.family.to_owned(), font.weight, id));
        }
    }
    let (not_found, no_character) = (Arc::clone(missing), Arc::clone(missing));
    options.font_resolver = usvg::FontResolver {
        select_font: Box::new(move |font, fonts| {
            let family = font.families().first().map(|f| match f {
                usvg::FontFamily::Named(name) => name.clone(),
                other => other.to_string(),
            });
            let family = family.unwrap_or_default();
            let is_italic = font.style() != usvg::FontStyle::Normal;
            let found = known.iter().find(|(name, weight, id)| {
                let is_face_italic = fonts
                    .face(*id)
                    .is_some_and(|f| f.style != fontdb::Style::Normal);
                *name == family && *weight == font.weight() && is_italic == is_face_italic
            });
            if found.is_none() {
                let style = if is_italic { ", italic" } else { "" };
                let weight = font.weight();
                note(
                    &not_found,
                    format!("there is no font of the family \"{family}\", weight {weight}{style}"),
                );
            }
            found.map(|(_, _, id)| *id)
        }),
        select_fallback: Box::new(move |character, _, _| {
            note(&no_character, format!("the font lacks \"{character}\""));
            None
        }),
    };
    options
}

fn note(missing: &Missing, what: String) {
    // A list of words is whole whatever happened to who held it.
    missing
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .push(what);
}

/// The first thing that was asked for in vain.
pub(super) fn first_missing(missing: &Missing) -> Option<String> {
    missing
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .first()
        .cloned()
}
