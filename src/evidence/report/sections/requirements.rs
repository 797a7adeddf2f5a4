//! Each requirement: regions, checks, result, evidence. What nothing exercised is loud.

use maud::{Markup, html};

use crate::evidence::display::RegionInfo;
use crate::evidence::report::Section;
use crate::evidence::report::answer::{Part, by_requirement, parts};
use crate::evidence::report::bundle::{Bundle, CheckRun};
use crate::evidence::report::labels::{
    capitalised, event_anchor, event_label, figure, percent, run_heading,
};
use crate::evidence::requirements::{Finding, Requirement, region_finding, requirements};
use crate::evidence::standing::Standing;

/// Requirements with a row of their own, in each table; the trace has all.
const MOST_ROWS: usize = 1000;
/// Characters of a wording that are shown.
const MOST_CHARS: usize = 600;
/// Events named in one row.
const MOST_LINKS: usize = 12;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    let parts = parts(bundle);
    let body = html! {
        @if parts.len() > 1 || bundle.checks().next().is_none() { (over_all(&parts)) }
        @if bundle.checks().next().is_some() { p { "Requirement ids come from the definition. A requirement counts as exercised when at least one frame of each of \
            its regions was judged while a freeze could have been seen." } }
        @if let Some(file) = bundle.requirements.as_ref().map(|r| &r.file) {
            p { "Wording, method and hazard of requirements are those of " (file.path.display()) ", SHA-256 " code { (file.content.sha256) }
                ", as it was given for this page; the manifests of the results do not hold it." }
        }
        @for (k, (_, run)) in bundle.checks().enumerate() {
            (run_heading(bundle, k))
            @if let Some(e) = &run.summary.error {
                p.loud { b { "Ended early: " } (e) " What follows holds for the frames before that." }
            }
            (table(bundle, k, run))
        }
    };
    Some(Section {
        id: "requirements",
        title: "Requirements",
        body,
    })
}

/// What all results of the page together say of each requirement: the worst.
fn over_all(parts: &[Part]) -> Markup {
    let all = by_requirement(parts);
    html! {
        h3 { "Over all results of this page" }
        @if all.is_empty() { p.loud { "No result of this page names a requirement." } } @else {
            p { "The worst of all results counts." }
            div.wide { table.requirements {
                thead { tr { th { "Requirement" } th { "Result" } th.words { "Because" } } }
                tbody {
                    @for (id, (standing, words)) in all.iter().take(MOST_ROWS) {
                        tr.loud-row[*standing == Standing::Open] {
                            th scope="row" { (id) }
                            td { (standing_badge(*standing)) }
                            td.words { @for line in words { p { (capitalised(line)) "." } } }
                        }
                    }
                }
            } }
            (left_out(all.len()))
        }
    }
}

/// What a table of `all` requirements leaves out.
fn left_out(all: usize) -> Markup {
    html! {
        @if all > MOST_ROWS {
            p.loud { "Of " (all) " requirements the first " (MOST_ROWS) " are listed; " code { "report --trace" } " writes all of them." }
        }
    }
}

fn standing_badge(standing: Standing) -> Markup {
    let (mark, kind, word) = match standing {
        Standing::Holds => ("✓", "fine", "holds"),
        Standing::Open => ("!", "open", "OPEN"),
        Standing::Fails => ("✗", "fault", "does not hold"),
    };
    html! { span.badge.(kind) { b aria-hidden="true" { (mark) } (word) } }
}

