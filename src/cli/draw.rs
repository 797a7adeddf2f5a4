//! `framevouch draw`: the pictures that the display should show.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::{Failure, InputArguments, cannot_write, make_folder, write_file};
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
    /// Frames a second: a number, or two with a stroke (30000/1001).
    #[arg(long, value_name = "F", value_parser = super::parse_rate)]
    fps: f64,
    /// Recording time of the first frame, s; the first row's when absent.
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    from: Option<f64>,
    /// No frame after this recording time, s; the last row's when absent.
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    to: Option<f64>,
    /// Pixels, or shapes.
    #[arg(long)]
    format: Format,
    /// Write words as outlines, so that another rasteriser draws the same shapes.
    #[arg(long)]
    outline_text: bool,
    /// Folder for the frames.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Png,
    Svg,
}

/// Most frames of one run.
const MOST_FRAMES: f64 = 999_999.0;

/// Runs `draw`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
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
    let count = libm::floor((to_s - from_s) * arguments.fps + 1e-6) + 1.0;
    if count > MOST_FRAMES {
        return Err(format!(
            "{count:.0} frames are more than {MOST_FRAMES:.0}; draw a shorter stretch"
        )
        .into());
    }
    make_folder(&arguments.out)?;
    let count = count as usize;
    refuse_leftovers(&arguments.out, count, arguments.format)?;
    let drawing = Drawing::new(&definition);
    let mut table = String::from("file,time_s\n");
    let mut painter = Painter::new();
    let mut inputs = Inputs::default();
    let (width, height) = definition.size();
    let mut outside = 0;
    for n in 0..count {
        let time_s = from_s + n as f64 / arguments.fps;
        outside += usize::from(!(begin_s - 1e-6..=end_s + 1e-6).contains(&time_s));
        recording.inputs_at(time_s, &mut inputs);
        let (name, bytes) = match arguments.format {
            Format::Png => {
                let canvas = drawing.frame(&definition, &inputs, &mut painter);
                (file_name(n, Format::Png), png::png(&canvas)?)
            }
            Format::Svg => {
                let regions = definition.regions().iter().enumerate();
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
        write_file(&arguments.out.join(&name), &bytes)?;
        writeln!(table, "{name},{time_s:.6}")?;
    }
    write_file(&arguments.out.join("times.csv"), table.as_bytes())?;
    say!(
        "{count} frames and times.csv in {}",
        arguments.out.display()
    );
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

/// Frames of an earlier run that this one of `count` frames would not replace are taken for frames of this one.
fn refuse_leftovers(out: &Path, count: usize, format: Format) -> Result<(), Failure> {
    for entry in std::fs::read_dir(out).map_err(cannot_write(out))? {
        let name = entry.map_err(cannot_write(out))?.file_name();
        let Some(rest) = name.to_str().and_then(|n| n.strip_prefix("frame_")) else {
            continue;
        };
        let number = rest.split('.').next().and_then(|n| n.parse::<usize>().ok());
        let is_replaced = number
            .is_some_and(|n| n < count && name.to_str() == Some(file_name(n, format).as_str()));
        if !is_replaced {
            return Err(format!(
                "\"{}\" would stay beside the {count} frames to be drawn: empty the folder, or choose another --out",
                out.join(&name).display()
            )
            .into());
        }
    }
    Ok(())
}
