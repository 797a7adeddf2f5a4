//! The plan of a suite, as the engineer writes it (TOML).
//!
//! A capture whose name has a star stands for every file of its folder that the name fits: `cruise-*.mp4`. What
//! the star stands for goes into each star of the run's other keys, so that recordings, profiles and ids follow.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range as Span;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

use crate::files::{self, FileContent, Limit};

/// The most that a plan may hold.
const LIMIT: Limit = Limit {
    kind: "a suite plan",
    bytes: 4 << 20,
};
/// Most runs, once stars are filled in.
const MOST_RUNS: usize = 10_000;
/// Most tags of a run, and characters of one.
const MOST_TAGS: (usize, usize) = (50, 64);
/// Largest offset, s.
const FARTHEST_OFFSET_S: f64 = 1e10;
/// Farthest corner of a display, px.
const FARTHEST_PX: f64 = 1e5;

/// The keys that a run has, or takes from the defaults: each is written once, and stands in both tables.
macro_rules! options {
    ($($(#[$about:meta])* $name:ident: $kind:ty,)*) => {
        /// What holds for all runs that do not say otherwise.
        #[derive(Clone, Debug, Default, PartialEq, Deserialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct Defaults {
            /// Tags that all runs have besides their own.
            #[serde(default)]
            pub tags: Vec<String>,
            $($(#[$about])* pub $name: Option<$kind>,)*
        }

        /// One capture and how it is checked.
        #[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct Run {
            /// What the run is called: letters, digits, `-` and `_`, at most 64; also the name of its result folder. With a
            /// star where the capture has one.
            #[schemars(with = "String")]
            pub id: Spanned<String>,
            /// Folder of PNGs, YUV4MPEG2 file or any video that ffmpeg reads, relative to the plan. A star in its last part stands for
            /// whatever is there; each file that fits is a run.
            pub capture: String,
            /// What the run has in common with others; the page counts by tag.
            #[serde(default)]
            pub tags: Vec<String>,
            /// Id of a run further up, of another display by the same recording: what the two show is compared.
            pub beside: Option<String>,
            $($(#[$about])* pub $name: Option<$kind>,)*
        }

        impl Run {
            fn with(mut self, defaults: &Defaults) -> Self {
                $(if self.$name.is_none() { self.$name.clone_from(&defaults.$name); })*
                self
            }
        }
    };
}

options! {
    /// Display definition, relative to the plan.
    display: String,
    /// The recording, relative to the plan.
    inputs: String,
    /// How the recording is written, a file with a table `[recording]`, relative to the plan; as the definition says when absent.
    recording: String,
    /// Further tables of the recording by the names that the definition has for them, relative to the plan.
    tables: BTreeMap<String, String>,
    /// Capture profile, relative to the plan; measured from the capture when absent.
    profile: String,
    /// Where in the capture the display stands, px: left, top, width and height, or x and y of its four corners clockwise from
    /// the top left, or `"auto"`.
    place: PlaceKey,
    /// Recording time = capture time + this, s, or `"auto"`; as `check` does without `--offset` when absent.
    offset_s: OffsetKey,
    /// Frame rate of captures that carry no times, 1/s.
    fps: f64,
    /// Matrix of the stream, where its own mark is wrong or absent.
    matrix: MatrixKey,
    /// Range of the stream, where its own mark is wrong or absent.
    range: RangeKey,
    /// Accept a recording that lacks channels, or is shorter than the capture.
    allow_missing: bool,
    /// The display's own monitor was off when it was recorded: no reversion is waited for.
    monitor_off: bool,
    /// Also store what thresholds decide on, for `tune`.
    measurements: bool,
    /// Longest time that ffmpeg may give nothing, s; 30 when absent.
    ffmpeg_timeout_s: f64,
}

/// The whole file.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SuitePlan {
    /// The suite.
    pub suite: General,
    /// Its runs.
    pub run: Vec<Run>,
}

/// The suite as a whole.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct General {
    /// What the suite is called.
    pub name: String,
    /// What holds for all runs that do not say otherwise.
    #[serde(default)]
    pub defaults: Defaults,
}

/// Where a display stands.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "place is 4 numbers (left, top, width, height), 8 (corners), or \"auto\""
)]
pub enum PlaceKey {
    /// Left, top, width, height, or four corners, px.
    Numbers(Vec<f64>),
    /// It is looked for.
    Word(Auto),
}

