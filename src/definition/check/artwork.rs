//! Artwork files: found beside the definition, within their limits, and drawn to the last element.

use std::collections::BTreeMap;
use std::path::{Component, Path};
use std::sync::Arc;

use super::super::error::suggestion;
use super::super::model::ArtworkSource;
use super::super::place::At;
use super::limits::{ARTWORK_SCALE, POSITION};
use super::{Check, DefinitionFile, FROM_WHERE, Found};
use crate::artwork::{self, Artwork, ArtworkFont, Replacement};
use crate::files::{self, FileContent};
use crate::picture::Rgb;

impl Check<'_> {
    /// Reads the artwork files; fonts and colours have been looked at.
    pub(super) fn artwork(&mut self, at: &At<'_>, base_dir: &Path) {
        let file = self.file;
        for (name, source) in &file.artwork {
            let at = at.key(name);
            self.pair(&at.key("at"), source.at, &POSITION);
            self.number(&at.key("scale"), source.scale, &ARTWORK_SCALE);
            let replace = self.replacements(&at.key("colors"), source);
            match self.artwork_file(base_dir, &source.file, &replace) {
                Ok((artwork, file)) => {
                    let role = "artwork";
                    self.contents.push(DefinitionFile { role, file });
                    self.artworks.insert(name.clone(), Arc::new(artwork));
                }
                Err((message, help)) => {
                    let span = at.key("file").span.clone();
                    self.found.push(Found {
                        span,
                        message,
                        help,
                    });
                }
            }
        }
    }

    /// The file's colours that others stand for.
    fn replacements(&mut self, at: &At<'_>, source: &ArtworkSource) -> BTreeMap<Rgb, Replacement> {
        let mut replace = BTreeMap::new();
        for (from, name) in &source.colors {
            let Some(own) = Rgb::from_hex(from) else {
                let message =
                    format!("\"{from}\" is not a colour; expected \"#rrggbb\" of the file");
                self.say(&at.name(from), message);
                continue;
            };
            let Some(&color) = self.palette.get(name) else {
                // One that is given but wrong was reported.
                if !self.file.colors.contains_key(name) {
                    let help = suggestion(name, self.file.colors.keys().map(String::as_str));
                    self.say_with(
                        &at.key(from),
                        format!("there is no colour \"{name}\""),
                        help,
                    );
                }
                continue;
            };
            let name = name.clone();
            replace.insert(own, Replacement { name, color });
        }
        replace
    }

    fn artwork_file(
        &self,
        base_dir: &Path,
        file: &str,
        replace: &BTreeMap<Rgb, Replacement>,
    ) -> Result<(Artwork, FileContent), (String, Option<String>)> {
        let is_inside = |c: Component<'_>| matches!(c, Component::Normal(_) | Component::CurDir);
        if !Path::new(file).components().all(is_inside) {
            let message = format!("\"{file}\" leads out of the definition's folder");
            let help = "put the file beside the definition or into a folder there";
            return Err((message, Some(help.into())));
        }
        let path = base_dir.join(file);
        let (bytes, content) = files::read(&path, artwork::LIMIT).map_err(|e| {
            let why = match e {
                files::Error::NotRegular { found, .. } => format!("it is not a file but {found}"),
                files::Error::TooLarge { limit, .. } => {
                    format!("it is larger than {} MiB", limit >> 20)
                }
                other => other.into_cause().to_string(),
            };
            (
                format!("cannot use artwork file \"{file}\": {why}"),
                Some(FROM_WHERE.into()),
            )
        })?;
        let fonts: Vec<ArtworkFont<'_>> = self
            .fonts
            .values()
            .flatten()
            .map(|font| ArtworkFont {
                family: &font.family,
                weight: font.weight,
                bytes: &font.file,
            })
            .collect();
        let artwork = Artwork::read(&bytes, &fonts, replace)
            .map_err(|e| (format!("cannot draw artwork \"{file}\": {e}"), None))?;
        Ok((artwork, FileContent { path, content }))
    }

    /// `file`, or `file#id`, as a part names it.
    pub(super) fn artwork_name(&mut self, at: &At<'_>, name: &str) {
        let (file, id) = name
            .split_once('#')
            .map_or((name, None), |(file, id)| (file, Some(id)));
        let Some(artwork) = self.artworks.get(file) else {
            // One that is given but wrong was reported.
            if !self.file.artwork.contains_key(file) {
                let help = suggestion(file, self.file.artwork.keys().map(String::as_str));
                self.say_with(at, format!("there is no artwork \"{file}\""), help);
            }
            return;
        };
        let Some(id) = id else { return };
        if artwork.element(id).is_none() {
            let help = suggestion(id, artwork.ids());
            self.say_with(
                at,
                format!("artwork \"{file}\" has no element with the id \"{id}\""),
                help,
            );
        }
    }
}
