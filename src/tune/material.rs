//! What thresholds are tuned on: measurements of clean video and of trials, with the truth of the trials.
//!
//! Bounds count hours and trials, so none may count twice: a stretch of clean video is known by the digest of its
//! capture and its times, a trial by the digest of its capture and all that was done to it. Results that are named
//! twice, copies of them, and the same capture checked again add nothing ([`Gathering`]).

use std::collections::{BTreeMap, BTreeSet};

use super::strength::Strengths;
use crate::campaign::records::{TRIALS_FILE, TrialRecord, Why};
use crate::campaign::trials::seed_of;
use crate::definition::Definition;
use crate::evidence::measurements::{self, Header, MEASUREMENTS_FILE, Measured, Reader};
use crate::evidence::result_name::{BadName, ResultName};
use crate::evidence::results_folder::{self, ResultsFolder};
use crate::files::Content;
use crate::inject::{self, TOLERANCES, Watch};

/// Strengths of one region in one clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    /// Index of the region.
    pub region: usize,
    /// Number that decides which half of the material it belongs to.
    pub number: u64,
    /// Times from the onset (of clean video: as captured), s.
    pub times_s: Vec<f64>,
    /// Of its frames, in tolerances.
    pub strengths: Strengths,
    /// Why it was missed with the thresholds as they were.
    pub why: Option<Why>,
}

/// All that is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Material {
    /// Clean video.
    pub clean: Vec<Clip>,
    /// Faults that must be raised.
    pub faults: Vec<Clip>,
    /// Harmless changes that must not be raised.
    pub harmless: Vec<Clip>,
    /// Hours of clean video.
    pub clean_hours: f64,
    /// What was given more than once, and counted once.
    pub repeated: Repeated,
}

/// Material that was given more than once.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Repeated {
    /// Trials that were left out.
    pub trials: u64,
    /// Hours of clean video that were left out.
    pub clean_hours: f64,
}

/// Material as it is read, result folder by result folder.
#[derive(Debug, Default)]
pub struct Gathering {
    material: Material,
    /// By digest of the capture: stretches of it that count, s.
    clean: BTreeMap<String, Vec<[f64; 2]>>,
    /// Digests of trials that count.
    trials: BTreeSet<String>,
}

