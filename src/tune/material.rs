//! What thresholds are tuned on: measurements of clean video and of trials, with the truth of the trials.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use super::strength::of_frames;
use crate::campaign::records::{TRIALS_FILE, TrialRecord, Why};
use crate::campaign::summary::{self, read_lines};
use crate::campaign::trials::seed_of;
use crate::definition::Definition;
use crate::evidence::measurements::{self, MEASUREMENTS_FILE, Measured, Reader};
use crate::inject::TOLERANCES;

/// Strengths of one region in one clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    /// Index of the region.
    pub region: usize,
    /// Number that decides which half of the material it belongs to.
    pub number: u64,
    /// Times from the onset (of clean video: as captured), s.
    pub times_s: Vec<f64>,
    /// By frame, in tolerances.
    pub strengths: Vec<f64>,
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
}

/// What keeps material from being read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Measurements.
    #[error(transparent)]
    Measurements(#[from] measurements::Error),
    /// Trials.
    #[error(transparent)]
    Trials(#[from] summary::Error),
    /// Something else.
    #[error("\"{path}\": {what}")]
    Other {
        /// The file.
        path: String,
        /// What is wrong, and what to do.
        what: String,
    },
}

impl Material {
    /// Reads the results in `folder`: measurements, and the trials where there are some. Faults whose size counts in
    /// tolerances are taken from `least_size` on: smaller ones need not be raised.
    ///
    /// # Errors
    /// When files are missing, damaged, or of another display.
    pub fn add(
        &mut self,
        folder: &Path,
        definition: &Definition,
        least_size: f64,
    ) -> Result<(), Error> {
        let path = folder.join(MEASUREMENTS_FILE);
        let name = path.display().to_string();
        let other = |what: String| Error::Other {
            path: name.clone(),
            what,
        };
        let file = File::open(&path).map_err(|e| {
            other(format!(
                "cannot be read ({e}); write it with check --measurements or campaign"
            ))
        })?;
        let mut reader = Reader::new(BufReader::new(file), &name)?;
        let ids: Vec<&str> = definition.regions().iter().map(|r| r.id.as_str()).collect();
        let written: Vec<&str> = reader
            .header()
            .regions
            .iter()
            .map(|r| r.id.as_str())
            .collect();
        if ids != written {
            return Err(other(
                "it was measured with another display definition; measure anew".into(),
            ));
        }
        for (region, header) in definition.regions().iter().zip(&reader.header().regions) {
            for r in header.readings.iter().filter(|r| r.tolerance > 0.0) {
                let now = region.tolerance.get(&r.channel).copied().unwrap_or(0.0);
                if now != r.tolerance {
                    return Err(other(format!(
                        "tolerance of {} in {} was {} and is {now} now; measure anew with this definition",
                        r.channel, region.id, r.tolerance
                    )));
                }
            }
        }
        let trials = trials(&folder.join(TRIALS_FILE))?;
        let begun = self.clean.len() as u64;
        while let Some(clip) = reader.clip()? {
            match clip.trial {
                None => self.add_clean(&clip, begun),
                Some(number) => {
                    if let Some(trial) = trials.get(&number) {
                        let region = ids.iter().position(|id| *id == trial.region);
                        self.add_trial(&clip, region, trial, least_size);
                    }
                }
            }
        }
        Ok(())
    }

    fn add_clean(&mut self, clip: &Measured, begun: u64) {
        let (Some(first), Some(last)) = (clip.times_s.first(), clip.times_s.last()) else {
            return;
        };
        self.clean_hours += (last - first) / 3600.0;
        let number = begun + self.clean.len() as u64 / clip.regions.len().max(1) as u64;
        for r in &clip.regions {
            self.clean.push(Clip {
                region: r.region,
                number,
                times_s: clip.times_s.clone(),
                strengths: of_frames(r),
                why: None,
            });
        }
    }

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
        if is_of_chain || (is_small && !trial.is_twin) {
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
            strengths: measured.map_or(vec![f64::NEG_INFINITY; clip.times_s.len()], of_frames),
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
        }
    }
}

/// Trials by number; none where there is no file of them.
fn trials(path: &Path) -> Result<BTreeMap<u64, TrialRecord>, Error> {
    if !path.exists() {
        return Ok(BTreeMap::new());
    }
    let records: Vec<TrialRecord> = read_lines(path)?;
    Ok(records.into_iter().map(|t| (t.trial, t)).collect())
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
                strengths: Vec::new(),
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
