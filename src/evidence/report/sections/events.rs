//! The events: a table of all, and a card for each of the most important.

use std::collections::BTreeMap;

use maud::{Markup, PreEscaped, html};

use crate::evidence::csv::word;
use crate::evidence::display::RegionInfo;
use crate::evidence::plots::readings::{Limits, plot};
use crate::evidence::report::bundle::{Bundle, CheckRun};
use crate::evidence::report::embed::{Chosen, Embedded, choose};
use crate::evidence::report::inline::Png;
use crate::evidence::report::labels::{badge, event_anchor, event_label, figure, run_heading};
use crate::evidence::report::pictures::Pictures;
use crate::evidence::report::run::{MOST_CARDS, ReadingKey, Series, Window};
use crate::evidence::report::{Section, script_json};
use crate::evidence::stills::by_importance;
use crate::judge::event::{Event, WorstError, name};

/// Rows of the table of events.
const MOST_ROWS: usize = 400;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    bundle.checks().next()?;
    let chosen = choose(bundle);
    let body = html! {
        @for (k, (_, run)) in bundle.checks().enumerate() {
            (run_heading(bundle, k))
            @if run.events.is_empty() {
                p { "No event." }
            } @else {
                (table(bundle, k, run))
                (cards(bundle, k, run, &chosen))
            }
        }
        @if chosen.left_out > 0 {
            p.loud { (chosen.left_out) " stored frames were left out to keep this page small; they lie in "
                code { "event_frames/" } " of the result folder." }
        }
        @for path in &chosen.unreadable { p.loud { "Cannot be read: " (path) } }
    };
    Some(Section {
        id: "events",
        title: "Events",
        body,
    })
}

fn table(bundle: &Bundle, k: usize, run: &CheckRun) -> Markup {
    let mut rows: Vec<usize> = by_importance(&run.events);
    rows.truncate(MOST_ROWS);
    rows.sort_unstable();
    let cards = cards_of(run, bundle.folders.len());
    html! {
        p.caption { "Events in order of onset. Delay is from the first faulty frame to confirmation. It is due within the confirmation time \
            that the definition asks for, rounded up to a frame. 'Over': it took longer, as a freeze or delay does that shows only \
            once data move." }
        div.wide { table.events {
            thead { tr {
                th { "Event" } th { "Class" } th { "Where" } th.n { "Onset s" } th.n { "Delay ms" } th.n { "Due within ms" }
                th.n { "Lasted s" } th.words { "Worst error" } th { "Hazard" } th { "Action" }
            } }
            tbody {
                @for e in &rows {
                    @let event = &run.events[*e];
                    tr {
                        th scope="row" {
                            @if cards.contains(e) { a href={ "#" (event_anchor(k, *e)) } { (event_label(bundle, k, *e)) } }
                            @else { (event_label(bundle, k, *e)) }
                        }
                        td { (badge(event.class)) }
                        td { (place(event)) }
                        td.n { (format!("{:.3}", event.onset_s)) }
                        td.n { (delay(event)) }
                        td.n { (due_within(run, event)) }
                        td.n { (format!("{:.2}", event.end_s - event.onset_s)) }
                        td { (event.worst_error.as_ref().map_or("-".into(), worst)) }
                        td { (word(&event.hazard)) }
                        td { (action(event)) }
                    }
                }
            }
        } }
        @if run.events.len() > rows.len() {
            p.loud { "Of " (run.events.len()) " events the " (rows.len()) " most important are listed; events.csv has all." }
        }
    }
}

fn place(event: &Event) -> String {
    if event.regions == ["*"] {
        "whole frame".into()
    } else {
        event.regions.join(", ")
    }
}

fn action(event: &Event) -> String {
    word(&event.action).replace('_', " ")
}

fn delay(event: &Event) -> String {
    format!("{:.0}", (event.detected_s - event.onset_s) * 1000.0)
}

