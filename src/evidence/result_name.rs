//! The name of a file inside of a result folder: it cannot lead out of it.

use std::fmt;
use std::path::{Component, Path};

/// The name of a file inside of a result folder, `/` between parts.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ResultName(String);

/// A name that leads out of the result folder, or nowhere.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error(
    "\"{0}\" is no name of a file inside of the result folder: parts with / between, none of them .. or empty"
)]
pub struct BadName(pub String);

impl ResultName {
    /// The name that `text` is.
    ///
    /// # Errors
    /// When it is empty, starts at the root, or has a part that is empty, `.` or `..`.
    pub fn new(text: &str) -> Result<Self, BadName> {
        // The system's own reading as well: it may know other separators, and drives.
        let is_plain = !text.contains('\0')
            && text.split('/').all(|part| !["", ".", ".."].contains(&part))
            && Path::new(text)
                .components()
                .all(|c| matches!(c, Component::Normal(_)));
        if is_plain {
            Ok(Self(text.to_owned()))
        } else {
            Err(BadName(text.to_owned()))
        }
    }

    /// As it stands in a manifest.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for ResultName {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_leads_out_of_the_folder() {
        for good in ["summary.json", "event_frames/event_0001.png", "..a", "a.."] {
            assert_eq!(ResultName::new(good).unwrap().as_str(), good);
        }
        for bad in [
            "",
            "/",
            "/etc/hosts",
            "..",
            "../x",
            "../../x",
            "a/../../x",
            "a/..",
            "./x",
            "a//x",
            "a/",
            "a\0b",
        ] {
            assert_eq!(ResultName::new(bad), Err(BadName(bad.into())), "{bad}");
        }
    }
}
