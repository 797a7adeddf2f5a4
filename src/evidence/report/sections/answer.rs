//! What was checked, with what, and the answer: one screen.

use maud::{Markup, html};

use crate::evidence::records::thousandths;
use crate::evidence::report::Section;
use crate::evidence::report::bundle::{Bundle, CheckRun, Folder};
use crate::evidence::report::labels::{VERDICTS, badge, duration, percent, run_heading};
use crate::evidence::requirements::{Finding, requirements};
use crate::judge::events::name;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    bundle.checks().next()?;
    let body = html! {
        @for (k, (folder, run)) in bundle.checks().enumerate() {
            (run_heading(bundle, k))
            (answer(folder, run))
        }
        @if let Some(issued) = &bundle.issued { p { "Issued: " (issued) } }
    };
    Some(Section {
        id: "answer",
        title: "Answer",
        body,
    })
}

fn answer(folder: &Folder, run: &CheckRun) -> Markup {
    let s = &run.summary;
    let ended_early = s.error.is_some();
    let (mark, kind) = match (s.result.as_str(), ended_early) {
        ("agrees", false) => ("✓", "good"),
        ("faults found", _) => ("✗", "bad"),
        _ => ("?", "open"),
    };
    let all = requirements(&run.display, s, &run.events);
    let count = |f: Finding| all.iter().filter(|r| r.finding == f).count();
    let span_s = s.span_s.map_or(0.0, |[a, b]| b - a);
    html! {
        div.answer.(kind) {
            p.verdict {
                span.mark aria-hidden="true" { (mark) }
                strong {
                    (capitalised(&s.result))
                    @if !run.events.is_empty() {
                        ": " (run.events.len()) @if run.events.len() == 1 { " event" } @else { " events" }
                    }
                }
            }
            @if let Some(e) = &s.error {
                p.loud { b { "Ended early. " } (e) }
            }
            @let loud = count(Finding::NotExercised) + count(Finding::PartlyExercised);
            @if loud > 0 {
                p.loud {
                    b { (loud) " of " (all.len()) " requirements were not exercised, or only in part. " }
                    "Nothing is said of them here; see " a href="#requirements" { "Requirements" } "."
                }
            }
            @if !run.events.is_empty() {
                p { "Events by class: "
                    @for v in VERDICTS.iter().filter(|v| v.is_faulty()) {
                        @let n = run.events.iter().filter(|e| e.class == *v).count();
                        @if n > 0 { (badge(*v)) " " (n) "  " }
                    }
                }
            }
            @if let Some(t) = s.reverted_at_s {
                p { "The monitor would have called for reversion first at " b { (format!("{t:.3}")) " s" } " of the capture, and the reversion latches." }
            }
        }
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
                    dt { "Requirements" } dd {
                        (all.len()) ": " (count(Finding::Fault)) " with faults, " (count(Finding::NotExercised))
                        " not exercised, " (count(Finding::PartlyExercised)) " partly, " (count(Finding::Agrees)) " agree"
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
                table.small {
                    thead { tr { th { "Verdict" } th.n { "Frames" } th.n { "Share" } } }
                    tbody {
                        @for v in VERDICTS {
                            @let n = s.frame_verdicts.get(&name(v).replace(' ', "_")).copied().unwrap_or(0);
                            @if n > 0 { tr { td { (badge(v)) } td.n { (n) } td.n { (percent(n, s.frames)) } } }
                        }
                    }
                }
            }
        }
    }
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}
