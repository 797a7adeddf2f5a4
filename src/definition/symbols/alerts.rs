//! Alerts in fixed slots.

use super::{Kind, shown};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::lint::Lint;
pub use crate::definition::model::Alerts;
use crate::definition::model::Region;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::{Use, Walk};

impl Kind for Alerts {
    fn name(&self) -> &'static str {
        "alerts"
    }

    fn parts(&self) -> Vec<Part> {
        vec![shown(Shape::Slots(self.clone()))]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        w.font(&self.font, self.size);
        if let Some(size) = self.advice_size {
            w.say(
                "advice_size",
                Use::Font {
                    name: &self.font,
                    size,
                },
            );
        }
        w.key("colors", |w| {
            w.color("warning", &self.colors.warning);
            w.color("caution", &self.colors.caution);
            w.color("advisory", &self.colors.advisory);
        });
        w.each("alert", &self.alert, |w, alert| {
            w.words("text", &self.font, alert.text.clone());
            w.words("advice", &self.font, alert.advice.clone());
            w.conditions(&alert.when);
        });
        if let Some(flag) = &self.failure {
            w.failure(flag);
        }
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.pair(&at.key("position"), self.position, &POSITION);
        c.number(&at.key("line_height"), self.line_height, &SIZE);
        c.number(&at.key("slots"), self.slots as f64, &SLOTS);
        c.number(&at.key("size"), self.size, &FONT_SIZE);
        if let Some(position) = self.advice_position {
            c.pair(&at.key("advice_position"), position, &POSITION);
        }
        c.number_if(&at.key("advice_size"), self.advice_size, &FONT_SIZE);
        if let Some(flag) = &self.failure {
            c.failure(at, flag);
        }
        if self.alert.is_empty() {
            c.say(&at.key("alert"), "an alert list needs at least one alert");
        }
        for (k, alert) in self.alert.iter().enumerate() {
            let at = at.key("alert").index(k);
            if alert.text.is_empty() {
                c.say(&at.key("text"), "alert without words");
            }
            c.conditions(&at, &alert.when);
        }
    }

    fn advise(&self, r: &Region, at: &At<'_>, lint: &mut Lint<'_>) {
        lint.alerts(r, self, at);
    }
}
