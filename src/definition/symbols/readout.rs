//! One value as digits or text.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, shown};
use crate::definition::model::{Align, ColorRule, Name, NumberFormat, Region};
use crate::definition::check::Check;
use crate::definition::lint::Lint;
use crate::definition::parts::{Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::Walk;

/// One value as digits or text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Readout {
    /// The channel that it shows.
    pub channel: Name,
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
    /// Colour when no rule holds.
    pub color: Name,
    /// Other colours by condition.
    #[serde(default)]
    pub color_rules: Vec<ColorRule>,
    /// How a number is written. Not used for text channels.
    #[serde(default)]
    pub format: NumberFormat,
    /// What stands here when the data are invalid.
    #[serde(default = "default_dashes")]
    pub invalid_text: String,
    /// Its colour; that of the readout when absent.
    pub invalid_color: Option<Name>,
    /// Largest permitted difference of the shown number from the input beyond its own rounding,
    /// in the channel's unit; the region's tolerance for the channel when absent.
    pub tolerance: Option<f64>,
}

fn default_dashes() -> String {
    "---".into()
}

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
