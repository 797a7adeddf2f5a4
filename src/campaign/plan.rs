//! The plan of a campaign, as the engineer writes it (TOML).

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::definition::error::suggestion;
use crate::definition::model::Hazard;
use crate::files::{self, FileContent, Limit};
use crate::inject::{self, Method};

/// The most that a plan may hold.
const LIMIT: Limit = Limit {
    kind: "a campaign plan",
    bytes: 4 << 20,
};
/// Most captures, and most faults.
const MOST: usize = 1000;

/// The whole file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// What holds for all trials.
    pub plan: General,
    /// Captures that show nothing but good pictures, with their recordings.
    pub capture: Vec<CaptureSource>,
    /// Faults to be tried.
    pub fault: Vec<FaultSpec>,
    /// Limit of the detection time by hazard class, ms.
    #[serde(default)]
    pub limit_ms: BTreeMap<Hazard, f64>,
    /// Failure rate by fault kind, per hour, for the diagnostic coverage.
    #[serde(default)]
    pub failure_rate_per_hour: BTreeMap<String, f64>,
}

/// What holds for all trials.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct General {
    /// What the campaign is called in reports.
    pub name: String,
    /// Display definition, relative to the plan.
    pub display: PathBuf,
    /// Seed of everything that is chosen.
    #[serde(default)]
    pub seed: u64,
    /// Clean video that is checked before the first fault of a stretch, s.
    #[serde(default = "default_lead_s")]
    pub lead_s: f64,
    /// Length of a stretch in which faults begin, s.
    #[serde(default = "default_stretch_s")]
    pub stretch_s: f64,
    /// Moments in a stretch at which faults begin.
    #[serde(default = "default_onsets")]
    pub onsets_per_stretch: usize,
    /// A fault of the whole frame is followed this long after it was raised, s; all others to their end.
    #[serde(default = "default_settle_s")]
    pub settle_s: f64,
    /// New stretches are begun only within this time, s; the rest is left for the next call.
    pub budget_s: Option<f64>,
}

fn default_lead_s() -> f64 {
    2.0
}

fn default_stretch_s() -> f64 {
    8.0
}

fn default_onsets() -> usize {
    8
}

fn default_settle_s() -> f64 {
    0.4
}

/// One capture and what it shows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CaptureSource {
    /// Folder of PNGs, YUV4MPEG2 file or any video that ffmpeg reads, relative to the plan.
    pub file: PathBuf,
    /// The recording, relative to the plan.
    pub inputs: PathBuf,
    /// How the recording is written, a file with a table `[recording]`, relative to the plan; as the definition says when
    /// absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recording: Option<PathBuf>,
    /// Further tables of the recording by the names that the definition has for them, relative to the plan.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub tables: BTreeMap<String, PathBuf>,
    /// Results of a check of another display by the same recording, relative to the plan: what both show is compared, as by
    /// `check --beside`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beside: Option<PathBuf>,
    /// Recording time = capture time + this, s.
    #[serde(default)]
    pub offset_s: f64,
    /// Capture profile, relative to the plan; measured from the capture when absent.
    pub profile: Option<PathBuf>,
    /// Accept a recording that lacks channels; their regions are left out.
    #[serde(default)]
    pub allow_missing: bool,
    /// Frame rate of captures that carry no times, 1/s.
    pub fps: Option<f64>,
}

/// One fault, tried at many places, sizes and moments.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FaultSpec {
    /// Its kind.
    pub kind: String,
    /// Regions, `*` for the whole frame; all places where it can strike when absent.
    pub regions: Option<Vec<String>>,
    /// Channels; all when absent.
    pub channels: Option<Vec<String>>,
    /// Sizes; the kind's usual one when absent.
    pub sizes: Option<Sizes>,
    /// Looks by name; all in turn when absent.
    pub looks: Option<Vec<String>>,
    /// Where wrong values come from; drawn anew when absent.
    #[serde(default)]
    pub methods: Vec<Method>,
    /// How long it lasts, s.
    #[serde(default = "default_duration_s")]
    pub duration_s: f64,
    /// When it may begin.
    #[serde(default)]
    pub onset: Onset,
    /// Trials of each place, size and method.
    #[serde(default = "default_repeats")]
    pub repeats: u32,
    /// Whether the nearest harmless change is tried as often.
    #[serde(default)]
    pub twins: bool,
}

fn default_duration_s() -> f64 {
    1.5
}