/// What keeps material from being read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Measurements.
    #[error(transparent)]
    Measurements(#[from] measurements::Error),
    /// The results.
    #[error(transparent)]
    Results(#[from] results_folder::Error),
    /// A name.
    #[error(transparent)]
    Name(#[from] BadName),
    /// Something else.
    #[error("\"{path}\": {what}")]
    Other {
        /// The file.
        path: String,
        /// What is wrong, and what to do.
        what: String,
    },
}

impl Gathering {
    /// Adds the results in `folder`: measurements, and the trials where there are some. Faults whose size counts in
    /// tolerances are taken from `least_size` on: smaller ones need not be raised.
    ///
    /// # Errors
    /// When files are missing, damaged, or of another display.
    pub fn add(
        &mut self,
        folder: &ResultsFolder,
        definition: &Definition,
        least_size: f64,
    ) -> Result<(), Error> {
        let name = ResultName::new(MEASUREMENTS_FILE)?;
        let shown = folder.path().join(MEASUREMENTS_FILE).display().to_string();
        let Some(content) = folder.listed(&name) else {
            return Err(Error::Other {
                path: shown,
                what: "there is none; write it with check --measurements or campaign".into(),
            });
        };
        let captures = folder.captures()?;
        // What came through a pipe is known by what was measured.
        let source = |capture: usize| {
            let known = captures.get(capture).cloned().flatten();
            known.unwrap_or_else(|| content.sha256.clone())
        };
        let trials = trials(folder)?;
        let ids: Vec<&str> = definition.regions().iter().map(|r| r.id.as_str()).collect();
        folder.stream(&name, |bytes| {
            let mut reader = Reader::new(bytes, &shown)?;
            check_header(reader.header(), definition).map_err(|what| Error::Other {
                path: shown.clone(),
                what,
            })?;
            while let Some(clip) = reader.clip()? {
                let source = source(clip.capture);
                match clip.trial {
                    None => self.add_clean(&clip, source),
                    Some(number) => {
                        let Some(trial) = trials.get(&number) else {
                            continue;
                        };
                        if self.trials.insert(trial_digest(trial, &source)) {
                            let region = ids.iter().position(|id| *id == trial.region);
                            self.material.add_trial(&clip, region, trial, least_size);
                        } else {
                            self.material.repeated.trials += 1;
                        }
                    }
                }
            }
            Ok(())
        })
    }

    /// All that was added.
    #[must_use]
    pub fn material(self) -> Material {
        self.material
    }

    /// Adds clean video of the capture `source`, unless that stretch of it counts already.
    fn add_clean(&mut self, clip: &Measured, source: String) {
        let (Some(first), Some(last)) = (clip.times_s.first(), clip.times_s.last()) else {
            return;
        };
        let hours = (last - first) / 3600.0;
        let counted = self.clean.entry(source).or_default();
        if counted.iter().any(|[a, b]| first <= b && a <= last) {
            self.material.repeated.clean_hours += hours;
            return;
        }
        counted.push([*first, *last]);
        self.material.clean_hours += hours;
        let number = (self.material.clean.len() / clip.regions.len().max(1)) as u64;
        for r in &clip.regions {
            self.material.clean.push(Clip {
                region: r.region,
                number,
                times_s: clip.times_s.clone(),
                strengths: Strengths::of(r),
                why: None,
            });
        }
    }
}

/// Says how a file of measurements does not belong to `definition`.
fn check_header(header: &Header, definition: &Definition) -> Result<(), String> {
    let ids = definition.regions().iter().map(|r| r.id.as_str());
    if !ids.eq(header.regions.iter().map(|r| r.id.as_str())) {
        return Err("it was measured with another display definition; measure anew".into());
    }
    for (k, (region, header)) in definition.regions().iter().zip(&header.regions).enumerate() {
        if definition.budget(k).is_some() && !header.standard_errors {
            return Err(format!(
                "{} has a budget, and the standard errors of its readings do not stand there; measure anew with this definition",
                region.id
            ));
        }
        for r in header.readings.iter().filter(|r| r.tolerance > 0.0) {
            let now = region.tolerance.get(&r.channel).copied().unwrap_or(0.0);
            if now != r.tolerance {
                return Err(format!(
                    "tolerance of {} in {} was {} and is {now} now; measure anew with this definition",
                    r.channel, region.id, r.tolerance
                ));
            }
        }
    }
    Ok(())
}

/// Names a trial by what was done to the capture `source`: its number in a plan, and what came of it, may differ.
fn trial_digest(trial: &TrialRecord, source: &str) -> String {
    let done = (
        (source, trial.onset_frame, trial.duration_s, trial.seed),
        (&trial.kind, trial.is_twin, &trial.region, &trial.symbol),
        (&trial.channel, trial.size, &trial.unit, &trial.look),
        trial.method,
    );
    Content::of(format!("{done:?}").as_bytes()).sha256
}

impl Material {
    fn add_trial(
        &mut self,
        clip: &Measured,
        region: Option<usize>,
        trial: &TrialRecord,
        least_size: f64,
    ) {
        // A fault of the whole frame is not one region's to catch.
        let Some(region) = region else { return };
        let is_small =
            trial.unit.as_deref() == Some(TOLERANCES) && trial.size.unwrap_or(0.0) < least_size;
        let is_of_chain = trial.outcome.expected.iter().any(|e| e == "chain");
        let watch = inject::model(&trial.kind).map_or(Watch::Place, |m| m.about().watch);
        // What another watch tells no threshold decides.
        if is_of_chain || watch != Watch::Place || (is_small && !trial.is_twin) {
            return;
        }
        let is_harmless = trial.outcome.expected.is_empty();
        // Of what a fault touches besides its own region nothing is asked. One that changed nothing has no
        // measurements there, and is missed whatever the thresholds are.
        let measured = clip.regions.iter().find(|r| r.region == region);
        let clip = Clip {
            region,
            number: trial.trial,
            times_s: clip.times_s.iter().map(|t| t - trial.onset_s).collect(),
            strengths: measured.map_or_else(
                || Strengths::plain(vec![f64::NEG_INFINITY; clip.times_s.len()]),
                Strengths::of,
            ),
            why: trial.outcome.why,
        };
        if is_harmless {
            self.harmless.push(clip);
        } else {
            self.faults.push(clip);
        }
    }

    /// One half of the material, or the other. Numbers are mixed first: faults and twins, sizes and repeats come by
    /// turns, so that every second number would be of one sort.
    #[must_use]
    pub fn half(&self, is_first: bool) -> Self {
        let part = |list: &[Clip]| -> Vec<Clip> {
            let is_of = |c: &&Clip| seed_of(0, c.number).is_multiple_of(2) == is_first;
            list.iter().filter(is_of).cloned().collect()
        };
        let clean = part(&self.clean);
        let share = clean.len() as f64 / self.clean.len().max(1) as f64;
        Self {
            clean,
            faults: part(&self.faults),
            harmless: part(&self.harmless),
            clean_hours: self.clean_hours * share,
            repeated: Repeated::default(),
        }
    }
}

/// Trials by number; none where there is no file of them.
fn trials(folder: &ResultsFolder) -> Result<BTreeMap<u64, TrialRecord>, Error> {
    let mut trials = BTreeMap::new();
    if folder.lists(&ResultName::new(TRIALS_FILE)?) {
        folder.lines(TRIALS_FILE, |t: TrialRecord| {
            trials.insert(t.trial, t);
        })?;
    }
    Ok(trials)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_hold_about_as_much_of_every_sort() {
        // Faults stand at even numbers of a plan with twins, and every ninth is of one size.
        for step in [1, 2, 9, 18] {
            let faults = (0..200).map(|k| Clip {
                region: 0,
                number: k * step,
                times_s: Vec::new(),
                strengths: Strengths::default(),
                why: None,
            });
            let material = Material {
                faults: faults.collect(),
                ..Material::default()
            };
            let [first, second] = [true, false].map(|half| material.half(half).faults);
            assert_eq!(first.len() + second.len(), 200);
            assert!((70..=130).contains(&first.len()), "{step}: {}", first.len());
            assert!(first.iter().all(|c| !second.contains(c)));
        }
    }
}
