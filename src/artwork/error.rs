//! What is wrong with an artwork file, and where.

use std::fmt;

/// Why a file is no artwork: the first thing that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Error {
    /// Line of the file, from 1; `None` where it is about the file as a whole.
    pub line: Option<u32>,
    /// The element: its tag and, where it has one, its id.
    pub element: Option<String>,
    /// What was found, what was expected, and how to mend it.
    pub message: String,
}

impl Error {
    /// About the file as a whole.
    pub(super) fn of_file(message: impl Into<String>) -> Self {
        Self {
            line: None,
            element: None,
            message: message.into(),
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        if let Some(element) = &self.element {
            write!(f, "{element}: ")?;
        }
        f.write_str(&self.message)
    }
}

impl std::error::Error for Error {}

/// Where elements stand in the file, so that messages can name the place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Place {
    /// Line, from 1.
    pub line: u32,
    /// Tag and, where the file gives one, id: `<path id="needle">`.
    pub element: String,
}

impl Place {
    /// An error that names this place.
    pub fn error(&self, message: impl Into<String>) -> Error {
        Error {
            line: Some(self.line),
            element: Some(self.element.clone()),
            message: message.into(),
        }
    }
}