/// Time within which an event is due to be confirmed, ms: the shortest confirmation time of its regions, rounded up
/// to a frame, as nobody can tell between two frames.
fn due_within_ms(run: &CheckRun, event: &Event) -> Option<f64> {
    let concerned = |id: &str| event.regions.iter().any(|r| r == "*" || r == id);
    let regions = run.display.regions.iter().filter(|r| concerned(&r.id));
    let time_ms = |r: &RegionInfo| {
        r.budget
            .map_or(r.confirm_ms, |b| b.time_to_alert_ms.max(r.confirm_ms))
    };
    let confirm_ms = regions.map(time_ms).min_by(f64::total_cmp)?;
    let frames = run.frames.frames.max(2) as f64;
    let span_s = run.summary.span_s.map_or(0.0, |[from, to]| to - from);
    let frame_ms = span_s * 1000.0 / (frames - 1.0);
    if frame_ms <= 0.0 {
        return Some(confirm_ms);
    }
    let frames = libm::ceil(confirm_ms / frame_ms - 1e-3) as u64;
    Some(frames as f64 * frame_ms)
}

/// The time within which an event is due, and whether it took longer.
fn due_within(run: &CheckRun, event: &Event) -> Markup {
    let Some(due_ms) = due_within_ms(run, event) else {
        return html! { "-" };
    };
    // Times in records are rounded.
    let is_over = (event.detected_s - event.onset_s) * 1000.0 > due_ms + 1.0;
    html! { (format!("{due_ms:.0}")) @if is_over { " " b { "over" } } }
}

fn worst(w: &WorstError) -> String {
    format!(
        "{}: {} {unit}, {} {} {unit}",
        w.channel,
        figure(w.displayed, 2),
        w.of_expected(),
        figure(w.expected, 2),
        unit = w.unit
    )
}

/// Events of a run that get a card.
fn cards_of(run: &CheckRun, runs: usize) -> Vec<usize> {
    let mut cards: Vec<usize> = by_importance(&run.events)
        .into_iter()
        .take(MOST_CARDS.div_ceil(runs.max(1)))
        .collect();
    cards.sort_unstable();
    cards
}

fn cards(bundle: &Bundle, k: usize, run: &CheckRun, chosen: &Chosen) -> Markup {
    let cards = cards_of(run, bundle.folders.len());
    html! {
        @if cards.len() < run.events.len() {
            p.loud { "The " (cards.len()) " most important events follow one by one: by hazard class, then by how much they mislead." }
        }
        @for e in cards {
            (card(bundle, k, run, e, chosen.stills.get(&(k, e)).map_or(&[], Vec::as_slice)))
        }
    }
}

fn card(bundle: &Bundle, k: usize, run: &CheckRun, e: usize, stills: &[Embedded]) -> Markup {
    let event = &run.events[e];
    let label = event_label(bundle, k, e);
    let window = run.frames.windows.iter().find(|w| w.event == e);
    html! {
        article.event id=(event_anchor(k, e)) aria-label={ "Event " (label) } {
            h3 { (label) ": " (badge(event.class)) " in " (place(event)) }
            dl.columns {
                div { dt { "Onset" } dd { (format!("{:.3}", event.onset_s)) " s, frame " (event.first_frame) } }
                div { dt { "Confirmed" } dd { (format!("{:.3}", event.detected_s)) " s, after " (delay(event))
                    " ms; due within ms: " (due_within(run, event)) } }
                div { dt { "End" } dd { (format!("{:.3}", event.end_s)) " s, last faulty frame " (event.last_frame) } }
                div { dt { "Worst error" } dd {
                    @if let Some(w) = &event.worst_error { (worst(w)) (tolerance(run, w)) }
                    @else { "no value read beyond its tolerance" }
                } }
                div { dt { "Picture" } dd { (event.picture_error) (where_in(event)) ", frame " (event.best_frame) } }
                @if let Some(symbol) = &event.symbol { div { dt { "Symbol" } dd { (symbol) } } }
                @if let Some(things) = event.things_in_words() { div { dt { "Which" } dd { (things) } } }
                @if let Some(test) = &event.test { div { dt { "Sum of the test" } dd {
                    (test.channel) " " (test.what) ": " (figure(test.sum, 3)) " of " (figure(test.threshold, 3))
                } } }
                div { dt { "Hazard, action" } dd { (word(&event.hazard)) ", " (action(event)) } }
                div.long { dt { "Requirements" } dd { (named(event)) } }
            }
            @if !event.remarks.is_empty() {
                p.remarks { "Meanwhile: " (event.remarks.join("; ")) "." }
            }
            (pictures(run, e, &label, stills))
            @if let Some(drawn) = window.and_then(|w| readings(run, event, w)) { (drawn) }
        }
    }
}

