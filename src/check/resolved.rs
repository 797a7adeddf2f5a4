//! What the recording does not resolve is not judged.
//!
//! Where samples lie farther apart than the display may be late, a display that shows what it was given can show a value that
//! lies on no line between them. Then a good display would look wrong, or frozen while the line moves on, and a wrong one right.
//! So a region is judged only at moments at which each of its channels is known to half of what it may be off: its tolerance,
//! or the last digit of the number that it is written as. Closer samples are always enough, since every moment at which the
//! display may have taken its data then lies near one.

use crate::check::constants::resolved::KNOWN_TO;
use crate::definition::Definition;
use crate::definition::model::Interpolation;
use crate::definition::uses::{self, Use};
use crate::examine::region::Moment;
use crate::recording::Recording;
use crate::recording::inputs::ChannelId;

/// Why a region was judged in no frame.
pub(super) const NEVER: &str = "the recording has too few rows: between them its values are never known to half of the tolerance";

/// Which regions can be judged at a moment, and how often they could not.
#[derive(Clone, Debug)]
pub(super) struct Resolved {
    /// By region: channels and how well they must be known, and how far samples may be apart at any rate, s.
    needs: Vec<(Vec<(ChannelId, f64)>, f64)>,
    /// By region: frames that were passed over.
    passed_over: Vec<u64>,
}

impl Resolved {
    pub(super) fn new(definition: &Definition) -> Self {
        let regions = definition.regions().iter().enumerate();
        let needs = regions.map(|(k, region)| {
            let mut needs: Vec<(ChannelId, f64)> = Vec::new();
            for (name, tolerance) in &region.tolerance {
                needs.push((definition.channel(name), KNOWN_TO * tolerance));
            }
            for symbol in &region.symbol {
                uses::of_symbol(symbol, &mut |_, what| {
                    let Use::Number {
                        format,
                        channel: name,
                        ..
                    } = what
                    else {
                        return;
                    };
                    let channel = definition.channel(name);
                    let is_number =
                        definition.channels()[channel.0].1.interpolation != Interpolation::Text;
                    if is_number && !region.tolerance.contains_key(name) {
                        let digit = 10f64.powi(-i32::from(format.decimals));
                        let step = format.quantum.unwrap_or(digit).max(digit) / format.scale.abs();
                        needs.push((channel, KNOWN_TO * step));
                    }
                });
            }
            (needs, definition.max_latency_s(k))
        });
        Self {
            needs: needs.collect(),
            passed_over: vec![0; definition.regions().len()],
        }
    }

    /// Whether the recording says well enough what `region` must show.
    pub(super) fn is_known(&self, region: usize, recording: &Recording, moment: &Moment) -> bool {
        let (needs, dense_s) = &self.needs[region];
        let due_time_s = moment.due_time_s();
        needs
            .iter()
            .all(|(channel, limit)| recording.doubt(*channel, due_time_s, *dense_s) <= *limit)
    }

    /// Counts a frame in which `region` is not judged.
    pub(super) fn pass_over(&mut self, region: usize) {
        self.passed_over[region] += 1;
    }

    /// Whether `region` was passed over in each of `frames`.
    pub(super) fn is_never(&self, region: usize, frames: u64) -> bool {
        frames > 0 && self.passed_over[region] >= frames
    }

    /// What is to be noted of `frames`.
    pub(super) fn note(&self, definition: &Definition, frames: u64) -> Option<String> {
        let regions = definition.regions().iter().zip(&self.passed_over);
        let shares: Vec<String> = regions
            .filter(|(_, count)| **count > 0)
            .map(|(r, count)| {
                let share = 100.0 * (*count).min(frames) as f64 / frames.max(1) as f64;
                format!("{} {share:.0} %", r.id)
            })
            .collect();
        (!shares.is_empty()).then(|| {
            format!(
                "not judged between rows of the recording, where its values are not known to half of the tolerance (share of the frames): {}",
                shares.join(", ")
            )
        })
    }
}

/// What is to be said before a check whose recording has rows farther apart than the display may be late.
#[must_use]
pub fn spacing_note(definition: &Definition, recording: &Recording) -> Option<String> {
    let usual_s = recording.usual_spacing_s()?;
    let latency_ms = definition.file().display.max_latency_ms;
    (usual_s * 1000.0 > latency_ms).then(|| {
        format!(
            "the recording has a row every {usual_s:.3} s, and the display may be {latency_ms} ms late: what it shows between rows is judged only where the rows say what that must be, and a freeze is found later"
        )
    })
}
