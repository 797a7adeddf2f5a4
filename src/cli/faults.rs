//! `framevouch faults`: the kinds of faults that can be put into a capture, and what they look like.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use super::check::{parse_offset, say_offset};
use super::{CaptureArguments, Failure, Force, InputArguments, results, write_file};
use crate::capture::{CapturedFrame, ReadAhead};
use crate::chain::measure::Given;
use crate::check::{self, Offset};
use crate::evidence::manifest::stored_path;
use crate::evidence::pictures;
use crate::evidence::run_folder::{Kind, RunFolder};
use crate::examine::subject::Subject;
use crate::inject::{Clip, Delivery, Fault, MODELS, Method, Model, Target, paint};
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;

/// Arguments of `faults`.
#[derive(clap::Args)]
pub struct Arguments {
    #[command(flatten)]
    input: InputArguments,
    #[command(flatten)]
    capture: CaptureArguments,
    /// Folder for a picture of each kind, and a table of all.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Capture time at which faults are put in, s; the capture must be good around it. May be given more than
    /// once: what cannot be made at one time (no alert is on, say) is made at the next.
    #[arg(long, value_name = "S", default_value = "3")]
    at: Vec<f64>,
    /// Recording time = capture time + SECONDS; `auto` finds it from the material.
    #[arg(long, value_name = "SECONDS|auto", value_parser = parse_offset, allow_hyphen_values = true)]
    offset: Option<Offset>,
    #[command(flatten)]
    force: Force,
}

/// A picture of each kind, and a table.
const KIND: Kind = Kind {
    command: "faults",
    is_result: |name| {
        let is_kind = |kind: &str| MODELS.iter().any(|m| m.about().name == kind);
        name == "faults.md" || name.strip_suffix(".png").is_some_and(is_kind)
    },
    folders: &[],
    is_begun: |_| false,
};

/// What a clip holds before the onset and after it, s.
const BEFORE_S: f64 = 1.0;
const AFTER_S: f64 = 0.6;

/// Of the places where a fault can strike, as many are tried for the one where it shows best.
const TRIED_TARGETS: usize = 24;

/// What is shown round a fault, px.
const MARGIN_PX: i32 = 16;

/// Runs `faults`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    for model in MODELS {
        say!("{:<17} {}", model.about().name, model.about().summary);
        if let Some(axis) = model.about().axis {
            let [low, high] = axis.range;
            say!(
                "{:<17}   size: {}, {low} to {high}, usually {}",
                "",
                axis.named(),
                axis.usual
            );
        }
        if !model.about().looks.is_empty() {
            say!("{:<17}   looks: {}", "", model.about().looks.join(", "));
        }
    }
    match &arguments.out {
        Some(out) => draw_all(arguments, out)?,
        None => say!("give --out to see them"),
    }
    Ok(super::EXIT_AGREES)
}

/// Writes the pictures and the table.
fn draw_all(arguments: &Arguments, out: &Path) -> Result<(), Failure> {
    let (definition, recording) = arguments.input.load()?;
    let capture = arguments.capture.capture.as_path();
    let mut paths = InputArguments::paths(&definition, &recording);
    paths.push(capture);
    let folder = RunFolder::claim(out, KIND, paths, arguments.force.force)?;
    let new = folder.new_results();
    let drawing = Drawing::new(&definition);
    let subject = Subject::new(&definition, &drawing);
    let mut times = arguments.at.clone();
    times.sort_by(f64::total_cmp);
    let mut source = ReadAhead::start(arguments.capture.open()?, 4);
    let mut rows: Vec<Option<String>> = vec![None; MODELS.len()];
    for at_s in times {
        let frames = read_clip(&mut source, at_s)?;
        let onset = frames.partition_point(|f| f.time_s < at_s);
        if onset == 0 || onset + 1 >= frames.len() {
            return Err(format!("the capture has no frames around --at {at_s} s").into());
        }
        let mut painter = Painter::new();
        let offset = arguments.offset.unwrap_or(Offset::Usual);
        let place = arguments.capture.place(&definition)?;
        let given = Given {
            siting: source.info().siting,
            profile: None,
            place: check::settle_place(subject, &recording, &frames, place, offset, &mut painter)
                .map_err(|e| e.of_capture(&arguments.capture.capture))?,
        };
        let settled = check::settle(subject, &recording, &frames, given, offset);
        let clip = Clip {
            subject,
            recording: &recording,
            profile: &settled.measured.profile,
            offset_s: settled.offset_s,
            frames: &frames,
            onset,
            end: frames.len(),
        };
        for (model, row) in MODELS.iter().zip(&mut rows) {
            if row.is_none() {
                *row = draw_one(*model, &clip, &new)?;
            }
        }
    }
    let mut table = String::from(
        "| kind | group | what | size | nearest harmless change | clean, faulty, difference |\n|---|---|---|---|---|---|\n",
    );
    for (model, row) in MODELS.iter().zip(rows) {
        let row = row.unwrap_or_else(|| "| | cannot be made here".into());
        writeln!(
            table,
            "| {} | {} | {} | {} {row} |",
            model.about().name,
            format!("{:?}", model.about().group).to_lowercase(),
            model.about().summary,
            size_of(*model),
        )?;
    }
    write_file(&new.join("faults.md"), table.as_bytes())?;
    let mut inputs = InputArguments::read(&definition, &recording)?;
    inputs.add("capture", capture, &source.contents()?)?;
    inputs.add_fonts(&definition)?;
    results::write_manifest(&new, out, KIND.command, arguments.normalised(out), &inputs)?;
    folder.finish()?;
    Ok(())
}

