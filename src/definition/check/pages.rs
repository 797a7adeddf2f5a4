//! Pages: named once, one is always due, and regions belong to those that there are.

use super::Check;
use super::limits::*;
use crate::definition::error::suggestion;
use crate::definition::model::{Condition, Region};
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
        let last = pages.iter().rposition(|p| !p.is_for_reversion_only());
        if last.is_none() && !pages.is_empty() {
            let message = "no page is ever due: the only one stands there after a reversion alone";
            let help = "add the pages that the inputs choose";
            self.say_with(all, message.to_owned(), Some(help.to_owned()));
        }
        for (k, page) in pages.iter().enumerate() {
            let at = all.index(k);
            self.name(&at.key("id"), "page id", &page.id);
            let before = pages[..k].iter().position(|p| p.id == page.id);
            self.given_once(all, "page", k, before);
            self.number(&at.key("transition_ms"), page.transition_ms, &TIME);
            self.conditions_under(&at, "when", &page.when);
            if let Some(reversion) = &page.reversion {
                let at = at.key("reversion");
                self.number(&at.key("within_ms"), reversion.within_ms, &TIME);
                self.conditions_under(&at, "when", &reversion.when);
                self.conditions_under(&at, "reset", &reversion.reset);
                if let Some(other) = self.looks_alike(k) {
                    let other = &pages[other].id;
                    let message = format!(
                        "page \"{}\" has no region that page \"{other}\" lacks",
                        page.id
                    );
                    let help = "nobody could tell whether the display has reverted: give it a region of its own";
                    self.say_with(&at, message, Some(help.into()));
                }
                let is_last = pages[k + 1..].iter().all(|p| p.reversion.is_none());
                if is_last != reversion.when.is_empty() {
                    let message = if is_last {
                        "nothing says which page a reversion puts up while this one is not it"
                    } else {
                        "another page further down has a `reversion`, and is never the one"
                    };
                    let help =
                        "of several pages of a reversion all but the last have a `when` in it";
                    self.say_with(&at, message.to_owned(), Some(help.to_owned()));
                }
            }
            if page.is_for_reversion_only() {
                continue;
            }
            let is_last = Some(k) == last;
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

    /// Another page that has all regions of page `page`.
    fn looks_alike(&self, page: usize) -> Option<usize> {
        let regions = self.file.region.iter().map(|r| PageSet::of(self.file, r));
        let own: Vec<PageSet> = regions.filter(|pages| pages.contains(page)).collect();
        let mut others = (0..self.file.page.len()).filter(|other| *other != page);
        others.find(|other| own.iter().all(|pages| pages.contains(*other)))
    }

    /// The conditions that stand in the table at `at` under `key`.
    fn conditions_under(&mut self, at: &At<'_>, key: &'static str, conditions: &[Condition]) {
        let mut named = Vec::new();
        uses::of_conditions(key, conditions, &mut |path, what| {
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