fn default_repeats() -> u32 {
    1
}

/// When a fault may begin.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Onset {
    /// Only where it can be seen: at its usual size it changes at least 12 pixels by more than 24 levels
    /// in the first frame; one that needs motion, only where what it strikes moves 3 px or changes its
    /// text in the second that follows, and leaves its tolerance where the recording's rows lie too far
    /// apart to say when it moved.
    #[default]
    Visible,
    /// At any moment.
    Anywhere,
}

/// Sizes of a fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "sizes are a list of numbers, or { from, to, count } with log = true for equal ratios"
)]
pub enum Sizes {
    /// One by one.
    List(Vec<f64>),
    /// Equally far apart.
    Spaced(Spaced),
}

/// Sizes equally far apart, or with equal ratios.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Spaced {
    /// The smallest.
    pub from: f64,
    /// The largest.
    pub to: f64,
    /// How many.
    pub count: u32,
    /// Equal ratios instead of equal distances.
    #[serde(default)]
    pub log: bool,
}

impl Sizes {
    /// The sizes, in the order of the plan.
    #[must_use]
    pub fn values(&self) -> Vec<f64> {
        match self {
            Self::List(list) => list.clone(),
            Self::Spaced(s) if s.count == 1 => vec![s.from],
            Self::Spaced(s) => (0..s.count)
                .map(|k| {
                    let share = f64::from(k) / f64::from(s.count - 1);
                    if s.log {
                        s.from * libm::pow(s.to / s.from, share)
                    } else {
                        s.from + (s.to - s.from) * share
                    }
                })
                .collect(),
        }
    }
}

/// What is wrong with a plan.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// It cannot be read.
    #[error(transparent)]
    Unreadable(#[from] files::Error),
    /// It is not a plan.
    #[error("plan \"{path}\", line {line}, column {column}: {what}")]
    Wrong {
        /// The file.
        path: String,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What was found and expected.
        what: String,
    },
    /// It asks for what cannot be.
    #[error("plan \"{path}\": {what}")]
    Impossible {
        /// The file.
        path: String,
        /// What was found and allowed.
        what: String,
    },
}

impl Plan {
    /// Reads the plan at `path`.
    ///
    /// # Errors
    /// When it cannot be read, is not a plan, or asks for what cannot be.
    pub fn load(path: &Path) -> Result<Self, Error> {
        Self::load_with_content(path).map(|(plan, _)| plan)
    }

    /// Reads the plan at `path`, and says what the file held.
    ///
    /// # Errors
    /// As [`Plan::load`].
    pub fn load_with_content(path: &Path) -> Result<(Self, FileContent), Error> {
        let name = path.display().to_string();
        let (text, content) = files::read_text(path, LIMIT)?;
        let plan = Self::from_toml(&text, &name)?;
        let path = path.to_owned();
        Ok((plan, FileContent { path, content }))
    }

