//! Shared set-up: the engine strip (480 x 272) with the first seconds of the demo's scenario, captures of
//! it from the stand-in unit, and the program on files.

use std::fs;
use std::io::Write;
use std::ops::Range as Span;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::AtomicBool;

use framevouch::capture::profile::Profile;
use framevouch::capture::{
    Capture, CapturedFrame, Error as CaptureError, OpenOptions, Siting, StreamInfo, Y4mWriter,
};
use framevouch::chain::measure::Given;
use framevouch::check::place::Place;
use framevouch::check::{self, FrameSource, Offset, Outcome, Settings, Sink, Snapshot};
use framevouch::definition::Definition;
use framevouch::demo::chain::Chain;
use framevouch::demo::faults::{Class, Fault, Kind};
use framevouch::demo::unit::{Plan, Unit};
use framevouch::demo::{self, scenario};
use framevouch::evidence::records::FrameRecord;
use framevouch::examine::subject::Subject;
use framevouch::judge::verdict::Verdict;
use framevouch::picture::{Encoding, Matrix, Picture, Range, Subsampling};
use framevouch::recording::{MissingColumns, Recording};
use framevouch::reference::canvas::Geometry;
use framevouch::reference::drawing::Drawing;
use tempfile::TempDir;

/// Frames a second of all captures here.
pub const RATE_HZ: u32 = 25;

/// A display of one dial, whose region is confirmed after 300 ms.
pub const ONE_DIAL: &str = r##"
[display]
name = "one dial"
width = 140
height = 140
background = "black"
max_latency_ms = 150
[fonts]
text = { builtin = "B612 Regular" }
[colors]
black = "#0a0e13"
white = "#f2f4f5"
amber = "#ffb31a"
[channels]
speed = { column = "speed", unit = "kt" }
[[region]]
id = "dial"
rect = [0, 0, 140, 140]
hazard = "hazardous"
confirm_ms = 300
tolerance = { speed = 3.0 }
[[region.symbol]]
kind = "dial"
center = [70, 70]
radius = 60
breakpoints = [[0, -130], [150, 130]]
ticks = { major_step = 30, major_length = 10, color = "white", labels = { font = "text", size = 12, step = 30, distance = 20 } }
pointers = [{ channel = "speed", tip_radius = 56, tail_radius = -10, width = 5, color = "white" }]
failure = { rect = [6, 6, 128, 128], text = "SPD", font = "text", size = 22, color = "amber", background = "black", cross = true }
"##;
/// Frame rates at which all is the same, frames a second as a fraction.
pub const RATES: [(u32, u32); 5] = [(25, 2), (25, 1), (30_000, 1001), (50, 1), (60, 1)];

/// The scenario's rows up to `to_s`.
pub fn inputs_until(to_s: f64) -> String {
    let csv = scenario::inputs_csv();
    let mut lines = csv.lines();
    let header = lines.next().expect("the scenario has a header");
    let rows = lines.take_while(|l| {
        let time = l.split(',').next().and_then(|t| t.parse::<f64>().ok());
        time.is_some_and(|t| t <= to_s)
    });
    std::iter::once(header)
        .chain(rows)
        .flat_map(|l| [l, "\n"])
        .collect()
}

/// A recording of `columns` over `seconds`, a row every 0.04 s, with what `values` makes of the time, s.
pub fn table<const N: usize>(
    columns: [&str; N],
    seconds: f64,
    values: impl Fn(f64) -> [f64; N],
) -> String {
    let mut csv = format!("t_s,{}\n", columns.join(","));
    for row in 0..=(seconds * 25.0) as u32 {
        let t = f64::from(row) / 25.0;
        let cells = values(t).map(|v| format!("{v:.4}"));
        csv += &format!("{t:.2},{}\n", cells.join(","));
    }
    csv
}

/// A definition, a recording, and how the unit shows them.
pub struct Bench {
    pub definition: Definition,
    pub recording: Recording,
    pub plan: Plan,
    pub allow_missing: bool,
}

impl Bench {
    /// The engine strip with `seconds` of the scenario.
    pub fn engine_strip(seconds: f64) -> Self {
        Self::of(demo::ENGINE_STRIP, seconds)
    }

