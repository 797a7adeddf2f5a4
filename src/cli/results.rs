//! What a check leaves beside its frames, events and summary, and the manifest over all of it.

use std::path::{Path, PathBuf};

use super::{Failure, write_file};
use crate::check::Outcome;
pub(super) use crate::check::folder::KIND as CHECK;
use crate::definition::Definition;
use crate::evidence::display::DisplayRecord;
use crate::evidence::manifest::{self, MANIFEST_FILE, Manifest, ReadFiles, resolved};
use crate::evidence::stills::StillsRecord;
use crate::evidence::{csv, junit};

/// Writes all but `frames.jsonl` and `readings.csv`, which are written as frames are judged.
pub(super) fn write(
    out: &Path,
    definition: &Definition,
    outcome: &Outcome,
    stills: &StillsRecord,
) -> Result<(), Failure> {
    let display = DisplayRecord::of(definition);
    write_json(&out.join("events.json"), &outcome.events)?;
    write_json(
        &out.join(crate::evidence::records::SUMMARY_FILE),
        &outcome.summary,
    )?;
    write_json(&out.join("display.json"), &display)?;
    write_json(&out.join("stills.json"), stills)?;
    write_file(&out.join("events.csv"), &csv::events_csv(&outcome.events)?)?;
    let junit = junit::junit_xml(&display, &outcome.summary, &outcome.events)?;
    write_file(&out.join("junit.xml"), &junit)
}

fn write_json<T: serde::Serialize>(path: &Path, value: &T) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(value)? + "\n";
    write_file(path, text.as_bytes())
}

/// Writes the manifest of the results in `folder`, all of whose files are results, as if they stood at `home`.
pub(super) fn write_manifest(
    folder: &Path,
    home: &Path,
    command: &str,
    arguments: Vec<String>,
    inputs: &ReadFiles,
) -> Result<(), Failure> {
    let outputs = manifest::outputs(folder)?;
    let manifest = manifest::make(folder, home, command, arguments, inputs, outputs)?;
    write_file(&folder.join(MANIFEST_FILE), manifest.to_json()?.as_bytes())
}

/// The files that the manifest in `folder` names, and itself.
pub(super) fn files_of(folder: &Path) -> Vec<PathBuf> {
    let outputs = Manifest::read(folder).map_or(Vec::new(), |(m, _)| m.outputs);
    let names = outputs.into_iter().map(|f| f.path);
    let names = names.chain([MANIFEST_FILE.to_owned()]);
    names.map(|n| folder.join(n)).collect()
}

/// Says so when the results in `out` are those of an earlier run: nobody shall take them for those of one that failed.
pub(super) fn tell_of_earlier(out: &Path) {
    if out.join(MANIFEST_FILE).exists() {
        warn!(
            "note: the results in \"{}\" are those of an earlier run, as they were",
            out.display()
        );
    }
}

/// A stored path, for results in `folder`, as an argument.
pub(super) fn from_folder(path: &Path, folder: &Path) -> PathBuf {
    resolved(&path.to_string_lossy(), folder)
}
