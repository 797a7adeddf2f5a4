//! `framevouch check`: a capture against the recorded inputs.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use super::place::PlaceArgument;
use super::print::say_pieces;
use super::progress::Progress;
use super::tone::Tone;
use super::{
    CaptureArguments, Failure, Force, InputArguments, MatrixName, RangeName, cannot_write, results,
    stop,
};
use crate::capture::profile::Profile;
use crate::capture::{
    Capture, CapturedFrame, Error as CaptureError, OpenOptions, ReadAhead, StreamInfo,
};
use crate::chain::register::FrameReference;
use crate::check::beside::Beside;
use crate::check::run::UNCHECKED;
use crate::check::{self, FrameSource, Offset, Outcome, Seen, Settings, Sink, Snapshot, Stretch};
use crate::definition::Definition;
use crate::evidence::csv::ReadingsWriter;
use crate::evidence::manifest::{Input, ReadFiles, stored_path};
use crate::evidence::measurements::{Header, MEASUREMENTS_FILE, Writer as MeasurementsWriter};
use crate::evidence::pictures;
use crate::evidence::records::{FRAMES_FILE, FrameRecord, thousandths};
use crate::evidence::run_folder::RunFolder;
use crate::evidence::stills::{Keeper, StillsRecord};
#[cfg(feature = "parquet")]
use crate::evidence::tables::{self, CheckTables};
use crate::examine::subject::Subject;
use crate::files::{self, FileContent};
use crate::judge::event::{Event, name};
use crate::judge::region::RegionVerdict;
use crate::picture::{Picture, Rect};
use crate::recording::Recording;
use crate::recording::inputs::{Due, Inputs};
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;
use crate::suite::plan::{Auto, MatrixKey, OffsetKey, Planned, RangeKey};

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
    /// Results of the check of another display by the same recording: what the two show is compared.
    #[arg(long, value_name = "DIR")]
    beside: Option<PathBuf>,
    /// The display's own monitor was off when it was recorded: no reversion is waited for.
    #[arg(long)]
    monitor_off: bool,
    /// Also store what thresholds decide on, frame by frame, for `framevouch tune`.
    #[arg(long)]
    measurements: bool,
    /// Also frames, regions and readings as typed tables (Parquet).
    #[cfg(feature = "parquet")]
    #[arg(long)]
    parquet: bool,
    /// No progress and no summary.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
    /// A run that is told to stop leaves no results, rather than those of the frames so far.
    #[arg(skip)]
    is_all_or_nothing: bool,
}

/// Largest offset, s: some centuries, where times still have microseconds.
const FARTHEST_OFFSET_S: f64 = 1e10;

pub(super) fn parse_offset(text: &str) -> Result<Offset, String> {
    if text == "auto" {
        return Ok(Offset::Auto);
    }
    match text.parse::<f64>() {
        Ok(v) if v.abs() <= FARTHEST_OFFSET_S => Ok(Offset::Given(v)),
        Ok(v) if v.is_finite() => Err(format!(
            "{text} s is beyond the {FARTHEST_OFFSET_S:.0e} s that times are compared over"
        )),
        _ => Err(format!(
            "\"{text}\" is neither a number of seconds nor auto"
        )),
    }
}

