//! Fixed words.

use super::{Kind, shown};
use crate::definition::check::Check;
use crate::definition::check::limits::{FONT_SIZE, POSITION};
pub use crate::definition::model::Text;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

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
