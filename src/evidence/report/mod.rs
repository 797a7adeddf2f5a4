//! The page for the reviewer who signs: one HTML file, no network, made of result folders.
//!
//! *The question*: what was checked, with what, what is the answer, and can I follow it from there to the pixel?
//! *The method*: a [`Bundle`] of loaded folders goes through a fixed list of sections, each a function that
//! gives its part of the page or nothing; the order is a reviewer's reading order. Whatever grows with the
//! length of a run is summarised before it gets in, and pictures have a budget ([`embed`]). All text is
//! escaped by the template crate; the script is small and has no dependencies. *What it cannot show*: more
//! than the folders hold; the page says what was left out.
//!
//! To add a section: write `sections/<name>.rs` with `pub(super) fn section(bundle: &Bundle) ->
//! Option<Section>`, and name it in `SECTIONS`. For results of another command add a variant to
//! [`bundle::Results`] as well.

pub mod answer;
pub mod bundle;
pub mod embed;
mod inline;
pub(crate) mod labels;
mod pictures;
pub mod run;
mod sections;
pub mod unverified;

use crate::files::Kind;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::results_folder::NOT_VERIFIED;
pub use bundle::{Bundle, Error};
pub(crate) use sections::compare::unmatched;
use sections::{
    answer as answer_section, campaign, cautions, compare, events, manifest, readings, reproduce,
    requirements, timeline, tuning,
};

/// A part of the page.
pub struct Section {
    /// Its anchor.
    pub id: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// What stands under it.
    pub body: Markup,
}

type MakeSection = fn(&Bundle) -> Option<Section>;

/// The sections in a reviewer's reading order.
const SECTIONS: [MakeSection; 11] = [
    answer_section::section,
    cautions::section,
    timeline::section,
    events::section,
    requirements::section,
    readings::section,
    campaign::section,
    tuning::section,
    compare::section,
    reproduce::section,
    manifest::section,
];

const CSS: &str = include_str!("page.css");
const JS: &str = include_str!("page.js");

/// How a page is known by its beginning.
pub const PAGE: Kind = Kind {
    name: "a page",
    mark: "<meta name=\"generator\" content=\"framevouch\">",
};

/// The page.
#[must_use]
pub fn page(bundle: &Bundle) -> String {
    let sections: Vec<Section> = SECTIONS.iter().filter_map(|make| make(bundle)).collect();
    let mark = unverified::mark(bundle);
    let title = match &mark {
        Some(_) => format!("{}: {}", NOT_VERIFIED, title(bundle)),
        None => title(bundle),
    };
    whole(&Page {
        title,
        mark,
        gone: unverified::gone(bundle),
        sections,
    })
}

/// What stands on a page, whatever it is made of.
pub(crate) struct Page {
    /// Its title, which is printed on each sheet.
    pub title: String,
    /// That it shows what is not as it was written.
    pub mark: Option<Markup>,
    /// What is no longer where it was.
    pub gone: Option<Markup>,
    /// Its parts in a reviewer's reading order.
    pub sections: Vec<Section>,
}

/// The whole file.
pub(crate) fn whole(page: &Page) -> String {
    let Page {
        title,
        mark,
        gone,
        sections,
    } = page;
    let style = format!("{CSS}{}", page_header(title));
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="generator" content="framevouch";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta http-equiv="Content-Security-Policy"
                    content=(inline::policy(JS, &style));
                title { (title) }
                style { (PreEscaped(&style)) }
            }
            body {
                a.skip href="#main" { "To the content" }
                header {
                    h1 { (title) }
                    p.caution-line {
                        "Prototype of a monitor's logic and a bench evidence tool; not airborne software, not a qualified tool."
                    }
                    @if let Some(m) = mark.as_ref().filter(|_| sections.iter().all(|s| s.id != "answer")) { (m) }
                    nav aria-label="Sections" {
                        ul {
                            @for s in sections { li { a href={ "#" (s.id) } { (s.title) } } }
                        }
                    }
                }
                main id="main" {
                    @for s in sections {
                        section id=(s.id) aria-labelledby={ (s.id) "-title" } {
                            h2 id={ (s.id) "-title" } { (s.title) }
                                @if s.id == "answer" { @if let Some(m) = mark { (m) } @if let Some(g) = gone { (g) } }
                            (s.body)
                        }
                    }
                }
                script { (PreEscaped(JS)) }
            }
        }
    };
    markup.into_string()
}

