//! What stands on a page, and in whatever else is made of results, when they are not as they were written.

use maud::{Markup, html};

use super::bundle::{Bundle, Results};
use crate::evidence::results_folder::NOT_VERIFIED;

/// Differences that are listed; the rest are counted.
const MOST_LISTED: usize = 20;

/// Where results are not as they were written, and what differs there; nothing when all are.
#[must_use]
pub fn differences(bundle: &Bundle) -> Vec<(&str, Vec<String>)> {
    bundle
        .all()
        .filter_map(|folder| {
            let own = folder.unverified.iter().map(ToString::to_string);
            let of_material = match &folder.results {
                Results::Tune(tuned) => tuned.unverified.as_slice(),
                _ => &[],
            };
            let all: Vec<String> = own.chain(of_material.iter().cloned()).collect();
            (!all.is_empty()).then_some((folder.name.as_str(), all))
        })
        .collect()
}

/// The mark over the answer: that the page shows what is not what was written, and all that differs.
#[must_use]
pub fn mark(bundle: &Bundle) -> Option<Markup> {
    let all = differences(bundle);
    if all.is_empty() {
        return None;
    }
    Some(html! {
        div.unverified role="alert" {
            p { strong { "✗ " (NOT_VERIFIED) ". " } "What this page shows is not what was written when it was measured. \
                Nothing on it is evidence." }
            @for (folder, changes) in all {
                p { (folder) ":" }
                ul {
                    @for change in changes.iter().take(MOST_LISTED) { li { (change) } }
                    @if changes.len() > MOST_LISTED { li { "and " (changes.len() - MOST_LISTED) " more" } }
                }
            }
        }
    })
}

/// Says which inputs are no longer where they were.
#[must_use]
pub fn gone(bundle: &Bundle) -> Option<Markup> {
    let any = bundle.all().any(|f| !f.gone.is_empty());
    any.then(|| {
        html! {
            @for folder in bundle.all().filter(|f| !f.gone.is_empty()) {
                p.note { "Inputs of " (folder.name) " that are no longer there, or programs that are others by now; nothing was held against them: "
                    (folder.gone.join(", ")) }
            }
        }
    })
}
