//! `framevouch draw`: the pictures that the display should show.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::over::{self, Over};
use super::place::PlaceArgument;
use super::{
    CaptureArguments, Failure, Force, InputArguments, MatrixName, RangeName, results, value_name,
    write_file,
};
use crate::evidence::run_folder::{Kind, RunFolder};
use crate::picture::Rect;
use crate::recording::inputs::Inputs;
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;
use crate::reference::png;
use crate::reference::scene::Scene;
use crate::reference::svg::{self, TextAs};

/// Arguments of `draw`.
#[derive(clap::Args)]
pub struct Arguments {
    #[command(flatten)]
    input: InputArguments,
    /// Frames a second: a number, or two with a stroke (30000/1001). With --over, of a capture that carries no times.
    #[arg(long, value_name = "F", value_parser = super::parse_rate, required_unless_present = "over")]
    fps: Option<f64>,
    /// Recording time of the first frame, s; the first row's when absent.
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    from: Option<f64>,
    /// No frame after this recording time, s; the last row's when absent.
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    to: Option<f64>,
    /// Pixels, or shapes.
    #[arg(long, required_unless_present = "over")]
    format: Option<Format>,
    /// Write words as outlines, so that another rasteriser draws the same shapes.
    #[arg(long)]
    outline_text: bool,
    /// Lay the reference over a frame of this capture instead, and tell how far each region lies off: blend with the outlines
    /// of regions, difference, and a table.
    #[arg(long, value_name = "V", requires = "at", conflicts_with_all = ["from", "to", "format", "outline_text"])]
    over: Option<PathBuf>,
    /// Capture time of that frame, s.
    #[arg(long, value_name = "S", requires = "over", allow_hyphen_values = true)]
    at: Option<f64>,
    /// Recording time = capture time + SECONDS; 0 when absent.
    #[arg(
        long,
        value_name = "SECONDS",
        requires = "over",
        allow_hyphen_values = true
    )]
    offset: Option<f64>,
    /// Capture profile, from `framevouch calibrate`; without one the picture is taken as it is.
    #[arg(long, value_name = "P.json", requires = "over")]
    profile: Option<PathBuf>,
    /// Matrix of the capture's stream, where its own mark is wrong or absent.
    #[arg(long, requires = "over")]
    matrix: Option<MatrixName>,
    /// Range of the capture's stream, where its own mark is wrong or absent.
    #[arg(long, requires = "over")]
    range: Option<RangeName>,
    /// Where in the capture the display stands: see `framevouch check --help`.
    #[arg(
        long,
        value_name = "X,Y,W,H|CORNERS|auto",
        requires = "over",
        conflicts_with = "profile",
        allow_hyphen_values = true
    )]
    place: Option<PlaceArgument>,
    /// Folder for the frames.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    #[command(flatten)]
    force: Force,
}

/// Frames of an earlier drawing go, so that none is taken for one of this.
const KIND: Kind = Kind {
    command: "draw",
    is_result: |name| {
        let number = |ending| name.strip_prefix("frame_")?.strip_suffix(ending);
        let is_number = |n: &str| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit());
        name == "times.csv"
            || number(".png")
                .or_else(|| number(".svg"))
                .is_some_and(is_number)
    },
    folders: &[],
    is_begun: |_| false,
};

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Png,
    Svg,
}

impl Arguments {
    /// The arguments in a fixed order, paths as a manifest at `home` stores them.
    fn normalised(&self, fps: f64, format: Format, home: &Path) -> Vec<String> {
        let mut words: Vec<String> = Vec::new();
        let mut say = |name: &str, value: String| words.extend([name.to_owned(), value]);
        self.input.say(home, &mut say);
        say("--fps", fps.to_string());
        for (name, time_s) in [("--from", self.from), ("--to", self.to)] {
            if let Some(time_s) = time_s {
                say(name, time_s.to_string());
            }
        }
        say("--format", value_name(format));
        if self.outline_text {
            words.push("--outline-text".into());
        }
        if self.input.allow_missing {
            words.push("--allow-missing".into());
        }
        words
    }
}

/// Most frames of one run.
const MOST_FRAMES: f64 = 999_999.0;

