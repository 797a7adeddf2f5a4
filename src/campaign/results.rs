//! The files of a campaign, so that it can be broken off at any moment and goes on where it was.
//!
//! Results of a stretch are appended first; then `progress.json` is replaced in one step, which says how much of each
//! file is complete, and its digest. What stands beyond when a campaign goes on was being written when it was broken
//! off, and is cut off. So the files are the same bytes however often it was broken off. What is complete is held
//! against its digest before anything is added: a file that is shorter, changed or gone is an error, and never filled up.

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::clean::StretchRecord;
use super::records::TRIALS_FILE;
use super::trial;
use super::trials::Done;
use crate::evidence::measurements::{Blocks, Header, MEASUREMENTS_FILE, Measured};
use crate::files::{self, Content, Digest, Limit};
use crate::shard::Shard;

/// File of the clean stretches.
pub const STRETCHES: &str = "stretches.jsonl";
const PROGRESS: &str = "progress.json";
const MISSES: &str = "misses";

/// Whether a file of results, by its name in their folder, is written as trials are carried out: a campaign goes on with it.
#[must_use]
pub fn is_written_on_the_way(name: &str) -> bool {
    let is_miss = name
        .strip_prefix(MISSES)
        .is_some_and(|n| n.starts_with('/'));
    is_miss || [TRIALS_FILE, STRETCHES, MEASUREMENTS_FILE, PROGRESS].contains(&name)
}

/// Whether a campaign was begun in `folder`; which one, [`super::run::Prepared::claim`] says.
#[must_use]
pub fn is_begun(folder: &Path) -> bool {
    folder.join(PROGRESS).is_file()
}

const PROGRESS_LIMIT: Limit = Limit {
    kind: "the progress of a campaign",
    bytes: 1 << 20,
};
pub(super) const MISS_LIMIT: Limit = Limit {
    kind: "the picture of a miss",
    bytes: 256 << 20,
};

/// What is wrong with the files of a campaign.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The folder belongs to another campaign.
    #[error(
        "\"{0}\" holds the results of another campaign or version; give another folder, or empty it"
    )]
    OtherCampaign(String),
    /// The folder belongs to another shard of the campaign, or to all of it.
    #[error(
        "\"{folder}\" holds {found} of this campaign, and this is {asked}: each needs a folder of its own"
    )]
    OtherShard {
        /// The folder.
        folder: String,
        /// What it holds.
        found: String,
        /// What was to be carried out.
        asked: String,
    },
    /// What was complete is not what was written.
    #[error(
        "\"{path}\" is damaged: {what}; bring it back from a copy and call campaign again, or begin anew in an empty folder"
    )]
    Damaged {
        /// The file.
        path: String,
        /// What was found.
        what: String,
    },
    /// Results cannot be written or read.
    #[error("cannot write or read \"{path}\"")]
    Io {
        /// The file.
        path: String,
        /// The system's words.
        source: io::Error,
    },
    /// A file that is none.
    #[error(transparent)]
    File(#[from] files::Error),
}

fn io(path: &Path) -> impl FnOnce(io::Error) -> Error + '_ {
    move |source| Error::Io {
        path: path.display().to_string(),
        source,
    }
}

fn damaged(path: &Path, what: impl Into<String>) -> Error {
    Error::Damaged {
        path: path.display().to_string(),
        what: what.into(),
    }
}

/// How far a campaign is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Progress {
    /// Of plan, display, recordings and version.
    pub campaign: String,
    /// The shard of it that is carried out; none where all of it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shard: Option<Shard>,
    pub pass: usize,
    pub capture: usize,
    pub stretch: usize,
    /// Whether that stretch was begun: its own record stands, and some of its trials.
    pub is_begun: bool,
    /// What is complete of each file.
    trials: Content,
    stretches: Content,
    measurements: Content,
    /// Of all pictures of misses, in the order of the trials.
    misses: Content,
    pub is_finished: bool,
    /// What each capture held when it was read first, by number: of the list of its files.
    pub captures: BTreeMap<usize, Content>,
}