    pub fn of(display: &str, seconds: f64) -> Self {
        let folder = tempfile::tempdir().expect("there is room for a file");
        let path = folder.path().join("display.toml");
        fs::write(&path, display).expect("there is room for a file");
        let definition = Definition::load(&path).expect("the bundled display is good");
        let recording = Recording::from_reader(
            inputs_until(seconds).as_bytes(),
            "inputs.csv",
            &definition,
            MissingColumns::Refuse,
        )
        .expect("the scenario has all columns");
        Self {
            definition,
            recording,
            plan: Plan {
                rate: (RATE_HZ, 1),
                ..Plan::default()
            },
            allow_missing: false,
        }
    }

    /// A small display of its own, as text, with the recording `csv`.
    pub fn small(display: &str, csv: &str) -> Self {
        let definition = Definition::from_toml(display, "display.toml", Path::new(""))
            .unwrap_or_else(|e| panic!("{e}"));
        let refuse = MissingColumns::Refuse;
        let recording = Recording::from_reader(csv.as_bytes(), "inputs.csv", &definition, refuse)
            .unwrap_or_else(|e| panic!("{e}"));
        Self {
            definition,
            recording,
            plan: Plan {
                rate: (RATE_HZ, 1),
                ..Plan::default()
            },
            allow_missing: false,
        }
    }

    pub fn region(&self, id: &str) -> usize {
        self.definition
            .regions()
            .iter()
            .position(|r| r.id == id)
            .expect("the display has the region")
    }

    /// What the chain delivers, with `kind` from `from_s` to `to_s`.
    pub fn frames(&self, fault: Option<(Kind, f64, f64)>) -> Vec<Picture> {
        let faults = fault
            .map(|(kind, onset_s, end_s)| Fault {
                // Class and regions are for the demo's truth file; only `kind` acts.
                class: Class::Misleading,
                regions: Vec::new(),
                onset_s,
                end_s,
                what: String::new(),
                kind,
            })
            .into_iter()
            .collect();
        let mut unit = Unit::new(&self.definition, &self.recording, self.plan, faults);
        let mut frames = Vec::new();
        let mut frame = Picture::filled(0, 0, Encoding::Rgb, Subsampling::None, [0; 3]);
        while unit.next_frame(&mut frame).is_some() {
            frames.push(frame.clone());
        }
        frames
    }

    /// What the chain delivers when it moves the whole picture `by` px to the right.
    pub fn shifted_frames(&self, by: usize) -> Vec<Picture> {
        let mut unit = Unit::new(&self.definition, &self.recording, self.plan, Vec::new());
        let chain = Chain::new(self.plan.noise, self.plan.seed);
        let mut frames = Vec::new();
        let mut frame = Picture::filled(0, 0, Encoding::Rgb, Subsampling::None, [0; 3]);
        while unit.next_frame(&mut frame).is_some() {
            let mut sent = unit.sent().clone();
            for plane in sent.planes_mut() {
                for y in 0..plane.height() {
                    let row = plane.row_mut(y);
                    let (kept, edge) = (row.len() - by, row[0]);
                    row.copy_within(..kept, by);
                    row[..by].fill(edge);
                }
            }
            chain.send(&sent, frames.len() as u64, &mut frame);
            frames.push(frame.clone());
        }
        frames
    }

    /// The profile that `calibrate` makes of `frames`, or why it makes none.
    pub fn calibrate(&self, frames: &[Picture]) -> Result<Profile, check::Error> {
        self.calibrate_with_raised(frames)
            .map(|(profile, _)| profile)
    }

    /// The chain of `frames`, and the regions of which it is said that a check by it raises them.
    pub fn calibrate_with_raised(
        &self,
        frames: &[Picture],
    ) -> Result<(Profile, Vec<String>), check::Error> {
        let frames = captured_at(frames, self.plan.frames_per_s());
        let drawing = Drawing::new(&self.definition);
        let subject = Subject::new(&self.definition, &drawing);
        let offset = Offset::Given(0.0);
        let given = Given {
            profile: None,
            siting: Some(Siting::Center),
            place: Geometry::IDENTITY,
        };
        let settled = check::settle(subject, &self.recording, &frames, given, offset);
        let first = &frames[..frames.len().min(40)];
        let frames = (first, &frames[..]);
        let raised = check::confirm(subject, &self.recording, frames, given, &settled)?;
        Ok((settled.measured.profile, raised))
    }

    /// Checks `frames` against the recording, in memory.
    pub fn check(&self, frames: &[Picture]) -> Checked {
        self.check_as(frames, self.settings())
    }