/// Says the offset, where one was given.
pub(super) fn say_offset(offset: Option<Offset>, say: &mut dyn FnMut(&str, String)) {
    match offset {
        Some(Offset::Given(v)) => say("--offset", v.to_string()),
        Some(Offset::Auto) => say("--offset", "auto".into()),
        Some(Offset::Usual) | None => {}
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
    let outcome = match carry_out(arguments, &arguments.out, &stop::on_signals()?) {
        Ok(outcome) => outcome,
        Err(e) => {
            super::complain(e.as_ref());
            results::tell_of_earlier(&arguments.out);
            return Ok(super::EXIT_NOT_JUDGED);
        }
    };
    if !arguments.quiet {
        print_summary(&outcome, &arguments.out);
    }
    if let Some(e) = &outcome.error {
        super::complain(e);
    }
    Ok(outcome.exit_status())
}

/// Checks, and writes results whose manifest is the one that they would have at `home`.
pub(super) fn run_as_at(arguments: &Arguments, home: &Path) -> Result<Outcome, Failure> {
    carry_out(arguments, home, &Arc::default())
}

/// As [`run_as_at`], until `stop` is true.
pub(super) fn carry_out(
    arguments: &Arguments,
    home: &Path,
    stop: &Arc<AtomicBool>,
) -> Result<Outcome, Failure> {
    let (definition, recording) = arguments.input.load()?;
    if !arguments.quiet
        && let Some(note) = check::spacing_note(&definition, &recording)
    {
        warn!("note: {note}");
    }
    let offset = arguments.offset.unwrap_or(Offset::Usual);
    let path = arguments.profile.as_deref();
    let (profile, profile_file) = path.map(Profile::read).transpose()?.unzip();
    let profile = profile.map(Box::new);
    if profile.is_some() && arguments.capture.place.is_some() {
        return Err(
            "the profile says where the display stands; leave --place or --profile out".into(),
        );
    }
    let is_known = profile.is_some() && matches!(offset, Offset::Given(_));
    let settings = Settings {
        offset,
        place: arguments.capture.place(&definition)?,
        profile,
        // What comes through a pipe cannot be looked at twice.
        stretch: if is_known || arguments.capture.is_piped() {
            Stretch::First
        } else {
            Stretch::FirstIfAgreeing
        },
        allow_missing: arguments.input.allow_missing,
        monitor_off: arguments.monitor_off,
        beside: match &arguments.beside {
            Some(folder) => Some(Arc::new(Beside::load(folder, &definition, &recording)?)),
            None => None,
        },
    };
    let capture = arguments.capture.capture.as_path();
    let mut paths = InputArguments::paths(&definition, &recording);
    paths.push(capture);
    paths.extend(path);
    paths.extend(arguments.beside.as_deref());
    let (out, force) = (&arguments.out, arguments.force.force);
    let folder = RunFolder::claim(out, results::CHECK, paths, force)?;
    let new = folder.new_results();
    let mut inputs = InputArguments::read(&definition, &recording)?;
    let reading = Reading {
        open: &|| arguments.capture.open(),
        stop,
        is_all_or_nothing: arguments.is_all_or_nothing,
    };
    let (outcome, files) = checked(
        &definition,
        &recording,
        &reading,
        &settings,
        &mut inputs,
        &new,
        arguments,
    )?;
    inputs.add("capture", capture, &files)?;
    if let Some(file) = &profile_file {
        inputs.add_file("profile", file)?;
    }
    for file in settings.beside.iter().flat_map(|b| b.files()) {
        inputs.add_file("beside", file)?;
    }
    inputs.add_fonts(&definition)?;
    let normalised = arguments.normalised(home);
    results::write_manifest(&new, home, results::CHECK.command, normalised, &inputs)?;
    folder.finish()?;
    Ok(outcome)
}

impl Arguments {
    /// What `framevouch check` is given by hand: the definition, the recording and a capture without a
    /// profile, at a known offset.
    pub(super) fn plain(
        display: &Path,
        inputs: &Path,
        capture: &Path,
        out: &Path,
        quiet: bool,
        force: bool,
    ) -> Self {
        Self {
            input: InputArguments {
                display: display.into(),
                inputs: inputs.into(),
                recording: None,
                tables: Vec::new(),
                allow_missing: false,
            },
            capture: CaptureArguments::plain(capture),
            out: out.into(),
            offset: Some(Offset::Given(0.0)),
            profile: None,
            monitor_off: false,
            beside: None,
            measurements: false,
            #[cfg(feature = "parquet")]
            parquet: false,
            quiet,
            force: Force { force },
            is_all_or_nothing: false,
        }
    }

    /// The same with a further table.
    pub(super) fn with_table(mut self, name: &str, path: &Path) -> Self {
        self.input.tables.push((name.into(), path.into()));
        self
    }

    /// The same, compared with what another check found.
    pub(super) fn beside(mut self, results: &Path) -> Self {
        self.beside = Some(results.into());
        self
    }

    /// The check that a run of a suite is: all of it or nothing, and nothing is printed.
    pub(super) fn of_suite(run: &Planned, out: &Path, ffmpeg: &str, force: bool) -> Self {
        let timeout = run.ffmpeg_timeout_s.map(Duration::from_secs_f64);
        Self {
            input: InputArguments {
                display: run.display.clone(),
                inputs: run.inputs.clone(),
                recording: run.recording.clone(),
                tables: run.tables.clone(),
                allow_missing: run.allow_missing,
            },
            capture: CaptureArguments {
                fps: run.fps,
                matrix: run.matrix.map(|m| match m {
                    MatrixKey::Bt601 => MatrixName::Bt601,
                    MatrixKey::Bt709 => MatrixName::Bt709,
                }),
                range: run.range.map(|r| match r {
                    RangeKey::Limited => RangeName::Limited,
                    RangeKey::Full => RangeName::Full,
                }),
                place: run.place.as_ref().and_then(PlaceArgument::of_plan),
                ffmpeg: ffmpeg.to_owned(),
                ffmpeg_timeout: timeout.unwrap_or(OpenOptions::TIMEOUT_DEFAULT),
                ..CaptureArguments::plain(&run.capture)
            },
            out: out.into(),
            offset: run.offset_s.map(|o| match o {
                OffsetKey::Seconds(v) => Offset::Given(v),
                OffsetKey::Word(Auto::Auto) => Offset::Auto,
            }),
            profile: run.profile.clone(),
            monitor_off: run.monitor_off,
            // Runs lie side by side.
            beside: run.beside.as_ref().map(|id| out.with_file_name(id)),
            measurements: run.measurements,
            #[cfg(feature = "parquet")]
            parquet: false,
            quiet: true,
            force: Force { force },
            is_all_or_nothing: true,
        }
    }

    /// Another ffmpeg program than the usual one, where one is named.
    pub(super) fn recorded_ffmpeg(&self) -> Option<&str> {
        let ffmpeg = self.capture.ffmpeg.as_str();
        (ffmpeg != "ffmpeg").then_some(ffmpeg)
    }

    /// Runs `program` in the place of the ffmpeg that is named, which stays in the manifest.
    pub(super) fn with_ffmpeg(mut self, program: &str) -> Self {
        let named = std::mem::replace(&mut self.capture.ffmpeg, program.to_owned());
        self.capture.recorded_ffmpeg = Some(named);
        self
    }

    /// Files that go in.
    pub(super) fn inputs(&self) -> Vec<Input> {
        let mut inputs = vec![
            Input::new("display", &self.input.display),
            Input::new("inputs", &self.input.inputs),
            Input::new("capture", &self.capture.capture),
        ];
        let bench = self.input.recording.iter();
        inputs.extend(bench.map(|p| Input::new("recording", p)));
        let tables = self.input.tables.iter();
        inputs.extend(tables.map(|(_, p)| Input::new("table", p)));
        inputs.extend(self.profile.iter().map(|p| Input::new("profile", p)));
        let beside = self.beside.iter().flat_map(|p| Beside::paths(p));
        inputs.extend(beside.map(|p| Input::new("beside", &p)));
        inputs
    }

    /// The arguments in a fixed order, paths as a manifest at `home` stores them.
    pub(super) fn normalised(&self, home: &Path) -> Vec<String> {
        let path = |p: &Path| stored_path(p, home);
        let mut words: Vec<String> = Vec::new();
        let mut say = |name: &str, value: String| words.extend([name.to_owned(), value]);
        self.input.say(home, &mut say);
        say("--capture", path(&self.capture.capture));
        if let Some(p) = &self.profile {
            say("--profile", path(p));
        }
        if let Some(p) = &self.beside {
            say("--beside", path(p));
        }
        say_offset(self.offset, &mut say);
        self.capture.say(&mut say);
        if self.input.allow_missing {
            words.push("--allow-missing".into());
        }
        if self.monitor_off {
            words.push("--monitor-off".into());
        }
        if self.measurements {
            words.push("--measurements".into());
        }
        #[cfg(feature = "parquet")]
        if self.parquet {
            words.push("--parquet".into());
        }
        words
    }

    /// Paths as they stand in a manifest in `folder`, made to lead there; results go to `out`.
    pub(super) fn begun_in(mut self, folder: &Path) -> Self {
        for path in [
            &mut self.input.display,
            &mut self.input.inputs,
            &mut self.capture.capture,
        ]
        .into_iter()
        .chain(&mut self.input.recording)
        .chain(self.input.tables.iter_mut().map(|(_, path)| path))
        .chain(&mut self.profile)
        .chain(&mut self.beside)
        {
            *path = results::from_folder(path, folder);
        }
        self
    }
}

/// How a capture is read, perhaps more than once.
struct Reading<'a> {
    open: &'a dyn Fn() -> Result<Capture, Failure>,
    stop: &'a Arc<AtomicBool>,
    is_all_or_nothing: bool,
}