/// `progress.json`.
#[derive(Serialize, Deserialize)]
struct Sealed {
    progress: Progress,
    /// Of `progress` as compact JSON.
    sha256: String,
}

impl Progress {
    fn none(campaign: &str, shard: Option<Shard>) -> Self {
        let nothing = || Content::of(b"");
        Self {
            campaign: campaign.to_owned(),
            shard,
            pass: 0,
            capture: 0,
            stretch: 0,
            is_begun: false,
            trials: nothing(),
            stretches: nothing(),
            measurements: nothing(),
            misses: nothing(),
            is_finished: false,
            captures: BTreeMap::new(),
        }
    }

    /// The bytes of `progress.json`.
    fn sealed(&self) -> serde_json::Result<Vec<u8>> {
        let sealed = Sealed {
            progress: self.clone(),
            sha256: Content::of(&serde_json::to_vec(self)?).sha256,
        };
        let mut bytes = serde_json::to_vec_pretty(&sealed)?;
        bytes.push(b'\n');
        Ok(bytes)
    }

    /// Of any campaign; `None` where there is no file.
    pub fn read(folder: &Path) -> Result<Option<Self>, Error> {
        let path = folder.join(PROGRESS);
        if let Err(e) = std::fs::symlink_metadata(&path)
            && e.kind() == io::ErrorKind::NotFound
        {
            return Ok(None);
        }
        let (bytes, _) = files::read(&path, PROGRESS_LIMIT)?;
        let Ok(Sealed { progress, .. }) = serde_json::from_slice(&bytes) else {
            // As written before digests were.
            let is_earlier = serde_json::from_slice::<serde_json::Value>(&bytes)
                .is_ok_and(|v| v.get("trials_bytes").is_some());
            return Err(if is_earlier {
                Error::OtherCampaign(folder.display().to_string())
            } else {
                damaged(&path, "it does not say how far the campaign is")
            });
        };
        // Whatever was changed in it, it is not what would be written.
        if progress.sealed().ok().as_deref() != Some(bytes.as_slice()) {
            return Err(damaged(&path, "it is not what was written"));
        }
        Ok(Some(progress))
    }

    /// As [`Self::read`], of this campaign and shard.
    fn load(folder: &Path, campaign: &str, shard: Option<Shard>) -> Result<Option<Self>, Error> {
        let progress = Self::read(folder)?;
        let shown = || folder.display().to_string();
        if progress.as_ref().is_some_and(|p| p.campaign != campaign) {
            return Err(Error::OtherCampaign(shown()));
        }
        match progress.as_ref().map(|p| p.shard) {
            Some(found) if found != shard => {
                let words = |s: Option<Shard>| s.map_or("all".into(), |s| format!("shard {s}"));
                Err(Error::OtherShard {
                    folder: shown(),
                    found: words(found),
                    asked: words(shard),
                })
            }
            _ => Ok(progress),
        }
    }
}

/// A file that is added to, and the digest of all that stands in it.
struct Log {
    path: PathBuf,
    file: BufWriter<File>,
    digest: Digest,
}