    /// Checks `frames` when those whose time lies in `lost_s` never arrive.
    pub fn check_without(&self, frames: &[Picture], lost_s: Span<f64>) -> Checked {
        self.try_check(frames, Some(lost_s), self.settings())
            .expect("the clip can be judged")
    }

    pub fn check_with(&self, frames: &[Picture], profile: Option<Profile>) -> Checked {
        let profile = profile.map(Box::new);
        self.check_as(
            frames,
            Settings {
                profile,
                ..self.settings()
            },
        )
    }

    /// Checks `frames` as if the first were shown `offset_s` after the recording's time 0.
    pub fn check_from(&self, frames: &[Picture], offset_s: f64) -> Checked {
        let offset = Offset::Given(offset_s);
        self.check_as(
            frames,
            Settings {
                offset,
                ..self.settings()
            },
        )
    }

    /// Checks `frames` in which the display stands at `place`; what is said where that is not possible.
    pub fn check_placed(&self, frames: &[Picture], place: Place) -> Result<Checked, check::Error> {
        self.try_check(
            frames,
            None,
            Settings {
                place,
                ..self.settings()
            },
        )
    }

    /// Checks `frames` as of a display that does not revert.
    pub fn check_monitor_off(&self, frames: &[Picture]) -> Checked {
        self.check_as(
            frames,
            Settings {
                monitor_off: true,
                ..self.settings()
            },
        )
    }

    /// How the clip is checked unless a test says otherwise.
    fn settings(&self) -> Settings {
        Settings {
            offset: Offset::Given(0.0),
            place: Place::Usual,
            profile: None,
            stretch: check::Stretch::First,
            allow_missing: self.allow_missing,
            monitor_off: false,
            beside: None,
        }
    }

    fn check_as(&self, frames: &[Picture], settings: Settings) -> Checked {
        self.try_check(frames, None, settings)
            .expect("the clip can be judged")
    }

    fn try_check(
        &self,
        frames: &[Picture],
        lost_s: Option<Span<f64>>,
        settings: Settings,
    ) -> Result<Checked, check::Error> {
        let y4m = y4m_at(frames, self.plan.rate);
        let options = OpenOptions {
            // The file has no mark, and what is usual at this size is BT.601.
            matrix: Some(Matrix::Bt709),
            ..OpenOptions::default()
        };
        let capture =
            Capture::from_reader(Box::new(std::io::Cursor::new(y4m)), "clip.y4m", &options)
                .expect("the clip is good");
        let drawing = Drawing::new(&self.definition);
        let mut kept = Kept::default();
        let outcome = check::check(
            &self.definition,
            Subject::new(&self.definition, &drawing),
            &self.recording,
            &mut Source { capture, lost_s },
            &settings,
            &AtomicBool::new(false),
            &mut kept,
        )?;
        Ok(Checked {
            outcome,
            frames: kept.0,
        })
    }
}

/// A check's outcome with its lines.
pub struct Checked {
    pub outcome: Outcome,
    pub frames: Vec<FrameRecord>,
}

impl Checked {
    /// The events in short, for messages.
    pub fn told(&self) -> String {
        let events = self.outcome.events.iter().map(|e| {
            format!(
                "{:?} {:?} {:.2}..{:.2} s, confirmed {:.2} s, {:?} {:?}\n",
                e.class, e.regions, e.onset_s, e.end_s, e.detected_s, e.worst_error, e.remarks
            )
        });
        let notes = self.outcome.summary.notes.iter().map(|n| format!("{n}\n"));
        events.chain(notes).collect()
    }
}

struct Source {
    capture: Capture,
    lost_s: Option<Span<f64>>,
}

impl FrameSource for Source {
    fn next_into(&mut self, frame: &mut CapturedFrame) -> Result<bool, CaptureError> {
        loop {
            let is_there = self.capture.next_into(frame)?;
            let is_lost = self
                .lost_s
                .as_ref()
                .is_some_and(|span| span.contains(&frame.time_s));
            if !is_there || !is_lost {
                return Ok(is_there);
            }
        }
    }

    fn info(&self) -> &StreamInfo {
        self.capture.info()
    }
}

#[derive(Default)]
struct Kept(Vec<FrameRecord>);

impl Sink for Kept {
    fn frame(&mut self, record: &FrameRecord) -> std::io::Result<()> {
        self.0.push(record.clone());
        Ok(())
    }

