//! `framevouch verify`: are results and inputs still what the manifest says, and does the command give them again?

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use clap::Parser;

use super::results::CHECK;
use super::{EXIT_AGREES, EXIT_FAULTS, Failure, campaign, check, tune};
use crate::evidence::manifest::{Input, Manifest, stored_path};
use crate::evidence::records::{FRAMES_FILE, SUMMARY_FILE, Summary};
use crate::evidence::results_folder::{ResultsFolder, Trust};
use crate::evidence::verify::{Change, differences, first_other_line};
use crate::suite::folder::KIND;

/// Arguments of `verify`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Result folder.
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Also run the command anew, and compare its results byte by byte.
    #[arg(long)]
    again: bool,
    /// The ffmpeg program that runs again; one that the manifest names is never run.
    #[arg(
        long,
        value_name = "PROGRAM",
        default_value = "ffmpeg",
        requires = "again"
    )]
    ffmpeg: String,
}

/// A command on its own, to read a manifest's arguments with.
#[derive(Parser)]
struct Alone<A: clap::Args> {
    #[command(flatten)]
    arguments: A,
}

/// Runs `verify`: exit 0 when all is as it was, 1 when something is not, 2 when that cannot be said.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let folder = &arguments.folder;
    let results = ResultsFolder::open(folder, Trust::Verified)?;
    let found = results.verify()?;
    for line in &found.without_digest {
        say!("note: {line}");
    }
    tell(&found.changes);
    say!(
        "{} files as they were, {} not; SHA-256 of the manifest itself {}",
        found.good,
        found.changes.len(),
        found.manifest_sha256
    );
    // Which program runs again is said on this command line anyway.
    let is_program = |c: &Change| matches!(c, Change::OtherProgram(_));
    if arguments.again && found.changes.iter().all(is_program) {
        return again(&results, &arguments.ffmpeg);
    }
    if found.changes.is_empty() {
        return Ok(EXIT_AGREES);
    }
    if arguments.again {
        say!("not run again: what it would be compared with is not as it was");
    }
    Ok(EXIT_FAULTS)
}

fn tell(changes: &[Change]) {
    for change in changes {
        say!("{change}");
    }
}

/// What a manifest's arguments mean, as far as this program would write them itself.
enum Written {
    Check(Box<check::Arguments>),
    Campaign(campaign::Arguments),
    Tune(tune::Arguments),
}

/// Runs the command of `results`, which verified, again. A manifest may come from anywhere: it decides
/// which of this program's commands run on the inputs whose digests it lists, and nothing else.
fn again(results: &ResultsFolder, ffmpeg: &str) -> Result<u8, Failure> {
    let (manifest, folder) = (results.manifest(), results.path());
    if manifest.command == KIND.command {
        return each_again(results, ffmpeg);
    }
    if !manifest.is_repeatable() {
        return Err("the capture came through standard input and cannot be run again; record it to a file and check that".into());
    }
    let new = tempfile::tempdir()?;
    let written = written(manifest, folder, new.path())?;
    for input in written.inputs()? {
        let path = stored_path(&input.path, folder);
        let is_listed =
            |i: &&crate::evidence::manifest::InputRecord| i.role == input.role && i.path == path;
        if !manifest.inputs.iter().any(|i| is_listed(&i)) {
            return Err(format!(
                "not run again: it would read \"{}\" as {}, which the manifest does not list among its inputs",
                input.path.display(),
                input.role
            )
            .into());
        }
    }
    if let Some(program) = written.recorded_ffmpeg().filter(|p| *p != ffmpeg) {
        say!("note: the manifest records --ffmpeg {program}; run again with {ffmpeg}");
    }
    let broken_off = match &written {
        Written::Check(_) => broken_off_after(results)?,
        Written::Campaign(_) | Written::Tune(_) => None,
    };
    written.run(folder, ffmpeg)?;
    if let Some(frames) = broken_off {
        return part_again(frames, folder, new.path());
    }
    let changes = differences(folder, new.path())?;
    tell(&changes);
    if changes.is_empty() {
        say!("run again: the same bytes");
        Ok(EXIT_AGREES)
    } else {
        say!(
            "run again: {} files differ; was the program the same ({} {})?",
            changes.len(),
            manifest.tool,
            manifest.version
        );
        Ok(EXIT_FAULTS)
    }
}

