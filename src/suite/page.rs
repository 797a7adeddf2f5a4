//! The suite on one page, in the style of a report: the answer, what changed, runs against requirements, tags.
//!
//! It is made of the record alone. Tables that would be wider than a sheet are cut into several; what is left out to keep the
//! page small is said on it.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::folder::{RUNS, report_of};
use super::records::{Earlier, RunRecord, SuiteRecord, Totals};
use super::verdict::{by_requirement, standing, standing_of};
use crate::evidence::records::CAUTION;
use crate::evidence::report::labels::{
    badge, capitalised, count_of, duration, event_anchor, figure, mark_of,
};
use crate::evidence::report::{Page, Section, whole};
use crate::evidence::requirements::Finding;
use crate::evidence::standing::Standing;
use crate::judge::event::Event;

/// Requirements side by side: as many as a sheet has room for.
const COLUMNS: usize = 9;
/// Requirements with a column.
const MOST_REQUIREMENTS: usize = 180;
/// Runs with a row.
const MOST_RUNS: usize = 500;
/// Events listed of a run.
const MOST_EVENTS: usize = 12;
/// Earlier suites whose events a trend shows.
const MOST_EARLIER: usize = 7;

/// The page.
#[must_use]
pub fn page(suite: &SuiteRecord) -> String {
    let sections = [
        Some(answer(suite)),
        Some(cautions(suite)),
        changes(suite),
        Some(requirements(suite)),
        Some(runs(suite)),
        Some(tags(suite)),
        Some(reproduce()),
        Some(manifest(suite)),
    ];
    whole(&Page {
        title: format!("Evidence report: suite {}", suite.name),
        mark: None,
        gone: None,
        sections: sections.into_iter().flatten().collect(),
    })
}

fn answer(suite: &SuiteRecord) -> Section {
    let (mark, kind) = mark_of(standing(suite));
    let all = &suite.all;
    let open = by_requirement(&suite.runs);
    let open = open
        .values()
        .filter(|f| standing_of(**f) == Standing::Open)
        .count();
    let gone_runs = suite.against.as_ref().map_or(0, |a| a.gone_runs.len());
    let body = html! {
        div.answer.(kind) data-standing=(kind) {
            p.verdict {
                span.mark aria-hidden="true" { (mark) }
                strong { (headline(suite)) }
            }
            @if let Some(shard) = suite.shard {
                p { b { "Part " (shard) " of the suite: " (all.runs) " of " (suite.planned) " runs. " } "Nothing is said here of the others." }
            }
            @if let Some(against) = &suite.against {
                p { "Against " (named(&against.name, against.issued.as_deref())) ": " (count_of(all.new_events as usize, "new event")) ", "
                    (count_of(all.gone_events as usize, "event")) " gone, "
                    (count_of((all.events - all.new_events) as usize, "event")) " known"
                    @if gone_runs > 0 { ", " (count_of(gone_runs, "run")) " no longer in the plan" }
                    ". See " a href="#changes" { "what changed" } "." }
            } @else {
                p { "Compared with no earlier suite: every event counts as new." }
            }
            @if all.not_judged > 0 {
                p { b { (count_of(all.not_judged as usize, "run")) " could not be judged, or not to the end" } ": what is not judged is not good. See "
                    a href="#runs" { "Runs" } "." }
            }
            @if open > 0 {
                p { (count_of(open, "requirement")) " of " (by_requirement(&suite.runs).len())
                    " were exercised in no run, or only in part: what is open is not good. See " a href="#requirements" { "Runs and requirements" } "." }
            }
        }
        div.facts {
            div {
                h3 { "What was checked" }
                dl {
                    dt { "Suite" } dd { (suite.name) }
                    dt { "Runs" } dd { (all.runs) @if suite.shard.is_some() { " of " (suite.planned) } ": "
                        (agreeing(&suite.runs)) " agree, " (all.faulty) " with faults, " (all.not_judged) " not judged or not to the end" }
                    dt { "Displays" } dd { (displays(&suite.runs)) }
                    dt { "Video" } dd { (duration(suite.runs.iter().map(|r| r.length_s).sum())) ", "
                        (suite.runs.iter().map(|r| r.frames).sum::<u64>()) " frames" }
                }
            }
            div {
                h3 { "With what" }
                dl {
                    dt { "Program" } dd { (suite.tool) }
                    dt { "Exit status" } dd { (suite.exit_status) ": " (suite.result) }
                    @if let Some(issued) = &suite.issued { dt { "Issued" } dd { (issued) } }
                }
            }
        }
    };
    Section {
        id: "answer",
        title: "Answer",
        body,
    }
}

