//! Result folders as a report holds them: records whole, frames summarised.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;

use super::run::FrameSummary;
use crate::campaign::summary::Summary as CampaignSummary;
use crate::evidence::display::DisplayRecord;
use crate::evidence::manifest::{self, Content, MANIFEST_FILE, Manifest};
use crate::evidence::records::{FrameRecord, RECORDS_VERSION, Summary};
use crate::evidence::stills::StillsRecord;
use crate::judge::events::Event;
use crate::tune::search::Tuned;

/// What is wrong with a result folder.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Its manifest.
    #[error(transparent)]
    Manifest(#[from] manifest::Error),
    /// A file cannot be digested.
    #[error(transparent)]
    File(#[from] crate::files::Error),
    /// A file cannot be read.
    #[error("cannot read \"{path}\"")]
    Read {
        /// The file.
        path: String,
        /// The system's words.
        source: std::io::Error,
    },
    /// A file is not what it should be.
    #[error("\"{path}\": {what}; `framevouch verify` says what else changed")]
    Form {
        /// The file.
        path: String,
        /// What is wrong.
        what: String,
    },
    /// Results of another kind cannot be compared.
    #[error(
        "--against \"{path}\" holds results of \"{command}\", and no --from does; results are compared with results of the same command: two checks, or two campaigns"
    )]
    Against {
        /// The folder.
        path: String,
        /// What its manifest says.
        command: String,
    },
    /// Nothing is known of results of this command.
    #[error(
        "\"{path}\" holds results of \"{command}\"; a report can be made of results of check, campaign and tune"
    )]
    Kind {
        /// The folder.
        path: String,
        /// What its manifest says.
        command: String,
    },
}

/// Everything that goes into a page.
#[derive(Debug)]
pub struct Bundle {
    /// Result folders, in the order in which they were given.
    pub folders: Vec<Folder>,
    /// What they are compared with.
    pub against: Option<Folder>,
    /// Time of issue, where the engineer gave one.
    pub issued: Option<String>,
}

/// A result folder.
#[derive(Debug)]
pub struct Folder {
    /// Where it lies.
    pub path: PathBuf,
    /// As it was given.
    pub name: String,
    /// Its manifest.
    pub manifest: Manifest,
    /// SHA-256 of the manifest.
    pub manifest_sha256: String,
    /// What it holds.
    pub results: Results,
}

/// What a result folder holds, by the command that made it. Results of other commands get a variant here and
/// sections of their own.
#[derive(Debug)]
pub enum Results {
    /// Of `check`.
    Check(Box<CheckRun>),
    /// Of `campaign`.
    Campaign(Box<CampaignSummary>),
    /// Of `tune`.
    Tune(Box<Tuned>),
}

/// The results of a check.
#[derive(Debug)]
pub struct CheckRun {
    /// The run.
    pub summary: Summary,
    /// What was to be checked.
    pub display: DisplayRecord,
    /// Its events.
    pub events: Vec<Event>,
    /// Frames stored round them.
    pub stills: StillsRecord,
    /// All frames in short.
    pub frames: FrameSummary,
}

impl Bundle {
    /// Loads result folders.
    ///
    /// # Errors
    /// When one is no result folder, is damaged, or of a kind that is not known.
    pub fn load(
        folders: &[PathBuf],
        against: Option<&Path>,
        issued: Option<String>,
    ) -> Result<Self, Error> {
        let mut folders: Vec<Folder> = folders
            .iter()
            .map(|f| Folder::load(f))
            .collect::<Result<_, _>>()?;
        // Checks first: runs are numbered among them.
        folders.sort_by_key(|f| !matches!(f.results, Results::Check(_)));
        let against = against.map(Folder::load).transpose()?;
        if let Some(other) = &against {
            let is_same = |f: &Folder| f.manifest.command == other.manifest.command;
            if !folders.iter().any(is_same) || matches!(other.results, Results::Tune(_)) {
                return Err(Error::Against {
                    path: other.name.clone(),
                    command: other.manifest.command.clone(),
                });
            }
        }
        Ok(Self {
            folders,
            against,
            issued,
        })
    }

    /// The results of checks, with their folders.
    pub fn checks(&self) -> impl Iterator<Item = (&Folder, &CheckRun)> {
        self.folders.iter().filter_map(|f| match &f.results {
            Results::Check(run) => Some((f, run.as_ref())),
            _ => None,
        })
    }

