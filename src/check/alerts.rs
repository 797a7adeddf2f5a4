//! Alerts through a run: which of them were active at all, and which one a wrong list does not show as it is.

use std::sync::Arc;

use super::run::Run;
use crate::definition::Definition;
use crate::definition::uses::AlertPlace;
use crate::evidence::records::AlertRecord;
use crate::examine::region::{Explanation, Findings, Moment};
use crate::examine::signature::Signature;
use crate::judge::region::RegionVerdict;
use crate::judge::verdict::Verdict;
use crate::recording::inputs::Inputs;

/// Frames in which an alert was due in each of its states.
#[derive(Clone, Copy, Debug, Default)]
struct Exercised {
    active: u64,
    new: u64,
    acknowledged: u64,
}

/// The same of all alerts of a definition.
#[derive(Clone, Debug, Default)]
pub struct ExercisedAlerts(Vec<Exercised>);

impl ExercisedAlerts {
    /// Counts what is due of `inputs` in a frame, in regions that are judged.
    pub fn count(
        &mut self,
        definition: &Definition,
        inputs: &Inputs,
        is_judged: impl Fn(usize) -> bool,
    ) {
        for (k, place) in definition.alerts().enumerate() {
            if self.0.len() <= k {
                self.0.push(Exercised::default());
            }
            if !is_judged(place.region) || inputs.active_since_s[k].is_none() {
                continue;
            }
            let counts = &mut self.0[k];
            counts.active += 1;
            if place.list.unacknowledged.is_some() {
                let is_acknowledged = inputs.acknowledged[k];
                counts.new += u64::from(!is_acknowledged);
                counts.acknowledged += u64::from(is_acknowledged);
            }
        }
    }

    /// Which alerts were due, and how.
    #[must_use]
    pub fn records(&self, definition: &Definition) -> Vec<AlertRecord> {
        let regions = definition.regions();
        let record = |(k, place): (usize, AlertPlace<'_>)| {
            let counts = self.0.get(k).copied().unwrap_or_default();
            let is_two_fold = place.list.unacknowledged.is_some();
            AlertRecord {
                region: regions[place.region].id.clone(),
                alert: place.what.text.clone(),
                class: place.what.class,
                active_frames: counts.active,
                new_frames: is_two_fold.then_some(counts.new),
                acknowledged_frames: is_two_fold.then_some(counts.acknowledged),
            }
        };
        definition.alerts().enumerate().map(record).collect()
    }
}

impl Run<'_> {
    /// Looks in the regions whose readable picture misleads, and is explained by no values, for the alerts that make them wrong, and
    /// notes them.
    pub(super) fn name_alerts(
        &mut self,
        moment: &Moment,
        found: &[Findings],
        verdicts: &[RegionVerdict],
    ) {
        let readable = Explanation::Nothing {
            signature: Signature::Readable,
        };
        for (k, findings) in found.iter().enumerate() {
            let is_earlier = matches!(findings.explanation, Explanation::OtherTime { .. })
                && verdicts[k].verdict == Verdict::Misleading;
            if !self.in_force[k] || !(is_earlier || findings.explanation == readable) {
                continue;
            }
            let has_alerts = self.definition.alerts().any(|a| a.region == k);
            if !(has_alerts && self.log.wants_alert(k)) {
                continue;
            }
            let examiner = Arc::make_mut(&mut self.regions.examiners[k]);
            for slip in examiner.alert_slips(moment, &mut self.painters[k]) {
                self.log.note_alert(k, slip);
            }
        }
    }
}