/// A time offset.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(untagged, expecting = "offset_s is a number of seconds, or \"auto\"")]
pub enum OffsetKey {
    /// Seconds.
    Seconds(f64),
    /// It is found from the material.
    Word(Auto),
}

/// It is found from the material.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Auto {
    /// It is found from the material.
    Auto,
}

/// A matrix of Y'CbCr.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum MatrixKey {
    /// ITU-R BT.601.
    Bt601,
    /// ITU-R BT.709.
    Bt709,
}

/// A range of levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RangeKey {
    /// 16 to 235.
    Limited,
    /// 0 to 255.
    Full,
}

/// A run with all that it takes from the defaults; paths lead from where the program runs.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// Its number in the plan, from 0.
    pub number: usize,
    /// What it is called.
    pub id: String,
    /// The run of another display that it is compared with.
    pub beside: Option<String>,
    /// Its tags, each once, in order.
    pub tags: Vec<String>,
    /// The capture as the plan says it.
    pub shown_capture: String,
    /// The capture.
    pub capture: PathBuf,
    /// The definition.
    pub display: PathBuf,
    /// The recording.
    pub inputs: PathBuf,
    /// How the recording is written.
    pub recording: Option<PathBuf>,
    /// Further tables of the recording, by name.
    pub tables: Vec<(String, PathBuf)>,
    /// The capture profile.
    pub profile: Option<PathBuf>,
    /// Where the display stands.
    pub place: Option<PlaceKey>,
    /// The time offset, s.
    pub offset_s: Option<OffsetKey>,
    /// Frame rate, 1/s.
    pub fps: Option<f64>,
    /// Matrix of the stream.
    pub matrix: Option<MatrixKey>,
    /// Range of the stream.
    pub range: Option<RangeKey>,
    /// Whether the recording may lack something.
    pub allow_missing: bool,
    /// Whether the display's own monitor was off.
    pub monitor_off: bool,
    /// Whether measurements are stored.
    pub measurements: bool,
    /// Longest silence of ffmpeg, s.
    pub ffmpeg_timeout_s: Option<f64>,
}

/// A plan that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// What the suite is called.
    pub name: String,
    /// Its runs, in the order of the file; of a star in the order of the names.
    pub runs: Vec<Planned>,
    /// The folder of the plan, which paths in it are relative to.
    pub folder: PathBuf,
    /// What the file held.
    pub content: FileContent,
}

/// What is wrong with a plan.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// It cannot be read.
    #[error(transparent)]
    Unreadable(#[from] files::Error),
    /// It is not a plan, or asks for what cannot be.
    #[error("plan \"{path}\", line {line}, column {column}: {what}")]
    Wrong {
        /// The file.
        path: String,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What was found and expected.
        what: String,
    },
}

impl Plan {
    /// Reads the plan at `path`, and looks for the captures that its stars stand for.
    ///
    /// # Errors
    /// When it cannot be read, is not a plan, or asks for what cannot be.
    pub fn load(path: &Path) -> Result<Self, Error> {
        let (text, content) = files::read_text(path, LIMIT)?;
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        let (name, runs) = read(&text, &path.display().to_string(), &folder)?;
        let path = path.to_owned();
        Ok(Self {
            name,
            runs,
            folder,
            content: FileContent { path, content },
        })
    }
}