fn table(bundle: &Bundle, k: usize, run: &CheckRun) -> Markup {
    let all = requirements(&run.display, &run.summary, &run.events);
    let without: Vec<&RegionInfo> = run
        .display
        .regions
        .iter()
        .filter(|r| r.requirements.is_empty())
        .collect();
    let has_wording = all.iter().any(|r| r.wording.is_some());
    html! {
        div.wide { table.requirements {
            thead { tr { th { "Requirement" } @if has_wording { th.words { "Wording" } } th { "Regions" } th.words { "Checks" } th { "Result" } th.words { "Evidence" } } }
            tbody {
                @for r in all.iter().take(MOST_ROWS) {
                    tr.loud-row[is_loud(r.finding)] {
                        th scope="row" { (r.id) }
                        @if has_wording { td.words { (wording(r)) } }
                        td { @if r.regions.is_empty() { "none" } @else { (r.regions.join(", ")) } }
                        td { @if r.regions.is_empty() { "-" } @else { (checks(run, r)) } }
                        td { (result(r.finding)) }
                        td { @if r.regions.is_empty() { b { "no region verifies it" } } @else { (evidence(bundle, k, run, r)) } }
                    }
                }
            }
        } }
        (left_out(all.len()))
        @if all.is_empty() { p.loud { "The definition names no requirements." } }
        @if !without.is_empty() {
            p { "Regions that verify no requirement: "
                @for (n, region) in without.iter().enumerate() {
                    @if n > 0 { ", " }
                    (region.id) " ("
                    @if region.is_unchecked() { "unchecked" }
                    @else { (region_finding(region, &run.summary, &run.events).text()) }
                    ")"
                }
                "."
            }
        }
    }
}

/// What a requirement says, how it is to be verified, and its hazard, as the file of requirements has them.
fn wording(r: &Requirement) -> Markup {
    let Some(says) = &r.wording else {
        return html! { b { "not in the file of requirements" } };
    };
    let shown: String = says.text.chars().take(MOST_CHARS).collect();
    let is_cut = shown.len() < says.text.len();
    let more = [("method", &says.method), ("hazard", &says.hazard)];
    html! {
        @for (n, line) in shown.lines().enumerate() { @if n > 0 { br; } (line) }
        @if is_cut { " ... (cut; " code { "report --trace" } " writes all of it)" }
        @for (what, value) in more { @if let Some(value) = value { br; small { (what) ": " (value) } } }
    }
}

const fn is_loud(finding: Finding) -> bool {
    matches!(
        finding,
        Finding::NoRegion | Finding::NotExercised | Finding::PartlyExercised
    )
}

fn result(finding: Finding) -> Markup {
    let (mark, kind) = match finding {
        Finding::Fault => ("✗", "fault"),
        Finding::NoRegion | Finding::NotExercised | Finding::PartlyExercised => ("!", "open"),
        Finding::Agrees => ("✓", "fine"),
    };
    html! { span.badge.(kind) { b aria-hidden="true" { (mark) } (finding.text()) } }
}

/// What is looked at: kinds of symbols, and values with what is permitted.
fn checks(run: &CheckRun, r: &Requirement) -> String {
    let regions = r.regions.iter().filter_map(|id| run.display.region(id));
    let (mut symbols, mut values): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    for region in regions {
        for s in &region.symbols {
            if !symbols.contains(s) {
                symbols.push(s.clone());
            }
        }
        for (channel, t) in &region.tolerances {
            let text = format!("{channel} within {} {}", figure(t.value, 3), t.unit);
            if !values.contains(&text) {
                values.push(text);
            }
        }
    }
    let mut text = format!("picture ({})", symbols.join(", "));
    if !values.is_empty() {
        text.push_str("; ");
        text.push_str(&values.join(", "));
    }
    text
}

fn evidence(bundle: &Bundle, k: usize, run: &CheckRun, r: &Requirement) -> Markup {
    let counts = |verdict: &str| -> u64 {
        r.regions
            .iter()
            .filter_map(|id| run.summary.region_verdicts.get(id)?.get(verdict))
            .sum()
    };
    let all: u64 = r
        .regions
        .iter()
        .filter_map(|id| run.summary.region_verdicts.get(id))
        .flat_map(|c| c.values())
        .sum();
    html! {
        @for (n, e) in r.events.iter().take(MOST_LINKS).enumerate() {
            @if n > 0 { ", " }
            a href={ "#" (event_anchor(k, *e)) } { (event_label(bundle, k, *e)) }
        }
        @if r.events.len() > MOST_LINKS { " and " (r.events.len() - MOST_LINKS) " more" }
        @if !r.events.is_empty() { "; " }
        (percent(all - counts("blind") - counts("not_judged"), all)) " of its frames exercised, "
        (percent(counts("blind"), all)) " blind"
        @for (region, why) in &r.not_exercised { br; b { (region) ": " (why) } }
    }
}
