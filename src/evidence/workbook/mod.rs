//! The figures of a report as a spreadsheet workbook: events, requirements, regions, coverage, with types and filters.
//!
//! *The question*: what does somebody want who sorts and counts in a spreadsheet? *The method*: a sheet a table, numbers as
//! numbers in the units that their columns name, text as text and never as a formula; a first sheet says what it is made
//! of, and whether that is as it was written. [`sheet`] writes the format, `container` the file. *Why by hand*: crates
//! that write the format pack it, and packing it they change how all pictures of the program are packed: results would
//! have other bytes.

mod container;
pub mod sheet;

use std::io::Result;

use super::csv::word;
use super::records::CAUTION;
use super::report::Bundle;
use super::report::bundle::Folder;
use super::report::unverified::differences;
use super::requirements::{not_exercised, region_finding};
use super::results_folder::NOT_VERIFIED;
use super::trace::{Trace, result};
use crate::campaign::summary::Coverage;
use crate::files::Kind;
use crate::judge::event::name;
use sheet::{Cell, MARK, Sheet};

/// How the file is known by its beginning.
pub const FILE: Kind = Kind {
    name: "a workbook",
    mark: MARK,
};

/// The figures of `bundle`.
///
/// # Errors
/// When there are more rows than a spreadsheet takes.
pub fn workbook(bundle: &Bundle) -> Result<Vec<u8>> {
    sheet::workbook(&[
        about(bundle),
        events(bundle),
        requirements(bundle),
        regions(bundle),
        coverage(bundle),
    ])
}

/// The folder that rows are from, marked where it is not as it was written.
fn named(bundle: &Bundle, folder: &Folder) -> Cell {
    let is_changed = differences(bundle)
        .iter()
        .any(|(name, _)| *name == folder.name);
    if is_changed {
        Cell::text(format!("{NOT_VERIFIED}: {}", folder.name))
    } else {
        Cell::text(&folder.name)
    }
}

fn about(bundle: &Bundle) -> Sheet {
    let differing = differences(bundle);
    let mut rows = vec![vec![
        Cell::text("caution"),
        Cell::text(CAUTION),
        Cell::Empty,
        Cell::Empty,
    ]];
    if let Some(issued) = &bundle.issued {
        rows.push(vec![
            Cell::text("issued"),
            Cell::text(issued),
            Cell::Empty,
            Cell::Empty,
        ]);
    }
    for folder in &bundle.folders {
        let is_changed = differing.iter().any(|(name, _)| *name == folder.name);
        rows.push(vec![
            Cell::text(format!("results of {}", folder.manifest.command)),
            Cell::text(&folder.name),
            Cell::text(&folder.manifest_sha256),
            Cell::text(if is_changed {
                NOT_VERIFIED
            } else {
                "as it was written"
            }),
        ]);
    }
    if let Some(file) = bundle.requirements.as_ref().map(|r| &r.file) {
        rows.push(vec![
            Cell::text("requirements"),
            Cell::text(file.path.display().to_string()),
            Cell::text(&file.content.sha256),
            Cell::text("as it was given"),
        ]);
    }
    Sheet {
        name: "About",
        header: &["what", "says", "SHA-256", "state"],
        rows,
    }
}

fn events(bundle: &Bundle) -> Sheet {
    let mut rows = Vec::new();
    for (folder, run) in bundle.checks() {
        let results = named(bundle, folder);
        for (k, e) in run.events.iter().enumerate() {
            let worst = e.worst_error.as_ref();
            rows.push(vec![
                results.clone(),
                Cell::Count(k as u64),
                Cell::text(name(e.class)),
                Cell::text(e.regions.join(", ")),
                Cell::text(word(&e.hazard)),
                Cell::text(word(&e.action)),
                Cell::Real(e.onset_s),
                Cell::Real(e.detected_s),
                Cell::Real(e.end_s),
                Cell::Real(1e3 * (e.detected_s - e.onset_s)),
                Cell::Count(e.first_frame),
                Cell::Count(e.last_frame),
                Cell::Count(e.best_frame),
                Cell::text(worst.map_or("", |w| &w.channel)),
                Cell::real(worst.map(|w| w.displayed)),
                Cell::real(worst.map(|w| w.expected)),
                Cell::text(worst.map_or("", |w| &w.unit)),
                Cell::Count(e.picture_error.missing_px.into()),
                Cell::Count(e.picture_error.foreign_px.into()),
                Cell::Count(e.picture_error.color_samples.into()),
                Cell::text(e.symbol.as_deref().unwrap_or_default()),
                Cell::text(e.things_in_words().unwrap_or_default()),
                Cell::text(&e.requirement),
                Cell::text(e.remarks.join("; ")),
            ]);
        }
    }
    Sheet {
        name: "Events",
        header: &[
            "results",
            "event",
            "class",
            "regions",
            "hazard",
            "action",
            "onset s",
            "detected s",
            "end s",
            "delay ms",
            "first frame",
            "last frame",
            "best frame",
            "channel",
            "displayed",
            "due",
            "unit",
            "missing px",
            "foreign px",
            "colour samples",
            "symbol",
            "things",
            "requirements",
            "remarks",
        ],
        rows,
    }
}

