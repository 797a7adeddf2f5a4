//! A part of a suite, for one of several machines: every n-th run.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Most parts of a suite.
const MOST: u32 = 10_000;

/// One of `of` parts of a suite: the runs whose place in the plan, from 1, is `part` modulo `of`.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(try_from = "Written")]
pub struct Shard {
    /// Which part, from 1 to `of`.
    pub part: u32,
    /// How many parts there are.
    pub of: u32,
}

/// One of several parts of a suite: every so many runs.
// As a record has it, before anybody looked at it.
#[derive(Deserialize, JsonSchema)]
#[schemars(rename = "Shard")]
struct Written {
    /// Which part, from 1.
    part: u32,
    /// How many parts there are.
    of: u32,
}

impl TryFrom<Written> for Shard {
    type Error = String;

    fn try_from(Written { part, of }: Written) -> Result<Self, String> {
        if (1..=of).contains(&part) && of <= MOST {
            Ok(Self { part, of })
        } else {
            Err(format!(
                "part {part} of {of} is none: parts are counted from 1, and there are at most {MOST}"
            ))
        }
    }
}

impl Shard {
    /// Whether the run at `place` of the plan, from 0, is of this part.
    #[must_use]
    pub const fn holds(self, place: usize) -> bool {
        place % self.of as usize == self.part as usize - 1
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts = text.split_once('/');
        let numbers = parts.and_then(|(part, of)| Some((part.parse().ok()?, of.parse().ok()?)));
        let written = numbers.map(|(part, of)| Written { part, of });
        written.and_then(|w| Self::try_from(w).ok()).ok_or_else(|| {
            format!(
                "\"{text}\" is not a part; give K/N, K from 1 to N, N at most {MOST}: 2/4 is every fourth run from the second on"
            )
        })
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{}/{}", self.part, self.of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_run_is_of_exactly_one_part() {
        let shards: Vec<Shard> = ["1/3", "2/3", "3/3"].map(|s| s.parse().unwrap()).into();
        for place in 0..10 {
            let holding: Vec<&Shard> = shards.iter().filter(|s| s.holds(place)).collect();
            assert_eq!(holding, [&shards[place % 3]]);
        }
        for bad in ["0/3", "4/3", "1", "a/b", "1/0", "-1/2", "1/99999"] {
            assert!(bad.parse::<Shard>().is_err(), "{bad}");
        }
    }
}
