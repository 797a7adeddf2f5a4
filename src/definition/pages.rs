//! Pages: what a display shows in turn, and which of them is due.
//!
//! A region belongs to the pages that it names, or to all. Which page is due follows from the inputs: the first whose
//! conditions hold, in the order of the file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::model::{Condition, DisplayFile, Name, Region};

/// One of the pages that a display shows in turn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Page {
    /// Name in regions, verdicts and reports; unique.
    pub id: String,
    /// All of these must hold for it to be due, and none of an earlier page's. The last page (but for one that only a reversion
    /// puts up) has none: it is due when no other is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub when: Vec<Condition>,
    /// How long the picture may be anything when it has become due, after the permitted latency, ms.
    #[serde(default)]
    pub transition_ms: f64,
    /// It is what stands there when the display's monitor has taken the picture away. Without `when` no inputs make it due.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reversion: Option<Reversion>,
}

/// How a display reverts to the page that has this.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reversion {
    /// How long after a fault of a hazardous or catastrophic region was confirmed the page must stand there, ms.
    pub within_ms: f64,
    /// Where several pages have this: it is the first of them for which all of these hold; the last has none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub when: Vec<Condition>,
    /// All of these must hold for the display to leave the page again, for the one that is due by the inputs; it stays for good
    /// when there are none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reset: Vec<Condition>,
}

impl Page {
    /// Whether no inputs make it due: only a reversion puts it up.
    #[must_use]
    pub fn is_for_reversion_only(&self) -> bool {
        self.reversion.is_some() && self.when.is_empty()
    }
}

/// Most pages of a display.
pub const MOST_PAGES: usize = 64;

/// Some of a display's pages, by their index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct PageSet(u64);

impl PageSet {
    /// Every page, and what stands for the one page of a display without any.
    pub const ALL: Self = Self(u64::MAX);

    /// Page `page` alone.
    #[must_use]
    pub const fn one(page: usize) -> Self {
        Self(1 << page)
    }

    /// The page that is the only one of them.
    #[must_use]
    pub const fn only(self) -> Option<usize> {
        if self.0.count_ones() == 1 {
            Some(self.0.trailing_zeros() as usize)
        } else {
            None
        }
    }

    /// Those that are not in the other.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Those in either.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether page `page` is one of them.
    #[must_use]
    pub const fn contains(self, page: usize) -> bool {
        self.0 >> page & 1 == 1
    }

    /// Whether all of `other` are among them.
    #[must_use]
    pub const fn contains_all(self, other: Self) -> bool {
        other.0 & !self.0 == 0
    }

    /// Whether they have one in common.
    #[must_use]
    pub const fn meets(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// The pages that `region` belongs to.
    pub(super) fn of(file: &DisplayFile, region: &Region) -> Self {
        if region.pages.is_empty() {
            return Self::ALL;
        }
        let index = |name: &Name| file.page.iter().position(|p| p.id == *name);
        let known = region.pages.iter().filter_map(index);
        let known = known.filter(|k| *k < MOST_PAGES);
        known.fold(Self::default(), |set, k| set.with(Self::one(k)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_of_pages() {
        let (first, last) = (PageSet::one(0), PageSet::one(MOST_PAGES - 1));
        let both = first.with(last);
        assert!(both.contains(0) && both.contains(63) && !both.contains(1));
        assert!(both.contains_all(last) && !last.contains_all(both));
        assert!(first.meets(both) && !first.meets(last));
        assert_eq!((both.only(), last.only()), (None, Some(63)));
        assert_eq!(both.without(first), last);
        assert!(PageSet::ALL.contains_all(both) && PageSet::ALL.meets(last));
    }
}