fn headline(suite: &SuiteRecord) -> String {
    let all = &suite.all;
    let events = |n: u64| count_of(n as usize, "event");
    match (suite.result.as_str(), standing(suite)) {
        ("new faults", _) => {
            let runs = suite.runs.iter().filter(|r| r.new_events() > 0).count();
            format!(
                "New faults: {} in {runs} of {} runs",
                events(all.new_events),
                all.runs
            )
        }
        ("faults found", _) => format!(
            "Faults found: {} in {} of {} runs",
            events(all.events),
            all.faulty,
            all.runs
        ),
        ("no new faults", _) => format!(
            "No new fault; {} known in {} of {} runs",
            events(all.events),
            all.faulty,
            all.runs
        ),
        ("agrees", Standing::Open) => "Agrees where it was exercised".into(),
        ("agrees", _) => format!("Agrees: all {} runs", all.runs),
        _ => format!("Not judged: {} of {} runs", all.not_judged, all.runs),
    }
}

fn agreeing(runs: &[RunRecord]) -> usize {
    runs.iter().filter(|r| r.exit_status == 0).count()
}

fn displays(runs: &[RunRecord]) -> String {
    let names: BTreeSet<&str> = runs.iter().filter_map(|r| r.display.as_deref()).collect();
    let names: Vec<&str> = names.into_iter().collect();
    if names.is_empty() {
        "none was judged".into()
    } else {
        names.join("; ")
    }
}

/// A suite with its issue, where it has one.
fn named(name: &str, issued: Option<&str>) -> String {
    issued.map_or(name.to_owned(), |issued| format!("{name}, {issued}"))
}

fn cautions(suite: &SuiteRecord) -> Section {
    let body = html! {
        p.loud { (CAUTION) }
        ul {
            li { "What a check cannot see, however clean its answer, stands on the page of each run, with what was left unchecked there." }
            li { "A requirement counts as exercised by the suite when one run exercised all of its regions, and as faulty when one run is." }
            li { "An event is the same as one of the last suite when class and place are, in the run of the same id, and it overlaps that one in \
                time or begins no more than 0.25 s away from it. What is known is still a fault." }
            @if suite.against.is_some() {
                li { "Of the last suite its record was held against its manifest, and nothing else: its captures may be other ones by now." }
            }
        }
    };
    Section {
        id: "cautions",
        title: "Cautions and limits",
        body,
    }
}

/// An event of a run in a line.
fn line(event: &Event) -> Markup {
    html! {
        (badge(event.class)) " in " (event.regions.join(", ")) " from " (format!("{:.3}", event.onset_s)) " s to "
        (format!("{:.3}", event.end_s)) " s"
        @if let Some(w) = &event.worst_error { ": " (w.channel) " shows " (figure(w.displayed, 2)) ", " (w.of_expected()) " " (figure(w.expected, 2)) " " (w.unit) }
    }
}

/// An event of a run with its place on the run's own page.
fn linked(run: &RunRecord, k: usize) -> Markup {
    html! { a href={ (report_of(&run.id)) "#" (event_anchor(0, k)) } { (run.id) " E" (k) } " " (line(&run.events[k])) }
}