fn title(bundle: &Bundle) -> String {
    let checks = bundle.checks().map(|(_, run)| run.summary.display.as_str());
    let campaigns = bundle.campaigns().map(|(_, c)| c.display.as_str());
    let tunings = bundle.tunings().map(|(_, t)| t.display.as_str());
    let mut names: Vec<&str> = checks.chain(campaigns).chain(tunings).collect();
    names.dedup();
    format!("Evidence report: {}", names.join(", "))
}

/// The header of printed pages. CSS strings need their own escapes: anything that is not plain becomes its
/// code point.
fn page_header(title: &str) -> String {
    let escaped: String = title
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || " ,:.-".contains(c) {
                c.to_string()
            } else {
                format!("\\{:06x}", c as u32)
            }
        })
        .collect();
    format!("@page {{ @top-left {{ content: \"{escaped}\"; }} }}")
}

/// JSON for a script element: `<` never ends it.
fn script_json<T: serde::Serialize>(value: &T) -> PreEscaped<String> {
    let text = serde_json::to_string(value).unwrap_or_else(|_| "null".into());
    PreEscaped(text.replace('<', "\\u003c"))
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::evidence::display::DisplayRecord;
    use crate::evidence::records::Summary;
    use crate::judge::event::Event;
    use serde_json::json;

    /// Three regions: `speed` agrees, `still` is always blind, `lacking` is not judged.
    pub fn display() -> DisplayRecord {
        let region = |id: &str, requirements: &[&str]| {
            json!({"id": id, "rect": [0, 0, 40, 20], "hazard": "hazardous", "requirements": requirements,
                "confirm_ms": 300.0, "confirm_frames": null, "recover_ms": 500.0, "max_latency_ms": 150.0,
                "symbols": ["readout"], "tolerances": {"speed": {"value": 3.0, "unit": "kt"}}})
        };
        serde_json::from_value(json!({"records_version": 1, "name": "a <display>", "width": 80, "height": 60,
            "regions": [region("speed", &["R-SPEED", "R-BOTH"]), region("still", &["R-BLIND", "R-BOTH"]),
                region("lacking", &["R-LACK"])]}))
        .unwrap()
    }

    pub fn summary() -> Summary {
        serde_json::from_value(json!({"records_version": 1, "tool": "framevouch 0", "caution": "c",
            "display": "a <display>", "result": "agrees", "frames": 10, "span_s": [0.0, 0.36], "events": {},
            "frame_verdicts": {"agrees": 10},
            "region_verdicts": {"speed": {"agrees": 9, "blind": 1}, "still": {"blind": 10},
                "lacking": {"not_judged": 10}},
            "blind_s": {"speed": 0.04, "still": 0.4, "lacking": 0.0},
            "not_judged": {"lacking": "the recording lacks x"}, "unchecked_px": 12, "offset_s": 0.0,
            "offset_from": "given", "profile": {"profile_version": 1, "width": 80, "height": 60,
                "encoding": "rgb", "subsampling": "4:4:4", "siting": "center", "scale": [1.0, 1.0],
                "shift_px": [0.0, 0.0], "color": [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]],
                "noise": [0.0, 0.0, 0.0], "latency_s": 0.0, "latency_se_s": null, "frames": 10},
            "profile_from": "given", "capture": {"source": "YUV4MPEG2", "width": 80, "height": 60,
                "encoding": "rgb", "subsampling": "4:4:4", "siting": "center", "frame_count": 10,
                "rate_hz": 25.0, "matrix_from": "assumed", "range_from": "stream", "times_from": "stream",
                "notes": []},
            "reverted_at_s": null, "error": null, "notes": ["a <note>"]}))
        .unwrap()
    }

    pub fn event(class: &str, region: &str, onset_s: f64) -> Event {
        serde_json::from_value(json!({"class": class, "regions": [region], "onset_s": onset_s,
            "detected_s": onset_s + 0.32, "end_s": onset_s + 1.0, "first_frame": 25, "last_frame": 49,
            "hazard": "hazardous", "action": "revert", "worst_error": null, "requirement": "R-SPEED",
            "remarks": [], "best_frame": 30}))
        .unwrap()
    }

    #[test]
    fn printed_headers_cannot_end_their_string() {
        let css = page_header("a\"} body { x: </style>\n");
        assert_eq!(css.matches('"').count(), 2, "{css}");
        assert!(!css.contains('<') && !css.contains('\n'), "{css}");
    }

    #[test]
    fn json_cannot_end_its_script() {
        assert!(!script_json(&"</script>").into_string().contains('<'));
    }
}