/// Reads a plan from `text`: its name and its runs. `shown` is what messages call it, `folder` what its paths are relative to.
///
/// # Errors
/// As [`Plan::load`].
pub fn read(text: &str, shown: &str, folder: &Path) -> Result<(String, Vec<Planned>), Error> {
    let wrong = |at: usize, what: String| {
        let (line, column) = files::line_and_column(text, at);
        Error::Wrong {
            path: shown.to_owned(),
            line,
            column,
            what,
        }
    };
    let plan: SuitePlan = toml::from_str(text)
        .map_err(|e| wrong(e.span().map_or(0, |s| s.start), e.message().to_owned()))?;
    let defaults = &plan.suite.defaults;
    let mut runs: Vec<Planned> = Vec::new();
    let mut ids = BTreeSet::new();
    for run in plan.run {
        let Span { start: at, .. } = run.id.span();
        let run = run.with(defaults);
        let found = filled(&run, folder).map_err(|what| wrong(at, what))?;
        for star in found {
            let what = planned(&run, star.as_deref(), defaults, folder).and_then(|planned| {
                let beside = planned.beside.as_ref();
                match beside.filter(|id| runs.iter().all(|r| r.id != **id)) {
                    Some(id) => Err(format!(
                        "there is no run \"{id}\" further up that it could stand beside"
                    )),
                    None => Ok(planned),
                }
            });
            let planned =
                what.map_err(|what| wrong(at, format!("run \"{}\": {what}", run.id.get_ref())))?;
            let planned = Planned {
                number: runs.len(),
                ..planned
            };
            // File systems may take two names that differ in capitals for one.
            if !ids.insert(planned.id.to_lowercase()) {
                let what = format!("there are two runs \"{}\"; ids are unique", planned.id);
                return Err(wrong(at, what));
            }
            runs.push(planned);
            if runs.len() > MOST_RUNS {
                let what =
                    format!("there are more than {MOST_RUNS} runs; make several suites of it");
                return Err(wrong(at, what));
            }
        }
    }
    if runs.is_empty() {
        let what = "there is no [[run]]; give at least one".to_owned();
        return Err(wrong(text.len(), what));
    }
    Ok((plan.suite.name, runs))
}

/// What the star of a run's capture stands for, a file each, in order; one `None` where it has none.
fn filled(run: &Run, folder: &Path) -> Result<Vec<Option<String>>, String> {
    let (id, capture) = (run.id.get_ref(), &run.capture);
    match capture.matches('*').count() {
        0 if id.contains('*') => {
            return Err(format!(
                "run \"{id}\" has a star, and its capture \"{capture}\" has none"
            ));
        }
        0 => return Ok(vec![None]),
        1 if !id.contains('*') => {
            return Err(format!(
                "run \"{id}\": its capture \"{capture}\" has a star, so its id needs one: \"{id}-*\""
            ));
        }
        1 => {}
        n => {
            return Err(format!(
                "run \"{id}\": \"{capture}\" has {n} stars; one is allowed"
            ));
        }
    }
    let (parent, name) = capture.rsplit_once('/').unwrap_or(("", capture));
    let Some((before, after)) = name.split_once('*') else {
        return Err(format!(
            "run \"{id}\": the star of \"{capture}\" stands in the name of a folder; it may stand in the last part alone"
        ));
    };
    let place = folder.join(parent);
    let cannot = |e: std::io::Error| format!("cannot list \"{}\": {e}", place.display());
    let listed = if place.as_os_str().is_empty() {
        std::fs::read_dir(".")
    } else {
        std::fs::read_dir(&place)
    };
    let mut stars = BTreeSet::new();
    for entry in listed.map_err(cannot)? {
        let entry = entry.map_err(cannot)?.file_name();
        let Some(name) = entry.to_str() else { continue };
        let star = name
            .strip_prefix(before)
            .and_then(|n| n.strip_suffix(after));
        // A name that begins with a dot is hidden.
        if let Some(star) = star.filter(|s| !s.is_empty() && !name.starts_with('.')) {
            stars.insert(star.to_owned());
        }
    }
    if stars.is_empty() {
        return Err(format!("run \"{id}\": nothing fits \"{capture}\""));
    }
    Ok(stars.into_iter().map(Some).collect())
}

