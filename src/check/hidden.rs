//! What something else lies over in a picture that agrees: nothing was read of it then, so nobody knows its value.

use crate::definition::Definition;
use crate::judge::region::RegionVerdict;
use crate::reference::parts::Freedom;

/// By region and freedom: frames in which it was hidden.
#[derive(Clone, Debug, Default)]
pub(super) struct HiddenFrames(Vec<Vec<u64>>);

impl HiddenFrames {
    /// Counts what is hidden in a frame.
    pub(super) fn count(&mut self, verdicts: &[RegionVerdict]) {
        self.0.resize(verdicts.len(), Vec::new());
        for (counts, verdict) in self.0.iter_mut().zip(verdicts) {
            for &freedom in &verdict.hidden {
                if counts.len() <= freedom {
                    counts.resize(freedom + 1, 0);
                }
                counts[freedom] += 1;
            }
        }
    }

    /// What is to be noted of `frames`; `freedoms` gives those of a region.
    pub(super) fn note<'f>(
        &self,
        definition: &Definition,
        frames: u64,
        freedoms: impl Fn(usize) -> &'f [Freedom],
    ) -> Option<String> {
        let mut shares = Vec::new();
        for (region, counts) in self.0.iter().enumerate() {
            for (freedom, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
                let f = &freedoms(region)[freedom];
                let channel = &definition.channels()[f.channel.0].0;
                let share = 100.0 * *count as f64 / frames.max(1) as f64;
                let id = &definition.regions()[region].id;
                shares.push(format!("{channel} in {id} {share:.0} %"));
            }
        }
        (!shares.is_empty()).then(|| {
            let shares = shares.join(", ");
            format!("hidden by what lies over it, and so not read (share of the frames): {shares}")
        })
    }
}