impl Reading<'_> {
    fn start(&self) -> Result<ReadAhead, Failure> {
        let ahead = ReadAhead::start((self.open)()?, READ_AHEAD);
        Ok(ahead.stopped_by(Arc::clone(self.stop)))
    }
}

/// What the files of a capture held that was read; an error where they, or the program that decoded them, held
/// something else when they were read before.
fn held(source: &mut ReadAhead, inputs: &mut ReadFiles) -> Result<Vec<FileContent>, Failure> {
    let files = source.contents()?;
    inputs.see(&files)?;
    inputs.see(source.program()?.as_slice())?;
    Ok(files)
}

/// Checks a capture and writes all results but the manifest to `out`. Where the chain cannot be measured from the first
/// stretch, another one is looked for, and the check begun again.
fn checked(
    definition: &Definition,
    recording: &Recording,
    reading: &Reading,
    settings: &Settings,
    inputs: &mut ReadFiles,
    out: &Path,
    arguments: &Arguments,
) -> Result<(Outcome, Vec<FileContent>), Failure> {
    let drawing = Drawing::new(definition);
    let subject = Subject::new(definition, &drawing);
    let once = |inputs: &mut ReadFiles, settings: &Settings| -> Result<_, Failure> {
        let mut source = reading.start()?;
        let outcome = checked_once(
            subject,
            recording,
            &mut source,
            reading.stop,
            settings,
            out,
            arguments,
        )?;
        if reading.stop.load(Ordering::Relaxed) {
            if reading.is_all_or_nothing {
                return Err("broken off".into());
            }
            warn!(
                "broken off: the rest of the capture is read for its digest, then the results are closed; a second signal ends at once, without results"
            );
        }
        Ok((outcome, held(&mut source, inputs)?))
    };
    if let (Some(outcome), files) = once(inputs, settings)? {
        return Ok((outcome, files));
    }
    let mut source = reading.start()?;
    let (offset, place) = (settings.offset, settings.place());
    let profile = settings.profile.as_deref();
    let found = check::find_stretch(subject, recording, &mut source, offset, place, profile)
        .map_err(|e| e.of_capture(&arguments.capture.capture))?;
    held(&mut source, inputs)?;
    let settings = Settings {
        stretch: found.map_or(Stretch::First, |f| Stretch::Found(Box::new(f))),
        ..settings.clone()
    };
    let (outcome, files) = once(inputs, &settings)?;
    Ok((outcome.ok_or(check::Error::NoAgreement)?, files))
}

