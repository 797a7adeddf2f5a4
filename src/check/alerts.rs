//! Alerts through a run: which of them were active at all, and which one a wrong list does not show as it is.

use std::sync::Arc;

use super::run::Run;
use crate::definition::uses::AlertPlace;
use crate::evidence::records::AlertRecord;
use crate::examine::region::{Explanation, Findings, Moment};
use crate::examine::signature::Signature;

/// Frames of a run in which an alert was due in each of its states.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Exercised {
    active: u64,
    new: u64,
    acknowledged: u64,
}

/// Frames of an event between looks for the alert that it is about.
const LOOK_EVERY: u32 = 6;

impl Run<'_> {
    /// Counts the alerts that are due in the regions that are judged.
    pub(super) fn count_alerts(&mut self) {
        let alerts = self.definition.alerts().zip(&mut self.alerts);
        for (k, (place, counts)) in alerts.enumerate() {
            if !self.in_force[place.region] || self.inputs.active_since_s[k].is_none() {
                continue;
            }
            counts.active += 1;
            if place.list.unacknowledged.is_some() {
                let is_acknowledged = self.inputs.acknowledged[k];
                counts.new += u64::from(!is_acknowledged);
                counts.acknowledged += u64::from(is_acknowledged);
            }
        }
    }

    /// Which alerts were exercised, and how.
    #[must_use]
    pub fn exercised_alerts(&self) -> Vec<AlertRecord> {
        let regions = self.definition.regions();
        let alerts = self.definition.alerts().zip(&self.alerts);
        let record = |(place, counts): (AlertPlace<'_>, &Exercised)| {
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
        alerts.map(record).collect()
    }

    /// Looks in the regions whose readable picture nothing explains for the alert that makes them wrong, and notes it.
    pub(super) fn name_alerts(&mut self, moment: &Moment, found: &[Findings]) {
        let readable = Explanation::Nothing {
            signature: Signature::Readable,
        };
        for (k, findings) in found.iter().enumerate() {
            let is_wrong = self.in_force[k] && findings.explanation == readable;
            let has_alerts = self.definition.alerts().any(|a| a.region == k);
            let wants = self.log.wants_alert(k, LOOK_EVERY);
            if !(is_wrong && has_alerts && wants) {
                continue;
            }
            let examiner = Arc::make_mut(&mut self.regions.examiners[k]);
            if let Some(slip) = examiner.alert_slip(moment, &mut self.painters[k]) {
                self.log.note_alert(k, slip);
            }
        }
    }
}
