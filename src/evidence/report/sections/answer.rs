//! What was checked, with what, and the answer: one screen.

use maud::{Markup, html};

use crate::evidence::records::thousandths;
use crate::evidence::report::Section;
use crate::evidence::report::answer::{Part, counts, parts, worst};
use crate::evidence::report::bundle::{Bundle, CheckRun, Folder};
use crate::evidence::report::labels::{
    VERDICTS, badge, capitalised, duration, mark_of, percent, run_heading, unchecked_px,
    unchecked_share,
};
use crate::evidence::requirements::{Finding, requirements};
use crate::evidence::standing::Standing;
use crate::judge::event::name;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    let parts = parts(bundle);
    let body = html! {
        (answer(bundle, &parts))
        @for (k, (folder, run)) in bundle.checks().enumerate() {
            (run_heading(bundle, k))
            (facts(folder, run))
        }
        @if let Some(issued) = &bundle.issued { p { "Issued: " (issued) } }
    };
    Some(Section {
        id: "answer",
        title: "Answer",
        body,
    })
}

fn answer(bundle: &Bundle, parts: &[Part]) -> Markup {
    let standing = worst(parts);
    let (mark, kind) = mark_of(standing);
    html! {
        div.answer.(kind) data-standing=(kind) {
            p.verdict {
                span.mark aria-hidden="true" { (mark) }
                strong { (headline(parts)) }
            }
            @if let [part] = parts {
                @for line in part.lines.iter().skip(1) { p { (capitalised(line)) "." } }
            } @else {
                ul.parts { @for part in parts { (of_part(part)) } }
            }
            @if standing == Standing::Open {
                p { "What is open is not good: nothing is said of it here. See "
                    a href="#requirements" { "Requirements" } "." }
            }
            @for (k, (_, run)) in bundle.checks().enumerate() { (events(bundle, k, run)) }
        }
    }
}

/// The answer in a line: of one result its own words, of several how many are how good.
fn headline(parts: &[Part]) -> String {
    if let [part] = parts {
        return part.lines.first().map_or(String::new(), |l| capitalised(l));
    }
    let counts = counts(parts);
    let of = |s: Standing| counts.get(&s).copied().unwrap_or(0);
    match worst(parts) {
        Standing::Fails => format!(
            "Does not hold: {} of {} results",
            of(Standing::Fails),
            parts.len()
        ),
        Standing::Open => format!("Open: {} of {} results", of(Standing::Open), parts.len()),
        Standing::Holds => format!("Holds: all {} results", parts.len()),
    }
}

fn of_part(part: &Part) -> Markup {
    let (mark, kind) = mark_of(part.standing);
    let word = match part.standing {
        Standing::Holds => "holds",
        Standing::Open => "open",
        Standing::Fails => "does not hold",
    };
    html! {
        li.(kind) {
            b { span aria-hidden="true" { (mark) " " } a href={ "#" (part.section) } { (capitalised(&part.name)) } ", " (word) }
            @for line in &part.lines { ". " (capitalised(line)) }
            "."
        }
    }
}

/// What was raised, and when the monitor would have acted.
fn events(bundle: &Bundle, k: usize, run: &CheckRun) -> Markup {
    html! {
        @if !run.events.is_empty() {
            p {
                @if bundle.folders.len() > 1 { "Run " (k + 1) ", events" } @else { "Events" } " by class: "
                @for v in VERDICTS.iter().filter(|v| v.is_faulty()) {
                    @let n = run.events.iter().filter(|e| e.class == *v).count();
                    @if n > 0 { (badge(*v)) " " (n) "  " }
                }
            }
        }
        @if let Some(t) = run.summary.reverted_at_s {
            p { "The monitor would have called for reversion first at " b { (format!("{t:.3}")) " s" } " of the capture, and the reversion latches." }
        }
        @for reversion in &run.summary.reversions {
            p { "Reversion " (reversion.to_string()) "." }
        }
    }
}

fn facts(folder: &Folder, run: &CheckRun) -> Markup {
    let s = &run.summary;
    let all = requirements(&run.display, s, &run.events);
    let count = |f: Finding| all.iter().filter(|r| r.finding == f).count();
    let span_s = s.span_s.map_or(0.0, |[a, b]| b - a);
    html! {
        div.facts {
            div {
                h3 { "What was checked" }
                dl {
                    dt { "Display" } dd { (s.display) ", " (run.display.width) " x " (run.display.height) " px, "
                        (run.display.regions.len()) " regions" }
                    dt { "Capture" } dd { (s.capture.source) ", " (s.frames) " frames"
                        @if let Some(rate) = s.capture.rate_hz { ", " (crate::evidence::report::labels::figure(rate, 3)) " a second" }
                    }
                    dt { "Span" } dd { (duration(span_s)) }
                    dt { "Unchecked" } dd { (unchecked_px(run)) " px of the display (" (unchecked_share(run)) ")" }
                    dt { "Requirements" } dd {
                        (all.len()) ": " (count(Finding::Fault)) " with faults, " (count(Finding::NotExercised))
                        " not exercised, " (count(Finding::PartlyExercised)) " partly, " (count(Finding::Agrees)) " agree"
                        @if count(Finding::NoRegion) > 0 { ", " (count(Finding::NoRegion)) " verified by no region" }
                    }
                }
            }
            div {
                h3 { "With what" }
                dl {
                    dt { "Program" } dd { (folder.manifest.tool) " " (folder.manifest.version) ", revision "
                        (folder.manifest.revision.as_deref().unwrap_or("not recorded")) }
                    @for input in &folder.manifest.inputs {
                        dt { (capitalised(&input.role)) } dd { (input.path) }
                    }
                    dt { "Time offset" } dd { (thousandths(s.offset_s)) " s: " (s.offset_from) }
                    dt { "Chain" } dd { (s.profile_from) }
                }
            }
            div {
                h3 { "Frames" }
                div.wide { table.small {
                    thead { tr { th { "Verdict" } th.n { "Frames" } th.n { "Share" } } }
                    tbody {
                        @for v in VERDICTS {
                            @let n = s.frame_verdicts.get(&name(v).replace(' ', "_")).copied().unwrap_or(0);
                            @if n > 0 { tr { td { (badge(v)) } td.n { (n) } td.n { (percent(n, s.frames)) } } }
                        }
                    }
                } }
            }
        }
    }
}