    /// The results of campaigns, with their folders.
    pub fn campaigns(&self) -> impl Iterator<Item = (&Folder, &CampaignSummary)> {
        self.folders.iter().filter_map(|f| match &f.results {
            Results::Campaign(summary) => Some((f, summary.as_ref())),
            _ => None,
        })
    }

    /// The results of tuning, with their folders.
    pub fn tunings(&self) -> impl Iterator<Item = (&Folder, &Tuned)> {
        self.folders.iter().filter_map(|f| match &f.results {
            Results::Tune(tuned) => Some((f, tuned.as_ref())),
            _ => None,
        })
    }
}

impl Folder {
    /// Loads a result folder.
    ///
    /// # Errors
    /// See [`Bundle::load`].
    pub fn load(path: &Path) -> Result<Self, Error> {
        let manifest = Manifest::load(path)?;
        let results = match manifest.command.as_str() {
            "check" => Results::Check(Box::new(CheckRun::load(path)?)),
            "campaign" => Results::Campaign(Box::new(record(&path.join("campaign.json"))?)),
            "tune" => Results::Tune(Box::new(record(&path.join("tune.json"))?)),
            other => {
                return Err(Error::Kind {
                    path: path.display().to_string(),
                    command: other.to_owned(),
                });
            }
        };
        Ok(Self {
            path: path.to_path_buf(),
            name: path.display().to_string(),
            manifest,
            manifest_sha256: Content::of_file(&path.join(MANIFEST_FILE))?.sha256,
            results,
        })
    }
}

impl CheckRun {
    fn load(folder: &Path) -> Result<Self, Error> {
        let summary: Summary = record(&folder.join("summary.json"))?;
        if summary.records_version > RECORDS_VERSION {
            return Err(Error::Form {
                path: folder.join("summary.json").display().to_string(),
                what: format!(
                    "records have version {}, this program reads up to {RECORDS_VERSION}; use a later framevouch",
                    summary.records_version
                ),
            });
        }
        let display: DisplayRecord = record(&folder.join("display.json"))?;
        let events: Vec<Event> = record(&folder.join("events.json"))?;
        let frames = summarise(&folder.join("frames.jsonl"), &display, &events)?;
        Ok(Self {
            summary,
            display,
            events,
            stills: record(&folder.join("stills.json"))?,
            frames,
        })
    }
}

fn cannot_read(path: &Path) -> impl FnOnce(std::io::Error) -> Error + '_ {
    move |source| Error::Read {
        path: path.display().to_string(),
        source,
    }
}

fn record<T: DeserializeOwned>(path: &Path) -> Result<T, Error> {
    let bytes = std::fs::read(path).map_err(cannot_read(path))?;
    serde_json::from_slice(&bytes).map_err(|e| Error::Form {
        path: path.display().to_string(),
        what: e.to_string(),
    })
}

/// Lines that are parsed side by side.
const BATCH_LINES: usize = 512;

/// Reads `frames.jsonl` once, line by line: it may be larger than memory.
fn summarise(
    path: &Path,
    display: &DisplayRecord,
    events: &[Event],
) -> Result<FrameSummary, Error> {
    use rayon::prelude::*;
    let file = File::open(path).map_err(cannot_read(path))?;
    let mut reader = BufReader::with_capacity(1 << 20, file);
    let mut summary = FrameSummary::new(display, events);
    let mut lines: Vec<Vec<u8>> = Vec::new();
    let mut number = 0;
    loop {
        lines.clear();
        while lines.len() < BATCH_LINES {
            let mut line = Vec::new();
            if reader
                .read_until(b'\n', &mut line)
                .map_err(cannot_read(path))?
                == 0
            {
                break;
            }
            lines.push(line);
        }
        if lines.is_empty() {
            return Ok(summary);
        }
        let parsed: Vec<serde_json::Result<FrameRecord>> = lines
            .par_iter()
            .map(|l| serde_json::from_slice(l))
            .collect();
        for record in parsed {
            number += 1;
            let record = record.map_err(|e| Error::Form {
                path: path.display().to_string(),
                what: format!("line {number}: {e}"),
            })?;
            summary.push(&record);
        }
    }
}