/// `None` when the chain cannot be measured from the first stretch.
fn checked_once(
    subject: Subject,
    recording: &Recording,
    source: &mut ReadAhead,
    stop: &AtomicBool,
    settings: &Settings,
    out: &Path,
    arguments: &Arguments,
) -> Result<Option<Outcome>, Failure> {
    let definition = subject.definition();
    let progress = Progress::new(source.info(), arguments.quiet);
    let path = out.join(FRAMES_FILE);
    let file = File::create(&path).map_err(cannot_write(&path))?;
    let pictures = out.join("events");
    let readings = out.join("readings.csv");
    let readings_file = File::create(&readings).map_err(cannot_write(&readings))?;
    let measured = out.join(MEASUREMENTS_FILE);
    let measurements = if arguments.measurements {
        let file = File::create(&measured).map_err(cannot_write(&measured))?;
        Some(MeasurementsWriter::new(BufWriter::new(file)))
    } else {
        None
    };
    let mut writer = Writer {
        measurements,
        #[cfg(feature = "parquet")]
        tables: if arguments.parquet {
            let display = &definition.file().display.name;
            Some(CheckTables::begin(out, display)?)
        } else {
            None
        },
        frames: BufWriter::new(file),
        readings: ReadingsWriter::new(readings_file)?,
        keeper: Keeper::new(&pictures),
        progress,
    };
    let outcome = match check::check(
        definition,
        subject,
        recording,
        source,
        settings,
        stop,
        &mut writer,
    ) {
        Err(check::Error::NoAgreement) => return Ok(None),
        other => other.map_err(|e| e.of_capture(&arguments.capture.capture))?,
    };
    writer.frames.flush().map_err(cannot_write(&path))?;
    writer.readings.finish().map_err(cannot_write(&readings))?;
    writer.keeper.finish().map_err(cannot_write(&pictures))?;
    if let Some(m) = &mut writer.measurements {
        m.finish().map_err(cannot_write(&measured))?;
    }
    #[cfg(feature = "parquet")]
    if let Some(tables) = writer.tables.take() {
        tables.finish()?;
        if arguments.measurements {
            tables::measurements_table(&measured, out, &definition.file().display.name)?;
        }
    }
    writer.progress.finish();
    let stills = write_pictures(
        definition,
        subject,
        recording,
        &outcome,
        &mut writer.keeper,
        out,
    )?;
    results::write(out, definition, &outcome, &stills)?;
    Ok(Some(outcome))
}

