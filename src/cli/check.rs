//! `framevouch check`: a capture against the recorded inputs.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};

use image::RgbImage;
use indicatif::{ProgressBar, ProgressStyle};

use super::{CaptureArguments, Failure, InputArguments, cannot_write, make_folder, write_file};
use crate::capture::profile::Profile;
use crate::capture::{CapturedFrame, Error as CaptureError, ReadAhead, StreamInfo};
use crate::check::{self, Chain, FrameSource, Offset, Outcome, Settings, Sink, Snapshot};
use crate::definition::Definition;
use crate::evidence::pictures;
use crate::evidence::records::FrameRecord;
use crate::examine::register::FrameReference;
use crate::examine::subject::Subject;
use crate::judge::events::{Event, name};
use crate::picture::{Picture, Rect};
use crate::recording::Recording;
use crate::recording::inputs::Inputs;
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;

/// Arguments of `check`.
#[derive(clap::Args)]
pub struct Arguments {
    #[command(flatten)]
    input: InputArguments,
    #[command(flatten)]
    capture: CaptureArguments,
    /// Folder for the results.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Recording time = capture time + SECONDS; `auto` finds it from the material. Without this, 0
    /// is taken where the picture agrees with it, else it is found.
    #[arg(long, value_name = "SECONDS|auto", value_parser = parse_offset, allow_hyphen_values = true)]
    offset: Option<Offset>,
    /// Capture profile, from `framevouch calibrate`.
    #[arg(long, value_name = "P.json")]
    profile: Option<PathBuf>,
    /// No progress and no summary.
    #[arg(long)]
    quiet: bool,
}

pub(super) fn parse_offset(text: &str) -> Result<Offset, String> {
    if text == "auto" {
        return Ok(Offset::Auto);
    }
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() => Ok(Offset::Given(v)),
        _ => Err(format!(
            "\"{text}\" is neither a number of seconds nor auto"
        )),
    }
}

impl FrameSource for ReadAhead {
    fn next_into(&mut self, frame: &mut CapturedFrame) -> Result<bool, CaptureError> {
        Self::next_into(self, frame)
    }

    fn info(&self) -> &StreamInfo {
        Self::info(self)
    }
}

/// Frames that are decoded ahead.
const READ_AHEAD: usize = 4;

/// Runs `check`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let (definition, recording) = arguments.input.load()?;
    let chain = match &arguments.profile {
        Some(path) => Chain::Given(Box::new(Profile::load(path)?)),
        // What comes through a pipe cannot be looked at twice.
        None if arguments.capture.is_piped() => Chain::First,
        None => Chain::FirstIfAgreeing,
    };
    let settings = Settings {
        offset: arguments.offset.unwrap_or(Offset::Usual),
        chain,
    };
    let outcome = checked(
        &definition,
        &recording,
        &|| arguments.capture.open(&definition),
        &settings,
        &arguments.out,
        arguments.quiet,
    )?;
    if !arguments.quiet {
        print_summary(&outcome, &arguments.out);
    }
    if let Some(e) = &outcome.error {
        super::complain(e);
    }
    Ok(outcome.exit_status())
}

/// Opens a capture.
pub(super) type Open<'a> = &'a dyn Fn() -> Result<crate::capture::Capture, Failure>;

/// Checks a capture and writes all results to `out`. Where the chain cannot be measured from the first
/// stretch, another one is looked for, and the check begun again.
pub(super) fn checked(
    definition: &Definition,
    recording: &Recording,
    open: Open,
    settings: &Settings,
    out: &Path,
    quiet: bool,
) -> Result<Outcome, Failure> {
    make_folder(out)?;
    let drawing = Drawing::new(definition);
    let subject = Subject::new(definition, &drawing);
    let once = |settings: &Settings| checked_once(subject, recording, open, settings, out, quiet);
    if let Some(outcome) = once(settings)? {
        return Ok(outcome);
    }
    let mut source = ReadAhead::start(open()?, READ_AHEAD);
    let found = check::find_stretch(subject, recording, &mut source, settings.offset);
    let settings = Settings {
        offset: settings.offset,
        chain: found.map_or(Chain::First, |f| Chain::Found(Box::new(f))),
    };
    once(&settings)?.ok_or_else(|| check::Error::NoAgreement.into())
}

/// `None` when the chain cannot be measured from the first stretch.
fn checked_once(
    subject: Subject,
    recording: &Recording,
    open: Open,
    settings: &Settings,
    out: &Path,
    quiet: bool,
) -> Result<Option<Outcome>, Failure> {
    let definition = subject.definition();
    let capture = open()?;
    let mut source = ReadAhead::start(capture, READ_AHEAD);
    let frame_count = source.info().frame_count;
    let path = out.join("frames.jsonl");
    let file = File::create(&path).map_err(cannot_write(&path))?;
    let pictures = out.join("events");
    if pictures.exists() {
        std::fs::remove_dir_all(&pictures).map_err(cannot_write(&pictures))?;
    }
    let mut writer = Writer {
        frames: BufWriter::new(file),
        pictures: pictures.clone(),
        stored: BTreeMap::new(),
        progress: progress(frame_count, quiet),
    };
    let outcome = match check::check(
        definition,
        subject,
        recording,
        &mut source,
        settings,
        &mut writer,
    ) {
        Err(check::Error::NoAgreement) => return Ok(None),
        other => other?,
    };
    writer.frames.flush().map_err(cannot_write(&path))?;
    writer.progress.finish_and_clear();
    write_pictures(
        definition,
        subject,
        recording,
        &outcome,
        &writer.stored,
        &pictures,
    )?;
    let json = |value: serde_json::Result<String>| value.map(|text| text + "\n");
    write_file(
        &out.join("events.json"),
        json(serde_json::to_string_pretty(&outcome.events))?.as_bytes(),
    )?;
    write_file(
        &out.join("summary.json"),
        json(serde_json::to_string_pretty(&outcome.summary))?.as_bytes(),
    )?;
    Ok(Some(outcome))
}