fn changes(suite: &SuiteRecord) -> Option<Section> {
    let against = suite.against.as_ref()?;
    let of = |is: &dyn Fn(&RunRecord) -> bool| -> Vec<&RunRecord> {
        suite.runs.iter().filter(|r| is(r)).collect()
    };
    let changed = |r: &RunRecord, is: fn(&super::records::Changes) -> bool| {
        r.changes.as_ref().is_some_and(is)
    };
    let with_new = of(&|r| changed(r, |c| !c.new.is_empty()));
    let with_gone = of(&|r| changed(r, |c| !c.gone.is_empty()));
    let no_more = of(&|r| changed(r, |c| c.is_judged_no_more));
    let added = of(&|r| changed(r, |c| c.is_new_run));
    let body = html! {
        p { "The last suite: " (named(&against.name, against.issued.as_deref())) ", SHA-256 of its manifest " code.digest { (against.manifest_sha256) } }
        h3 { "New faults: " (count_of(suite.all.new_events as usize, "event")) }
        @if !with_new.is_empty() { ul {
            @for run in with_new.iter().take(MOST_RUNS) {
                @let new = run.changes.as_ref().map_or(&[][..], |c| c.new.as_slice());
                @for k in new.iter().take(MOST_EVENTS) { li { (linked(run, *k)) } }
                @if new.len() > MOST_EVENTS { li { (run.id) ": and " (new.len() - MOST_EVENTS) " more" } }
            }
        } }
        h3 { "Faults gone: " (count_of(suite.all.gone_events as usize, "event")) }
        @if !with_gone.is_empty() { ul {
            @for run in with_gone.iter().take(MOST_RUNS) {
                @let gone = run.changes.as_ref().map_or(&[][..], |c| c.gone.as_slice());
                @for e in gone.iter().take(MOST_EVENTS) {
                    li { (run.id) ": " (line(e)) @if run.is_unjudged() { b { "; the run was not judged to its end" } } }
                }
                @if gone.len() > MOST_EVENTS { li { (run.id) ": and " (gone.len() - MOST_EVENTS) " more" } }
            }
        } }
        @for (what, list) in [("Judged then and not now", no_more), ("New runs", added)] {
            @if !list.is_empty() {
                p { b { (what) ": " } @for (n, run) in list.iter().enumerate() { @if n > 0 { ", " } (run.id) } }
            }
        }
        @if !against.gone_runs.is_empty() { p { b { "Runs no longer in the plan: " } (against.gone_runs.join(", ")) } }
        @if with_new.len().max(with_gone.len()) > MOST_RUNS { p.loud { "Of each the first " (MOST_RUNS) " runs are listed." } }
    };
    Some(Section {
        id: "changes",
        title: "Against the last suite",
        body,
    })
}

/// Runs that get a row: all, or where there are too many those that do not agree first.
fn shown(suite: &SuiteRecord) -> Vec<&RunRecord> {
    let mut list: Vec<&RunRecord> = suite.runs.iter().collect();
    if list.len() > MOST_RUNS {
        list.sort_by_key(|r| r.exit_status == 0);
        list.truncate(MOST_RUNS);
    }
    list
}

fn left_out(suite: &SuiteRecord) -> Markup {
    html! {
        @if suite.runs.len() > MOST_RUNS {
            p.loud { "Of " (suite.runs.len()) " runs " (MOST_RUNS) " have a row, those that do not agree before all others; suite.json has all." }
        }
    }
}

fn requirements(suite: &SuiteRecord) -> Section {
    let all = by_requirement(&suite.runs);
    let ids: Vec<&str> = all.keys().copied().take(MOST_REQUIREMENTS).collect();
    let list = shown(suite);
    let body = html! {
        @if ids.is_empty() { p.loud { "No display of these runs names a requirement." } } @else {
            p { "Each cell says what the run found of the requirement: " (cell(Finding::Agrees)) ", " (cell(Finding::Fault)) ", "
                (cell(Finding::PartlyExercised)) " (some of its regions), " (cell(Finding::NotExercised)) ", " (cell(Finding::NoRegion))
                " verifies it, - where the run's display does not name it or nothing was judged. The first row says it of the whole suite." }
            @for part in ids.chunks(COLUMNS) {
                @let (first, end) = (part[0], part[part.len() - 1]);
                @if ids.len() > COLUMNS { h3 { (first) " to " (end) } }
                div.wide { table.matrix {
                    thead { tr { th { "Run" } @for id in part { th { (id) } } } }
                    tbody {
                        tr.total { th scope="row" { "All runs" } @for id in part { td { (cell(all[id])) } } }
                        @for run in &list {
                            tr { th scope="row" { (run.id) } @for id in part { td { @match run.requirements.get(*id) {
                                Some(finding) => (cell(*finding)),
                                None => "-",
                            } } } }
                        }
                    }
                } }
            }
            @if all.len() > MOST_REQUIREMENTS {
                p.loud { "Of " (all.len()) " requirements the first " (MOST_REQUIREMENTS) " have a column; suite.json has all." }
            }
            (left_out(suite))
        }
    };
    Section {
        id: "requirements",
        title: "Runs and requirements",
        body,
    }
}

