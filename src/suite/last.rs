//! The last suite, and what changed since: run by run, events matched as a report matches those of two checks.

use std::collections::BTreeSet;
use std::path::Path;

use super::Error;
use super::folder::KIND;
use super::plan::Planned;
use super::records::{Against, Changes, Earlier, RunRecord, SUITE_FILE, SuiteRecord};
use crate::evidence::records::RECORDS_VERSION;
use crate::evidence::report::unmatched;
use crate::evidence::results_folder::{ResultsFolder, Trust};
use crate::files;

/// Earlier suites that are remembered.
const MOST_EARLIER: usize = 20;

/// A suite that was written before.
#[derive(Clone, Debug)]
pub struct Last {
    record: SuiteRecord,
    manifest_sha256: String,
}

impl Last {
    /// Reads the record of the suite in `path` and holds it against the manifest there. Nothing else of it is used: its
    /// captures may have been replaced by those of today.
    ///
    /// # Errors
    /// When it is no suite, only a part of one, or its record is not as it was written.
    pub fn load(path: &Path) -> Result<Self, Error> {
        let folder = ResultsFolder::open(path, Trust::Verified)?;
        let record = record_of(&folder)?;
        if let Some(shard) = record.shard {
            return Err(Error::Part {
                path: path.display().to_string(),
                part: shard.to_string(),
            });
        }
        Ok(Self {
            record,
            manifest_sha256: folder.manifest_sha256().to_owned(),
        })
    }

    /// What is said of it in the suite of these runs.
    #[must_use]
    pub fn told(&self, planned: &[Planned]) -> Against {
        let ids: BTreeSet<&str> = planned.iter().map(|r| r.id.as_str()).collect();
        let runs = self.record.runs.iter().map(|r| &r.id);
        Against {
            name: self.record.name.clone(),
            issued: self.record.issued.clone(),
            manifest_sha256: self.manifest_sha256.clone(),
            gone_runs: runs
                .filter(|id| !ids.contains(id.as_str()))
                .cloned()
                .collect(),
        }
    }

    /// The suites before this one, it among them, the oldest first.
    #[must_use]
    pub fn history(&self) -> Vec<Earlier> {
        let mut history = self.record.history.clone();
        history.push(Earlier {
            issued: self.record.issued.clone(),
            manifest_sha256: self.manifest_sha256.clone(),
            all: self.record.all.clone(),
            tags: self.record.tags.clone(),
        });
        let too_many = history.len().saturating_sub(MOST_EARLIER);
        history.split_off(too_many)
    }

    /// What changed in a run.
    #[must_use]
    pub fn changes(&self, now: &RunRecord) -> Changes {
        let Some(then) = self.record.runs.iter().find(|r| r.id == now.id) else {
            return Changes {
                is_new_run: true,
                new: (0..now.events.len()).collect(),
                ..Changes::default()
            };
        };
        let gone = unmatched(&then.events, &now.events);
        Changes {
            is_new_run: false,
            is_judged_no_more: now.is_unjudged() && !then.is_unjudged(),
            new: unmatched(&now.events, &then.events),
            gone: gone.into_iter().map(|k| then.events[k].clone()).collect(),
        }
    }
}

/// The record of the suite in `folder`, held against its manifest. Names in it lead nowhere else.
pub(super) fn record_of(folder: &ResultsFolder) -> Result<SuiteRecord, Error> {
    let path = || folder.path().display().to_string();
    let command = &folder.manifest().command;
    if command != KIND.command {
        return Err(Error::Kind {
            path: path(),
            command: command.clone(),
        });
    }
    let record: SuiteRecord = folder.record(SUITE_FILE)?;
    if record.records_version > RECORDS_VERSION {
        return Err(Error::Later {
            path: path(),
            found: record.records_version,
        });
    }
    let is_plain = |id: &String| files::name::of_id(id) == *id;
    if let Some(run) = record.runs.iter().find(|r| !is_plain(&r.id)) {
        return Err(Error::Id {
            path: path(),
            id: run.id.clone(),
        });
    }
    Ok(record)
}
