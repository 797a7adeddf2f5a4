//! Regions against the requirements of the file: what one names and the other lacks.

use std::collections::{BTreeMap, BTreeSet};

use super::Lint;
use super::warning::Warning;
use crate::definition::error::suggestion;
use crate::definition::model::Hazard;
use crate::definition::place::At;
use crate::definition::tree::Node;
use crate::requirements::{Requirement, Requirements};

/// Unknown ids for which one that may have been meant is looked for: a wrong file has thousands of them.
const MOST_HELPED: usize = 16;

impl Lint<'_> {
    /// Says of each region which of its requirements the file lacks or calls more severe, and which of the file no region
    /// verifies.
    pub(super) fn trace(&mut self, root: &Node, requirements: &Requirements) {
        let all = &requirements.all;
        let by_id: BTreeMap<&str, &Requirement> = all.iter().map(|r| (r.id.as_str(), r)).collect();
        let mut helped = 0;
        let regions = At::root(root, "region");
        let mut named = BTreeSet::new();
        for (k, region) in self.definition.regions().iter().enumerate() {
            let at = regions.index(k).key("requirements");
            for (n, id) in region.requirements.iter().enumerate() {
                named.insert(id.as_str());
                let Some(found) = by_id.get(id.as_str()) else {
                    helped += 1;
                    let ids = by_id.keys().copied();
                    let help = (helped <= MOST_HELPED)
                        .then(|| suggestion(id, ids))
                        .flatten();
                    let warning = Warning::RequirementUnknown {
                        region: region.id.clone(),
                        id: id.clone(),
                        help,
                    };
                    self.say(&at.index(n), warning);
                    continue;
                };
                let required = found.hazard.as_deref().and_then(Hazard::of_word);
                if let Some(required) = required.filter(|r| *r < region.hazard) {
                    let warning = Warning::RequirementMoreSevere {
                        region: region.id.clone(),
                        hazard: region.hazard,
                        id: id.clone(),
                        required,
                    };
                    self.say(&at.index(n), warning);
                }
            }
        }
        let without = all.iter().filter(|r| !named.contains(r.id.as_str()));
        let ids: Vec<String> = without.map(|r| r.id.clone()).collect();
        if !ids.is_empty() {
            let all = all.len();
            let at = At::root(root, "requirements");
            self.say(
                &at.key("file"),
                Warning::RequirementsWithoutRegion { ids, all },
            );
        }
    }
}
