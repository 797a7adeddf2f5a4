//! What can be said of a region or a frame at one moment.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::definition::Definition;
use crate::definition::model::Hazard;

/// The verdict on a region or frame, in rising order of how much it misleads the crew.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing can be said: the recording lacks a channel that the region needs, or nothing in it is checked.
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

/// What a frame is called, given its regions in the order of the definition: of the faulty regions of the most severe
/// hazard class the fault that most of them share, of equals the one that misleads most.
#[must_use]
pub fn of_frame(definition: &Definition, regions: impl Iterator<Item = Verdict>) -> Verdict {
    let hazards = definition.regions().iter().map(|r| r.hazard);
    of_hazards(hazards.zip(regions))
}

fn of_hazards(regions: impl Iterator<Item = (Hazard, Verdict)>) -> Verdict {
    let mut severest = Hazard::None;
    let mut counts = [0usize; 5];
    let (mut any_agrees, mut any_blind) = (false, false);
    for (hazard, verdict) in regions {
        any_agrees |= verdict == Verdict::Agrees;
        any_blind |= verdict == Verdict::Blind;
        let Some(k) = FAULTS.iter().position(|f| *f == verdict) else {
            continue;
        };
        // Hazard classes are in falling order of severity.
        if hazard < severest {
            severest = hazard;
            counts = [0; 5];
        }
        counts[k] += usize::from(hazard == severest);
    }
    let most = (0..FAULTS.len()).max_by_key(|k| counts[*k]).unwrap_or(0);
    if counts[most] > 0 {
        FAULTS[most]
    } else if any_agrees {
        Verdict::Agrees
    } else if any_blind {
        Verdict::Blind
    } else {
        Verdict::NotJudged
    }
}

/// The faults, in rising order of how much they mislead.
const FAULTS: [Verdict; 5] = [
    Verdict::Blank,
    Verdict::Garbled,
    Verdict::Late,
    Verdict::Frozen,
    Verdict::Misleading,
];

#[cfg(test)]
mod tests {
    use super::Hazard::{Hazardous, Major, Minor, None as NoEffect};
    use super::*;

    #[test]
    fn a_frame_agrees_when_some_regions_do_and_none_is_faulty() {
        let of = |verdicts: &[Verdict]| of_hazards(verdicts.iter().map(|v| (Major, *v)));
        assert_eq!(
            of(&[Verdict::Blind, Verdict::Agrees, Verdict::NotJudged]),
            Verdict::Agrees
        );
        assert_eq!(of(&[Verdict::Agrees, Verdict::Late]), Verdict::Late);
        assert_eq!(of(&[Verdict::NotJudged]), Verdict::NotJudged);
        assert_eq!(of(&[]), Verdict::NotJudged);
    }

    #[test]
    fn hazard_decides_then_extent_then_what_misleads_most() {
        use Verdict::{Agrees, Blank, Frozen, Misleading};
        let of = |regions: &[(Hazard, Verdict)]| of_hazards(regions.iter().copied());
        assert_eq!(of(&[(Minor, Misleading), (Hazardous, Frozen)]), Frozen);
        assert_eq!(of(&[(Minor, Misleading), (Hazardous, Agrees)]), Misleading);
        assert_eq!(
            of(&[(Major, Frozen), (Major, Misleading), (Major, Frozen)]),
            Frozen
        );
        assert_eq!(of(&[(Major, Misleading), (Major, Frozen)]), Misleading);
        assert_eq!(of(&[(NoEffect, Blank), (NoEffect, Agrees)]), Blank);
    }
}
