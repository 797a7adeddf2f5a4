//! What is kept of a stretch in which nothing is wrong: what was raised there, how well was read, and what could be seen.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::stretch::Stretch;
use crate::check::alerts::ExercisedAlerts;
use crate::evidence::measurements::Measured;
use crate::evidence::records::{AlertRecord, rounded};
use crate::examine::region::due_time_s;
use crate::judge::event::{Event, name};
use crate::judge::verdict::Verdict;
use crate::recording::inputs::Inputs;

/// A line of `stretches.jsonl`: clean video that was checked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StretchRecord {
    /// Number of the capture in the plan.
    pub capture: usize,
    /// Number of the stretch.
    pub stretch: usize,
    /// Capture time from which on and up to which it counts, s: stretches do not overlap here.
    pub counted_s: [f64; 2],
    /// What was raised though nothing was put in: class, regions, time of detection in s.
    pub events: Vec<(String, Vec<String>, f64)>,
    /// By region: share of frames that are blind.
    pub blind: Vec<f64>,
    /// By region and reading: number of readings, sum and sum of squares of their errors (unit of the channel),
    /// sum of standard errors, sum of pixels for a unit.
    pub readings: Vec<Vec<[f64; 5]>>,
    /// By alert of the definition: frames in which it was due, by state.
    #[serde(default)]
    pub alerts: Vec<AlertRecord>,
}

/// What is recorded of stretch `number`, of which what lies between `onsets_s` counts.
pub(super) fn record(
    stretch: &Stretch,
    capture: usize,
    number: usize,
    onsets_s: [f64; 2],
) -> StretchRecord {
    let counted: Vec<usize> = counted(stretch, onsets_s).collect();
    let subject = stretch.material.subject;
    let definition = subject.definition();
    let count = definition.regions().len();
    let blind = (0..count)
        .map(|r| {
            let blind = counted
                .iter()
                .filter(|k| stretch.verdicts[**k][r].verdict == Verdict::Blind);
            rounded(blind.count() as f64 / counted.len().max(1) as f64)
        })
        .collect();
    let readings = (0..count)
        .map(|r| {
            let freedoms = subject.drawing().freedoms(definition, r);
            let mut sums = vec![[0.0; 5]; freedoms.len()];
            for k in &counted {
                for reading in &stretch.verdicts[*k][r].readings {
                    let s = &mut sums[reading.freedom];
                    let add = [
                        1.0,
                        reading.error,
                        reading.error * reading.error,
                        reading.standard_error,
                        reading.px_per_unit,
                    ];
                    s.iter_mut().zip(add).for_each(|(s, a)| *s += a);
                }
            }
            sums.iter_mut().flatten().for_each(|v| *v = rounded(*v));
            sums
        })
        .collect();
    StretchRecord {
        capture,
        stretch: number,
        counted_s: onsets_s.map(rounded),
        events: stretch.events.iter().map(nuisance).collect(),
        blind,
        readings,
        alerts: alerts_due(stretch, &counted),
    }
}

/// The alerts that were due in some frames of a stretch, where they were judged.
fn alerts_due(stretch: &Stretch, counted: &[usize]) -> Vec<AlertRecord> {
    let material = &stretch.material;
    let definition = material.subject.definition();
    let mut alerts = ExercisedAlerts::default();
    let mut inputs = Inputs::default();
    for k in counted {
        let time_s = stretch.frames[*k].time_s + material.offset_s;
        let due_s = due_time_s(material.recording, time_s, material.profile.latency_s);
        material.recording.inputs_at(due_s, &mut inputs);
        let verdicts = &stretch.verdicts[*k];
        alerts.count(definition, &inputs, |region| {
            verdicts[region].verdict != Verdict::NotJudged
        });
    }
    alerts.records(definition)
}

fn nuisance(e: &Event) -> (String, Vec<String>, f64) {
    (
        name(e.class).to_owned(),
        e.regions.clone(),
        rounded(e.detected_s),
    )
}

/// Frames of a stretch that no other stretch counts.
fn counted<'s>(stretch: &'s Stretch, onsets_s: [f64; 2]) -> impl Iterator<Item = usize> + 's {
    (0..stretch.frames.len()).filter(move |k| {
        let t = stretch.frames[*k].time_s;
        t >= onsets_s[0] && t < onsets_s[1]
    })
}

/// What was measured in a stretch, of which what lies between `onsets_s` counts.
pub(super) fn measured(stretch: &Stretch, capture: usize, onsets_s: [f64; 2]) -> Measured {
    let mut measured = Measured::with(&stretch.header, None, capture);
    for k in counted(stretch, onsets_s) {
        measured.push(stretch.frames[k].time_s, &stretch.verdicts[k]);
    }
    measured
}