fn requirements(bundle: &Bundle) -> Sheet {
    let trace = Trace::of(bundle);
    let traced = trace.requirements.values().map(|t| {
        let regions: Vec<&str> = t.regions.iter().map(String::as_str).collect();
        vec![
            Cell::text(&t.says.id),
            Cell::text(&t.says.text),
            Cell::text(t.says.method.as_deref().unwrap_or_default()),
            Cell::text(t.says.hazard.as_deref().unwrap_or_default()),
            Cell::text(regions.join(", ")),
            Cell::Count(t.regions.len() as u64),
            Cell::text(trace.marked(result(t.standing))),
            Cell::text(t.because.join("\n")),
        ]
    });
    Sheet {
        name: "Requirements",
        header: &[
            "requirement",
            "text",
            "method",
            "hazard",
            "regions",
            "number of regions",
            "result",
            "because",
        ],
        rows: traced.collect(),
    }
}

fn regions(bundle: &Bundle) -> Sheet {
    let mut rows = Vec::new();
    for (folder, run) in bundle.checks() {
        let results = named(bundle, folder);
        for region in &run.display.regions {
            let counts = run.summary.region_verdicts.get(&region.id);
            let of = |verdict: &str| counts.and_then(|c| c.get(verdict)).copied().unwrap_or(0);
            let all: u64 = counts.map_or(0, |c| c.values().sum());
            let exercised = all
                .saturating_sub(of("blind"))
                .saturating_sub(of("not_judged"));
            rows.push(vec![
                results.clone(),
                Cell::text(&region.id),
                Cell::text(word(&region.hazard)),
                Cell::text(region.requirements.join(", ")),
                Cell::text(region_finding(region, &run.summary, &run.events).text()),
                Cell::Count(all),
                Cell::Count(of("agrees")),
                Cell::Count(of("blind")),
                Cell::Count(of("not_judged")),
                Cell::Count(exercised.saturating_sub(of("agrees"))),
                Cell::real((all > 0).then(|| 100.0 * exercised as f64 / all as f64)),
                Cell::real(run.summary.blind_s.get(&region.id).copied()),
                Cell::text(not_exercised(region, &run.summary).unwrap_or_default()),
            ]);
        }
    }
    Sheet {
        name: "Regions",
        header: &[
            "results",
            "region",
            "hazard",
            "requirements",
            "finding",
            "frames",
            "agrees",
            "blind",
            "not judged",
            "faulty",
            "exercised %",
            "blind s",
            "not exercised because",
        ],
        rows,
    }
}

fn coverage(bundle: &Bundle) -> Sheet {
    let mut rows = Vec::new();
    for (folder, campaign) in bundle.campaigns() {
        let results = named(bundle, folder);
        let mut add = |by: &str, c: &Coverage| {
            let spread = c.detection_ms.as_ref();
            let share = |p: f64| Cell::real(Some(100.0 * p));
            rows.push(vec![
                results.clone(),
                Cell::text(by),
                Cell::text(c.kind.as_deref().unwrap_or_default()),
                Cell::text(c.region.as_deref().unwrap_or_default()),
                Cell::text(c.hazard.as_deref().unwrap_or_default()),
                Cell::Count(c.in_place.n),
                Cell::Count(c.in_place.k),
                share(c.in_place.at_least()),
                Cell::Count(c.as_class.k),
                share(c.as_class.at_least()),
                Cell::real(spread.map(|d| d.median.value)),
                Cell::real(spread.map(|d| d.worst)),
                Cell::real(c.limit_ms),
            ]);
        };
        add("all", &campaign.coverage);
        for (by, list) in [
            ("kind", &campaign.by_kind),
            ("region", &campaign.by_region),
            ("hazard", &campaign.by_hazard),
            ("kind and region", &campaign.by_kind_and_region),
        ] {
            list.iter().for_each(|c| add(by, c));
        }
    }
    Sheet {
        name: "Coverage",
        header: &[
            "results",
            "by",
            "kind",
            "region",
            "hazard",
            "faults",
            "in place",
            "in place at least %",
            "as class",
            "as class at least %",
            "median ms",
            "worst ms",
            "limit ms",
        ],
        rows,
    }
}
