//! Thresholds: the trade-off, what is recommended and how far it is to each side.

use maud::{Markup, PreEscaped, html};

use crate::evidence::report::Section;
use crate::evidence::report::bundle::Bundle;
use crate::evidence::report::labels::figure;
use crate::tune::plot::trade_off_plot;
use crate::tune::search::{Half, RegionTuned, Score, Tuned};

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
    html! {
        p { "Asked for: at most " (figure(d.nuisance_per_hour, 3)) " nuisance trips an hour, coverage of at least "
            (figure(d.coverage * 100.0, 4)) " % in each region concerned, raised within " (figure(d.detection_ms, 3))
            " ms, with " (figure(d.confidence.share() * 100.0, 3)) " % confidence. Judged: " (t.sets)
            " sets of thresholds on " (figure(t.clean_hours, 3)) " h of clean video and " (t.faults) " faults." }
        p { @if t.is_satisfied { "Every region concerned has a set that meets the demand." }
            @else { b { "Not every region concerned has a set that meets the demand." } } }
        ul { @for note in &t.notes { li { (note) } } }
        @if let Ok(svg) = trade_off_plot(t) { figure.plot.white { div.wide { (PreEscaped(svg)) } } }
        div.wide { table.small {
            thead { tr { th { "Region" } th.n { "Factor" } th { "good" } th.n { "Confirmed ms" } th { "good" }
                th { "Coverage" } th.n { "At least %" } th.n { "Worst ms" } th.n { "Trips" } th { "On the other half" } } }
            tbody { @for r in &t.regions { (row(r)) } }
        } }
    }
}

fn row(r: &RegionTuned) -> Markup {
    let range = |v: Option<[f64; 2]>| {
        v.map_or("-".into(), |[a, b]| {
            format!("{} to {}", figure(a, 3), figure(b, 3))
        })
    };
    html! {
        tr {
            th scope="row" { (r.region) @if !r.is_concerned { " (not concerned)" } }
            @match &r.recommended {
                Some(s) => {
                    td.n { (figure(s.factor, 3)) } td { (range(r.factors)) }
                    td.n { (figure(s.confirm_ms, 4)) } td { (range(r.confirms_ms)) }
                    (figures(s))
                }
                None => { td colspan="8" { @for line in &r.advice { p { (line) } } } }
            }
            td { @for h in &r.halves { (half(h)) } }
        }
    }
}

fn figures(s: &Score) -> Markup {
    html! {
        td { (s.coverage.k) " of " (s.coverage.n) }
        td.n { (figure(s.coverage.at_least() * 100.0, 4)) }
        td.n { (s.detection_ms.as_ref().map_or("-".into(), |d| figure(d.worst, 3))) }
        td.n { (s.nuisance.events) }
    }
}

fn half(h: &Half) -> Markup {
    html! {
        p { "x " (figure(h.factor, 3)) ", " (figure(h.confirm_ms, 4)) " ms: " (h.scored_on.coverage.k) " of "
            (h.scored_on.coverage.n) ", " (h.scored_on.nuisance.events) " trips" }
    }
}
