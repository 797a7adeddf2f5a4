//! Parts of a suite, carried out by several machines, as the one suite that they are parts of.
//!
//! *The question*: is what comes out the same, byte for byte, as if one machine had carried all of it out? *The method*: parts are
//! verified, and must be all parts of one plan, made by one version of the program and compared with the same last suite. Their
//! runs are copied with manifests and pages, all that is said of them together is made anew by what an unsharded suite makes it by. *What it cannot
//! do*: manifests hold paths from their folder to what went in, and those stay as they are; so parts and whole lie side by side.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use super::error::cannot_write;
use super::last::record_of;
use super::records::{RunRecord, SuiteRecord};
use super::{Error, folder, totals, verdict};
use crate::check;
use crate::evidence::manifest::{InputRecord, MANIFEST_FILE, Manifest, ReadFiles, resolved};
use crate::evidence::results_folder::{ResultsFolder, Trust};
use crate::evidence::run_folder::RunFolder;
use crate::files::FileContent;
use crate::shard::Shard;

/// A part that was read.
struct Part {
    path: PathBuf,
    shard: Shard,
    record: SuiteRecord,
    manifest: Manifest,
}

/// Joins the parts of a suite into the suite that an unsharded call with the same plan gives, in `out`, which must lie beside
/// them.
///
/// # Errors
/// When a part is not as it was written, parts are missing, given twice or not of one suite, or `out` holds what is not ours and
/// `is_forced` is not set.
pub fn merge(parts: &[PathBuf], out: &Path, is_forced: bool) -> Result<SuiteRecord, Error> {
    let mut all: Vec<Part> = parts
        .iter()
        .map(|path| Part::load(path))
        .collect::<Result<_, _>>()?;
    all.sort_by_key(|p| p.shard);
    let Some(first) = all.first() else {
        return Err(wrong(
            out,
            "cannot be made of no parts: give the folders of all parts",
        ));
    };
    for (k, part) in all.iter().enumerate() {
        part.refuse_other(first)?;
        if part.shard.number() as usize != k + 1 {
            let what = match part.shard.number() as usize {
                p if p <= k => format!("is part {}, which another folder is too", part.shard),
                _ => format!("is part {}, and part {} is missing", part.shard, k + 1),
            };
            return Err(wrong(&part.path, &what));
        }
        if folder_beside(&part.path) != folder_beside(out) {
            let what = format!(
                "does not lie beside \"{}\": results say where their inputs lie from their own folder, so parts and whole stand side by side",
                out.display()
            );
            return Err(wrong(&part.path, &what));
        }
    }
    if all.len() != first.shard.of() as usize {
        let what = format!(
            "is one of {} parts, and {} given: name the folders of all",
            first.shard.of(),
            match all.len() {
                1 => "only 1 is".to_owned(),
                n => format!("only {n} are"),
            }
        );
        return Err(wrong(&first.path, &what));
    }
    write(&all, first, out, is_forced)
}

fn wrong(path: &Path, what: &str) -> Error {
    Error::Merge {
        path: path.display().to_string(),
        what: what.to_owned(),
    }
}

/// The folder that `path` lies in, without links; where it cannot be told, nothing.
fn folder_beside(path: &Path) -> Option<PathBuf> {
    let parent = match path.components().next_back()? {
        // `.` and `..` have no parent in words.
        std::path::Component::Normal(_) => path.parent()?.to_owned(),
        _ => fs::canonicalize(path).ok()?.parent()?.to_owned(),
    };
    let parent = if parent.as_os_str().is_empty() {
        PathBuf::from(".")
    } else {
        parent
    };
    fs::canonicalize(parent).ok()
}

impl Part {
    /// Reads the part in `path`; all of it is verified.
    fn load(path: &Path) -> Result<Self, Error> {
        let (folder, record, _) = ResultsFolder::load(path, Trust::Verified, record_of)?;
        let Some(shard) = record.shard else {
            return Err(wrong(path, "is a whole suite, and no part of one"));
        };
        Ok(Self {
            path: path.to_owned(),
            shard,
            record,
            manifest: folder.manifest().clone(),
        })
    }

    /// Refuses a part that is of another suite than `first`.
    fn refuse_other(&self, first: &Self) -> Result<(), Error> {
        let program = |p: &Self| (p.manifest.version.clone(), p.manifest.revision.clone());
        let (a, b) = (&self.record, &first.record);
        let differences = [
            (
                "another plan",
                a.plan_sha256 != b.plan_sha256 || a.planned != b.planned,
            ),
            (
                "another number of parts",
                self.shard.of() != first.shard.of(),
            ),
            (
                "another version of the program",
                program(self) != program(first),
            ),
            (
                "another last suite",
                a.against != b.against || a.history != b.history,
            ),
            ("another issue", a.issued != b.issued),
            ("other arguments", self.arguments() != first.arguments()),
        ];
        match differences.iter().find(|(_, differs)| *differs) {
            None => Ok(()),
            Some((what, _)) => Err(wrong(
                &self.path,
                &format!("has {what} than \"{}\"", first.path.display()),
            )),
        }
    }

