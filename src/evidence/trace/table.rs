//! The trace as a table: a row a requirement, then a row for each region that verifies none.

use super::{Trace, result};
use crate::evidence::csv::{Cell, row};
use crate::files::Kind;

/// Columns of the trace.
pub const COLUMNS: [&str; 7] = [
    "requirement",
    "text",
    "method",
    "hazard",
    "regions",
    "result",
    "because",
];

/// How the table is known by its beginning.
pub const FILE: Kind = Kind {
    name: "a trace",
    mark: "requirement,text,method,hazard,regions,result,because\n",
};

/// The trace as CSV.
///
/// # Errors
/// When memory takes no more.
pub fn csv(trace: &Trace) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for traced in trace.requirements.values() {
        let says = &traced.says;
        let regions: Vec<&str> = traced.regions.iter().map(String::as_str).collect();
        row(
            &mut writer,
            &[
                Cell::text(&says.id),
                Cell::text(&says.text),
                Cell::text(says.method.as_deref().unwrap_or_default()),
                Cell::text(says.hazard.as_deref().unwrap_or_default()),
                Cell::text(regions.join(" ")),
                Cell::text(trace.marked(result(traced.standing))),
                Cell::text(traced.because.join("; ")),
            ],
        )?;
    }
    let without = trace
        .regions
        .iter()
        .filter(|(_, r)| r.requirements.is_empty());
    for (id, region) in without {
        row(
            &mut writer,
            &[
                Cell::text(""),
                Cell::text(""),
                Cell::text(""),
                Cell::text(&region.hazard),
                Cell::text(id),
                Cell::text(trace.marked("verifies no requirement")),
                Cell::text(region.findings.join("; ")),
            ],
        )?;
    }
    writer
        .into_inner()
        .map_err(|e| csv::Error::from(e.into_error()))
}
