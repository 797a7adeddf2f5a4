//! `display.json`: what was to be checked, as the definition says it. A report needs no definition then.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::records::RECORDS_VERSION;
use crate::definition::Definition;
use crate::definition::model::{Budget, Hazard, Symbol, Unchecked};
use crate::picture::Rect;
use crate::requirements::Requirement;

/// `display.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DisplayRecord {
    /// Version of the records.
    pub records_version: u32,
    /// The display's name.
    pub name: String,
    /// Canvas width, px.
    pub width: u32,
    /// Canvas height, px.
    pub height: u32,
    /// Regions in drawing order.
    pub regions: Vec<RegionInfo>,
    /// The requirements of the file that the definition names, with their wording.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub requirements: Vec<Requirement>,
}

/// A region as the definition gives it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegionInfo {
    /// Its id.
    pub id: String,
    /// `[x, y, width, height]`, px.
    pub rect: [i32; 4],
    /// What a wrong picture here means for the crew.
    pub hazard: Hazard,
    /// Requirement ids that the region verifies.
    pub requirements: Vec<String>,
    /// How long a fault must last to be raised, ms.
    pub confirm_ms: f64,
    /// Also raised when k of the last n frames were faulty: `[k, n]`.
    pub confirm_frames: Option<[u32; 2]>,
    /// How long the picture must agree before an event ends, ms.
    pub recover_ms: f64,
    /// What it may spend of the budget of its hazard class, where that decides about values.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<Budget>,
    /// Permitted age of the data shown, ms.
    pub max_latency_ms: f64,
    /// Kinds of its symbols, in the order of the file, each once.
    pub symbols: Vec<String>,
    /// Areas in it that are left out of the check.
    #[serde(default)]
    pub unchecked: Vec<UncheckedArea>,
    /// By channel: largest permitted error and its unit.
    pub tolerances: BTreeMap<String, Tolerance>,
}

/// An area that is left out of the check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UncheckedArea {
    /// `[x, y, width, height]`, px.
    pub rect: [i32; 4],
    /// Why it cannot be checked.
    pub reason: String,
}

/// A largest permitted error.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tolerance {
    /// Largest permitted error.
    pub value: f64,
    /// Its unit.
    pub unit: String,
}

impl DisplayRecord {
    /// What `definition` says.
    #[must_use]
    pub fn of(definition: &Definition) -> Self {
        let display = &definition.file().display;
        Self {
            records_version: RECORDS_VERSION,
            name: display.name.clone(),
            width: display.width,
            height: display.height,
            requirements: definition
                .requirements()
                .map_or(Vec::new(), |r| r.all.clone()),
            regions: definition
                .regions()
                .iter()
                .enumerate()
                .map(|(k, r)| {
                    let mut symbols: Vec<String> = Vec::new();
                    for s in &r.symbol {
                        if !symbols.iter().any(|k| k == s.kind()) {
                            symbols.push(s.kind().to_owned());
                        }
                    }
                    let unit = |channel: &str| {
                        definition.channels()[definition.channel(channel).0]
                            .1
                            .unit
                            .clone()
                    };
                    RegionInfo {
                        id: r.id.clone(),
                        rect: r.rect,
                        hazard: r.hazard,
                        requirements: r.requirements.clone(),
                        confirm_ms: r.confirm_ms(),
                        confirm_frames: r.confirm_frames,
                        recover_ms: r.recover_ms,
                        budget: definition.budget(k),
                        max_latency_ms: r.max_latency_ms.unwrap_or(display.max_latency_ms),
                        symbols,
                        unchecked: r
                            .symbol
                            .iter()
                            .flat_map(Symbol::unchecked)
                            .map(unchecked_area)
                            .collect(),
                        tolerances: r
                            .tolerance
                            .iter()
                            .map(|(channel, value)| {
                                let tolerance = Tolerance {
                                    value: *value,
                                    unit: unit(channel),
                                };
                                (channel.clone(), tolerance)
                            })
                            .collect(),
                    }
                })
                .collect(),
        }
    }

    /// The region called `id`.
    #[must_use]
    pub fn region(&self, id: &str) -> Option<&RegionInfo> {
        self.regions.iter().find(|r| r.id == id)
    }
}

impl RegionInfo {
    /// Whether nothing in it is checked: unchecked areas cover all of it.
    #[must_use]
    pub fn is_unchecked(&self) -> bool {
        let rect = |[x, y, w, h]: [i32; 4]| Rect::new(x, y, w, h);
        let areas: Vec<Rect> = self.unchecked.iter().map(|u| rect(u.rect)).collect();
        rect(self.rect).outside(&areas) == 0
    }
}

fn unchecked_area(u: &Unchecked) -> UncheckedArea {
    UncheckedArea {
        rect: u.rect,
        reason: u.reason.clone(),
    }
}
