//! Alerts in fixed slots.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, shown};
use crate::definition::model::{Condition, FailureFlag, Name, Region};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::lint::Lint;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::{Use, Walk};

/// Alerts in fixed slots: by class, then by order of `priority`, then the newest first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Alerts {
    /// Left end of the first slot's words, middle of its capitals, px.
    #[schemars(extend("x-included" = "point"))]
    pub position: [f64; 2],
    /// Distance between slots, px.
    pub line_height: f64,
    /// Number of slots; what does not fit is not shown.
    pub slots: usize,
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// Colours of the three classes.
    pub colors: AlertColors,
    /// All alerts that can appear.
    pub alert: Vec<Alert>,
    /// Where the advice of the first alert stands: left end, middle of the capitals, px.
    #[schemars(extend("x-included" = "point"))]
    pub advice_position: Option<[f64; 2]>,
    /// Size of the advice (em), px; that of the alerts when absent.
    pub advice_size: Option<f64>,
    /// What stands on the picture while data of any condition are invalid or too old. The alerts that can still be
    /// decided are shown as well, so `rect` lies clear of the slots.
    pub failure: Option<FailureFlag>,
}

/// Urgency of an alert, most urgent first.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum AlertClass {
    /// Immediate awareness and immediate response.
    Warning,
    /// Immediate awareness, later response.
    Caution,
    /// Awareness.
    Advisory,
}

/// Colours of the three alert classes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AlertColors {
    /// Of warnings.
    pub warning: Name,
    /// Of cautions.
    pub caution: Name,
    /// Of advisories.
    pub advisory: Name,
}

/// One alert that can appear.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Alert {
    /// Words in the slot.
    pub text: String,
    /// Class.
    pub class: AlertClass,
    /// Order within the class; lower first.
    #[serde(default)]
    pub priority: u32,
    /// The alert is active while all of these hold.
    pub when: Vec<Condition>,
    /// What to do, shown for the first alert.
    #[serde(default)]
    pub advice: String,
}

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
