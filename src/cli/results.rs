//! What a check leaves beside its frames, events and summary, and the manifest over all of it.

use std::path::{Path, PathBuf};

use super::{Failure, write_file};
use crate::check::Outcome;
use crate::definition::Definition;
use crate::evidence::display::DisplayRecord;
use crate::evidence::manifest::{self, CAPTURE_LIST, Input, MANIFEST_FILE, resolved};
use crate::evidence::measurements::MEASUREMENTS_FILE;
use crate::evidence::stills::{self, StillsRecord};
use crate::evidence::{csv, junit};

/// Folders of a check's results: a picture of each event, and the frames round them.
const FOLDERS: [&str; 2] = ["events", stills::FOLDER];

/// The files of a check's results.
const FILES: [&str; 10] = [
    "frames.jsonl",
    "readings.csv",
    "events.json",
    "events.csv",
    "summary.json",
    "display.json",
    "stills.json",
    "junit.xml",
    MEASUREMENTS_FILE,
    CAPTURE_LIST,
];

/// Writes all but `frames.jsonl` and `readings.csv`, which are written as frames are judged.
pub(super) fn write(
    out: &Path,
    definition: &Definition,
    outcome: &Outcome,
    stills: &StillsRecord,
) -> Result<(), Failure> {
    let display = DisplayRecord::of(definition);
    write_json(&out.join("events.json"), &outcome.events)?;
    write_json(&out.join("summary.json"), &outcome.summary)?;
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

/// Forgets what an earlier run left, so that a run which breaks off leaves no manifest that looks whole.
///
/// # Errors
/// When a folder of pictures holds what no check wrote: then nothing is deleted.
pub(super) fn begin(out: &Path) -> Result<(), Failure> {
    let mut folders = FOLDERS.map(|f| out.join(f)).to_vec();
    folders.retain(|f| f.exists());
    let mut pictures = Vec::new();
    for folder in &folders {
        for entry in std::fs::read_dir(folder).map_err(super::cannot_write(folder))? {
            let path = entry.map_err(super::cannot_write(folder))?.path();
            if !is_picture_of_ours(&path) {
                return Err(format!(
                    "\"{}\" was not written by a check, and all pictures in that folder are replaced: move it, or choose another --out",
                    path.display()
                )
                .into());
            }
            pictures.push(path);
        }
    }
    let manifest = out.join(MANIFEST_FILE);
    pictures.extend(manifest.exists().then_some(manifest));
    for path in pictures {
        std::fs::remove_file(&path).map_err(super::cannot_write(&path))?;
    }
    for folder in folders {
        std::fs::remove_dir(&folder).map_err(super::cannot_write(&folder))?;
    }
    Ok(())
}

/// Whether a file has a name that pictures of events get: `event_` or `captured_`, a number, and `.png`.
fn is_picture_of_ours(path: &Path) -> bool {
    let Some(name) = path.file_name().and_then(|n| n.to_str()) else {
        return false;
    };
    let numbered = ["event_", "captured_"]
        .iter()
        .find_map(|kind| name.strip_prefix(kind));
    path.is_file()
        && numbered.is_some_and(|n| n.starts_with(|c: char| c.is_ascii_digit()))
        && name.ends_with(".png")
}

/// Writes the manifest of a check's results in `out`, as if they stood at `home`.
pub(super) fn write_manifest(
    out: &Path,
    home: &Path,
    arguments: Vec<String>,
    inputs: &[Input],
) -> Result<(), Failure> {
    let is_output = |path: &str| {
        FILES.contains(&path)
            || FOLDERS
                .iter()
                .any(|f| path.strip_prefix(f).is_some_and(|p| p.starts_with('/')))
    };
    let manifest = manifest::make(out, home, "check", arguments, inputs, &is_output)?;
    write_file(&out.join(MANIFEST_FILE), manifest.to_json()?.as_bytes())
}

/// Writes the manifest of the results of another command, as if they stood at `home`: every file in `out` is
/// one.
pub(super) fn write_manifest_of(
    out: &Path,
    home: &Path,
    command: &str,
    arguments: Vec<String>,
    inputs: &[Input],
) -> Result<(), Failure> {
    let is_output = |path: &str| path != MANIFEST_FILE;
    let manifest = manifest::make(out, home, command, arguments, inputs, &is_output)?;
    write_file(&out.join(MANIFEST_FILE), manifest.to_json()?.as_bytes())
}

/// The font files that the definition at `path` names.
pub(super) fn named_files(definition: &Definition, path: &Path) -> Vec<Input> {
    let folder = path.parent().unwrap_or(Path::new(""));
    definition
        .file()
        .fonts
        .values()
        .filter_map(|f| f.file.as_ref())
        .map(|f| Input::new("font", folder.join(f)))
        .collect()
}

/// A stored path, for results in `folder`, as an argument.
pub(super) fn from_folder(path: &Path, folder: &Path) -> PathBuf {
    resolved(&path.to_string_lossy(), folder)
}