    /// Reads a plan from `text`; `name` is what messages call it.
    ///
    /// # Errors
    /// See [`Plan::load`].
    pub fn from_toml(text: &str, name: &str) -> Result<Self, Error> {
        let plan: Self = toml::from_str(text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start);
            let (line, column) = files::line_and_column(text, at);
            Error::Wrong {
                path: name.to_owned(),
                line,
                column,
                what: e.message().to_owned(),
            }
        })?;
        plan.check().map_err(|what| Error::Impossible {
            path: name.to_owned(),
            what,
        })?;
        Ok(plan)
    }

    fn check(&self) -> Result<(), String> {
        let within = |what: &str, v: f64, low: f64, high: f64| {
            if v.is_finite() && (low..=high).contains(&v) {
                Ok(())
            } else {
                Err(format!("{what} is {v}; allowed are {low} to {high}"))
            }
        };
        let general = &self.plan;
        within("lead_s", general.lead_s, 0.5, 30.0)?;
        within("stretch_s", general.stretch_s, 1.0, 120.0)?;
        within("settle_s", general.settle_s, 0.0, 60.0)?;
        within(
            "onsets_per_stretch",
            general.onsets_per_stretch as f64,
            1.0,
            200.0,
        )?;
        if let Some(budget_s) = general.budget_s {
            within("budget_s", budget_s, 0.0, 1e7)?;
        }
        if self.capture.is_empty() {
            return Err("there is no [[capture]]; give at least one".into());
        }
        if self.fault.is_empty() {
            return Err("there is no [[fault]]; give at least one".into());
        }
        for (what, count) in [
            ("[[capture]]", self.capture.len()),
            ("[[fault]]", self.fault.len()),
        ] {
            if count > MOST {
                return Err(format!(
                    "there are {count} {what}; at most {MOST} are allowed"
                ));
            }
        }
        for c in &self.capture {
            within("offset_s", c.offset_s, -1e9, 1e9)?;
        }
        for (k, fault) in self.fault.iter().enumerate() {
            let place = |what: String| format!("[[fault]] {}: {what}", k + 1);
            let Some(model) = inject::model(&fault.kind) else {
                let names = inject::MODELS.iter().map(|m| m.about().name);
                return Err(place(unknown("kind", &fault.kind, names)));
            };
            within("duration_s", fault.duration_s, 0.04, 60.0).map_err(place)?;
            within("repeats", f64::from(fault.repeats), 1.0, 1e6).map_err(place)?;
            if let Some(sizes) = &fault.sizes {
                let Some(axis) = model.about().axis else {
                    return Err(place(format!(
                        "\"{}\" has no size; leave out sizes",
                        fault.kind
                    )));
                };
                if let Sizes::Spaced(s) = sizes {
                    within("count", f64::from(s.count), 1.0, 1000.0).map_err(place)?;
                    if s.log && (s.from <= 0.0 || s.to <= 0.0) {
                        return Err(place("sizes with equal ratios must be above 0".into()));
                    }
                }
                for v in sizes.values() {
                    within("size", v, axis.range[0], axis.range[1]).map_err(place)?;
                }
            }
            for look in fault.looks.iter().flatten() {
                if !model.about().looks.contains(&look.as_str()) {
                    let names = model.about().looks.iter().copied();
                    return Err(place(unknown("look", look, names)));
                }
            }
            if fault.methods.contains(&Method::Donor) && !model.about().has_donor {
                return Err(place(format!(
                    "\"{}\" is not made by donors; leave out methods",
                    fault.kind
                )));
            }
        }
        for (kind, rate) in &self.failure_rate_per_hour {
            if inject::model(kind).is_none() {
                let names = inject::MODELS.iter().map(|m| m.about().name);
                return Err(unknown("kind", kind, names));
            }
            within(&format!("failure rate of {kind}"), *rate, 0.0, 1e6)?;
        }
        for v in self.limit_ms.values() {
            within("limit_ms", *v, 1.0, 1e6)?;
        }
        Ok(())
    }

    /// Lengthiest fault, s.
    #[must_use]
    pub fn longest_s(&self) -> f64 {
        self.fault.iter().map(|f| f.duration_s).fold(0.0, f64::max)
    }
}

/// What is said of a name that is not there.
pub(super) fn unknown<'a>(what: &str, found: &str, names: impl Iterator<Item = &'a str>) -> String {
    let help = suggestion(found, names).map_or(String::new(), |help| format!("; {help}"));
    format!("there is no {what} \"{found}\"{help}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PLAN: &str = "[plan]\nname = \"a\"\ndisplay = \"d.toml\"\n[[capture]]\nfile = \"v\"\ninputs = \"r.csv\"\n[[fault]]\nkind = \"bias\"\nsizes = { from = 0.5, to = 2.0, count = 3, log = true }\n";

    #[test]
    fn sizes_with_equal_ratios_reach_both_ends() {
        let plan = Plan::from_toml(PLAN, "p").unwrap();
        let sizes = plan.fault[0].sizes.as_ref().unwrap().values();
        assert_eq!(sizes.len(), 3);
        for (found, due) in sizes.iter().zip([0.5, 1.0, 2.0]) {
            assert!((found - due).abs() < 1e-12, "{sizes:?}");
        }
    }

    proptest! {
        #[test]
        fn damaged_plans_never_panic(at in 0usize..200, byte in 32u8..127, cut in 0usize..200) {
            let mut bytes = PLAN.as_bytes().to_vec();
            let len = bytes.len();
            bytes[at % len] = byte;
            bytes.truncate(len - cut % len);
            let text = String::from_utf8(bytes).unwrap();
            if let Ok(plan) = Plan::from_toml(&text, "p") {
                prop_assert!(!plan.fault.is_empty() && !plan.capture.is_empty());
            }
        }

        #[test]
        fn any_text_is_read_or_refused(text in ".{0,200}") {
            let _ = Plan::from_toml(&text, "p");
        }
    }
}
