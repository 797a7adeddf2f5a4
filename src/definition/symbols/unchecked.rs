//! An area that is left out of all checks.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, shown};
use crate::definition::check::Check;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

/// An area that cannot be predicted (a moving map): left out of all checks, and counted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Unchecked {
    /// Area, `[x, y, width, height]`, px.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// Why it cannot be checked.
    pub reason: String,
}

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