/// Where the picture disagrees.
fn where_in(event: &Event) -> String {
    event.place.map_or(String::new(), |[x, y, width, height]| {
        format!(" in {width} x {height} px at {x}, {y}")
    })
}

/// Requirement ids named on a card; the table of requirements leads from each to its events.
const MOST_IDS: usize = 8;

fn named(event: &Event) -> String {
    let ids: Vec<&str> = event.requirement.split(", ").collect();
    match ids.len() {
        _ if event.requirement.is_empty() => "none named".into(),
        n if n > MOST_IDS + 1 => format!(
            "{} and {} more, see Requirements",
            ids[..MOST_IDS].join(", "),
            n - MOST_IDS
        ),
        _ => event.requirement.clone(),
    }
}

/// How the worst error compares with what is permitted.
fn tolerance(run: &CheckRun, w: &WorstError) -> String {
    let permitted = run
        .display
        .regions
        .iter()
        .find_map(|r| r.tolerances.get(&w.channel));
    permitted.map_or(String::new(), |t| {
        format!("; permitted {} {}", figure(t.value, 3), t.unit)
    })
}

fn pictures(run: &CheckRun, e: usize, label: &str, stills: &[Embedded]) -> Markup {
    let Some(stored) = run.stills.events.iter().find(|s| s.event == e) else {
        return html! { p { "No frames of this event were stored." } };
    };
    if stills.is_empty() {
        return html! { p { "Its stored frames were left out of this page." } };
    }
    let best = stills.iter().position(|s| s.is_best).unwrap_or(0);
    let shown = match Pictures::of(&stills[best], stored.area, stored.focus) {
        Ok(shown) => shown,
        Err(e) => {
            return html! { p.loud { "The stored frames of this event cannot be shown: " (e) "." } };
        }
    };
    let frames: Vec<_> = stills
        .iter()
        .enumerate()
        .map(|(n, s)| frame(s, n == best))
        .collect();
    let data = serde_json::json!({"area": stored.area, "focus": stored.focus, "stills": frames});
    let best = &stills[best];
    html! {
        div.pictures {
            (panels(&shown, best.frame, label))
            p.note { "Frame " (best.frame) " at " (format!("{:.3}", best.time_s))
                " s, and magnified the part of it that disagrees most (framed)." }
            script type="application/json" { (script_json(&data)) }
            details.stepper {
                summary { "Step through " (stills.len()) " stored frames of " (label) }
                div.controls {
                    fieldset { legend { "Frame" }
                        @for (n, s) in stills.iter().enumerate() {
                            label { input type="radio" name={ "frame-" (label) } value=(n) checked[s.frame == best.frame];
                                " " (s.frame) " " small { (s.roles) } }
                        }
                    }
                    fieldset { legend { "Picture" }
                        @for (kind, text) in [("captured", "captured"), ("reference", "reference"), ("difference", "difference")] {
                            label { input type="radio" name={ "kind-" (label) } value=(kind) checked[kind == "captured"]; " " (text) }
                        }
                    }
                    label { "Magnification " select { @for z in [1, 2, 4, 8] { option value=(z) { (z) } } } }
                }
                div.stage {
                    div.view { canvas tabindex="0" role="application"
                        aria-label={ "Stored frame of event " (label) ": arrow keys move the cursor, comma and full stop step through the frames, c, r and d choose the picture" } {} }
                    canvas.loupe width="176" height="176" role="img" aria-label="Sixteen times magnified round the cursor" {}
                }
                output aria-live="polite" { "Move over the picture to see pixel values." }
                p.help { "Keys on the picture: arrows move the cursor (with Shift by 10 px), comma and full stop step through the frames, c, r and d show captured, reference and difference." }
            }
        }
    }
}

/// A stored frame for the script, which takes the pictures of the best one from the page itself.
fn frame(still: &Embedded, is_best: bool) -> serde_json::Value {
    let picture = |p: &Png| (!is_best).then(|| p.uri());
    serde_json::json!({"frame": still.frame, "time_s": still.time_s, "is_best": is_best,
        "captured": picture(&still.captured), "reference": picture(&still.reference)})
}

