//! Which alert is not shown as it is: what a list would look like with one of its alerts changed.

use super::{Moment, RegionExaminer};
use crate::reference::painter::Painter;

/// How an alert is shown wrongly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slip {
    /// It is active, and not shown.
    Missing,
    /// It is shown, and not active.
    Extra,
    /// It is shown as acknowledged, and is not.
    AsAcknowledged,
    /// It is shown as new, and has been acknowledged.
    AsNew,
}

/// An alert that is shown wrongly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct AlertSlip {
    /// Its index in the order of [`crate::definition::Definition::alerts`].
    pub alert: usize,
    /// How.
    pub slip: Slip,
}

impl RegionExaminer<'_> {
    /// The alert whose change makes what is due what the picture shows, where one alone does.
    pub fn alert_slip(&mut self, moment: &Moment, painter: &mut Painter) -> Option<AlertSlip> {
        let alerts = self.subject.definition().alerts().enumerate();
        let own = alerts.filter(|(_, a)| a.region == self.region);
        let own: Vec<(usize, bool)> = own
            .map(|(k, a)| (k, a.list.unacknowledged.is_some()))
            .collect();
        self.tried.clear();
        self.tried.push(self.due.scene().clone());
        for (alert, is_acknowledged_here) in own {
            let since_s = self.inputs.active_since_s.get(alert).copied().flatten();
            let is_known = self.inputs.acknowledged.get(alert).copied();
            let is_known = is_known.unwrap_or(false);
            let slips = match (since_s, is_acknowledged_here, is_known) {
                (None, ..) => [Some(Slip::Extra), None],
                (Some(_), false, _) => [Some(Slip::Missing), None],
                (Some(_), true, false) => [Some(Slip::Missing), Some(Slip::AsAcknowledged)],
                (Some(_), true, true) => [Some(Slip::Missing), Some(Slip::AsNew)],
            };
            for slip in slips.into_iter().flatten() {
                self.trial_inputs.clone_from(&self.inputs);
                let inputs = &mut self.trial_inputs;
                let now_s = inputs.time_s;
                let active = inputs.active_since_s.get_mut(alert);
                let acknowledged = inputs.acknowledged.get_mut(alert);
                match (slip, active, acknowledged) {
                    (Slip::Missing, Some(active), _) => *active = None,
                    (Slip::Extra, Some(active), _) => *active = Some(now_s),
                    (Slip::AsAcknowledged, _, Some(is)) => *is = true,
                    (Slip::AsNew, _, Some(is)) => *is = false,
                    (_, None, _) | (_, _, None) => continue,
                }
                if self.trial_agrees(moment, painter) {
                    return Some(AlertSlip { alert, slip });
                }
            }
        }
        None
    }
}
