//! Thresholds: the trade-off, what is recommended and how far it is to each side.

use maud::{Markup, PreEscaped, html};

use crate::evidence::report::Section;
use crate::evidence::report::bundle::Bundle;
use crate::evidence::report::labels::{capitalised, figure};
use crate::tune::in_the_way::InTheWay;
use crate::tune::plot::trade_off_plot;
use crate::tune::search::{RegionTuned, Score, Tuned};

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    bundle.tunings().next()?;
    let body = html! {
        @for (_, tuned) in bundle.tunings() { (tuning(tuned)) }
    };
    Some(Section {
        id: "tuning",
        title: "Thresholds",
        body,
    })
}

fn tuning(t: &Tuned) -> Markup {
    let d = &t.demand;
    let (with, without): (Vec<&RegionTuned>, Vec<&RegionTuned>) =
        t.regions.iter().partition(|r| r.recommended.is_some());
    html! {
        p { "Asked for: at most " (figure(d.nuisance_per_hour, 3)) " nuisance trips an hour, coverage of at least "
            (figure(d.coverage * 100.0, 4)) " % in each region concerned, raised within " (figure(d.detection_ms, 3))
            " ms, with " (figure(d.confidence.share() * 100.0, 3)) " % confidence. Judged: " (t.sets)
            " sets of thresholds on " (figure(t.clean_hours, 3)) " h of clean video and " (t.faults) " faults." }
        p { @if t.is_satisfied { "Every region concerned has a set that meets the demand." }
            @else { b { "Not every region concerned has a set that meets the demand." } } }
        ul { @for note in &t.notes { li { (note) } } }
        @if let Ok(svg) = trade_off_plot(t) { figure.plot.white { div.wide { (PreEscaped(svg)) } } }
        @if !with.is_empty() {
            h3 { "Recommended" }
            div.wide { table.small {
                thead { tr { th { "Region" } th.n { "Factor" } th { "good from" } th.n { "Confirmed ms" } th { "good from" }
                    th { "Coverage" } th.n { "At least %" } th.n { "Worst ms" } th.n { "Trips" } } }
                tbody { @for r in &with { @if let Some(s) = &r.recommended { (row(r, s)) } } }
            } }
        }
        @if !without.is_empty() {
            h3 { "No set meets the demand" }
            @let [concerned, others] = t.without_set();
            @if !concerned.is_empty() { p { b { "In regions concerned: " } (concerned.join(", ")) "." } }
            @if !others.is_empty() { p { "In others: " (others.join(", ")) "." } }
            p { "What is in the way:" }
            ul { @for way in t.in_the_way() { li { (capitalised(way.words)) ". " (places(&way)) } } }
        }
        (halves(t))
    }
}

/// Where something is in the way.
fn places(way: &InTheWay<'_>) -> Markup {
    let all: Vec<&str> = way.concerned.iter().chain(&way.others).copied().collect();
    html! { "Holds for " b { (all.len()) @if all.len() == 1 { " region" } @else { " regions" } } ": " (all.join(", ")) "." }
}

fn row(r: &RegionTuned, s: &Score) -> Markup {
    let range = |v: Option<[f64; 2]>| {
        v.map_or("-".into(), |[a, b]| {
            format!("{} to {}", figure(a, 3), figure(b, 3))
        })
    };
    html! {
        tr {
            th scope="row" { (r.region) @if !r.is_concerned { " (not concerned)" } }
            td.n { (figure(s.factor, 3)) } td { (range(r.factors)) }
            td.n { (limit(s.budget_per_hour, s.confirm_ms)) } td { (range(r.confirms_ms.or(r.budgets_per_hour))) }
            td { (s.coverage.k) " of " (s.coverage.n) }
            td.n { (figure(s.coverage.at_least() * 100.0, 4)) }
            td.n { (s.detection_ms.as_ref().map_or("-".into(), |d| figure(d.worst, 3))) }
            td.n { (s.nuisance.events) }
        }
    }
}

/// What decides how long a fault must last: a budget, or a time.
fn limit(budget_per_hour: Option<f64>, confirm_ms: f64) -> String {
    budget_per_hour.map_or_else(
        || figure(confirm_ms, 4),
        |per_hour| format!("{}/h", figure(per_hour, 2)),
    )
}

/// How what is found on one half of the material does on the other.
fn halves(t: &Tuned) -> Markup {
    html! {
        details {
            summary { "Found on one half of the material, scored on the other" }
            div.wide { table.small {
                thead { tr { th { "Region" } th { "Half" } th.n { "Factor" } th.n { "Confirmed ms" } th.n { "Raised on the other" }
                    th.n { "Trips on the other" } } }
                tbody {
                    @for r in &t.regions { @for (k, h) in r.halves.iter().enumerate() {
                        tr {
                            th scope="row" { (r.region) } td { @if k == 0 { "first" } @else { "second" } }
                            td.n { (figure(h.factor, 3)) } td.n { (limit(h.budget_per_hour, h.confirm_ms)) }
                            td.n { (h.scored_on.coverage.k) " of " (h.scored_on.coverage.n) }
                            td.n { (h.scored_on.nuisance.events) }
                        }
                    } }
                }
            } }
        }
    }
}
