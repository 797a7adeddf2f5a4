//! `framevouch verify`: are results and inputs still what the manifest says, and does the command give them again?

use std::path::{Path, PathBuf};

use clap::Parser;

use super::{EXIT_AGREES, EXIT_FAULTS, Failure, campaign, check, tune};
use crate::evidence::manifest::Manifest;
use crate::evidence::verify::{Change, differences, verify};

/// Arguments of `verify`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Result folder.
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Also run the command anew, and compare its results byte by byte.
    #[arg(long)]
    again: bool,
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
    let found = verify(folder)?;
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
    if !found.changes.is_empty() {
        if arguments.again {
            say!("not run again: what it would be compared with is not as it was");
        }
        return Ok(EXIT_FAULTS);
    }
    if arguments.again {
        return again(folder);
    }
    Ok(EXIT_AGREES)
}

fn tell(changes: &[Change]) {
    for change in changes {
        say!("{change}");
    }
}

fn again(folder: &Path) -> Result<u8, Failure> {
    let manifest = Manifest::load(folder)?;
    if !manifest.is_repeatable() {
        return Err("the capture came through standard input and cannot be run again; record it to a file and check that".into());
    }
    let new = tempfile::tempdir()?;
    run_again(&manifest, folder, new.path())?;
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

/// Runs the command of a manifest in `folder` again, with results in `new`.
fn run_again(manifest: &Manifest, folder: &Path, new: &Path) -> Result<(), Failure> {
    let words = [manifest.command.clone()]
        .into_iter()
        .chain(manifest.arguments.clone())
        .chain(["--quiet".into(), "--out".into()])
        .map(std::ffi::OsString::from)
        .chain([new.as_os_str().to_owned()]);
    match manifest.command.as_str() {
        "check" => {
            let alone = Alone::<check::Arguments>::try_parse_from(words)?;
            check::run_as_at(&alone.arguments.begun_in(folder), folder)?;
        }
        "campaign" => {
            let alone = Alone::<campaign::Arguments>::try_parse_from(words)?;
            campaign::run_as_at(&alone.arguments.begun_in(folder), folder)?;
        }
        "tune" => {
            let alone = Alone::<tune::Arguments>::try_parse_from(words)?;
            tune::run_as_at(&alone.arguments.begun_in(folder), folder)?;
        }
        other => {
            return Err(format!(
                "\"{}\" holds results of \"{other}\", which this program does not know; was it a later one?",
                folder.display(),
            )
            .into());
        }
    }
    Ok(())
}
