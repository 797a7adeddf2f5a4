//! From TOML to a checked [`Definition`].
//!
//! Three passes, each over the same tree with places, each reporting all it finds: syntax, with whatever is included
//! ([`super::include`]), shape ([`super::shape`]), meaning ([`super::check`]). A later pass runs only on what the earlier
//! ones let through, so that one slip is not reported three times.

use std::path::Path;
use std::sync::Arc;

use serde::Deserialize as _;

use super::check::{Resolved, check};
use super::error::{Error, Found, Places};
use super::include::{Joined, join};
use super::logic::Logic;
use super::model::DisplayFile;
use super::pages::PageSet;
use super::tree::Node;
use super::{Definition, DefinitionFile, Source, palettes, shape, tables};
use crate::files::{self, FileContent, Limit};

/// Longest definition with all that it includes, bytes. Far beyond any display written by hand.
pub(super) const FILE_BYTES: usize = 16 << 20;
/// The most that a definition may hold.
pub(super) const LIMIT: Limit = Limit {
    kind: "a display definition",
    bytes: FILE_BYTES as u64,
};

impl Definition {
    /// Reads the definition at `path`. Files that it includes, fonts and artwork are looked for from its folder.
    ///
    /// # Errors
    /// [`Error::Unreadable`] when there is no such file or the system refuses it;
    /// [`Error::Wrong`] with everything that is wrong in it and in the files that it includes.
    pub fn load(path: &Path) -> Result<Self, Error> {
        let (bytes, content) = files::read(path, LIMIT).map_err(|e| Error::Unreadable {
            path: path.to_owned(),
            source: e.into_cause(),
        })?;
        let origin = path.display().to_string();
        let base_dir = path.parent().unwrap_or(Path::new(""));
        match str::from_utf8(&bytes) {
            Ok(text) => {
                let mut definition = Self::from_toml(text, &origin, base_dir)?;
                let path = path.to_owned();
                let file = DefinitionFile {
                    role: "display",
                    file: FileContent { path, content },
                };
                definition.contents.insert(0, file);
                Ok(definition)
            }
            Err(why) => {
                let shown = String::from_utf8_lossy(&bytes);
                Err(Places::new(&shown, &origin).error(vec![not_text(&why)]))
            }
        }
    }

    /// Reads a definition from `text`. `origin` is what messages call the file; files that it includes, fonts and artwork are
    /// looked for from `base_dir`.
    ///
    /// # Errors
    /// [`Error::Wrong`] with everything that is wrong in it.
    ///
    /// # Examples
    /// ```
    /// use framevouch::definition::Definition;
    /// use std::path::Path;
    ///
    /// let text = "[display]\nname = \"strip\"\nwidth = 480\nheight = 0\nbackground = \"blak\"\n[colors]\nblack = \"#000000\"\n";
    /// let wrong = Definition::from_toml(text, "strip.toml", Path::new("")).unwrap_err();
    /// assert_eq!(wrong.problems().len(), 3);
    /// assert!(wrong.to_string().contains("did you mean \"black\"?"));
    /// ```
    pub fn from_toml(text: &str, origin: &str, base_dir: &Path) -> Result<Self, Error> {
        let Joined {
            mut root,
            places,
            contents: included,
        } = join(text, origin, base_dir)?;
        let found = tables::write_out(&mut root);
        if !found.is_empty() {
            return Err(places.error(found));
        }
        let deviations = shape::deviations(&root);
        if !deviations.is_empty() {
            return Err(places.error(deviations));
        }
        let file = |root: &Node| {
            let file = DisplayFile::deserialize(root.plain());
            file.map_err(|e| places.error(vec![syntax(&e, text)]))
        };
        let mut file_read = file(&root)?;
        if !file_read.palette.is_empty() {
            let found = palettes::write_out(&mut root, &file_read);
            if !found.is_empty() {
                return Err(places.error(found));
            }
            file_read = file(&root)?;
        }
        file_read.settle_confirmation();
        let file = file_read;
        let Resolved {
            palette,
            fonts,
            artworks,
            requirements,
            contents,
            derivations,
        } = check(&file, &root, &places, base_dir).map_err(|found| places.error(found))?;
        let included = included.into_iter().map(|file| DefinitionFile {
            role: "include",
            file,
        });
        let logic = Arc::new(Logic::new(&file, derivations));
        let pages_of = file.region.iter().map(|r| PageSet::of(&file, r));
        Ok(Self {
            pages_of: pages_of.collect(),
            file,
            logic,
            palette,
            fonts,
            artworks,
            requirements,
            contents: included.chain(contents).collect(),
            source: Arc::new(Source { root, places }),
        })
    }
}

/// That bytes are no text: the damaged one stands where the valid part ends.
pub(super) fn not_text(why: &std::str::Utf8Error) -> Found {
    let at = why.valid_up_to();
    Found {
        span: at..at + 1,
        message: "not UTF-8 text; a definition is TOML in UTF-8".to_owned(),
        help: None,
    }
}

/// The TOML reader's own finding.
pub(super) fn syntax(error: &toml::de::Error, text: &str) -> Found {
    let span = error.span().unwrap_or(text.len()..text.len());
    let help = (error.message() == "duplicate key").then(|| {
        let name = text.get(span.clone()).unwrap_or("");
        format!("{name} is already given in this table")
    });
    Found {
        span,
        message: error.message().to_owned(),
        help,
    }
}
