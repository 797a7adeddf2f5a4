//! Result folders as a report holds them: records whole, frames summarised.

use std::path::{Path, PathBuf};

use super::run::FrameSummary;
use crate::campaign::summary::Summary as CampaignSummary;
use crate::evidence::display::DisplayRecord;
use crate::evidence::manifest::Manifest;
use crate::evidence::records::{FRAMES_FILE, RECORDS_VERSION, SUMMARY_FILE, Summary};
use crate::evidence::results_folder::{self, ResultsFolder, Trust};
use crate::evidence::stills::StillsRecord;
use crate::evidence::verify::Change;
use crate::judge::event::Event;
use crate::requirements::Requirements;
use crate::tune::search::Tuned;

/// What is wrong with a result folder.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// It cannot be read, or is not as it was written.
    #[error(transparent)]
    Folder(#[from] results_folder::Error),
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
    /// A part of a campaign.
    #[error(
        "\"{0}\" holds a shard of a campaign: put all of them together with merge, and report that"
    )]
    Shard(String),
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
    /// Requirements with their wording, where a file of them was given for the page.
    pub requirements: Option<Requirements>,
}

/// A result folder.
#[derive(Debug)]
pub struct Folder {
    /// As it was given.
    pub name: String,
    /// Its manifest.
    pub manifest: Manifest,
    /// SHA-256 of the manifest.
    pub manifest_sha256: String,
    /// What it holds.
    pub results: Results,
    /// Its files, held against the manifest as they are read.
    pub files: ResultsFolder,
    /// What is not as it was written; there is something only where [`Trust::Unverified`] was asked for, and then
    /// whatever shows these results says so ([`super::unverified`]).
    pub unverified: Vec<Change>,
    /// Inputs that are no longer where they were.
    pub gone: Vec<String>,
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
    /// When one is no result folder, is damaged, of a kind that is not known, or, with [`Trust::Verified`], not as it
    /// was written.
    pub fn load(
        folders: &[PathBuf],
        against: Option<&Path>,
        issued: Option<String>,
        trust: Trust,
    ) -> Result<Self, Error> {
        let mut folders: Vec<Folder> = folders
            .iter()
            .map(|f| Folder::load(f, trust))
            .collect::<Result<_, _>>()?;
        // Checks first: runs are numbered among them.
        folders.sort_by_key(|f| !matches!(f.results, Results::Check(_)));
        let against = against.map(|f| Folder::load(f, trust)).transpose()?;
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
            requirements: None,
        })
    }

    /// Takes wordings of requirements from a file that was given for the page, in the place of those in the results.
    #[must_use]
    pub fn with_requirements(mut self, given: Requirements) -> Self {
        for folder in self.folders.iter_mut().chain(&mut self.against) {
            if let Results::Check(run) = &mut folder.results {
                run.display.requirements.clone_from(&given.all);
            }
        }
        self.requirements = Some(given);
        self
    }

    /// All folders, those that the others are compared with too.
    pub fn all(&self) -> impl Iterator<Item = &Folder> {
        self.folders.iter().chain(&self.against)
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
    pub fn load(path: &Path, trust: Trust) -> Result<Self, Error> {
        let (files, results, verified) = ResultsFolder::load(path, trust, Results::of)?;
        Ok(Self {
            name: path.display().to_string(),
            manifest: files.manifest().clone(),
            manifest_sha256: files.manifest_sha256().to_owned(),
            results,
            unverified: verified.contradictions(),
            gone: verified.gone(),
            files,
        })
    }
}

impl Results {
    fn of(folder: &ResultsFolder) -> Result<Self, Error> {
        Ok(match folder.manifest().command.as_str() {
            "check" => Self::Check(Box::new(CheckRun::of(folder)?)),
            "campaign" if folder.manifest().arguments.iter().any(|a| a == "--shard") => {
                return Err(Error::Shard(folder.path().display().to_string()));
            }
            "campaign" => Self::Campaign(Box::new(folder.record("campaign.json")?)),
            "tune" => Self::Tune(Box::new(folder.record("tune.json")?)),
            other => {
                return Err(Error::Kind {
                    path: folder.path().display().to_string(),
                    command: other.to_owned(),
                });
            }
        })
    }
}

impl CheckRun {
    fn of(folder: &ResultsFolder) -> Result<Self, results_folder::Error> {
        let summary: Summary = folder.record(SUMMARY_FILE)?;
        if summary.records_version > RECORDS_VERSION {
            return Err(results_folder::Error::Form {
                path: folder.path().join(SUMMARY_FILE).display().to_string(),
                what: format!(
                    "records have version {}, this program reads up to {RECORDS_VERSION}; use a later framevouch",
                    summary.records_version
                ),
            });
        }
        let display: DisplayRecord = folder.record("display.json")?;
        let events: Vec<Event> = folder.record("events.json")?;
        let mut frames = FrameSummary::new(&display, &events);
        folder.lines(FRAMES_FILE, |record| frames.push(&record))?;
        Ok(Self {
            summary,
            display,
            events,
            stills: folder.record("stills.json")?,
            frames,
        })
    }
}
