//! Pages: named once, one is always due, and regions belong to those that there are.

use super::Check;
use super::limits::*;
use crate::definition::error::suggestion;
use crate::definition::model::Region;
use crate::definition::pages::{MOST_PAGES, PageSet};
use crate::definition::place::At;
use crate::definition::uses::{self, Use};

impl Check<'_> {
    pub(super) fn pages(&mut self, all: &At<'_>) {
        let pages = &self.file.page;
        if pages.len() > MOST_PAGES {
            let message = format!("{} pages; at most {MOST_PAGES} are supported", pages.len());
            self.say(all, message);
            return;
        }
        for (k, page) in pages.iter().enumerate() {
            let at = all.index(k);
            self.name(&at.key("id"), "page id", &page.id);
            let before = pages[..k].iter().position(|p| p.id == page.id);
            self.given_once(all, "page", k, before);
            self.number(&at.key("transition_ms"), page.transition_ms, &TIME);
            let mut named = Vec::new();
            uses::of_conditions(&page.when, &mut |path, what| {
                named.push((at.along(path), what));
            });
            for (at, what) in named {
                match what {
                    Use::Channel { name, role } => {
                        self.channel(&at, name, role);
                    }
                    Use::Condition(condition) => self.condition(&at, condition),
                    _ => {}
                }
            }
            let is_last = k + 1 == pages.len();
            if is_last && !page.when.is_empty() {
                let message = format!("no page is due while \"{}\" is not", page.id);
                let help = "the last page has no `when`: it is due when no other is";
                self.say_with(&at.key("when"), message, Some(help.into()));
            }
            if !is_last && page.when.is_empty() {
                let message = format!("page \"{}\" is always due, and no later one ever", page.id);
                let help = "give it a `when`, or make it the last one";
                self.say_with(&at, message, Some(help.into()));
            }
        }
    }

    pub(super) fn region_pages(&mut self, at: &At<'_>, region: &Region) {
        let pages = &self.file.page;
        for (k, name) in region.pages.iter().enumerate() {
            let at = at.index(k);
            if !pages.iter().any(|p| p.id == *name) {
                let message = format!("there is no page \"{name}\"");
                let names = pages.iter().map(|p| p.id.as_str());
                self.say_with(&at, message, suggestion(name, names));
            }
            if region.pages[..k].contains(name) {
                self.say(&at, format!("page \"{name}\" is given twice"));
            }
        }
    }

    /// Whether two regions are ever shown together.
    pub(super) fn are_together(&self, a: &Region, b: &Region) -> bool {
        PageSet::of(self.file, a).meets(PageSet::of(self.file, b))
    }
}
