//! What can be said of a region or a frame at one moment.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The verdict on a region or frame, in rising order of how much it misleads the crew.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing can be said: the recording lacks a channel that the region needs.
    NotJudged,
    /// The picture agrees, and a freeze would have been seen.
    Agrees,
    /// The picture agrees, but a freeze could not have been seen.
    Blind,
    /// The picture is gone: one colour where ink is due.
    Blank,
    /// A picture is there and cannot be read.
    Garbled,
    /// It agrees only with inputs older than permitted, and keeps pace with them.
    Late,
    /// It stands still while its inputs move.
    Frozen,
    /// It can be read and is wrong.
    Misleading,
}

impl Verdict {
    /// True for the verdicts that count as a fault.
    #[must_use]
    pub const fn is_faulty(self) -> bool {
        match self {
            Self::NotJudged | Self::Agrees | Self::Blind => false,
            Self::Blank | Self::Garbled | Self::Late | Self::Frozen | Self::Misleading => true,
        }
    }
}

/// What a frame is called, given its regions: the fault that they share, else the one that misleads
/// most.
#[must_use]
pub fn of_frame(regions: impl Iterator<Item = Verdict>) -> Verdict {
    let (mut worst, mut any_agrees, mut any_blind) = (Verdict::NotJudged, false, false);
    for v in regions {
        any_agrees |= v == Verdict::Agrees;
        any_blind |= v == Verdict::Blind;
        worst = worst.max(v);
    }
    if worst.is_faulty() {
        worst
    } else if any_agrees {
        Verdict::Agrees
    } else if any_blind {
        Verdict::Blind
    } else {
        Verdict::NotJudged
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_agrees_when_some_regions_do_and_none_is_faulty() {
        assert_eq!(
            of_frame([Verdict::Blind, Verdict::Agrees, Verdict::NotJudged].into_iter()),
            Verdict::Agrees
        );
        assert_eq!(
            of_frame([Verdict::Agrees, Verdict::Late].into_iter()),
            Verdict::Late
        );
        assert_eq!(
            of_frame([Verdict::NotJudged].into_iter()),
            Verdict::NotJudged
        );
        assert_eq!(of_frame(std::iter::empty()), Verdict::NotJudged);
    }
}
