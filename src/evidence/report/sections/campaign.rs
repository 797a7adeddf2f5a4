//! What a campaign shows: coverage, detection times, smallest sizes, nuisance, verifiability, misses.

use std::collections::BTreeMap;

use maud::{Markup, PreEscaped, html};

use super::cautions::alerts_never_due;
use crate::campaign::nearness::Nearness;
use crate::campaign::plots::{Plot, plots};
use crate::campaign::records::Why;
use crate::campaign::statistics::binomial::Proportion;
use crate::campaign::statistics::detection::Detection;
use crate::campaign::statistics::extremes;
use crate::campaign::summary::{Coverage, Kept, Summary, by_class, place_name, word};
use crate::evidence::report::Section;
use crate::evidence::report::bundle::Bundle;
use crate::evidence::report::labels::{capitalised, figure};

/// Rows of misses that are shown; the rest stands in campaign.json.
const SHOWN_MISSES: usize = 200;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    bundle.campaigns().next()?;
    let body = html! {
        @for (_, summary) in bundle.campaigns() { (campaign(summary)) }
    };
    Some(Section {
        id: "campaign",
        title: "Fault injection",
        body,
    })
}

fn campaign(s: &Summary) -> Markup {
    let plots = plots(s).drawn;
    let of = |prefix: &str| -> Vec<&Plot> {
        plots
            .iter()
            .filter(|p| p.name.starts_with(prefix))
            .collect()
    };
    html! {
        h3 { (s.name) }
        p { (s.carried_out) " of " (s.planned) " trials on " (s.captures.len()) " captures of " (s.display) ". "
            "Of " (s.coverage.as_class.n) " faults that must be raised, " b { (s.coverage.as_class.k) }
            " were raised in their place as their class: at least " b { (percent(s.coverage.as_class.at_least())) }
            " with " (percent(s.coverage.as_class.confidence.share())) " confidence." }
        ul { @for note in &s.notes { li { (note) } } (alerts_never_due(&s.alerts)) }
        h4 { "Limits of the plan" }
        (limits(s))
        h4 { "Coverage" }
        (coverage_table("Kind", &s.by_kind, |c| c.kind.as_deref().unwrap_or("")))
        (coverage_table("Region", &s.by_region, |c| place_name(c.region.as_deref().unwrap_or(""))))
        (coverage_table("Hazard class", &s.by_hazard, |c| c.hazard.as_deref().unwrap_or("")))
        @for plot in of("coverage") { (figure_of(plot)) }
        h4 { "Detection time" }
        @for plot in of("detection_time") { (figure_of(plot)) }
        h4 { "Confusion" }
        @for plot in of("confusion") { (figure_of(plot)) }
        h4 { "Smallest size found" }
        (sizes(s))
        details { summary { "Curves" } @for plot in of("size") { (figure_of(plot)) } }
        h4 { "Nuisance" }
        (nuisance(s))
        details { summary { "Tails" } @for plot in of("tail") { (figure_of(plot)) } }
        @if let Some(d) = &s.diagnostic {
            h4 { "Diagnostic coverage" }
            p { "By the failure rates of the plan: " (percent(d.coverage)) ", at least " b { (percent(d.at_least)) }
                "; at most " (format!("{:.2e}", d.undetected_at_most_per_hour)) " undetected dangerous failures an hour. "
                "IEC 61508-2, annex C; the rates are the safety assessment's." }
        }
        h4 { "Verifiability" }
        (verifiability(s))
        h4 { "What was not raised as what it is" }
        (misses(s))
    }
}

/// The detection times that the plan asks for, by hazard class and region.
fn limits(s: &Summary) -> Markup {
    if s.limits.is_empty() {
        return html! { p.loud { "The plan sets no " code { "limit_ms" } ": nothing says how soon faults must be raised." } };
    }
    html! {
        ul { @for class in by_class(&s.limits) { li { (capitalised(&class.words())) "." } } }
        div.wide { table.small {
            thead { tr { th { "Region" } th { "Hazard" } th.n { "Limit ms" } th { "Result" } th.n { "Within it" }
                th.n { "Not raised" } th.n { "Worst ms" } th.words { "Requirements" } } }
            tbody {
                @for l in &s.limits {
                    @let (mark, kind, word) = match l.kept() {
                        Kept::Yes => ("✓", "fine", "kept"),
                        Kept::NotTried => ("!", "open", "NOT TRIED"),
                        Kept::No => ("✗", "fault", "not kept"),
                    };
                    tr.loud-row[l.kept() == Kept::NotTried] {
                        th scope="row" { (place_name(&l.region)) } td { (l.hazard) } td.n { (figure(l.limit_ms, 3)) }
                        td { span.badge.(kind) { b aria-hidden="true" { (mark) } (word) } }
                        td.n { (of(&l.within)) } td.n { (l.missed) }
                        td.n { (l.worst_ms.map_or("-".into(), |v| figure(v, 0))) }
                        td.words { (named(&l.requirements)) }
                    }
                }
            }
        } }
    }
}