/// A finding in a cell: its mark and a short word.
fn cell(finding: Finding) -> Markup {
    let (mark, kind, word) = match finding {
        Finding::Fault => ("✗", "fault", "fault"),
        Finding::NoRegion => ("!", "open", "no region"),
        Finding::NotExercised => ("!", "open", "not exercised"),
        Finding::PartlyExercised => ("!", "open", "partly"),
        Finding::Agrees => ("✓", "fine", "agrees"),
    };
    html! { span.badge.(kind) { b aria-hidden="true" { (mark) } (word) } }
}

fn runs(suite: &SuiteRecord) -> Section {
    let body = html! {
        p { "Each run has a page of its own, and its results with their manifest in " code { (RUNS) "/" } " under its name." }
        div.wide { table.runs {
            thead { tr { th { "Run" } th.words { "Result" } th { "Tags" } th.n { "Frames" } th.n { "Oldest data" } th.n { "Largest error" } } }
            tbody { @for run in shown(suite) { (row(run)) } }
        } }
        p.note { "Oldest data: the greatest age of data that any region showed. Largest error: of a reading, in tolerances of its channel, in any frame." }
        (left_out(suite))
    };
    Section {
        id: "runs",
        title: "Runs",
        body,
    }
}

fn row(run: &RunRecord) -> Markup {
    let standing = match (run.events.is_empty(), run.is_unjudged()) {
        (false, _) => Standing::Fails,
        (true, true) => Standing::Open,
        (true, false) => Standing::Holds,
    };
    let (mark, _) = mark_of(standing);
    let kind = match standing {
        Standing::Holds => "fine",
        Standing::Open => "open",
        Standing::Fails => "fault",
    };
    let new = |k: usize| run.changes.as_ref().is_some_and(|c| c.new.contains(&k));
    html! {
        tr.loud-row[standing == Standing::Open] {
            th scope="row" {
                @if run.manifest_sha256.is_some() { a href=(report_of(&run.id)) { (run.id) } } @else { (run.id) }
            }
            td.words {
                p { span.badge.(kind) { b aria-hidden="true" { (mark) } (run.result) } }
                @for k in 0..run.events.len().min(MOST_EVENTS) {
                    p { @if new(k) { b { "New: " } } a href={ (report_of(&run.id)) "#" (event_anchor(0, k)) } { "E" (k) } " " (line(&run.events[k])) }
                }
                @if run.events.len() > MOST_EVENTS { p { "and " (run.events.len() - MOST_EVENTS) " more" } }
                @if let Some(why) = &run.error { p { (capitalised(why)) } }
            }
            td { (run.tags.join(", ")) }
            td.n { (run.frames) }
            td.n { (milliseconds(run.worst_staleness_ms)) }
            td.n { (tolerances(run.worst_error_tolerances)) }
        }
    }
}

fn milliseconds(value: Option<f64>) -> String {
    value.map_or("-".into(), |v| format!("{} ms", figure(v, 0)))
}

fn tolerances(value: Option<f64>) -> String {
    value.map_or("-".into(), |v| figure(v, 2))
}

