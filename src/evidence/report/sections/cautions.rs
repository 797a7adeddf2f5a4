//! Cautions and limits: what the reader must not conclude.

use maud::{Markup, html};

use crate::evidence::records::{AlertRecord, CAUTION};
use crate::evidence::report::Section;
use crate::evidence::report::bundle::Bundle;
use crate::evidence::report::labels::{run_heading, unchecked_px, unchecked_share};

/// Which alerts, or which of their looks, nothing was seen of, since they were never due.
pub(super) fn alerts_never_due(alerts: &[AlertRecord]) -> Markup {
    let never = alerts.iter().filter_map(|a| {
        let state = if a.active_frames == 0 {
            ""
        } else if a.new_frames == Some(0) {
            ", unacknowledged"
        } else if a.acknowledged_frames == Some(0) {
            ", acknowledged"
        } else {
            return None;
        };
        Some(format!("{}: {}{state}", a.region, a.alert))
    });
    let never: Vec<String> = never.collect();
    html! {
        @if !never.is_empty() {
            li { b { (never.len()) " of " (alerts.len()) " alerts" } " were never due as listed, and so not checked:"
                ul { @for alert in &never { li { (alert) } } }
            }
        }
    }
}

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    let body = html! {
        p.loud { (CAUTION) }
        p { "What a check cannot see, however clean its answer:" }
        ul {
            li { "a freeze while nothing that is shown moves: that time is blind, and is counted by region below;" }
            li { "a wrong value within its tolerance, or below what the pixels show;" }
            li { "anything that is unchecked: outside all regions, in an area that the definition leaves out, or on a channel that the recording lacks;" }
            li { "ink with less contrast than noise and compression of the capture chain;" }
            li { "a mistake that stands in the definition as well as in the display;" }
            li { "without a capture profile: a fault that lasts from the first frame to the last, which can pass for the chain." }
        }
        @for (k, (_, run)) in bundle.checks().enumerate() {
            @let s = &run.summary;
            (run_heading(bundle, k))
            p { "Of this run:" }
            ul {
                li { b { "Unchecked: " (unchecked_px(run)) " px of the display" } " (" (unchecked_share(run))
                    "). They lie in no region, in an unchecked region or in an unchecked area." }
                @if run.display.regions.iter().any(|r| !r.unchecked.is_empty()) {
                    li { "Unchecked inside regions:"
                        ul { @for r in &run.display.regions { @for u in &r.unchecked {
                            li { (r.id) ", " (u.rect[2]) " x " (u.rect[3]) " px at " (u.rect[0]) ", " (u.rect[1]) ": " (u.reason) }
                        } } }
                    }
                }
                li { "Chain: " (s.profile_from) "." }
                (alerts_never_due(&s.alerts))
                @for (region, why) in &s.not_judged { li { b { (region) } " was not judged: " (why) "." } }
                @for note in &s.notes { li { (note) } }
                @if run.stills.events_without > 0 {
                    li { (run.stills.events_without) " events have no stored frames: there were more than a check stores." }
                }
            }
        }
    };
    Some(Section {
        id: "cautions",
        title: "Cautions and limits",
        body,
    })
}
