//! One of so many parts of what several machines do, as the command line and the records write it: 2/8.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Most shards.
const MOST: u32 = 10_000;

/// One of so many shards.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(try_from = "String", into = "String")]
#[schemars(with = "String")]
pub struct Shard {
    number: u32,
    of: u32,
}

/// What is no shard.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is not a shard; write it as 2/8: its number, from 1, and how many there are, at most {MOST}"
)]
pub struct BadShard(pub String);

impl Shard {
    /// Shard `number`, from 1, of so many; `None` where there is none.
    #[must_use]
    pub fn new(number: u32, of: u32) -> Option<Self> {
        let is_one = (1..=of).contains(&number) && of <= MOST;
        is_one.then_some(Self { number, of })
    }

    /// Its number, from 1.
    #[must_use]
    pub const fn number(self) -> u32 {
        self.number
    }

    /// How many there are.
    #[must_use]
    pub const fn of(self) -> u32 {
        self.of
    }

    /// Whether the thing at `place`, from 0, of a list that is dealt out in turns is of this shard.
    #[must_use]
    pub const fn holds(self, place: usize) -> bool {
        place % self.of as usize == self.number as usize - 1
    }
}

impl FromStr for Shard {
    type Err = BadShard;

    fn from_str(text: &str) -> Result<Self, BadShard> {
        let whole = |t: &str| {
            let is_plain = t.bytes().all(|b| b.is_ascii_digit()) && !t.starts_with('0');
            t.parse().ok().filter(|_| is_plain)
        };
        let numbers = text.split_once('/');
        let shard = numbers.and_then(|(n, of)| Self::new(whole(n)?, whole(of)?));
        shard.ok_or_else(|| BadShard(text.to_owned()))
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl TryFrom<String> for Shard {
    type Error = BadShard;

    fn try_from(text: String) -> Result<Self, BadShard> {
        text.parse()
    }
}

impl From<Shard> for String {
    fn from(shard: Shard) -> Self {
        shard.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shard_is_written_as_it_is_read_and_nothing_else_is_one() {
        let shard: Shard = "2/8".parse().unwrap();
        assert_eq!((shard.number(), shard.of()), (2, 8));
        assert_eq!(shard.to_string(), "2/8");
        for bad in [
            "0/8", "9/8", "2", "2/", "/8", "02/8", "+2/8", "2/8/1", "1/10001", "a/b", "",
        ] {
            let error = bad.parse::<Shard>().unwrap_err();
            assert!(error.to_string().contains("write it as 2/8"), "{error}");
        }
    }

    #[test]
    fn everything_is_of_exactly_one_shard() {
        let shards: Vec<Shard> = ["1/3", "2/3", "3/3"].map(|s| s.parse().unwrap()).into();
        for place in 0..10 {
            let holding: Vec<&Shard> = shards.iter().filter(|s| s.holds(place)).collect();
            assert_eq!(holding, [&shards[place % 3]]);
        }
    }
}