    /// The arguments of the whole.
    fn arguments(&self) -> Vec<String> {
        let mut words = self.manifest.arguments.clone();
        if let Some(k) = words.iter().position(|w| w == "--shard") {
            words.drain(k..(k + 2).min(words.len()));
        }
        words
    }

    /// The runs in the order of the plan, with their places there.
    fn runs(&self) -> impl Iterator<Item = (usize, &RunRecord)> {
        self.record
            .runs
            .iter()
            .map(|run| (run.number as usize, run))
    }
}

fn write(all: &[Part], first: &Part, out: &Path, is_forced: bool) -> Result<SuiteRecord, Error> {
    let mut runs: Vec<(usize, &Part, &RunRecord)> = all
        .iter()
        .flat_map(|part| part.runs().map(move |(place, run)| (place, part, run)))
        .collect();
    runs.sort_by_key(|(place, ..)| *place);
    if runs.len() as u64 != first.record.planned {
        let what = format!(
            "is of a plan of {} runs, and its parts have {}",
            first.record.planned,
            runs.len()
        );
        return Err(wrong(&first.path, &what));
    }
    let home = folder::claim(out, &[&plan_of(first, out)?.path], is_forced)?;
    let ids: BTreeSet<&str> = runs.iter().map(|(_, _, r)| r.id.as_str()).collect();
    let stale = folder::stale(out, &ids)?;
    home.withdraw(&|_| false)?;
    for path in &stale {
        RunFolder::remove(path, check::folder::KIND)?;
    }
    for (_, part, run) in &runs {
        copy_run(part, run, out, &home, is_forced)?;
    }
    let runs: Vec<RunRecord> = runs.into_iter().map(|(_, _, run)| run.clone()).collect();
    let (result, exit_status) = verdict::of(&runs, first.record.against.is_some());
    let record = SuiteRecord {
        result: result.into(),
        exit_status,
        shard: None,
        all: totals::of_all(&runs),
        tags: totals::by_tag(&runs),
        runs,
        ..first.record.clone()
    };
    let mut inputs = ReadFiles::default();
    inputs.add_file("plan", &plan_of(first, out)?)?;
    folder::write(
        &home.new_results(),
        out,
        &record,
        first.arguments(),
        &inputs,
    )?;
    home.finish()?;
    Ok(record)
}

/// The plan, as the part's manifest has it: what lies beside the part lies beside `out`.
fn plan_of(part: &Part, out: &Path) -> Result<FileContent, Error> {
    let is_plan = |i: &&InputRecord| i.role == "plan";
    let input = part.manifest.inputs.iter().find(is_plan);
    let content = input.and_then(|i| Some((i, i.content.clone()?)));
    let Some((input, content)) = content else {
        return Err(wrong(&part.path, "has a manifest that names no plan"));
    };
    let full = fs::canonicalize(out).unwrap_or_else(|_| out.to_owned());
    Ok(FileContent {
        path: resolved(&input.path, &full),
        content,
    })
}

/// Copies results and page of a run.
fn copy_run(
    part: &Part,
    run: &RunRecord,
    out: &Path,
    home: &RunFolder,
    is_forced: bool,
) -> Result<(), Error> {
    let to = folder::of_run(out, &run.id);
    if run.manifest_sha256.is_none() {
        // What an earlier suite left there is not of this one.
        if to.exists() {
            RunFolder::remove(&to, check::folder::KIND)?;
        }
        return Ok(());
    }
    let from = folder::of_run(&part.path, &run.id);
    let found = ResultsFolder::open(&from, Trust::Verified)?;
    if Some(found.manifest_sha256()) != run.manifest_sha256.as_deref() {
        let what = format!(
            "has results of \"{}\" that its record does not name",
            run.id
        );
        return Err(wrong(&part.path, &what));
    }
    let copied = RunFolder::claim(&to, check::folder::KIND, [], is_forced)?;
    let new = copied.new_results();
    let names = found.manifest().outputs.iter().map(|f| f.path.as_str());
    for name in names.chain([MANIFEST_FILE]) {
        copy(&from.join(name), &new.join(name))?;
    }
    copied.finish()?;
    let page = folder::report_of(&run.id);
    copy(&part.path.join(&page), &home.new_results().join(&page))
}

fn copy(from: &Path, to: &Path) -> Result<(), Error> {
    if let Some(folder) = to.parent() {
        fs::create_dir_all(folder).map_err(cannot_write(folder))?;
    }
    fs::copy(from, to).map(drop).map_err(cannot_write(to))
}
