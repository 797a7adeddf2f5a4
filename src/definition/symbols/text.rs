//! Fixed words.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, shown};
use crate::definition::model::{Align, Name};
use crate::definition::check::Check;
use crate::definition::check::limits::{FONT_SIZE, POSITION};
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

/// Fixed words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Text {
    /// The words.
    pub text: String,
    /// Position: x as `align` says, y the middle of the capitals, px.
    #[schemars(extend("x-included" = "point"))]
    pub position: [f64; 2],
    /// How the words sit on the position.
    #[serde(default)]
    pub align: Align,
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// Colour.
    pub color: Name,
}

impl Kind for Text {
    fn name(&self) -> &'static str {
        "text"
    }

    fn parts(&self) -> Vec<Part> {
        vec![shown(Shape::Words(self.clone()))]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.font(&self.font, self.size);
        w.color("color", &self.color);
        w.words("text", &self.font, self.text.clone());
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        if self.text.is_empty() {
            c.say(&at.key("text"), "text without words");
        }
        c.pair(&at.key("position"), self.position, &POSITION);
        c.number(&at.key("size"), self.size, &FONT_SIZE);
    }
}