impl Write for Log {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self.file.write(bytes)?;
        self.digest.update(&bytes[..n]);
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Log {
    /// Opens `name`, of which `complete` is known to be complete; where the campaign is finished that is all.
    fn open(
        folder: &Path,
        name: &str,
        complete: &Content,
        is_finished: bool,
    ) -> Result<Self, Error> {
        let path = folder.join(name);
        let mut digest = Digest::default();
        let exists = std::fs::symlink_metadata(&path).is_ok();
        if exists || complete.bytes > 0 {
            let file = files::open(&path)?;
            let length = file.metadata().map_err(io(&path))?.len();
            if length < complete.bytes {
                let what = format!("it has {length} bytes of {}", complete.bytes);
                return Err(damaged(&path, what));
            }
            if is_finished && length > complete.bytes {
                let what = format!("it has {length} bytes, and {} were written", complete.bytes);
                return Err(damaged(&path, what));
            }
            let mut reader = BufReader::with_capacity(1 << 16, file.take(complete.bytes));
            loop {
                let piece = reader.fill_buf().map_err(io(&path))?;
                if piece.is_empty() {
                    break;
                }
                digest.update(piece);
                let n = piece.len();
                reader.consume(n);
            }
            if digest.clone().content() != *complete {
                return Err(damaged(&path, "it is not what was written"));
            }
        }
        let open = || {
            let mut file = OpenOptions::new()
                .create(true)
                .truncate(false)
                .read(true)
                .write(true)
                .open(&path)?;
            file.set_len(complete.bytes)?;
            file.seek(SeekFrom::End(0))?;
            Ok(file)
        };
        let file = open().map_err(io(&path))?;
        Ok(Self {
            file: BufWriter::new(file),
            path,
            digest,
        })
    }

    /// The last four bytes, as a number; 0 where nothing stands.
    fn last_number(&mut self) -> Result<u32, Error> {
        let file = self.file.get_mut();
        let mut bytes = [0; 4];
        let mut read = || {
            if file.metadata()?.len() >= 4 {
                file.seek(SeekFrom::End(-4))?;
                file.read_exact(&mut bytes)?;
            }
            Ok(())
        };
        read().map_err(io(&self.path))?;
        Ok(u32::from_le_bytes(bytes))
    }

    fn line(&mut self, record: &impl Serialize) -> Result<(), Error> {
        let mut bytes =
            serde_json::to_vec(record).map_err(|e| io(&self.path)(io::Error::other(e)))?;
        bytes.push(b'\n');
        self.copy(&bytes)
    }

    /// A line as it is, with its end.
    fn copy(&mut self, line: &[u8]) -> Result<(), Error> {
        let written = self.write_all(line);
        written.map_err(io(&self.path))
    }

    /// Makes sure that what was written is kept: what stands there now.
    fn commit(&mut self) -> Result<Content, Error> {
        let flushed = self.file.flush();
        flushed.map_err(io(&self.path))?;
        Ok(self.digest.clone().content())
    }
}

/// The files of a campaign.
pub(super) struct Results {
    folder: PathBuf,
    trials: Log,
    stretches: Log,
    measurements: Blocks<Log>,
    misses: Digest,
    pub progress: Progress,
    pub just_done: Vec<u64>,
    has_header: bool,
}

impl Results {
    /// Opens the files in `folder`, of a campaign or of a shard of it, cut to what is known to be complete; with the trials
    /// that are done, of `count`.
    pub fn open(
        folder: &Path,
        campaign: &str,
        shard: Option<Shard>,
        count: u64,
    ) -> Result<(Self, Done), Error> {
        let misses = folder.join(MISSES);
        std::fs::create_dir_all(&misses).map_err(io(&misses))?;
        let loaded = Progress::load(folder, campaign, shard)?;
        let is_new = loaded.is_none();
        let progress = loaded.unwrap_or_else(|| Progress::none(campaign, shard));
        if is_new {
            // What stands there is not this campaign's, or nobody knows how far it is complete.
            for name in [TRIALS_FILE, STRETCHES, MEASUREMENTS_FILE] {
                let path = folder.join(name);
                if std::fs::symlink_metadata(&path).is_ok_and(|m| m.len() > 0) {
                    let what = format!(
                        "there is no {PROGRESS} beside it that says how far it is complete"
                    );
                    return Err(damaged(&path, what));
                }
            }
        }
        let open = |name: &str, complete: &Content| {
            Log::open(folder, name, complete, progress.is_finished)
        };
        let trials = open(TRIALS_FILE, &progress.trials)?;
        let stretches = open(STRETCHES, &progress.stretches)?;
        let mut measurements = open(MEASUREMENTS_FILE, &progress.measurements)?;
        let digest = measurements.last_number()?;
        let mut results = Self {
            folder: folder.to_owned(),
            trials,
            stretches,
            measurements: Blocks::new(measurements, digest),
            misses: Digest::default(),
            has_header: progress.measurements.bytes > 0,
            progress,
            just_done: Vec::new(),
        };
        let done = results.done(count)?;
        if is_new {
            results.commit()?;
        }
        Ok((results, done))
    }