/// Requirement ids named in one row.
const MOST_IDS: usize = 8;

fn named(ids: &[String]) -> String {
    let shown = ids[..ids.len().min(MOST_IDS)].join(", ");
    match ids.len().saturating_sub(MOST_IDS) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

fn percent(share: f64) -> String {
    format!("{:.2} %", share * 100.0)
}

fn of(p: &Proportion) -> String {
    format!("{} of {}", p.k, p.n)
}

fn figure_of(plot: &Plot) -> Markup {
    html! { figure.plot.white { div.wide { (PreEscaped(&plot.svg)) } } }
}

fn coverage_table(head: &str, rows: &[Coverage], name: impl Fn(&Coverage) -> &str) -> Markup {
    let ms = |v: Option<f64>| v.map_or("-".into(), |v| figure(v, 3));
    html! {
        div.wide { table.small {
            thead { tr {
                th { (head) } th.n { "In place" } th.n { "As class" } th.n { "At least" } th.n { "Median ms" }
                th.n { "95th ms" } th.n { "Worst ms" } th.n { "Limit of the plan ms" } th.n { "Within it" }
            } }
            tbody {
                @for c in rows {
                    @let d = c.detection_ms.as_ref();
                    tr {
                        th scope="row" { (name(c)) }
                        td.n { (of(&c.in_place)) } td.n { (of(&c.as_class)) } td.n { (percent(c.as_class.at_least())) }
                        td.n { (ms(d.map(|d| d.median.value))) } td.n { (ms(d.map(|d| d.p95.value))) }
                        td.n { (ms(d.map(|d| d.worst))) } td.n { (ms(c.limit_ms)) }
                        td.n { (c.within_limit.as_ref().map_or("-".into(), of)) }
                    }
                }
            }
        } }
    }
}

fn sizes(s: &Summary) -> Markup {
    html! {
        p { "a90 is found with 90 % probability; a90/95 is its upper bound with 95 % confidence (hit/miss logistic "
            "regression after MIL-HDBK-1823A). Where no curve can be fitted the reason stands instead." }
        div.wide { table.small {
            thead { tr { th { "Kind" } th { "Region" } th { "Channel" } th.n { "Trials" } th.n { "a90" } th.n { "a90/95" }
                th { "Unit" } th.n { "Tolerance" } } }
            tbody {
                @for c in &s.sizes {
                    tr {
                        th scope="row" { (c.kind) } td { (place_name(&c.region)) } td { (c.channel.as_deref().unwrap_or("-")) }
                        td.n { (c.trials.len()) }
                        @match &c.detection {
                            Detection::Fitted(curve) => {
                                @let scale = c.tolerance.unwrap_or(1.0);
                                td.n { (figure(curve.a90 * scale, 3)) } td.n { b { (figure(curve.a90_95 * scale, 3)) } }
                                td { (if c.tolerance.is_some() { c.channel_unit.as_deref().unwrap_or("") } else { &c.unit }) }
                                td.n { (c.tolerance.map_or("-".into(), |t| figure(t, 3))) }
                            }
                            Detection::Refused(why) => { td colspan="4" { (why) } }
                        }
                    }
                }
            }
        } }
    }
}

fn nuisance(s: &Summary) -> Markup {
    let rate = &s.nuisance.rate;
    html! {
        p { (rate.events) " raised in " (figure(rate.hours, 3)) " h of clean video"
            @if let Some(b) = rate.one_sided_per_hour {
                ": at most " b { (figure(b.upper, 3)) } " an hour with " (percent(rate.confidence.share())) " confidence"
            } "." }
        @if s.nuisance.tails.iter().any(|t| matches!(t.fit, extremes::Outcome::Fitted(_))) {
            p.loud { (extremes::CAUTION) }
        }
        div.wide { table.small {
            thead { tr { th { "Region" } th.n { "Peaks" } th.n { "An hour above the tolerance" } th { "Band" } } }
            tbody {
                @for t in &s.nuisance.tails {
                    tr {
                        th scope="row" { (t.region) }
                        td.n { (t.peaks.len()) }
                        @match &t.fit {
                            extremes::Outcome::Fitted(fit) => {
                                @let at = fit.exceedances.iter().find(|e| e.level == 1.0);
                                td.n { (at.map_or("-".into(), |e| format!("{:.1e}", e.per_hour))) }
                                td { (at.and_then(|e| e.band_per_hour).map_or("-".into(), |b| format!("{:.1e} to {:.1e}", b.lower, b.upper))) }
                            }
                            extremes::Outcome::Refused(why) => { td colspan="2" { (why) } }
                        }
                    }
                }
            }
        } }
    }
}

fn verifiability(s: &Summary) -> Markup {
    let number = |v: Option<f64>| v.map_or("-".into(), |v| figure(v, 3));
    // What is advised of many is said once.
    let mut advice: Vec<(&str, Vec<String>)> = Vec::new();
    for v in &s.verifiability {
        for line in &v.advice {
            let place = format!("{} ({}, {})", v.region, v.channel, v.what);
            match advice.iter_mut().find(|(l, _)| l == line) {
                Some((_, places)) => places.push(place),
                None => advice.push((line, vec![place])),
            }
        }
    }
    html! {
        div.wide { table.small {
            thead { tr { th { "Region" } th { "Channel" } th.n { "px a unit" } th.n { "RMS px" } th.n { "RMS" }
                th.n { "Tolerance" } th.n { "in px" } th.n { "Found from" } th { "Unit" } th.n { "Blind" } } }
            tbody {
                @for v in &s.verifiability {
                    tr {
                        th scope="row" { (v.region) } td { (v.channel) ", " (v.what) }
                        td.n { (number(v.px_per_unit)) } td.n { (number(v.rms_px)) } td.n { (number(v.rms)) }
                        td.n { (number(v.tolerance)) } td.n { (number(v.tolerance_px)) } td.n { (number(v.smallest_error)) }
                        td { (v.unit) } td.n { (percent(v.blind_share)) }
                    }
                }
            }
        } }
        @if !advice.is_empty() {
            p { "Advice:" }
            ul { @for (line, places) in &advice { li { (capitalised(line)) ": " (places.join(", ")) "." } } }
        }
    }
}

fn misses(s: &Summary) -> Markup {
    html! {
        @if s.misses.is_empty() { p { "Nothing." } } @else {
            p { (reasons(s)) "." }
            @if s.misses.len() > SHOWN_MISSES {
                p { "The first " (SHOWN_MISSES) " of " (s.misses.len()) "; all are in campaign.json." }
            }
            div.wide { table.small {
                thead { tr { th.n { "Trial" } th { "Kind" } th { "Region" } th { "Channel" } th.n { "Size" } th { "Result" }
                    th { "Given" } th { "Why" } th { "How near" } th { "Picture" } } }
                tbody {
                    @for m in s.misses.iter().take(SHOWN_MISSES) {
                        tr {
                            td.n { (m.trial) } th scope="row" { (m.kind) } td { (place_name(&m.region)) }
                            td { (m.channel.as_deref().unwrap_or("-")) }
                            td.n { (m.size.map_or("-".into(), |v| figure(v, 3))) }
                            td { (in_words(&m.result)) } td { (m.class.as_deref().unwrap_or("-")) }
                            td { (m.why.map_or("-", reason)) }
                            td { (m.nearness.as_ref().map_or("-".into(), Nearness::words)) }
                            td { (m.picture.as_deref().unwrap_or("-")) }
                        }
                    }
                }
            } }
        }
    }
}

/// How many misses have which reason, the commonest first.
fn reasons(s: &Summary) -> String {
    let mut counts: BTreeMap<Why, usize> = BTreeMap::new();
    for why in s.misses.iter().filter_map(|m| m.why) {
        *counts.entry(why).or_default() += 1;
    }
    let mut counts: Vec<(Why, usize)> = counts.into_iter().collect();
    counts.sort_by_key(|(why, count)| (std::cmp::Reverse(*count), *why));
    let words = counts.iter().map(|(w, n)| format!("{n} {}", reason(*w)));
    words.collect::<Vec<_>>().join(", ")
}

const fn reason(why: Why) -> &'static str {
    match why {
        Why::NothingChanged => "changed nothing that can be seen",
        Why::UncheckedArea => "lies in an unchecked area",
        Why::NotJudged => "not judged",
        Why::Blind => "nothing moved",
        Why::WithinTolerance => "within the tolerance",
        Why::WithinMeasuring => "within what measuring explains",
        Why::WithinLatency => "within the permitted latency",
        Why::TooFaint => "too faint",
        Why::Persistence => "not seen for long enough",
        Why::TooBrief => "not there for long enough",
        Why::Class => "raised as another class",
        Why::Place => "raised for another place",
        Why::ChainNotRecognised => "change of the chain not recognised",
    }
}

/// A plain enum in words.
fn in_words(value: &impl serde::Serialize) -> String {
    word(value).replace('_', " ")
}