    fn snapshot(&mut self, _: &Snapshot) -> std::io::Result<()> {
        Ok(())
    }
}

/// Frames as a capture gives them.
pub fn captured(frames: &[Picture]) -> Vec<CapturedFrame> {
    captured_at(frames, f64::from(RATE_HZ))
}

fn captured_at(frames: &[Picture], rate_hz: f64) -> Vec<CapturedFrame> {
    let frame = |(k, picture): (u32, &Picture)| {
        let mut frame = CapturedFrame::new();
        frame.index = u64::from(k);
        frame.time_s = f64::from(k) / rate_hz;
        frame.picture = picture.clone();
        frame
    };
    (0..).zip(frames).map(frame).collect()
}

/// Frames as a YUV4MPEG2 file.
pub fn y4m(frames: &[Picture]) -> Vec<u8> {
    y4m_at(frames, (RATE_HZ, 1))
}

fn y4m_at(frames: &[Picture], rate: (u32, u32)) -> Vec<u8> {
    let size = (frames[0].width(), frames[0].height());
    let subsampling = Subsampling::Both;
    let siting = Siting::Center;
    let mut writer = Y4mWriter::new(Vec::new(), size, rate, subsampling, siting, Range::Limited)
        .expect("memory takes every write");
    for frame in frames {
        writer.write(frame).expect("memory takes every write");
    }
    writer.finish().expect("memory takes every write")
}

/// What stands on disk for the program: `display.toml`, `inputs.csv`, `clip.y4m`, `frames/`.
pub struct Files {
    pub folder: TempDir,
}

/// Frames of [`Files`]' clip and folder.
pub const CLIP_FRAMES: usize = 14;

impl Files {
    pub fn new() -> Self {
        let bench = Bench::engine_strip(f64::from(CLIP_FRAMES as u32 - 1) / f64::from(RATE_HZ));
        let files = Self {
            folder: tempfile::tempdir().expect("there is room for files"),
        };
        files.write("display.toml", demo::ENGINE_STRIP.as_bytes());
        files.write("inputs.csv", inputs_until(3.0).as_bytes());
        files.write("clip.y4m", &y4m(&bench.frames(None)));
        files
    }

    /// Draws `frames/` with the program, up to `to` seconds.
    pub fn draw(&self, to: &str) -> Ran {
        let mut words = of_inputs("draw");
        words.extend(["--fps", "25", "--from", "0", "--to", to]);
        words.extend(["--format", "png", "--out", "frames"]);
        self.run(&words)
    }

    /// The clip's frames, drawn.
    pub fn with_folder(self) -> Self {
        let drawn = self.draw("0.52");
        assert_eq!(drawn.status, 0, "{}", drawn.stderr);
        self
    }

    /// The frames of `frames/` one after the other, as R, G, B.
    pub fn raw_frames(&self) -> Vec<u8> {
        (0..CLIP_FRAMES)
            .flat_map(|k| {
                let picture = image::open(self.path(&format!("frames/frame_{k:06}.png")));
                picture.expect("it was drawn").into_rgb8().into_raw()
            })
            .collect()
    }