    /// The trials that are done; their pictures are held against their digest.
    fn done(&mut self, count: u64) -> Result<Done, Error> {
        #[derive(Deserialize)]
        struct Line {
            trial: u64,
            outcome: Outcome,
        }
        #[derive(Deserialize)]
        struct Outcome {
            picture: Option<String>,
        }
        let path = self.folder.join(TRIALS_FILE);
        let mut done = Done::none(count);
        for line in BufReader::new(files::open(&path)?).lines() {
            let line = line.map_err(io(&path))?;
            let Line { trial, outcome } = serde_json::from_str(&line)
                .map_err(|e| damaged(&path, format!("a line is no trial ({e})")))?;
            if !done.add(trial) {
                let what = format!("trial {trial} stands there twice, or is not of the plan");
                return Err(damaged(&path, what));
            }
            if outcome.picture.is_some() {
                let picture = self.folder.join(trial::picture_name(trial));
                let (bytes, _) = files::read(&picture, MISS_LIMIT)?;
                self.misses.update(&bytes);
            }
        }
        if self.misses.clone().content() != self.progress.misses {
            let what = "a picture in it is not what was written";
            return Err(damaged(&self.folder.join(MISSES), what));
        }
        Ok(done)
    }

    /// Whether the header of the measurements is still to be written.
    pub const fn is_empty(&self) -> bool {
        !self.has_header
    }

    pub fn header(&mut self, header: &Header) -> Result<(), Error> {
        self.has_header = true;
        let written = self.measurements.header(header);
        written.map_err(io(&self.folder.join(MEASUREMENTS_FILE)))
    }

    /// The header, as a shard has it.
    pub fn header_line(&mut self, line: &[u8]) -> Result<(), Error> {
        self.has_header = true;
        let written = self.measurements.header_line(line);
        written.map_err(io(&self.folder.join(MEASUREMENTS_FILE)))
    }

    pub fn stretch(&mut self, record: &StretchRecord) -> Result<(), Error> {
        self.stretches.line(record)
    }

    /// A stretch, as a shard has it.
    pub fn stretch_line(&mut self, line: &[u8]) -> Result<(), Error> {
        self.stretches.copy(line)
    }

    pub fn measured(&mut self, measured: &Measured) -> Result<(), Error> {
        let written = self.measurements.clip(measured);
        written.map_err(io(&self.folder.join(MEASUREMENTS_FILE)))
    }

    pub fn trial(&mut self, done: &trial::Done) -> Result<(), Error> {
        self.trials.line(&done.record)?;
        self.measured(&done.measured)?;
        if let (Some(picture), Some(name)) = (&done.picture, &done.record.outcome.picture) {
            let path = self.folder.join(name);
            let mut png = io::Cursor::new(Vec::new());
            picture
                .write_to(&mut png, image::ImageFormat::Png)
                .map_err(|e| io(&path)(io::Error::other(e)))?;
            self.misses.update(png.get_ref());
            std::fs::write(&path, png.get_ref()).map_err(io(&path))?;
        }
        self.just_done.push(done.record.trial);
        Ok(())
    }