/// The three pictures of the best frame, each with its magnified part.
fn panels(pictures: &Pictures, frame: u64, label: &str) -> Markup {
    let (width, height) = pictures.size;
    let [x, y, part_width, part_height] = pictures.part;
    html! {
        div.panels {
            @for p in &pictures.shown {
                figure {
                    div.panel {
                        img data-kind=(p.kind) width=(width) height=(height) src=(p.whole.uri())
                            alt={ (p.title) ", frame " (frame) ", event " (label) };
                        // Over the picture, so that the picture itself stays as it is.
                        svg viewBox={ "0 0 " (width) " " (height) } aria-hidden="true" {
                            rect.outer x=(x) y=(y) width=(part_width) height=(part_height) {}
                            rect.inner x=(x) y=(y) width=(part_width) height=(part_height) {}
                        }
                    }
                    img.part width=(part_width) height=(part_height) src=(p.part.uri())
                        alt={ (p.title) ", the part that disagrees most, magnified" };
                    figcaption { (p.title) }
                }
            }
        }
    }
}

/// Readings against inputs round an event: of the channel with the worst error, else of the reading that is
/// off most.
fn readings(run: &CheckRun, event: &Event, window: &Window) -> Option<Markup> {
    let permitted = |key: &ReadingKey| {
        let region = run.display.region(&key.0)?;
        region.tolerances.get(&key.1).map(|t| t.value)
    };
    // The mean, not the largest: a single misread digit must not choose the plot.
    let off = |key: &ReadingKey, s: &Series| {
        let sum: f64 = s.points.iter().map(|p| (p[1] - p[2]).abs()).sum();
        sum / s.points.len() as f64 / permitted(key).unwrap_or(f64::INFINITY)
    };
    let channel = event.worst_error.as_ref().map(|w| w.channel.as_str());
    let candidates: BTreeMap<&ReadingKey, &Series> = window
        .series
        .iter()
        .filter(|(k, s)| s.points.len() > 1 && channel.is_none_or(|c| k.1 == c))
        .collect();
    let (key, series) = candidates
        .into_iter()
        .max_by(|a, b| off(a.0, a.1).total_cmp(&off(b.0, b.1)).then(b.0.cmp(a.0)))?;
    let limits = Limits {
        tolerance: permitted(key),
        event_s: [event.onset_s, event.end_s],
        detected_s: event.detected_s,
        span_s: window.span_s,
    };
    let svg = plot(
        &format!("{} ({})", key.1, series.unit),
        &series.points,
        &limits,
    )
    .ok()?;
    Some(html! {
        figure.plot.readings {
            div.wide { (PreEscaped(svg)) }
            figcaption {
                "Readings of " (key.1) " (" (key.2) ", region " (key.0) ") against its inputs round the " (name(event.class))
                " event: dots are values shown, the line is what was due"
                @if limits.tolerance.is_some() { ", the band what is permitted" }
                ". Shaded: the event; dashed: confirmed."
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::report::run::FrameSummary;
    use crate::evidence::report::tests::{display, event, summary};
    use crate::evidence::stills::StillsRecord;

    /// Before (c5def52) the table said 300 beside a delay of 320 that was not over, and 200 beside one of 280 that was.
    #[test]
    fn a_delay_is_over_when_it_is_above_the_number_beside_it() {
        let told = |confirm_ms: f64, delay_s: f64| {
            let mut display = display();
            display.regions[0].confirm_ms = confirm_ms;
            let mut frames = FrameSummary::new(&display, &[]);
            // Ten frames in 0.36 s: 40 ms each.
            frames.frames = 10;
            let run = CheckRun {
                summary: summary(),
                display,
                events: Vec::new(),
                stills: StillsRecord {
                    records_version: 1,
                    events: Vec::new(),
                    events_without: 0,
                },
                frames,
            };
            let mut event = event("late", "speed", 1.0);
            event.detected_s = 1.0 + delay_s;
            due_within(&run, &event).into_string()
        };
        assert_eq!(told(300.0, 0.32), "320");
        assert_eq!(told(200.0, 0.2), "200");
        assert_eq!(told(200.0, 0.28), "200 <b>over</b>");
        assert_eq!(told(0.0, 0.0), "0");
    }
}