/// Writes frames as they come, and keeps pictures of events on disk until all is known.
struct Writer {
    measurements: Option<MeasurementsWriter<BufWriter<File>>>,
    #[cfg(feature = "parquet")]
    tables: Option<CheckTables>,
    frames: BufWriter<File>,
    readings: ReadingsWriter<File>,
    keeper: Keeper,
    progress: Progress,
}

impl Sink for Writer {
    fn frame(&mut self, record: &FrameRecord) -> std::io::Result<()> {
        serde_json::to_writer(&mut self.frames, record)?;
        self.frames.write_all(b"\n")?;
        self.readings.frame(record)?;
        #[cfg(feature = "parquet")]
        if let Some(tables) = &mut self.tables {
            tables.frame(record)?;
        }
        self.progress.frame(record.time_s);
        Ok(())
    }

    fn snapshot(&mut self, snapshot: &Snapshot) -> std::io::Result<()> {
        self.keeper.snapshot(snapshot)
    }

    fn seen(&mut self, seen: &Seen) -> std::io::Result<()> {
        self.keeper.seen(seen)
    }

    fn columns(&mut self, header: &Header) -> std::io::Result<()> {
        self.measurements
            .as_mut()
            .map_or(Ok(()), |m| m.begin(header))
    }

    fn measured(&mut self, time_s: f64, verdicts: &[RegionVerdict]) -> std::io::Result<()> {
        self.measurements
            .as_mut()
            .map_or(Ok(()), |m| m.push(time_s, verdicts))
    }
}

/// Space round the regions of an event in its picture, px.
const MARGIN_PX: i32 = 16;

/// Writes a picture of each event and the frames round it.
fn write_pictures(
    definition: &Definition,
    subject: Subject,
    recording: &Recording,
    outcome: &Outcome,
    keeper: &mut Keeper,
    out: &Path,
) -> Result<StillsRecord, Failure> {
    let folder = out.join("events");
    let mut painter = Painter::new();
    let profile = &outcome.summary.profile;
    let geometry = profile.look().geometry;
    let mut reference = |due| reference_picture(subject, recording, profile, due, &mut painter);
    for (k, event) in outcome.events.iter().enumerate() {
        let Some(times) = keeper.times(event.best_frame) else {
            continue;
        };
        let captured = keeper.load(event.best_frame)?;
        let due = pictures::to_rgb(&reference(times.due));
        let area = event_area(definition, event, profile);
        let mut picture = pictures::side_by_side(&captured, &due, area);
        let place = event.place.filter(|_| event.regions != ["*"]);
        if let Some([x, y, width, height]) = place {
            pictures::mark(&mut picture, area, Rect::new(x, y, width, height));
        }
        picture.save(folder.join(picture_name(k, event)))?;
    }
    let area = |event: &Event| event_area(definition, event, profile);
    let unchecked = definition.unchecked().into_iter();
    let unchecked: Vec<Rect> = unchecked.map(|r| geometry.map_rect(r)).collect();
    let stills = keeper.write(out, &outcome.events, &area, &mut reference, &unchecked)?;
    keeper.clear().map_err(cannot_write(&folder))?;
    Ok(stills)
}