/// Runs `draw`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    if let Some((capture, at_s)) = arguments.over.as_ref().zip(arguments.at) {
        let given = [Some(at_s), arguments.offset];
        if let Some(wrong) = given.into_iter().flatten().find(|s| !s.is_finite()) {
            return Err(format!("{wrong} is no time; give seconds").into());
        }
        return over::run(&Over {
            input: &arguments.input,
            capture: CaptureArguments {
                fps: arguments.fps,
                matrix: arguments.matrix,
                range: arguments.range,
                place: arguments.place,
                ..CaptureArguments::plain(capture)
            },
            at_s,
            offset_s: arguments.offset.unwrap_or(0.0),
            profile: arguments.profile.as_deref(),
            out: &arguments.out,
            force: arguments.force.force,
        });
    }
    let (Some(fps), Some(format)) = (arguments.fps, arguments.format) else {
        return Err("give --fps and --format, or --over".into());
    };
    let (definition, recording) = arguments.input.load()?;
    let (begin_s, end_s) = recording.span_s();
    let from_s = arguments.from.unwrap_or(begin_s);
    let to_s = arguments.to.unwrap_or(end_s);
    if !(from_s.is_finite() && to_s.is_finite() && from_s <= to_s) {
        return Err(
            format!("--from {from_s} is not before --to {to_s}; give recording times, s").into(),
        );
    }
    if from_s > end_s || to_s < begin_s {
        return Err(format!("nothing to draw from {from_s} s to {to_s} s: the recording holds {begin_s} s to {end_s} s").into());
    }
    let count = libm::floor((to_s - from_s) * fps + 1e-6) + 1.0;
    if count > MOST_FRAMES {
        return Err(format!(
            "{count:.0} frames are more than {MOST_FRAMES:.0}; draw a shorter stretch"
        )
        .into());
    }
    let count = count as usize;
    let out = &arguments.out;
    let paths = InputArguments::paths(&definition, &recording);
    let folder = RunFolder::claim(out, KIND, paths, arguments.force.force)?;
    let new = folder.new_results();
    let drawing = Drawing::new(&definition);
    let mut table = String::from("file,time_s\n");
    let mut painter = Painter::new();
    let mut inputs = Inputs::default();
    let (width, height) = definition.size();
    let mut outside = 0;
    for n in 0..count {
        let time_s = from_s + n as f64 / fps;
        outside += usize::from(!(begin_s - 1e-6..=end_s + 1e-6).contains(&time_s));
        recording.inputs_at(time_s, &mut inputs);
        let (name, bytes) = match format {
            Format::Png => {
                let canvas = drawing.frame(&definition, &inputs, &mut painter);
                (file_name(n, Format::Png), png::png(&canvas)?)
            }
            Format::Svg => {
                let regions = definition.regions_due(&inputs);
                let scenes: Vec<(Rect, Scene)> = regions
                    .map(|(k, r)| (r.area(), drawing.region(&definition, k, &inputs)))
                    .collect();
                let list: Vec<(Rect, &Scene)> = scenes.iter().map(|(r, s)| (*r, s)).collect();
                let words = if arguments.outline_text {
                    TextAs::Outlines
                } else {
                    TextAs::Words
                };
                let text = svg::svg(
                    (width, height),
                    definition.background(),
                    &list,
                    definition.fonts(),
                    words,
                );
                (file_name(n, Format::Svg), text.into_bytes())
            }
        };
        write_file(&new.join(&name), &bytes)?;
        writeln!(table, "{name},{time_s:.6}")?;
    }
    write_file(&new.join("times.csv"), table.as_bytes())?;
    let mut inputs = InputArguments::read(&definition, &recording)?;
    inputs.add_fonts(&definition)?;
    let normalised = arguments.normalised(fps, format, out);
    results::write_manifest(&new, out, KIND.command, normalised, &inputs)?;
    folder.finish()?;
    say!("{count} frames and times.csv in {}", out.display());
    if outside > 0 {
        say!(
            "{outside} of them lie outside the recording, which holds {begin_s} s to {end_s} s: drawn with no data"
        );
    }
    Ok(super::EXIT_AGREES)
}

fn file_name(n: usize, format: Format) -> String {
    let ending = match format {
        Format::Png => "png",
        Format::Svg => "svg",
    };
    format!("frame_{n:06}.{ending}")
}
