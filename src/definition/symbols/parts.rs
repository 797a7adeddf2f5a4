//! Anything, written out in parts.

use super::Kind;
use crate::definition::check::Check;
use crate::definition::parts::Part;
pub use crate::definition::parts::Parts;
use crate::definition::place::At;
use crate::definition::uses::Walk;

impl Kind for Parts {
    fn name(&self) -> &'static str {
        "parts"
    }

    fn called(&self) -> Option<&str> {
        self.name.as_deref()
    }

    fn parts(&self) -> Vec<Part> {
        self.part.clone()
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.parts(&self.part);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.parts(at, &self.part);
    }
}