impl Arguments {
    /// The arguments in a fixed order, paths as a manifest at `home` stores them.
    fn normalised(&self, home: &Path) -> Vec<String> {
        let mut words: Vec<String> = Vec::new();
        let mut say = |name: &str, value: String| words.extend([name.to_owned(), value]);
        self.input.say(home, &mut say);
        say("--capture", stored_path(&self.capture.capture, home));
        for at_s in &self.at {
            say("--at", at_s.to_string());
        }
        say_offset(self.offset, &mut say);
        self.capture.say(&mut say);
        if self.input.allow_missing {
            words.push("--allow-missing".into());
        }
        words
    }
}

/// The frames around `at_s`, from what the source has left.
fn read_clip(source: &mut ReadAhead, at_s: f64) -> Result<Vec<CapturedFrame>, Failure> {
    let mut frames = Vec::new();
    let mut frame = CapturedFrame::new();
    while source.next_into(&mut frame)? {
        if frame.time_s > at_s + AFTER_S {
            break;
        }
        if frame.time_s >= at_s - BEFORE_S {
            frames.push(frame.clone());
        }
    }
    Ok(frames)
}

fn size_of(model: &dyn Model) -> String {
    model.about().axis.map_or_else(String::new, |axis| {
        let [low, high] = axis.range;
        format!(
            "{}: {} ({low} to {high})",
            axis.what,
            axis.with_unit(axis.usual)
        )
    })
}

/// A fault, the frame of the clip that shows it, and that frame with it.
type Shown = (Fault, usize, CapturedFrame);

/// Writes the picture of a kind where it shows best: the last cells of its row, `None` when it cannot be made
/// in this clip.
fn draw_one(model: &'static dyn Model, clip: &Clip, out: &Path) -> Result<Option<String>, Failure> {
    let targets = model.targets(clip.subject);
    let stride = targets.len().div_ceil(TRIED_TARGETS).max(1);
    let faults = targets.into_iter().step_by(stride);
    let tried = faults.filter_map(|target| tried(model, clip, usual(model, target)));
    let Some((shows, (fault, k, frame))) = tried.max_by(|a, b| a.0.total_cmp(&b.0)) else {
        return Ok(None);
    };
    let harmless = model.twin(clip, &fault).map_or("", |(_, words)| words);
    if shows == 0.0 {
        return Ok(Some(format!("| {harmless} | in time only")));
    }
    let panels = pictures::side_by_side(
        &pictures::to_rgb(&clip.frames[k].picture),
        &pictures::to_rgb(&frame.picture),
        clip.area(fault.target).grown(MARGIN_PX),
    );
    let name = format!("{}.png", model.about().name);
    let mut bytes = std::io::Cursor::new(Vec::new());
    panels.write_to(&mut bytes, image::ImageFormat::Png)?;
    write_file(&out.join(&name), bytes.get_ref())?;
    Ok(Some(format!("| {harmless} | ![]({name})")))
}

/// How well `fault` shows, in the latest frame of the clip that shows it at all. `None` when it cannot be made.
fn tried(model: &dyn Model, clip: &Clip, fault: Fault) -> Option<(f64, Shown)> {
    let mut injector = model.prepare(clip, &fault)?;
    let last = clip.frames.len() - 1;
    let area = clip.area(fault.target);
    // A region shows more than the whole frame, which is small on a page.
    let weight = if fault.target.region.is_some() {
        1.0
    } else {
        1e-3
    };
    // Late frames show best what grows. What comes and goes is met on the way back.
    for k in [last, last - 1, clip.onset.midpoint(last), clip.onset] {
        let clean = &clip.frames[k];
        let mut frame = clean.clone();
        let delivery = injector.apply(clip, k, &mut frame);
        if delivery == Delivery::Sent && frame.picture != clean.picture {
            let changed = paint::differing_px(&clean.picture, &frame.picture, area, 24);
            // One more, since a change of colour alone leaves luma as it is.
            let shows = (changed + 1) as f64 * weight;
            return Some((shows, (fault, k, frame)));
        }
    }
    let frame = clip.frames[last].clone();
    Some((0.0, (fault, last, frame)))
}

fn usual(model: &dyn Model, target: Target) -> Fault {
    Fault {
        kind: model.about().name,
        target,
        size: model.about().axis.map_or(1.0, |a| a.usual),
        look: 0,
        method: Method::Redraw,
        seed: 1,
    }
}
