//! How good an answer is, on one scale for all kinds of results: of several the worst counts.

use std::collections::BTreeMap;

use crate::campaign::summary::{Kept, Limit};

/// How good an answer is, the best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// All that was asked holds.
    Holds,
    /// Nobody can say: something was not judged, not exercised, or never asked.
    Open,
    /// Something that was asked does not hold.
    Fails,
}

/// What something says of requirements: by id, the worst of it, with words for each that does not hold.
pub type ByRequirement = BTreeMap<String, (Standing, Vec<String>)>;

/// Adds what was found of a requirement.
pub fn add(found: &mut ByRequirement, id: &str, standing: Standing, words: &str) {
    let entry = found
        .entry(id.to_owned())
        .or_insert((Standing::Holds, Vec::new()));
    entry.0 = entry.0.max(standing);
    if standing != Standing::Holds {
        entry.1.push(words.to_owned());
    }
}

impl From<Kept> for Standing {
    fn from(kept: Kept) -> Self {
        match kept {
            Kept::Yes => Self::Holds,
            Kept::NotTried => Self::Open,
            Kept::No => Self::Fails,
        }
    }
}

/// What the limits of a campaign say of each requirement. A limit of the whole frame concerns all.
#[must_use]
pub fn of_limits(limits: &[Limit]) -> ByRequirement {
    let mut found = ByRequirement::new();
    for limit in limits {
        let words = format!("{}: {}", limit.name(), limit.words());
        for id in &limit.requirements {
            add(&mut found, id, limit.kept().into(), &words);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::summary::limits::tests::limit;

    #[test]
    fn the_worst_counts_and_what_nobody_tried_stays_open() {
        let mut both = limit("both", 1, 1);
        both.requirements = vec!["R-A".into(), "R-C".into()];
        let found = of_limits(&[limit("a", 2, 3), limit("b", 3, 3), limit("c", 0, 0), both]);
        let of = |id: &str| found[id].0;
        assert_eq!(
            (of("R-A"), of("R-B"), of("R-C")),
            (Standing::Fails, Standing::Holds, Standing::Open)
        );
        assert!(found["R-A"].1[0].contains("2 of 3"), "{found:?}");
    }
}
