//! An event of a check told in words, from its claim to the frame, the pixels, the limit and the rule.
//!
//! *The question*: a reader was handed a line of results; on what does it rest? *The method*: the records of a check are
//! loaded as everybody loads them ([`ResultsFolder`]), the frames that the event spans are gone through once
//! (`gathered`), and each step of the argument becomes a paragraph (`words`): what is claimed, what was due and what
//! was shown, by how much beyond which limit, how sure the reading is, since when and what confirmed it, which pixels and
//! which pictures show it, which rule decided. Sentences of rules come from [`crate::judge::rules`], limits from the
//! records; what confirmed an event is found by running the judge's own persistence over the recorded verdicts. A
//! region can be asked for as well: then it is told what was said of it over the run, blind time too.
//!
//! *What it cannot tell*: what no record holds: the pixels of frames that were not stored, the sums and stories on the
//! way to a verdict, and at which instant of a gap of the stream something was judged.

mod gathered;
mod words;

use std::path::Path;

use super::display::DisplayRecord;
use super::records::Summary;
use super::results_folder::{self, ResultsFolder, Trust};
use super::stills::{EventStills, StillsRecord};
use crate::judge::event::Event;
use crate::judge::verdict::Verdict;
use gathered::Gathered;

/// Why there is nothing to tell.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The results cannot be read, or are not as they were written.
    #[error(transparent)]
    Folder(#[from] results_folder::Error),
    /// Results of another command.
    #[error(
        "\"{folder}\" holds results of \"{command}\"; events are explained from results of check"
    )]
    Kind {
        /// The folder.
        folder: String,
        /// What its manifest says.
        command: String,
    },
    /// An event that is not there.
    #[error("\"{folder}\" has no event {event}: {}", there_are(*.count))]
    NoEvent {
        /// The folder.
        folder: String,
        /// The number that was asked for.
        event: usize,
        /// How many there are.
        count: usize,
    },
    /// Neither a number of an event nor a region.
    #[error(
        "\"{asked}\" is neither the number of an event ({}) nor a region of \"{folder}\": its regions are {}",
        there_are(*.count),
        .regions.join(", ")
    )]
    Unknown {
        /// The folder.
        folder: String,
        /// What was asked for.
        asked: String,
        /// How many events there are.
        count: usize,
        /// The regions that there are.
        regions: Vec<String>,
    },
}

fn there_are(count: usize) -> String {
    match count {
        0 => "there are no events".into(),
        1 => "there is event 0 alone".into(),
        n => format!("they go from 0 to {}", n - 1),
    }
}

/// What is told.
#[derive(Clone, Debug, PartialEq)]
pub struct Explained {
    /// What it is about.
    pub title: String,
    /// The verdict that is explained; of a region none.
    pub verdict: Option<Verdict>,
    /// The steps of the argument.
    pub paragraphs: Vec<Paragraph>,
    /// What is not as it was written; something only with [`Trust::Unverified`].
    pub differing: Vec<String>,
}

/// A step of the argument.
#[derive(Clone, Debug, PartialEq)]
pub struct Paragraph {
    /// The question that it answers.
    pub heading: &'static str,
    /// The answer, a line a thought.
    pub lines: Vec<String>,
}

/// The records of a check that are needed, and what the frames say of what was asked.
#[derive(Debug)]
struct Told {
    summary: Summary,
    display: DisplayRecord,
    events: Vec<Event>,
    about: About,
}

/// What is explained.
#[derive(Debug)]
enum About {
    /// Its place in the list of events, what the frames say of it, and its stored frames.
    Event(usize, Box<Gathered>, Option<EventStills>),
    /// Its place in the list of regions.
    Region(usize),
}

/// Explains what `asked` names in the results of a check in `folder`: an event by its number (`3`, or `E3` as the page
/// calls it), or a region by its id.
///
/// # Errors
/// When the folder holds no results of a check, they are not as they were written (with [`Trust::Verified`]), or there is
/// no such event or region.
pub fn explain(folder: &Path, asked: &str, trust: Trust) -> Result<Explained, Error> {
    let (files, told, verified) =
        ResultsFolder::load(folder, trust, |files| Told::of(files, asked))?;
    let place = words::Place {
        folder,
        manifest: files.manifest(),
        sha256: files.manifest_sha256(),
    };
    let mut explained = match &told.about {
        About::Event(k, gathered, stills) => {
            words::of_event(&told, *k, gathered, stills.as_ref(), &place)
        }
        About::Region(k) => words::of_region(&told, *k, &place),
    };
    let changes = verified.contradictions();
    explained.differing = changes.iter().map(ToString::to_string).collect();
    Ok(explained)
}

/// The number of an event, as records (`3`) and pages (`E3`) write it.
fn number(asked: &str) -> Option<usize> {
    let digits = asked.strip_prefix(['E', 'e']).unwrap_or(asked);
    digits.parse().ok()
}

impl Told {
    fn of(files: &ResultsFolder, asked: &str) -> Result<Self, Error> {
        let folder = || files.path().display().to_string();
        if files.manifest().command != "check" {
            return Err(Error::Kind {
                folder: folder(),
                command: files.manifest().command.clone(),
            });
        }
        let summary: Summary = files.record("summary.json")?;
        let display: DisplayRecord = files.record("display.json")?;
        let events: Vec<Event> = files.record("events.json")?;
        let count = events.len();
        // A region may be called as a number is written: then its id is meant.
        let region = display.regions.iter().position(|r| r.id == asked);
        let about = match (region, number(asked)) {
            (Some(k), _) => About::Region(k),
            (None, Some(k)) if k < count => {
                let mut gathered = Gathered::new(&display, &events[k]);
                files.lines("frames.jsonl", |record| gathered.push(&record))?;
                let stills: StillsRecord = files.record("stills.json")?;
                let stills = stills.events.into_iter().find(|s| s.event == k);
                About::Event(k, Box::new(gathered), stills)
            }
            (None, Some(event)) => {
                return Err(Error::NoEvent {
                    folder: folder(),
                    event,
                    count,
                });
            }
            (None, None) => {
                return Err(Error::Unknown {
                    folder: folder(),
                    asked: asked.to_owned(),
                    count,
                    regions: display.regions.into_iter().map(|r| r.id).collect(),
                });
            }
        };
        Ok(Self {
            summary,
            display,
            events,
            about,
        })
    }
}
