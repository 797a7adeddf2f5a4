//! What keeps a demand from being met, each thing said once.

use super::search::Tuned;

/// What is in the way, and the regions in which it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InTheWay<'a> {
    /// In words.
    pub words: &'a str,
    /// Regions of which the demand is made.
    pub concerned: Vec<&'a str>,
    /// Others.
    pub others: Vec<&'a str>,
}

impl Tuned {
    /// What is in the way where no set of thresholds meets the demand, in the order of the regions.
    #[must_use]
    pub fn in_the_way(&self) -> Vec<InTheWay<'_>> {
        let mut all: Vec<InTheWay<'_>> = Vec::new();
        for r in self.regions.iter().filter(|r| r.recommended.is_none()) {
            for words in &r.advice {
                let at = all
                    .iter()
                    .position(|w| w.words == words)
                    .unwrap_or_else(|| {
                        all.push(InTheWay {
                            words,
                            concerned: Vec::new(),
                            others: Vec::new(),
                        });
                        all.len() - 1
                    });
                let list = if r.is_concerned {
                    &mut all[at].concerned
                } else {
                    &mut all[at].others
                };
                list.push(&r.region);
            }
        }
        all
    }

    /// Regions in which no set of thresholds meets the demand: those of which it is made, and others.
    #[must_use]
    pub fn without_set(&self) -> [Vec<&str>; 2] {
        [true, false].map(|is_concerned| {
            let without = self.regions.iter().filter(|r| r.recommended.is_none());
            let those = without.filter(|r| r.is_concerned == is_concerned);
            those.map(|r| r.region.as_str()).collect()
        })
    }
}