    /// A trial, as a shard has it.
    pub fn copy_trial(
        &mut self,
        number: u64,
        line: &[u8],
        measured: &Measured,
        picture: Option<&[u8]>,
    ) -> Result<(), Error> {
        self.trials.copy(line)?;
        self.measured(measured)?;
        if let Some(png) = picture {
            let path = self.folder.join(trial::picture_name(number));
            self.misses.update(png);
            std::fs::write(&path, png).map_err(io(&path))?;
        }
        Ok(())
    }

    /// Whether the record of this stretch was written, and some of its trials carried out.
    pub const fn has_begun(&self, pass: usize, capture: usize, stretch: usize) -> bool {
        let p = &self.progress;
        p.is_begun && p.pass == pass && p.capture == capture && p.stretch == stretch
    }

    /// Notes that the campaign goes on with this stretch, and whether it was begun, and keeps what was written.
    pub fn reach(
        &mut self,
        pass: usize,
        capture: usize,
        stretch: usize,
        is_begun: bool,
    ) -> Result<(), Error> {
        let p = &mut self.progress;
        (p.pass, p.capture, p.stretch, p.is_begun) = (pass, capture, stretch, is_begun);
        self.commit()
    }

    /// Makes sure that what was written is kept.
    pub fn commit(&mut self) -> Result<(), Error> {
        self.progress.trials = self.trials.commit()?;
        self.progress.stretches = self.stretches.commit()?;
        self.progress.measurements = self.measurements.out().commit()?;
        self.progress.misses = self.misses.clone().content();
        let path = self.folder.join(PROGRESS);
        let new = self.folder.join("progress.json.new");
        let bytes = self
            .progress
            .sealed()
            .map_err(|e| io(&path)(io::Error::other(e)))?;
        std::fs::write(&new, bytes).map_err(io(&new))?;
        crate::files::sync(&new).map_err(io(&new))?;
        std::fs::rename(&new, &path).map_err(io(&path))
    }

