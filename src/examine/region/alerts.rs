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
    /// The alert whose change makes what is due what the picture shows, or all of a state that are shown in the other one; none
    /// where neither does.
    pub fn alert_slips(&mut self, moment: &Moment, painter: &mut Painter) -> Vec<AlertSlip> {
        let possible = self.possible_slips();
        self.tried.clear();
        self.tried.push(self.due.scene().clone());
        let alone = possible.iter().map(|slip| vec![*slip]);
        let together = [Slip::AsAcknowledged, Slip::AsNew].map(|slip| {
            let alike = possible.iter().filter(|s| s.slip == slip);
            alike.copied().collect::<Vec<AlertSlip>>()
        });
        for slips in alone.chain(together) {
            self.trial_inputs.clone_from(&self.inputs);
            for slip in &slips {
                self.show_with(*slip);
            }
            if self.trial_agrees(moment, painter) {
                return slips;
            }
        }
        Vec::new()
    }

    /// How each alert of the region may be shown wrongly.
    fn possible_slips(&self) -> Vec<AlertSlip> {
        let alerts = self.subject.definition().alerts().enumerate();
        let own = alerts.filter(|(_, a)| a.region == self.region);
        let slips = own.flat_map(|(alert, place)| {
            let is_active = matches!(self.inputs.active_since_s.get(alert), Some(Some(_)));
            let state = self.inputs.acknowledged.get(alert);
            let state = state.filter(|_| place.list.unacknowledged.is_some());
            let slips = match (is_active, state) {
                (false, _) => [Some(Slip::Extra), None],
                (true, None) => [Some(Slip::Missing), None],
                (true, Some(false)) => [Some(Slip::Missing), Some(Slip::AsAcknowledged)],
                (true, Some(true)) => [Some(Slip::Missing), Some(Slip::AsNew)],
            };
            let slips = slips.into_iter().flatten();
            slips.map(move |slip| AlertSlip { alert, slip })
        });
        slips.collect()
    }

    /// Changes what the trial shows of an alert.
    fn show_with(&mut self, AlertSlip { alert, slip }: AlertSlip) {
        let inputs = &mut self.trial_inputs;
        let now_s = inputs.time_s;
        let active = inputs.active_since_s.get_mut(alert);
        let acknowledged = inputs.acknowledged.get_mut(alert);
        match (slip, active, acknowledged) {
            (Slip::Missing, Some(active), _) => *active = None,
            (Slip::Extra, Some(active), _) => *active = Some(now_s),
            (Slip::AsAcknowledged, _, Some(is)) => *is = true,
            (Slip::AsNew, _, Some(is)) => *is = false,
            (_, None, _) | (_, _, None) => {}
        }
    }
}
