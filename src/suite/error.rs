//! What keeps a suite from being carried out or read.

use std::io;
use std::path::Path;

use super::plan;
use crate::evidence::{manifest, report, results_folder, run_folder};
use crate::files;

/// What keeps a suite from being carried out, read or joined.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Its plan.
    #[error(transparent)]
    Plan(#[from] plan::Error),
    /// Its folder, or that of a run.
    #[error(transparent)]
    Folder(#[from] run_folder::Error),
    /// A manifest.
    #[error(transparent)]
    Manifest(#[from] manifest::Error),
    /// The plan changed while it was read.
    #[error(transparent)]
    Changed(#[from] manifest::ChangedFile),
    /// Results that cannot be read, or are not as they were written.
    #[error(transparent)]
    Results(#[from] results_folder::Error),
    /// Results of a run of which no page can be made.
    #[error(transparent)]
    Report(#[from] report::Error),
    /// A file of a part.
    #[error(transparent)]
    File(#[from] files::Error),
    /// Something that is not ours stands among the runs.
    #[error(
        "\"{0}\" stands among the runs of the suite, and no run of the plan or of an earlier suite wrote it: move it, or choose another --out"
    )]
    Foreign(String),
    /// A folder that holds no suite.
    #[error(
        "\"{path}\" holds results of \"{command}\", not of a suite: give the --out of framevouch suite"
    )]
    Kind {
        /// The folder.
        path: String,
        /// What its manifest says.
        command: String,
    },
    /// A suite of a later version.
    #[error(
        "\"{path}\" has records of version {found}, which this program does not know; use a later framevouch"
    )]
    Later {
        /// The folder.
        path: String,
        /// Its version.
        found: u32,
    },
    /// A record with a name that is none of a run.
    #[error("\"{path}\": its suite.json names a run {id:?}, which no plan allows")]
    Id {
        /// The folder.
        path: String,
        /// What stands there.
        id: String,
    },
    /// The suite to compare with is the one that is written.
    #[error(
        "--against \"{0}\" is the folder that is written; keep the last suite in another folder"
    )]
    Itself(String),
    /// The suite to compare with is not whole.
    #[error("--against \"{path}\" holds part {part} of a suite; merge all of its parts first")]
    Part {
        /// The folder.
        path: String,
        /// Which part.
        part: String,
    },
    /// It was told to stop.
    #[error("broken off with {done} of {runs} runs done; call the same command again to go on")]
    BrokenOff {
        /// Runs that are done.
        done: usize,
        /// Runs of the plan, or of its part.
        runs: usize,
    },
    /// Parts that are not those of one suite.
    #[error("\"{path}\" {what}")]
    Merge {
        /// The folder of the part.
        path: String,
        /// What is wrong with it.
        what: String,
    },
    /// A file cannot be written.
    #[error("cannot write \"{path}\"")]
    Write {
        /// The file.
        path: String,
        /// The system's words.
        source: io::Error,
    },
    /// A record or table cannot be made.
    #[error("cannot make {what}")]
    Make {
        /// Its name.
        what: &'static str,
        /// Why.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}

pub(super) fn cannot_write(path: &Path) -> impl FnOnce(io::Error) -> Error + '_ {
    move |source| Error::Write {
        path: path.display().to_string(),
        source,
    }
}

pub(super) fn cannot_make<E: Into<Box<dyn std::error::Error + Send + Sync>>>(
    what: &'static str,
) -> impl FnOnce(E) -> Error {
    move |source| Error::Make {
        what,
        source: source.into(),
    }
}
