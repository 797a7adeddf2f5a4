//! An area that is left out of all checks.

use super::{Kind, shown};
use crate::definition::check::Check;
pub use crate::definition::model::Unchecked;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

impl Kind for Unchecked {
    fn name(&self) -> &'static str {
        "unchecked"
    }

    fn parts(&self) -> Vec<Part> {
        vec![shown(Shape::Unchecked(self.clone()))]
    }

    fn uses<'f>(&'f self, _: &mut Walk<'_, 'f>) {}

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.rect(&at.key("rect"), self.rect);
        if self.reason.trim().is_empty() {
            c.say(
                &at.key("reason"),
                "an unchecked area must say why it cannot be checked",
            );
        }
    }
}
