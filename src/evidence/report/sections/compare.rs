//! This run against another: events that are new or gone, and what changed in readings and coverage.

use std::collections::BTreeSet;

use maud::{Markup, html};

use crate::campaign::statistics::binomial::Proportion;
use crate::campaign::summary::{Coverage, Kept, Limit, Summary as CampaignSummary};
use crate::evidence::report::Section;
use crate::evidence::report::bundle::{Bundle, CheckRun, Folder, Results};
use crate::evidence::report::labels::{badge, event_anchor, event_label, figure};
use crate::evidence::report::run::ReadingSummary;
use crate::judge::event::Event;

/// Events of two runs belong together when their onsets are no further apart than this, or they overlap, s.
const ONSET_S: f64 = 0.25;
/// A share of a region's frames that changed by less is left out.
const SHARE_PERCENT: f64 = 0.5;
/// A change of the RMS error by less than this part is left out.
const RMS_PART: f64 = 0.1;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    let other = bundle.against.as_ref()?;
    let then = match &other.results {
        Results::Check(then) => then,
        Results::Campaign(then) => return campaigns(bundle, other, then),
        Results::Tune(_) => return None,
    };
    let body = html! {
        @for (k, (folder, run)) in bundle.checks().enumerate() {
            h3 { (folder.name) " against " (other.name) }
            (inputs(folder, other))
            (events(bundle, k, run, then))
            (readings(run, then))
            (coverage(run, then))
        }
    };
    Some(Section {
        id: "compare",
        title: "Against another run",
        body,
    })
}

/// Coverage of two campaigns, kind by kind, where it is not the same.
fn campaigns(bundle: &Bundle, other: &Folder, then: &CampaignSummary) -> Option<Section> {
    let of = |p: &Proportion| format!("{} of {}", p.k, p.n);
    let body = html! {
        @for (folder, now) in bundle.campaigns() {
            h3 { (folder.name) " against " (other.name) }
            (inputs(folder, other))
            p { "All faults: " (of(&then.coverage.as_class)) " then, " (of(&now.coverage.as_class)) " now. "
                "Raised in clean video: " (then.nuisance.rate.events) " then, " (now.nuisance.rate.events) " now." }
            @let broken = newly_broken(now, then);
            h4 { "Limits kept then and not now: " (broken.len()) }
            @if !broken.is_empty() { ul { @for l in broken { li { (l.name()) ": " (l.words()) } } } }
            div.wide { table.small {
                thead { tr { th { "Kind" } th.n { "As class then" } th.n { "As class now" } th.n { "Median ms then" }
                    th.n { "Median ms now" } } }
                tbody {
                    @for row in &now.by_kind {
                        @let before = then.by_kind.iter().find(|b| b.kind == row.kind);
                        @if before.is_none_or(|b| b.as_class != row.as_class || b.detection_ms != row.detection_ms) {
                            @let ms = |c: &Coverage| c.detection_ms.as_ref().map_or("-".into(), |d| figure(d.median.value, 3));
                            tr {
                                th scope="row" { (row.kind.as_deref().unwrap_or("")) }
                                td.n { (before.map_or("-".into(), |b| of(&b.as_class))) } td.n { (of(&row.as_class)) }
                                td.n { (before.map_or("-".into(), ms)) } td.n { (ms(row)) }
                            }
                        }
                    }
                }
            } }
        }
    };
    Some(Section {
        id: "compare",
        title: "Against another campaign",
        body,
    })
}

/// What went in that is not the same.
fn inputs(now: &Folder, then: &Folder) -> Markup {
    let mut different: Vec<String> = Vec::new();
    let roles: BTreeSet<&str> = now
        .manifest
        .inputs
        .iter()
        .chain(&then.manifest.inputs)
        .map(|i| i.role.as_str())
        .collect();
    for role in roles {
        let of = |f: &Folder| -> Vec<Option<String>> {
            let all = f.manifest.inputs.iter().filter(|i| i.role == role);
            all.map(|i| i.content.as_ref().map(|c| c.sha256.clone()))
                .collect()
        };
        if of(now) != of(then) {
            different.push(role.to_owned());
        }
    }
    let version = |f: &Folder| (f.manifest.version.clone(), f.manifest.revision.clone());
    html! {
        p {
            @if different.is_empty() { "All inputs have the same SHA-256. " }
            @else { b { "Different inputs: " (different.join(", ")) ". " } }
            @if version(now) != version(then) { b { "Different program: " (then.manifest.version) " before, " (now.manifest.version) " now. " } }
        }
    }
}

fn is_same(a: &Event, b: &Event) -> bool {
    let share_place = a
        .regions
        .iter()
        .any(|r| r == "*" || b.regions.iter().any(|x| x == "*" || x == r));
    let overlap = a.onset_s <= b.end_s && b.onset_s <= a.end_s;
    a.class == b.class && share_place && (overlap || (a.onset_s - b.onset_s).abs() <= ONSET_S)
}

/// Places in `a` of events that have no partner in `b`; each partner is taken once.
pub(crate) fn unmatched(a: &[Event], b: &[Event]) -> Vec<usize> {
    let mut taken = vec![false; b.len()];
    (0..a.len())
        .filter(|k| {
            let partner = (0..b.len()).find(|n| !taken[*n] && is_same(&a[*k], &b[*n]));
            if let Some(n) = partner {
                taken[n] = true;
            }
            partner.is_none()
        })
        .collect()
}

/// Events listed on either side.
const MOST_LISTED: usize = 200;