/// The run that `star` gives.
fn planned(
    run: &Run,
    star: Option<&str>,
    defaults: &Defaults,
    folder: &Path,
) -> Result<Planned, String> {
    let with_star = |text: &str| star.map_or(text.to_owned(), |s| text.replace('*', s));
    let id = with_star(run.id.get_ref());
    if id.is_empty() || files::name::of_id(&id) != id {
        return Err(format!(
            "\"{id}\" is no id: letters and digits of ASCII, - and _, at most 64 of them"
        ));
    }
    let path = |key: &Option<String>| key.as_deref().map(|text| folder.join(with_star(text)));
    let tables = run.tables.iter().flatten();
    let tables = tables.map(|(name, text)| (name.clone(), folder.join(with_star(text))));
    let needed = |what: &str, key: &Option<String>| {
        path(key)
            .ok_or_else(|| format!("it has no {what}; give one here or under [suite.defaults]"))
    };
    check_numbers(run)?;
    let tags: BTreeSet<&String> = run.tags.iter().chain(&defaults.tags).collect();
    let tags: Vec<String> = tags.into_iter().cloned().collect();
    check_tags(&tags)?;
    let shown_capture = with_star(&run.capture);
    if shown_capture == "-" {
        return Err("a suite reads no standard input; record the capture to a file".into());
    }
    Ok(Planned {
        number: 0,
        id,
        beside: run.beside.as_deref().map(with_star),
        tags,
        capture: folder.join(&shown_capture),
        shown_capture,
        display: needed("display", &run.display)?,
        inputs: needed("inputs", &run.inputs)?,
        recording: path(&run.recording),
        tables: tables.collect(),
        profile: path(&run.profile),
        place: run.place.clone(),
        offset_s: run.offset_s,
        fps: run.fps,
        matrix: run.matrix,
        range: run.range,
        allow_missing: run.allow_missing.unwrap_or(false),
        monitor_off: run.monitor_off.unwrap_or(false),
        measurements: run.measurements.unwrap_or(false),
        ffmpeg_timeout_s: run.ffmpeg_timeout_s,
    })
}

fn check_numbers(run: &Run) -> Result<(), String> {
    let within = |what: &str, v: f64, low: f64, high: f64| {
        if (low..=high).contains(&v) {
            Ok(())
        } else {
            Err(format!("{what} is {v}; allowed are {low} to {high}"))
        }
    };
    if let Some(OffsetKey::Seconds(v)) = run.offset_s {
        within("offset_s", v, -FARTHEST_OFFSET_S, FARTHEST_OFFSET_S)?;
    }
    if let Some(v) = run.fps {
        within("fps", v, 1e-3, 1000.0)?;
    }
    if let Some(v) = run.ffmpeg_timeout_s {
        within("ffmpeg_timeout_s", v, 1e-3, 86_400.0)?;
    }
    if let Some(PlaceKey::Numbers(list)) = &run.place {
        if ![4, 8].contains(&list.len()) {
            return Err(format!(
                "place has {} numbers; give left, top, width and height, or x and y of four corners",
                list.len()
            ));
        }
        for v in list {
            within("a number of place", *v, -FARTHEST_PX, FARTHEST_PX)?;
        }
    }
    if run.place.is_some() && run.profile.is_some() {
        return Err("the profile says where the display stands; leave place or profile out".into());
    }
    Ok(())
}

