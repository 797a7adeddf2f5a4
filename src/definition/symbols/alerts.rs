//! Alerts in fixed slots.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, shown};
use crate::definition::model::{Condition, FailureFlag, Hazard, Name, Region};
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
    /// Number of slots; what does not fit is not shown, but for `more` and `page`.
    pub slots: usize,
    /// Columns that the slots stand in, the left one filled first.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub columns: usize,
    /// Distance between columns, px.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column_width: Option<f64>,
    /// The ground that an alert stands on; none when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ground: Option<SlotGround>,
    /// How an alert looks until the crew has acknowledged it; as ever when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unacknowledged: Option<Unacknowledged>,
    /// Where it says how many more alerts are active than those shown so far; nowhere when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub more: Option<More>,
    /// Channel that says which page of the list is shown, counted from 1: as many alerts a page as there are slots. The
    /// first when absent or invalid.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub page: Option<Name>,
    /// What a wrong list means for the crew where an alert of a class is not shown, shown though it is not active, or shown
    /// as acknowledged; as the region says when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hazards: Option<AlertHazards>,
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

fn one() -> usize {
    1
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over references")]
fn is_one(n: &usize) -> bool {
    *n == 1
}

/// The ground that an alert stands on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SlotGround {
    /// Width and height, px; the middle of its height is that of the words' capitals.
    pub size: [f64; 2],
    /// Distance of the words from its left edge, px.
    pub inset: f64,
    /// Its colour; not filled when absent, but where `unacknowledged` fills it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub color: Option<Name>,
}

/// How an alert looks until the crew has acknowledged it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Unacknowledged {
    /// An alert is acknowledged once all of these hold while it is active.
    pub until: Vec<Condition>,
    /// How it looks.
    pub look: NewLook,
    /// It looks so while all of these hold, and as ever in between: flashing. All the time when empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lit: Vec<Condition>,
}

/// How a new alert looks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum NewLook {
    /// Its ground has its colour, and its words this one.
    Reverse(Name),
    /// Its words have this colour.
    Color(Name),
}

impl NewLook {
    const fn color(&self) -> &Name {
        match self {
            Self::Reverse(color) | Self::Color(color) => color,
        }
    }
}

/// Where it says how many more alerts are active.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct More {
    /// Left end of the words, middle of the capitals, px.
    #[schemars(extend("x-included" = "point"))]
    pub position: [f64; 2],
    /// Colour.
    pub color: Name,
    /// What stands before the number.
    #[serde(default = "plus")]
    pub prefix: String,
    /// What stands after it.
    #[serde(default)]
    pub suffix: String,
}

fn plus() -> String {
    "+".into()
}

/// What it means for the crew that an alert of a class is not shown as it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AlertHazards {
    /// Of warnings.
    pub warning: Hazard,
    /// Of cautions.
    pub caution: Hazard,
    /// Of advisories.
    pub advisory: Hazard,
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

impl Alerts {
    /// Slots of a column.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.slots.div_ceil(self.columns.max(1)).max(1)
    }

    /// Left end of the words of a slot, middle of their capitals, px.
    #[must_use]
    pub fn place(&self, slot: usize) -> [f64; 2] {
        let [x, y] = self.position;
        let (column, row) = (slot / self.rows(), slot % self.rows());
        let right = self.column_width.unwrap_or(0.0) * column as f64;
        [x + right, y + row as f64 * self.line_height]
    }

    /// What it means for the crew that an alert is not shown as it is; `None` where the region says it.
    #[must_use]
    pub fn hazard(&self, alert: &Alert) -> Option<Hazard> {
        self.hazards.map(|of| match alert.class {
            AlertClass::Warning => of.warning,
            AlertClass::Caution => of.caution,
            AlertClass::Advisory => of.advisory,
        })
    }
}

impl Kind for Alerts {
    fn name(&self) -> &'static str {
        "alerts"
    }

    fn parts(&self) -> Vec<Part> {
        vec![shown(Shape::Slots(Box::new(self.clone())))]
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
        if let Some(color) = self.ground.as_ref().and_then(|g| g.color.as_ref()) {
            w.key("ground", |w| w.color("color", color));
        }
        if let Some(new) = &self.unacknowledged {
            w.key("unacknowledged", |w| {
                w.conditions_at("until", &new.until);
                w.conditions_at("lit", &new.lit);
                let key = match new.look {
                    NewLook::Reverse(_) => "reverse",
                    NewLook::Color(_) => "color",
                };
                w.key("look", |w| w.color(key, new.look.color()));
            });
        }
        if let Some(more) = &self.more {
            w.key("more", |w| {
                w.color("color", &more.color);
                w.words("prefix", &self.font, format!("{}0123456789{}", more.prefix, more.suffix));
            });
        }
        if let Some(page) = &self.page {
            w.compares("page", page);
        }
        if let Some(flag) = &self.failure {
            w.failure(flag);
        }
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.pair(&at.key("position"), self.position, &POSITION);
        c.number(&at.key("line_height"), self.line_height, &SIZE);
        c.number(&at.key("slots"), self.slots as f64, &SLOTS);
        c.number(&at.key("size"), self.size, &FONT_SIZE);
        c.number(&at.key("columns"), self.columns as f64, &SLOTS);
        c.number_if(&at.key("column_width"), self.column_width, &SIZE);
        if self.columns > 1 && self.column_width.is_none() {
            c.say(&at.key("columns"), "columns need a \"column_width\", the distance between them");
        }
        if let Some(ground) = &self.ground {
            let at = at.key("ground");
            c.pair(&at.key("size"), ground.size, &SIZE);
            c.number(&at.key("inset"), ground.inset, &LENGTH);
        }
        if let Some(new) = &self.unacknowledged {
            let at = at.key("unacknowledged");
            if new.until.is_empty() {
                c.say(&at.key("until"), "nothing says when an alert has been acknowledged");
            }
            if matches!(new.look, NewLook::Reverse(_)) && self.ground.is_none() {
                c.say(&at.key("look"), "\"reverse\" fills the ground of an alert: give the list a \"ground\"");
            }
        }
        if let Some(more) = &self.more {
            c.pair(&at.key("more").key("position"), more.position, &POSITION);
        }
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