    /// All trials that can begin are done.
    pub fn finish(&mut self) -> Result<(), Error> {
        if self.has_header {
            let written = self.measurements.end();
            written.map_err(io(&self.folder.join(MEASUREMENTS_FILE)))?;
        }
        self.progress.is_finished = true;
        // Where it was last depends on where it was broken off, and it goes on nowhere.
        self.reach(0, 0, 0, false)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::damage;

    const CAMPAIGN: &str = "framevouch test 0";

    fn written(folder: &Path, is_finished: bool) {
        let (mut results, done) = Results::open(folder, CAMPAIGN, None, 100).unwrap();
        assert_eq!(done.count(), 0);
        let clip = Measured::with(&Header::for_tests(), Some(7), 0);
        results.header(&Header::for_tests()).unwrap();
        for trial in 0..20u64 {
            let picture = (trial % 5 == 0).then(|| trial::picture_name(trial));
            let record = serde_json::json!({"trial": trial, "kind": "bias", "outcome": {"picture": picture}});
            results.trials.line(&record).unwrap();
            results.stretches.line(&record).unwrap();
            results.measured(&clip).unwrap();
            if let Some(name) = picture {
                let bytes = vec![trial as u8 + 1; 200];
                results.misses.update(&bytes);
                std::fs::write(folder.join(name), bytes).unwrap();
            }
        }
        results.progress.stretch = 3;
        if is_finished {
            results.finish().unwrap();
        } else {
            results.commit().unwrap();
        }
    }

    const FILES: [&str; 5] = [
        PROGRESS,
        TRIALS_FILE,
        STRETCHES,
        MEASUREMENTS_FILE,
        "misses/trial_000005.png",
    ];

    #[test]
    fn every_damage_is_noticed_before_anything_is_added() {
        // Of 300 damages of progress.json 25 passed before, and files cut short were filled up with zeros.
        let folder = tempfile::tempdir().unwrap();
        let folder = folder.path();
        written(folder, true);
        let (_, done) = Results::open(folder, CAMPAIGN, None, 100).unwrap();
        assert!((0..100).all(|n| done.has(n) == (n < 20)));
        for name in FILES {
            let path = folder.join(name);
            let good = std::fs::read(&path).unwrap();
            for seed in 0..300 {
                let (how, bad) = damage::damaged(&good, seed);
                std::fs::write(&path, &bad).unwrap();
                let opened = Results::open(folder, CAMPAIGN, None, 100);
                assert!(opened.is_err(), "{name}, {seed}: {how}");
                assert_eq!(
                    std::fs::read(&path).unwrap(),
                    bad,
                    "{name}: nothing is touched"
                );
            }
            std::fs::remove_file(&path).unwrap();
            assert!(
                Results::open(folder, CAMPAIGN, None, 100).is_err(),
                "{name} is gone"
            );
            std::fs::write(&path, &good).unwrap();
        }
        assert!(Results::open(folder, CAMPAIGN, None, 100).is_ok());
    }

    #[test]
    fn what_was_being_written_when_it_was_broken_off_is_cut_off() {
        let folder = tempfile::tempdir().unwrap();
        let folder = folder.path();
        written(folder, false);
        let good: Vec<Vec<u8>> = FILES.map(|f| std::fs::read(folder.join(f)).unwrap()).into();
        for name in &FILES[1..4] {
            let mut file = OpenOptions::new()
                .append(true)
                .open(folder.join(name))
                .unwrap();
            file.write_all(b"{\"half a li").unwrap();
        }
        let (mut results, done) = Results::open(folder, CAMPAIGN, None, 100).unwrap();
        assert_eq!((done.count(), results.progress.stretch), (20, 3));
        results.commit().unwrap();
        let now: Vec<Vec<u8>> = FILES.map(|f| std::fs::read(folder.join(f)).unwrap()).into();
        assert_eq!(now, good);
        drop(results);
        assert!(matches!(
            Results::open(folder, "framevouch test 1", None, 100),
            Err(Error::OtherCampaign(_))
        ));
    }

    #[test]
    fn a_shard_goes_on_in_its_own_folder_alone() {
        let folder = tempfile::tempdir().unwrap();
        let open = |shard| Results::open(folder.path(), CAMPAIGN, shard, 100).map(drop);
        open(Shard::new(2, 3)).unwrap();
        open(Shard::new(2, 3)).unwrap();
        for (other, words) in [
            (Shard::new(1, 3), "this is shard 1/3"),
            (Shard::new(2, 4), "this is shard 2/4"),
            (None, "this is all"),
        ] {
            let error = open(other).unwrap_err().to_string();
            assert!(error.contains("holds shard 2/3"), "{error}");
            assert!(error.contains(words), "{error}");
        }
    }

    /// Up to 4fd96a8 a campaign that was broken off behind its last trial ended with another place in its progress.
    #[test]
    fn a_finished_campaign_says_the_same_wherever_it_went_on() {
        let finished = |pass: usize, stretch: usize| {
            let folder = tempfile::tempdir().unwrap();
            written(folder.path(), false);
            let (mut results, _) = Results::open(folder.path(), CAMPAIGN, None, 100).unwrap();
            results.reach(pass, 0, stretch, stretch > 0).unwrap();
            results.finish().unwrap();
            std::fs::read(folder.path().join(PROGRESS)).unwrap()
        };
        assert_eq!(finished(2, 0), finished(1, 1));
    }

    #[test]
    fn trials_without_progress_are_not_thrown_away() {
        // They were cut to nothing.
        let folder = tempfile::tempdir().unwrap();
        written(folder.path(), false);
        std::fs::remove_file(folder.path().join(PROGRESS)).unwrap();
        let error = Results::open(folder.path(), CAMPAIGN, None, 100)
            .err()
            .unwrap();
        assert!(error.to_string().contains("progress.json"), "{error}");
        assert!(
            std::fs::metadata(folder.path().join(TRIALS_FILE))
                .unwrap()
                .len()
                > 0
        );
    }
}