    /// Measures the chain of `clip.y4m` into `profile.json`.
    pub fn calibrate(&self) {
        let mut words = of_inputs("calibrate");
        words.extend(["--capture", "clip.y4m", "--matrix", "bt709"]);
        words.extend(["--out", "profile.json"]);
        let made = self.run(&words);
        assert_eq!(made.status, 0, "{}{}", made.stdout, made.stderr);
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: &[u8]) {
        let path = self.path(name);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).expect("there is room for a folder");
        }
        fs::write(path, bytes).expect("there is room for files");
    }

    pub fn read(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    pub fn text(&self, name: &str) -> String {
        String::from_utf8(self.read(name)).expect("it is text")
    }

    pub fn json(&self, name: &str) -> serde_json::Value {
        serde_json::from_str(&self.text(name)).expect("it is JSON")
    }

    pub fn run(&self, arguments: &[&str]) -> Ran {
        self.run_with(arguments, &[], &[])
    }

    /// Runs the program in the folder with `stdin` and environment.
    pub fn run_with(&self, arguments: &[&str], stdin: &[u8], env: &[(&str, &str)]) -> Ran {
        let mut child = Command::new(env!("CARGO_BIN_EXE_framevouch"))
            .args(arguments)
            .envs(env.iter().copied())
            .current_dir(self.folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program was built");
        let mut pipe = child.stdin.take().expect("it was asked for");
        let stdin = stdin.to_vec();
        // The program may stop reading early; that is no failure of the writer.
        let writer = std::thread::spawn(move || {
            let _ = pipe.write_all(&stdin);
        });
        let Output {
            status,
            stdout,
            stderr,
        } = child.wait_with_output().expect("the program ends");
        writer.join().expect("the writer ends");
        Ran {
            status: status.code().expect("no signal ended it"),
            stdout: String::from_utf8_lossy(&stdout).into_owned(),
            stderr: String::from_utf8_lossy(&stderr).into_owned(),
        }
    }

    /// `check` of `capture` into `out/`, offset 0, with more arguments.
    pub fn check(&self, capture: &str, more: &[&str]) -> Ran {
        let mut arguments = check_arguments(capture);
        arguments.extend(more);
        self.run(&arguments)
    }

    /// The lines of `out/frames.jsonl`.
    pub fn frames(&self) -> Vec<serde_json::Value> {
        self.text("out/frames.jsonl")
            .lines()
            .map(|l| serde_json::from_str(l).expect("each line is JSON"))
            .collect()
    }
}

pub fn check_arguments(capture: &str) -> Vec<&str> {
    let mut words = of_inputs("check");
    words.extend(["--capture", capture, "--out", "out"]);
    words
}

/// A command on the definition and the inputs of [`Files`].
pub fn of_inputs(command: &str) -> Vec<&str> {
    vec![
        command,
        "--display",
        "display.toml",
        "--inputs",
        "inputs.csv",
    ]
}

/// A plan of a campaign on the clip, of which `more` is said, with the faults `faults`.
pub fn plan(more: &str, faults: &str) -> String {
    let head = "[plan]\nname = \"clip\"\ndisplay = \"display.toml\"\nlead_s = 1.6\nstretch_s = 2.0";
    let capture = "[[capture]]\nfile = \"clip.y4m\"\ninputs = \"inputs.csv\"";
    format!("{head}\n{capture}\n{more}\n{faults}")
}

/// The trials that a campaign carried out into `out`.
pub fn trials(files: &Files, out: &str) -> Vec<serde_json::Value> {
    let lines = files.text(&format!("{out}/trials.jsonl"));
    let read = |line| serde_json::from_str(line).expect("a record");
    lines.lines().map(read).collect()
}

/// How a run ended.
#[derive(Debug)]
pub struct Ran {
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
}

/// All files below `folder` with their bytes, by relative name.
pub fn all_bytes(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut out = Vec::new();
    let mut todo = vec![folder.to_path_buf()];
    while let Some(next) = todo.pop() {
        for entry in fs::read_dir(next).expect("it is a folder") {
            let path = entry.expect("it can be listed").path();
            if path.is_dir() {
                todo.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("it lies below");
                let bytes = fs::read(&path).expect("it can be read");
                out.push((name.to_string_lossy().into_owned(), bytes));
            }
        }
    }
    out.sort();
    out
}

/// The head of a display of 160 x 160 with these channels and one region, `r`; its first symbol comes next.
pub fn small_head(channels: &str, tolerance: &str) -> String {
    format!(
        r##"
[display]
name = "small"
width = 160
height = 160
background = "black"
[fonts]
sans = {{ builtin = "B612 Bold" }}
mono = {{ builtin = "B612 Mono Bold" }}
[colors]
black = "#000000"
white = "#f0f0f0"
grey = "#808890"
ground = "#203048"
amber = "#ffb000"
red = "#ff3020"
green = "#30d060"
[channels]
{channels}
[[region]]
id = "r"
rect = [0, 0, 160, 160]
hazard = "hazardous"
tolerance = {{ {tolerance} }}
[[region.symbol]]"##
    )
}

/// One event was found, a misleading one whose value is off by `error` of the channel's unit.
pub fn is_off_by(checked: &Checked, channel: &str, error: f64, within: f64) {
    let told = checked.told();
    let events = &checked.outcome.events;
    assert_eq!(events.len(), 1, "{told}");
    assert_eq!(events[0].class, Verdict::Misleading, "{told}");
    let worst = events[0].worst_error.as_ref().expect(&told);
    assert_eq!(worst.channel, channel, "{told}");
    let off = worst.displayed - worst.expected;
    assert!(
        (off - error).abs() < within,
        "off by {off}, not {error}\n{told}"
    );
}
