//! Regions against the requirements of the file: what one names and the other lacks.

use std::collections::BTreeSet;

use super::Lint;
use super::warning::Warning;
use crate::definition::error::suggestion;
use crate::definition::model::Hazard;
use crate::definition::place::At;
use crate::definition::tree::Node;
use crate::requirements::Requirements;

impl Lint<'_> {
    /// Says of each region which of its requirements the file lacks or calls more severe, and which of the file no region
    /// verifies.
    pub(super) fn trace(&mut self, root: &Node, requirements: &Requirements) {
        let all = &requirements.all;
        let regions = At::root(root, "region");
        let mut named = BTreeSet::new();
        for (k, region) in self.definition.regions().iter().enumerate() {
            let at = regions.index(k).key("requirements");
            for (n, id) in region.requirements.iter().enumerate() {
                named.insert(id.as_str());
                let Some(found) = all.iter().find(|r| r.id == *id) else {
                    let ids = all.iter().map(|r| r.id.as_str());
                    let warning = Warning::RequirementUnknown {
                        region: region.id.clone(),
                        id: id.clone(),
                        help: suggestion(id, ids),
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