fn progress(frame_count: Option<u64>, quiet: bool) -> ProgressBar {
    if quiet || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let (bar, template) = match frame_count {
        Some(n) => (
            ProgressBar::new(n),
            "{bar:40} {pos}/{len} frames, {per_sec}, {eta} left",
        ),
        None => (
            ProgressBar::new_spinner(),
            "{spinner} {pos} frames, {per_sec}, {elapsed}",
        ),
    };
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar
}

/// Writes frames as they come, and keeps the best picture of each event on disk until all is known.
struct Writer {
    frames: BufWriter<File>,
    pictures: PathBuf,
    stored: BTreeMap<u64, f64>,
    progress: ProgressBar,
}

fn stored_name(folder: &Path, frame: u64) -> PathBuf {
    folder.join(format!("captured_{frame:06}.png"))
}

impl Sink for Writer {
    fn frame(&mut self, record: &FrameRecord) -> std::io::Result<()> {
        serde_json::to_writer(&mut self.frames, record)?;
        self.frames.write_all(b"\n")?;
        self.progress.inc(1);
        Ok(())
    }

    fn snapshot(&mut self, snapshot: &Snapshot) -> std::io::Result<()> {
        if self.stored.contains_key(&snapshot.frame) {
            return Ok(());
        }
        std::fs::create_dir_all(&self.pictures)?;
        let rgb = pictures::to_rgb(&snapshot.captured);
        rgb.save(stored_name(&self.pictures, snapshot.frame))
            .map_err(std::io::Error::other)?;
        self.stored.insert(snapshot.frame, snapshot.due_time_s);
        Ok(())
    }
}

/// Space round the regions of an event in its picture, px.
const MARGIN_PX: i32 = 16;

fn write_pictures(
    definition: &Definition,
    subject: Subject,
    recording: &Recording,
    outcome: &Outcome,
    stored: &BTreeMap<u64, f64>,
    folder: &Path,
) -> Result<(), Failure> {
    let mut painter = Painter::new();
    for (k, event) in outcome.events.iter().enumerate() {
        let Some(due_time_s) = stored.get(&event.best_frame) else {
            continue;
        };
        let path = stored_name(folder, event.best_frame);
        let captured: RgbImage = image::open(&path)?.to_rgb8();
        let reference = reference_picture(
            subject,
            recording,
            &outcome.summary.profile,
            *due_time_s,
            &mut painter,
        );
        let area = event_area(definition, event);
        let picture = pictures::side_by_side(&captured, &pictures::to_rgb(&reference), area);
        let path = folder.join(picture_name(k, event));
        picture.save(&path)?;
    }
    for frame in stored.keys() {
        let path = stored_name(folder, *frame);
        std::fs::remove_file(&path).map_err(cannot_write(&path))?;
    }
    Ok(())
}

fn picture_name(index: usize, event: &Event) -> String {
    let place = if event.regions == ["*"] {
        "frame".to_owned()
    } else {
        event.regions.join("+")
    };
    let place: String = place
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || "+-_".contains(c) {
                c
            } else {
                '_'
            }
        })
        .take(60)
        .collect();
    format!(
        "event_{index:04}_{}_{place}.png",
        name(event.class).replace(' ', "_")
    )
}

fn event_area(definition: &Definition, event: &Event) -> Rect {
    let (w, h) = definition.size();
    let whole = Rect::new(0, 0, w as i32, h as i32);
    definition
        .regions()
        .iter()
        .filter(|r| event.regions.contains(&r.id))
        .fold(Rect::default(), |sum, r| sum.union(&r.area()))
        .grown(MARGIN_PX)
        .intersection(&whole)
        .union(if event.regions == ["*"] {
            &whole
        } else {
            &Rect {
                x: 0,
                y: 0,
                width: 0,
                height: 0,
            }
        })
}

fn reference_picture(
    subject: Subject,
    recording: &Recording,
    profile: &Profile,
    time_s: f64,
    painter: &mut Painter,
) -> Picture {
    let mut inputs = Inputs::default();
    recording.inputs_at(time_s, &mut inputs);
    let planes = (profile.subsampling, profile.siting);
    let size = (profile.width, profile.height);
    FrameReference::draw(subject, &inputs, &profile.look(), planes, size, painter)
        .picture(profile.encoding)
}

/// The result on a screen.
pub(super) fn print_summary(outcome: &Outcome, out: &Path) {
    let s = &outcome.summary;
    println!("{}: {}", s.display, s.result);
    println!("  frames      {}", s.frames);
    println!("  time offset {:.3} s ({})", s.offset_s, s.offset_from);
    println!("  chain       {}", s.profile_from);
    for (region, why) in &s.not_judged {
        println!("  not judged  {region}: {why}");
    }
    for note in &s.notes {
        println!("  note        {note}");
    }
    let shown = 40;
    for e in outcome.events.iter().take(shown) {
        let worst = e.worst_error.as_ref().map_or(String::new(), |w| {
            format!(
                ", {} shows {:.2}, due {:.2} {}",
                w.channel, w.displayed, w.expected, w.unit
            )
        });
        println!(
            "  {:<11} {} from {:.3} s to {:.3} s, confirmed at {:.3} s{worst}",
            name(e.class),
            e.regions.join(", "),
            e.onset_s,
            e.end_s,
            e.detected_s
        );
    }
    if outcome.events.len() > shown {
        println!("  ... and {} more events", outcome.events.len() - shown);
    }
    println!("  results     {}", out.display());
    println!("  {}", s.caution);
}
