//! A mark that changes all the time.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, shown};
use crate::definition::model::{Name};
use crate::definition::check::Check;
use crate::definition::check::limits::TIME_SPAN;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

/// A mark that changes all the time: the halves of `rect` are filled in turn.
///
/// Its phase is not known from the inputs, so either half may be lit; what is judged is that
/// it changes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Liveness {
    /// Area, `[x, y, width, height]`, px.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// Colour of the lit half.
    pub on: Name,
    /// Colour of the other half.
    pub off: Name,
    /// How long one half stays lit in the reference, ms.
    pub period_ms: f64,
    /// Longest time that the mark may stay the same, ms.
    pub max_hold_ms: f64,
}

impl Kind for Liveness {
    fn name(&self) -> &'static str {
        "liveness"
    }

    fn parts(&self) -> Vec<Part> {
        vec![shown(Shape::Blink(self.clone()))]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.color("on", &self.on);
        w.color("off", &self.off);
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.rect(&at.key("rect"), self.rect);
        let is_sound = c.number(&at.key("period_ms"), self.period_ms, &TIME_SPAN);
        if c.number(&at.key("max_hold_ms"), self.max_hold_ms, &TIME_SPAN)
            && is_sound
            && self.max_hold_ms < self.period_ms
        {
            let message = format!(
                "max_hold_ms {} is shorter than period_ms {}: a healthy mark would fail",
                self.max_hold_ms, self.period_ms
            );
            c.say(&at.key("max_hold_ms"), message);
        }
        if self.on == self.off {
            c.say(
                &at.key("off"),
                "both halves have the same colour, so no change could be seen",
            );
        }
    }
}