/// Runs each run of a suite again; what is said of them together is made of their results alone.
fn each_again(results: &ResultsFolder, ffmpeg: &str) -> Result<u8, Failure> {
    let mut worst = EXIT_AGREES;
    for part in results.parts() {
        say!("{part}:");
        let run = ResultsFolder::open(&results.path().join(&part), Trust::Verified)?;
        if run.manifest().command != CHECK.command {
            return Err(
                format!("\"{part}\" holds no results of check, so no suite wrote it").into(),
            );
        }
        worst = worst.max(again(&run, ffmpeg)?);
    }
    Ok(worst)
}

/// After how many frames a check was broken off; `None` for one that came to its end.
fn broken_off_after(results: &ResultsFolder) -> Result<Option<u64>, Failure> {
    let summary: Summary = results.record(SUMMARY_FILE)?;
    Ok(crate::check::broken_off_after(&summary))
}

/// Holds results that were broken off after so many `frames` against those of the whole run in `new`. A summary, events
/// and pictures of a part are others than those of the whole; what was said frame by frame must be the same.
fn part_again(frames: u64, folder: &Path, new: &Path) -> Result<u8, Failure> {
    say!(
        "these results were broken off after {frames} frames, and it was run again to the end: {FRAMES_FILE} is compared as \
         far as they go, and nothing else can be"
    );
    match first_other_line(&folder.join(FRAMES_FILE), &new.join(FRAMES_FILE))? {
        None => {
            say!("run again: the same bytes for these {frames} frames");
            Ok(EXIT_AGREES)
        }
        Some(line) => {
            say!("run again: {FRAMES_FILE} differs from line {line} on");
            Ok(EXIT_FAULTS)
        }
    }
}

/// Reads the arguments of a manifest, with results in `new`.
fn written(manifest: &Manifest, folder: &Path, new: &Path) -> Result<Written, Failure> {
    let shown = folder.display();
    let not_ours = |why: String| -> Failure {
        format!(
            "\"{shown}\" is not run again: its manifest has arguments that framevouch {} does not write ({why})",
            manifest.command
        )
        .into()
    };
    let words = [manifest.command.clone()]
        .into_iter()
        .chain(manifest.arguments.clone())
        .chain(["--quiet".into(), "--out".into()])
        .map(OsString::from)
        .chain([new.as_os_str().to_owned()]);
    let (written, normalised) = match manifest.command.as_str() {
        "check" => {
            let a = parsed::<check::Arguments>(words).map_err(not_ours)?;
            let a = a.begun_in(folder);
            let words = a.normalised(folder);
            (Written::Check(Box::new(a)), words)
        }
        "campaign" => {
            let a = parsed::<campaign::Arguments>(words).map_err(not_ours)?;
            let a = a.begun_in(folder);
            let words = a.normalised(folder);
            (Written::Campaign(a), words)
        }
        "tune" => {
            let a = parsed::<tune::Arguments>(words).map_err(not_ours)?;
            let a = a.begun_in(folder);
            let words = a.normalised(folder);
            (Written::Tune(a), words)
        }
        other => {
            return Err(format!(
                "\"{shown}\" holds results of \"{other}\", which this program does not know; was it a later one?"
            )
            .into());
        }
    };
    if normalised == manifest.arguments {
        Ok(written)
    } else {
        Err(not_ours(format!(
            "it would write: {}",
            normalised.join(" ")
        )))
    }
}

fn parsed<A: clap::Args>(words: impl Iterator<Item = OsString>) -> Result<A, String> {
    match Alone::<A>::try_parse_from(words) {
        Ok(alone) => Ok(alone.arguments),
        Err(e) => {
            let text = e.to_string();
            let first = text.lines().next().unwrap_or_default();
            Err(first.trim_start_matches("error: ").to_owned())
        }
    }
}

impl Written {
    /// What would be read.
    fn inputs(&self) -> Result<Vec<Input>, Failure> {
        match self {
            Self::Check(a) => Ok(a.inputs()),
            Self::Campaign(a) => a.inputs(),
            Self::Tune(a) => Ok(a.inputs()),
        }
    }

    /// Another ffmpeg program than the usual one, where the arguments name one.
    fn recorded_ffmpeg(&self) -> Option<&str> {
        match self {
            Self::Check(a) => a.recorded_ffmpeg(),
            Self::Campaign(_) | Self::Tune(_) => None,
        }
    }

    /// Runs it with `ffmpeg`, results as if they stood in `folder`.
    fn run(self, folder: &Path, ffmpeg: &str) -> Result<(), Failure> {
        match self {
            Self::Check(a) => check::run_as_at(&a.with_ffmpeg(ffmpeg), folder).map(drop),
            Self::Campaign(a) => campaign::run_as_at(&a.with_ffmpeg(ffmpeg), folder),
            Self::Tune(a) => tune::run_as_at(&a, folder).map(drop),
        }
    }
}
