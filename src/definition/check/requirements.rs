//! The file of requirements.

use std::path::Path;
use std::sync::Arc;

use super::{Check, FROM_WHERE};
use crate::definition::DefinitionFile;
use crate::definition::place::At;
use crate::requirements::{Names, Requirements};

impl Check<'_> {
    pub(super) fn requirements(&mut self, at: &At<'_>, base_dir: &Path) {
        let Some(source) = &self.file.requirements else {
            return;
        };
        let names = Names {
            id: source.id.clone(),
            text: source.text.clone(),
            method: source.method.clone(),
            hazard: source.hazard.clone(),
        };
        match Requirements::load(&base_dir.join(&source.file), &names) {
            Ok(requirements) => {
                self.contents.push(DefinitionFile {
                    role: "requirements",
                    file: requirements.file.clone(),
                });
                self.requirements = Some(Arc::new(requirements));
            }
            Err(why) => {
                let mut message = format!("cannot use requirements \"{}\": {why}", source.file);
                if let Some(cause) = std::error::Error::source(&why) {
                    message += &format!(": {cause}");
                }
                self.say_with(&at.key("file"), message, Some(FROM_WHERE.into()));
            }
        }
    }
}
