//! One value as digits or text.

use super::{Kind, shown};
use crate::definition::check::Check;
use crate::definition::lint::Lint;
use crate::definition::model::Region;
pub use crate::definition::model::Readout;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

impl Kind for Readout {
    fn name(&self) -> &'static str {
        "readout"
    }

    fn parts(&self) -> Vec<Part> {
        vec![shown(Shape::Readout(self.clone()))]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.readout(self);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.readout(at, self);
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.readout(r, Some(self), at);
    }
}