fn tags(suite: &SuiteRecord) -> Section {
    let last = suite.history.last();
    let rows: Vec<(&str, Option<&Totals>, &Totals)> =
        std::iter::once(("all runs", last.map(|l| &l.all), &suite.all))
            .chain(suite.tags.iter().map(|(tag, now)| {
                let then = last.and_then(|l| l.tags.get(tag));
                (tag.as_str(), then, now)
            }))
            .collect();
    let body = html! {
        @if last.is_some() { p { "Two figures are those of the last suite and of this one. The trend has the events of earlier suites, the oldest first, and of this one." } }
        div.wide { table.tags {
            thead { tr { th { "Tag" } th.n { "Runs" } th.n { "With faults" } th.n { "Not judged" } th.n { "Events" }
                @if last.is_some() { th.n { "New" } th.n { "Gone" } }
                th.n { "Oldest data" } th.n { "Largest error, tolerances" }
                @if last.is_some() { th { "Events, trend" } } } }
            tbody { @for (tag, then, now) in &rows {
                tr {
                    th scope="row" { (tag) }
                    td.n { (both(*then, now, |t| t.runs.to_string())) }
                    td.n { (both(*then, now, |t| t.faulty.to_string())) }
                    td.n { (both(*then, now, |t| t.not_judged.to_string())) }
                    td.n { (both(*then, now, |t| t.events.to_string())) }
                    @if last.is_some() { td.n { (now.new_events) } td.n { (now.gone_events) } }
                    td.n { (both(*then, now, |t| milliseconds(t.worst_staleness_ms))) }
                    td.n { (both(*then, now, |t| tolerances(t.worst_error_tolerances))) }
                    @if last.is_some() { td { (trend(suite, tag, now)) } }
                }
            } }
        } }
        @if suite.tags.is_empty() { p { "No run has a tag." } }
        @if let Some(last) = last { @if !gone_tags(suite, last).is_empty() { p { "Tags that no run has any more: " (gone_tags(suite, last).join(", ")) } } }
    };
    Section {
        id: "tags",
        title: "By tag",
        body,
    }
}

/// A figure then and now, or once where it is the same or there is no then.
fn both(then: Option<&Totals>, now: &Totals, of: impl Fn(&Totals) -> String) -> String {
    let now = of(now);
    match then.map(of) {
        Some(then) if then != now => format!("{then} → {now}"),
        _ => now,
    }
}

/// Events over the last suites and this one; a stroke where a suite had no run of the tag.
fn trend(suite: &SuiteRecord, tag: &str, now: &Totals) -> String {
    let is_all = tag == "all runs" && std::ptr::eq(now, &suite.all);
    let of = |e: &Earlier| {
        let then = if is_all {
            Some(&e.all)
        } else {
            e.tags.get(tag)
        };
        then.map_or("-".to_owned(), |t| t.events.to_string())
    };
    let too_many = suite.history.len().saturating_sub(MOST_EARLIER);
    let mut all: Vec<String> = suite.history[too_many..].iter().map(of).collect();
    all.push(now.events.to_string());
    all.join(", ")
}

fn gone_tags(suite: &SuiteRecord, last: &Earlier) -> Vec<String> {
    let gone = last.tags.keys().filter(|t| !suite.tags.contains_key(*t));
    gone.cloned().collect()
}

fn reproduce() -> Section {
    let body = html! {
        p { "Same plan, same inputs, same program: the same bytes, however many runs are under way at once and however often it was broken off. \
            manifest.json has the command. In the suite's folder, with a comparison byte by byte of every run:" }
        pre tabindex="0" { "framevouch verify --again ." }
    };
    Section {
        id: "reproduce",
        title: "How to reproduce",
        body,
    }
}

fn manifest(suite: &SuiteRecord) -> Section {
    let body = html! {
        p { "SHA-256 of the plan and of the manifest of each run, which has those of all that went in and came out. "
            code { "framevouch verify DIR" } " on the suite's folder hashes all of it again. Nothing in the folder vouches for its own manifest: \
            keep that one's digest where the record is kept." }
        div.wide { table.manifest {
            thead { tr { th { "File" } th { "SHA-256" } } }
            tbody {
                tr { th scope="row" { "the plan" } td { code.digest { (suite.plan_sha256) } } }
                @for run in shown(suite) { @if let Some(sha256) = &run.manifest_sha256 {
                    tr { th scope="row" { (RUNS) "/" (run.id) "/manifest.json" } td { code.digest { (sha256) } } }
                } }
            }
        } }
        (left_out(suite))
    };
    Section {
        id: "manifest",
        title: "Manifest",
        body,
    }
}
