//! The folder of a suite: its record, its page, a folder of results and a page for each run.
//!
//! Runs own their folders, each with a manifest of its own. The suite's manifest lists these manifests and its own files; so a
//! suite that is broken off leaves whole runs, and verifying the suite verifies them.

use std::collections::BTreeSet;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use super::Error;
use super::error::{cannot_make, cannot_write};
use super::junit::junit_xml;
use super::page::page;
use super::records::{SUITE_FILE, SuiteRecord};
use crate::check;
use crate::evidence::manifest::{self, ChangedFile, FileRecord, MANIFEST_FILE, ReadFiles};
use crate::evidence::run_folder::{Kind, RunFolder, foreign_in};
use crate::files::Content;

/// Folder of the runs' results.
pub const RUNS: &str = "runs";
/// Folder of the runs' pages.
pub const REPORTS: &str = "reports";
/// The suite's page.
pub const PAGE_FILE: &str = "suite.html";
/// The suite's JUnit file.
pub const JUNIT_FILE: &str = "junit.xml";

/// The results of a suite. Runs are results of checks, with folders of their own.
pub const KIND: Kind = Kind {
    command: "suite",
    is_result: |name| [SUITE_FILE, PAGE_FILE, JUNIT_FILE].contains(&name),
    folders: &[REPORTS],
    is_begun: |_| false,
};

/// Where the results of a run lie.
#[must_use]
pub fn of_run(out: &Path, id: &str) -> PathBuf {
    out.join(RUNS).join(id)
}

/// Name of a run's page in the suite's folder.
#[must_use]
pub fn report_of(id: &str) -> String {
    format!("{REPORTS}/{id}.html")
}

/// Folders of runs in `out` that are not among `ids`: an earlier suite's.
///
/// # Errors
/// When something stands there that no check wrote.
pub(super) fn stale(out: &Path, ids: &BTreeSet<&str>) -> Result<Vec<PathBuf>, Error> {
    let runs = out.join(RUNS);
    let mut stale = Vec::new();
    let entries = match fs::read_dir(&runs) {
        Ok(entries) => entries,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(stale),
        Err(e) => return Err(cannot_write(&runs)(e)),
    };
    for entry in entries {
        let entry = entry.map_err(cannot_write(&runs))?;
        if entry.file_name().to_str().is_some_and(|n| ids.contains(n)) {
            continue;
        }
        let path = entry.path();
        if let Some(foreign) = foreign_in(&path, check::folder::KIND) {
            return Err(Error::Foreign(foreign.display().to_string()));
        }
        stale.push(path);
    }
    stale.sort_unstable();
    Ok(stale)
}

/// Writes the record, the page and the JUnit file of a suite into `new`, where the runs' pages are already, with the manifest
/// of all that will stand in `out`.
pub(super) fn write(
    new: &Path,
    out: &Path,
    record: &SuiteRecord,
    arguments: Vec<String>,
    inputs: &ReadFiles,
) -> Result<(), Error> {
    let json = serde_json::to_string_pretty(record).map_err(cannot_make(SUITE_FILE))? + "\n";
    let junit = junit_xml(record).map_err(cannot_make(JUNIT_FILE))?;
    put(&new.join(SUITE_FILE), json.as_bytes())?;
    put(&new.join(JUNIT_FILE), &junit)?;
    put(&new.join(PAGE_FILE), page(record).as_bytes())?;
    let mut outputs = manifest::outputs(new)?;
    for run in &record.runs {
        let Some(sha256) = &run.manifest_sha256 else {
            continue;
        };
        let file = of_run(out, &run.id).join(MANIFEST_FILE);
        let content = Content::of_file(&file)?;
        if content.sha256 != *sha256 {
            return Err(ChangedFile(file.display().to_string()).into());
        }
        outputs.push(FileRecord {
            path: format!("{RUNS}/{}/{MANIFEST_FILE}", run.id),
            content,
        });
    }
    let manifest = manifest::make(new, out, KIND.command, arguments, inputs, outputs)?;
    let json = manifest.to_json().map_err(cannot_make(MANIFEST_FILE))?;
    put(&new.join(MANIFEST_FILE), json.as_bytes())
}

/// Takes `out` for a suite that is made of `inputs`, with an empty folder for the runs' pages.
pub(super) fn claim(out: &Path, inputs: &[&Path], is_forced: bool) -> Result<RunFolder, Error> {
    let folder = RunFolder::claim(out, KIND, inputs.iter().copied(), is_forced)?;
    let reports = folder.new_results().join(REPORTS);
    fs::create_dir_all(&reports).map_err(cannot_write(&reports))?;
    Ok(folder)
}

pub(super) fn put(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    fs::write(path, bytes).map_err(cannot_write(path))
}