fn picture_name(index: usize, event: &Event) -> String {
    let class = name(event.class).replace(' ', "_");
    let place = match event.regions.as_slice() {
        [one] if one == "*" => "frame".to_owned(),
        // The index tells events apart; of many regions the first stands for all.
        [first, ..] => files::name::of_id(first),
        [] => "nowhere".to_owned(),
    };
    format!("event_{index:04}_{class}_{place}.png")
}

/// The pixels of the capture that show an event.
fn event_area(definition: &Definition, event: &Event, profile: &Profile) -> Rect {
    let geometry = profile.look().geometry;
    let whole = Rect::new(0, 0, profile.width as i32, profile.height as i32);
    definition
        .regions()
        .iter()
        .filter(|r| event.regions.contains(&r.id))
        .fold(Rect::EMPTY, |sum, r| {
            sum.union(&geometry.map_rect(r.area()))
        })
        .grown(MARGIN_PX)
        .intersection(&whole)
        .union(if event.regions == ["*"] {
            &whole
        } else {
            &Rect::EMPTY
        })
}

fn reference_picture(
    subject: Subject,
    recording: &Recording,
    profile: &Profile,
    due: Due,
    painter: &mut Painter,
) -> Picture {
    let mut inputs = Inputs::default();
    recording.inputs_due(due, &mut inputs);
    let planes = (profile.subsampling, profile.siting);
    let size = (profile.width, profile.height);
    FrameReference::draw(subject, &inputs, &profile.look(), planes, size, painter)
        .picture(profile.encoding)
}

/// The result on a screen.
pub(super) fn print_summary(outcome: &Outcome, out: &Path) {
    let s = &outcome.summary;
    say_pieces(&[
        (Tone::Plain, format!("{}: ", s.display)),
        (Tone::of_result(&s.result), s.result.clone()),
    ]);
    say!("  frames      {}", s.frames);
    let offset = thousandths(s.offset_s);
    say!("  time offset {offset} s ({})", s.offset_from);
    say!("  chain       {}", s.profile_from);
    for (region, why) in &s.not_judged {
        if why == UNCHECKED {
            say!("  unchecked   {region}");
        } else {
            say!("  not judged  {region}: {why}");
        }
    }
    for reversion in &s.reversions {
        say!("  reversion   {reversion}");
    }
    for note in &s.notes {
        say!("  note        {note}");
    }
    let shown = 40;
    for e in outcome.events.iter().take(shown) {
        let what = match &e.worst_error {
            Some(w) => format!(
                "{} shows {:.2}, {} {:.2} {}",
                w.channel,
                w.displayed,
                w.of_expected(),
                w.expected,
                w.unit
            ),
            None => e.picture_error.to_string(),
        };
        let things = e.things_in_words();
        let things = things.map_or(String::new(), |t| format!("; {t}"));
        let rest = format!(
            " {} from {:.3} s to {:.3} s, confirmed at {:.3} s, {what}{things}",
            e.regions.join(", "),
            e.onset_s,
            e.end_s,
            e.detected_s
        );
        say_pieces(&[
            (Tone::Plain, "  ".into()),
            (Tone::Bad, format!("{:<11}", name(e.class))),
            (Tone::Plain, rest),
        ]);
    }
    if outcome.events.len() > shown {
        say!("  ... and {} more events", outcome.events.len() - shown);
    }
    say!("  results     {}", out.display());
    say!("  {}", s.caution);
}
