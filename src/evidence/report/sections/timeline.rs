//! The run over time: strips by region, from hours down to frames.

use maud::{Markup, html};
use serde::Serialize;

use crate::evidence::display::RegionInfo;
use crate::evidence::report::bundle::{Bundle, CheckRun};
use crate::evidence::report::labels::{
    VERDICTS, badge, duration, event_anchor, event_label, letter, percent, run_heading,
};
use crate::evidence::report::run::{Stretch, coarser};
use crate::evidence::report::{Section, script_json};
use crate::judge::event::name;
use crate::judge::verdict::Verdict;

/// Stretches of all regions together in the page; beyond it they are told in coarser steps.
const MOST_STRETCHES: usize = 150_000;
/// Points of the line of times in the page.
const MOST_TIMES: usize = 4_000;
/// Letter and word of a region that nobody checks.
const UNCHECKED: (char, &str) = ('U', "unchecked");
/// Events marked in the timeline.
const MOST_EVENTS: usize = 2_000;

/// What the script draws.
#[derive(Serialize)]
struct Data<'a> {
    frames: u64,
    step: u64,
    times: Vec<(u64, f64)>,
    rows: Vec<(&'a str, String)>,
    names: Vec<(char, &'static str)>,
    events: Vec<Mark>,
}

/// First frame, last frame, label, anchor, rows from 0 (the whole frame).
#[derive(Serialize)]
struct Mark(u64, u64, String, String, Vec<usize>);

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    bundle.checks().next()?;
    let body = html! {
        p.legend { "Verdicts: "
            @for v in VERDICTS {
                span.key { canvas.swatch data-verdict=(letter(v)) width="28" height="14" aria-hidden="true" {} (badge(v)) } " "
            }
            @if bundle.checks().any(|(_, run)| run.display.regions.iter().any(RegionInfo::is_unchecked)) {
                span.key { canvas.swatch data-verdict=(UNCHECKED.0) width="28" height="14" aria-hidden="true" {}
                    span.badge.open { b aria-hidden="true" { (UNCHECKED.0) } (UNCHECKED.1) } }
            }
        }
        @for (k, (_, run)) in bundle.checks().enumerate() {
            (run_heading(bundle, k))
            (strips(bundle, k, run))
            (shares(run))
        }
    };
    Some(Section {
        id: "timeline",
        title: "Timeline by region",
        body,
    })
}

fn strips(bundle: &Bundle, k: usize, run: &CheckRun) -> Markup {
    let frames = &run.frames;
    let rows = || std::iter::once(&frames.whole).chain(&frames.regions);
    let mut step = 1;
    while rows().map(|r| coarser(r, step).len()).sum::<usize>() > MOST_STRETCHES {
        step *= 2;
    }
    let ids =
        std::iter::once("whole frame").chain(run.display.regions.iter().map(|r| r.id.as_str()));
    let every = frames.times.len().div_ceil(MOST_TIMES).max(1);
    let mut times: Vec<(u64, f64)> = frames.times.iter().copied().step_by(every).collect();
    times.extend(frames.times.last().filter(|l| times.last() != Some(l)));
    let is_unchecked = |row: usize| row > 0 && run.display.regions[row - 1].is_unchecked();
    let encoded_rows = rows().enumerate().map(|(row, stretches)| {
        let text = encoded(&coarser(stretches, step));
        if is_unchecked(row) {
            unchecked(frames.frames)
        } else {
            text
        }
    });
    let data = Data {
        frames: frames.frames,
        step,
        times,
        rows: ids.zip(encoded_rows).collect(),
        names: VERDICTS
            .iter()
            .map(|v| (letter(*v), name(*v)))
            .chain([UNCHECKED])
            .collect(),
        events: run
            .events
            .iter()
            .enumerate()
            .take(MOST_EVENTS)
            .map(|(e, event)| {
                let concerned = run.display.regions.iter().enumerate();
                Mark(
                    event.first_frame,
                    event.last_frame,
                    event_label(bundle, k, e),
                    event_anchor(k, e),
                    concerned
                        .filter(|(_, r)| event.regions.iter().any(|x| x == "*" || *x == r.id))
                        .map(|(row, _)| row + 1)
                        .collect(),
                )
            })
            .collect(),
    };
    let id = format!("timeline-{}", k + 1);
    html! {
        div.timeline id=(id) {
            p.buttons {
                button type="button" data-do="whole" { "Whole run" }
                button type="button" data-do="in" { "Closer" }
                button type="button" data-do="out" { "Further" }
                button type="button" data-do="left" { "Earlier" }
                button type="button" data-do="right" { "Later" }
                button type="button" data-do="previous" { "Previous event" }
                button type="button" data-do="next" { "Next event" }
            }
            div.strips tabindex="0" role="application" aria-label="Verdicts over time by region"
                aria-describedby={ (id) "-help" } { canvas {} }
            output aria-live="polite" {}
            p.help id={ (id) "-help" } {
                "After a click on it: wheel or + and - change the scale, dragging or the left and right arrows move, up and down choose a region, \
                 n and p go to the next and previous event, 0 shows the whole run, Enter opens the event. The table below \
                 holds the shares without pictures."
                @if step > 1 {
                    " This run changes so often that it is told in steps of " (step)
                    " frames, each with the gravest verdict in it; frames.jsonl has every frame."
                }
                @if run.events.len() > MOST_EVENTS {
                    " Of " (run.events.len()) " events the first " (MOST_EVENTS) " are marked."
                }
            }
            script type="application/json" { (script_json(&data)) }
        }
    }
}