fn check_tags(tags: &[String]) -> Result<(), String> {
    let (most, longest) = MOST_TAGS;
    if tags.len() > most {
        return Err(format!(
            "it has {} tags; at most {most} are allowed",
            tags.len()
        ));
    }
    let is_bad = |t: &&String| {
        t.trim().is_empty() || t.chars().count() > longest || t.chars().any(char::is_control)
    };
    match tags.iter().find(is_bad) {
        None => Ok(()),
        Some(tag) => Err(format!(
            "\"{}\" is no tag: 1 to {longest} characters, no control characters",
            tag.escape_debug()
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "[suite]\nname = \"s\"\n[suite.defaults]\ndisplay = \"d.toml\"\ninputs = \"i.csv\"\ntags = [\"all\"]\n\
        offset_s = 1.5\n[[run]]\nid = \"a\"\ncapture = \"a.mp4\"\ntags = [\"day\"]\n";

    fn of(text: &str) -> Result<Vec<Planned>, String> {
        let read = read(text, "p.toml", Path::new("plans"));
        read.map(|(_, runs)| runs).map_err(|e| e.to_string())
    }

    #[test]
    fn a_run_takes_what_it_does_not_say_from_the_defaults() {
        let more = "[[run]]\nid = \"b\"\ncapture = \"b.mp4\"\ninputs = \"b.csv\"\noffset_s = \"auto\"\nplace = [1, 2, 3, 4]\n";
        let runs = of(&(GOOD.to_owned() + more)).unwrap();
        assert_eq!(runs[0].tags, ["all", "day"]);
        assert_eq!(runs[0].offset_s, Some(OffsetKey::Seconds(1.5)));
        assert_eq!(runs[0].inputs, Path::new("plans/i.csv"));
        assert_eq!(runs[1].inputs, Path::new("plans/b.csv"));
        assert_eq!(runs[1].offset_s, Some(OffsetKey::Word(Auto::Auto)));
        assert_eq!(runs[1].display, runs[0].display);
    }

    #[test]
    fn mistakes_are_told_with_their_place() {
        for (from, to, place, what) in [
            (
                "id = \"a\"",
                "id = \"a\"\nspeed = 1",
                "line 10, column 1",
                "unknown field `speed`",
            ),
            ("id = \"a\"", "id = \"a/b\"", "line 9, column 6", "no id"),
            ("id = \"a\"", "id = \"\"", "line 9, column 6", "no id"),
            ("display = \"d.toml\"", "", "line 9, column 6", "no display"),
            ("capture = \"a.mp4\"\n", "", "line 8", "capture"),
            (
                "offset_s = 1.5",
                "offset_s = \"soon\"",
                "line 7, column 12",
                "offset_s is a number",
            ),
            (
                "a.mp4\"",
                "a.mp4\"\nplace = [1, 2, 3]",
                "line 9",
                "3 numbers",
            ),
            ("a.mp4\"", "a.mp4\"\nfps = 0", "line 9", "fps is 0"),
            ("[\"day\"]", "[\" \"]", "line 9", "no tag"),
            ("a.mp4\"", "-\"", "line 9", "standard input"),
            ("a.mp4\"", "*.mp4\"", "line 9", "its id needs one"),
            ("id = \"a\"", "id = \"*\"", "line 9", "has none"),
        ] {
            let text = GOOD.replacen(from, to, 1);
            let told = of(&text).expect_err(to);
            assert!(told.contains(place) && told.contains(what), "{to}: {told}");
        }
        let twice = GOOD.to_owned() + "[[run]]\nid = \"A\"\ncapture = \"b.mp4\"\n";
        assert!(
            of(&twice)
                .unwrap_err()
                .contains("line 13, column 6: there are two runs \"A\"")
        );
        assert!(of("[suite]\nname = \"s\"\nrun = []\n").is_err());
    }

    #[test]
    fn a_run_stands_beside_one_further_up() {
        let beside = |id: &str, of: &str| {
            format!("[[run]]\nid = \"{id}\"\ncapture = \"{id}.mp4\"\nbeside = \"{of}\"\n")
        };
        let runs = of(&(GOOD.to_owned() + &beside("b", "a"))).unwrap();
        assert_eq!(runs[1].beside.as_deref(), Some("a"));
        assert_eq!(runs[1].number, 1);
        for of_what in ["b", "c"] {
            let told = of(&(GOOD.to_owned() + &beside("b", of_what) + &beside("c", "a")));
            let told = told.unwrap_err();
            let what =
                format!("line 13, column 6: run \"b\": there is no run \"{of_what}\" further up");
            assert!(told.contains(&what), "{told}");
        }
    }

    #[test]
    fn a_star_makes_a_run_of_each_file_that_fits() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["b-2.y4m", "b-1.y4m", "b-.y4m", "c.y4m", ".b-3.y4m"] {
            std::fs::write(folder.path().join(name), "").unwrap();
        }
        let text = "[suite]\nname = \"s\"\n[suite.defaults]\ndisplay = \"d\"\n[[run]]\nid = \"fly-*\"\ncapture = \"b-*.y4m\"\ninputs = \"*.csv\"\n";
        let (_, runs) = read(text, "p", folder.path()).unwrap();
        let ids: Vec<&str> = runs.iter().map(|r| r.id.as_str()).collect();
        assert_eq!(ids, ["fly-1", "fly-2"]);
        assert_eq!(runs[1].inputs, folder.path().join("2.csv"));
        assert_eq!(runs[1].shown_capture, "b-2.y4m");
        let none = text.replace("b-*", "z-*");
        assert!(
            read(&none, "p", folder.path())
                .unwrap_err()
                .to_string()
                .contains("nothing fits")
        );
    }
}