/// Events of a run that the other run does not have, by their place.
pub(in crate::evidence::report) fn new_events(now: &CheckRun, then: &CheckRun) -> Vec<usize> {
    unmatched(&now.events, &then.events)
}

/// Limits that another campaign kept and this one does not.
pub(in crate::evidence::report) fn newly_broken<'a>(
    now: &'a CampaignSummary,
    then: &CampaignSummary,
) -> Vec<&'a Limit> {
    let was_kept = |l: &Limit| {
        let mut before = then.limits.iter();
        before.any(|b| b.hazard == l.hazard && b.region == l.region && b.kept() == Kept::Yes)
    };
    let limits = now.limits.iter();
    limits
        .filter(|l| l.kept() == Kept::No && was_kept(l))
        .collect()
}

fn events(bundle: &Bundle, k: usize, now: &CheckRun, then: &CheckRun) -> Markup {
    let new = new_events(now, then);
    let gone = unmatched(&then.events, &now.events);
    let line = |e: &Event| {
        html! { (badge(e.class)) " in " (e.regions.join(", ")) " from " (format!("{:.3}", e.onset_s)) " s to "
        (format!("{:.3}", e.end_s)) " s" }
    };
    html! {
        h4 { "New events: " (new.len()) }
        @if !new.is_empty() { ul {
            @for e in new.iter().take(MOST_LISTED) {
                li { a href={ "#" (event_anchor(k, *e)) } { (event_label(bundle, k, *e)) } " " (line(&now.events[*e])) }
            }
        } }
        h4 { "Events gone: " (gone.len()) }
        @if !gone.is_empty() { ul {
            @for e in gone.iter().take(MOST_LISTED) { li { (line(&then.events[*e])) } }
        } }
        @if new.len().max(gone.len()) > MOST_LISTED { p.loud { "Of each the first " (MOST_LISTED) " are listed." } }
    }
}

fn readings(now: &CheckRun, then: &CheckRun) -> Markup {
    let (a, b) = (&now.frames.readings, &then.frames.readings);
    let keys: BTreeSet<_> = a.keys().chain(b.keys()).collect();
    let changed: Vec<_> = keys
        .into_iter()
        .filter(|key| match (a.get(*key), b.get(*key)) {
            (Some(x), Some(y)) => has_moved(x, y),
            _ => true,
        })
        .collect();
    let show = |r: Option<&ReadingSummary>| {
        r.map_or("none".into(), |r| {
            format!(
                "{} (worst {}, {} readings)",
                figure(r.rms(), 4),
                figure(r.worst, 3),
                r.count
            )
        })
    };
    html! {
        h4 { "Readings whose RMS error changed by more than " (figure(RMS_PART * 100.0, 0)) " %: " (changed.len()) }
        @if !changed.is_empty() {
            div.wide { table {
                thead { tr { th { "Region" } th { "Channel" } th { "Shown by" } th.n { "Before" } th.n { "Now" } th { "Unit" } } }
                tbody { @for key in changed { tr {
                    th scope="row" { (key.0) } td { (key.1) } td { (key.2) }
                    td.n { (show(b.get(key))) } td.n { (show(a.get(key))) }
                    td { (a.get(key).or(b.get(key)).map_or("", |r| r.unit.as_str())) }
                } } }
            } }
        }
    }
}

fn has_moved(x: &ReadingSummary, y: &ReadingSummary) -> bool {
    let (x, y) = (x.rms(), y.rms());
    (x - y).abs() > RMS_PART * x.max(y)
}

fn coverage(now: &CheckRun, then: &CheckRun) -> Markup {
    let share = |run: &CheckRun, region: &str, verdict: &str| {
        let counts = run.summary.region_verdicts.get(region)?;
        let all: u64 = counts.values().sum();
        let n = counts.get(verdict).copied().unwrap_or(0);
        Some(100.0 * n as f64 / all.max(1) as f64)
    };
    let regions: BTreeSet<&String> = now
        .summary
        .region_verdicts
        .keys()
        .chain(then.summary.region_verdicts.keys())
        .collect();
    let mut rows = Vec::new();
    for region in regions {
        for verdict in ["agrees", "blind", "not_judged"] {
            let pair = (share(then, region, verdict), share(now, region, verdict));
            let has_changed = match pair {
                (Some(x), Some(y)) => (x - y).abs() >= SHARE_PERCENT,
                (None, None) => false,
                _ => true,
            };
            if has_changed {
                rows.push((region, verdict.replace('_', " "), pair));
            }
        }
    }
    let show =
        |v: Option<f64>| v.map_or("no such region".into(), |v| format!("{} %", figure(v, 1)));
    html! {
        h4 { "Coverage that changed by at least " (figure(SHARE_PERCENT, 1)) " % of the frames: " (rows.len()) }
        @if !rows.is_empty() {
            div.wide { table {
                thead { tr { th { "Region" } th { "Verdict" } th.n { "Before" } th.n { "Now" } } }
                tbody { @for (region, verdict, (before, after)) in rows { tr {
                    th scope="row" { (region) } td { (verdict) } td.n { (show(before)) } td.n { (show(after)) }
                } } }
            } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::report::tests::event;

    #[test]
    fn events_are_matched_by_class_place_and_time() {
        let a = [event("late", "speed", 1.0), event("blank", "*", 9.0)];
        let b = [event("late", "speed", 1.2), event("late", "still", 9.0)];
        assert_eq!(unmatched(&a, &b), [1]);
        assert_eq!(unmatched(&b, &a), [1]);
        let twice = [event("late", "speed", 1.0), event("late", "speed", 1.0)];
        assert_eq!(unmatched(&twice, &b), [1]);
    }
}