/// A row of which nothing is said: it must not look like one that agrees.
fn unchecked(frames: u64) -> String {
    let whole = Stretch {
        verdict: Verdict::Agrees,
        frames,
    };
    let (agrees, own) = (letter(Verdict::Agrees), UNCHECKED.0);
    encoded(&[whole]).replace(agrees, &own.to_string())
}

/// Runs of verdicts: letter, then number of frames to the base 36.
fn encoded(stretches: &[Stretch]) -> String {
    let mut text = String::new();
    for s in stretches {
        text.push(letter(s.verdict));
        let at = text.len();
        let mut n = s.frames;
        while n > 0 || text.len() == at {
            let digit = char::from_digit((n % 36) as u32, 36).unwrap_or('0');
            text.insert(at, digit);
            n /= 36;
        }
    }
    text
}

/// By region: how much of the time each verdict took.
fn shares(run: &CheckRun) -> Markup {
    let s = &run.summary;
    html! {
        p.caption { "Shares of the run by region. Blind: it agreed, but a freeze could not have been seen." }
        div.wide { table {
            thead { tr {
                th { "Region" } th { "Hazard" } th.n { "Agrees" } th.n { "Blind" } th.n { "Blind time" }
                th.n { "Not judged" } th.n { "Faulty frames" }
            } }
            tbody {
                @for region in &run.display.regions {
                    @let empty = std::collections::BTreeMap::new();
                    @let counts = s.region_verdicts.get(&region.id).unwrap_or(&empty);
                    @let of = |v: &str| counts.get(v).copied().unwrap_or(0);
                    @let all: u64 = counts.values().sum();
                    @let fine = of("agrees") + of("blind") + of("not_judged");
                    @if region.is_unchecked() {
                        tr.loud-row {
                            th scope="row" { (region.id) } td { (crate::evidence::csv::word(&region.hazard)) }
                            td colspan="5" { (UNCHECKED.1) ": nothing is said of it" }
                        }
                    } @else { tr {
                        th scope="row" { (region.id) }
                        td { (crate::evidence::csv::word(&region.hazard)) }
                        td.n { (percent(of("agrees"), all)) }
                        td.n { (percent(of("blind"), all)) }
                        td.n { (duration(s.blind_s.get(&region.id).copied().unwrap_or(0.0))) }
                        td.n { (percent(of("not_judged"), all)) }
                        td.n { (all - fine) }
                    } }
                }
            }
        } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_are_letters_and_lengths() {
        let s = |verdict, frames| Stretch { verdict, frames };
        assert_eq!(
            encoded(&[
                s(Verdict::Agrees, 35),
                s(Verdict::Blank, 36),
                s(Verdict::Late, 1)
            ]),
            "AzK10L1"
        );
        assert_eq!(unchecked(36), "U10");
    }
}
