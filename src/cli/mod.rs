//! The commands, one file each. Only this part of the crate prints.

#[macro_use]
mod print;

mod calibrate;
mod campaign;
mod check;
mod completions;
mod demo;
mod draw;
mod explain;
mod faults;
mod help;
mod lint;
mod locate;
mod man;
mod merge;
mod over;
mod place;
mod progress;
mod report;
mod results;
mod schema;
mod stop;
mod suite;
mod tone;
mod tune;
mod verify;

use std::error::Error as StdError;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use clap::{Parser, Subcommand, ValueEnum};
use tone::{Color, Tone};

use place::PlaceArgument;

use crate::capture::{Capture, OpenOptions, RawFormat};
use crate::check::place::Place;
use crate::definition::Definition;
use crate::evidence::manifest::{ReadFiles, stored_path};
use crate::picture::{Matrix, Range};
use crate::recording::{Files, MissingColumns, Recording};

/// All judged, and everything agrees.
pub const EXIT_AGREES: u8 = 0;
/// At least one event.
pub const EXIT_FAULTS: u8 = 1;
/// Could not be judged: bad input, bad definition, changed chain.
pub const EXIT_NOT_JUDGED: u8 = 2;

/// Checks captured video of a cockpit display against the recorded inputs: does the picture tell the crew
/// the truth?
///
/// Prototype of a monitor's logic and a bench evidence tool: not airborne software, not a qualified tool.
/// Results defer to the programme's safety assessment, the applicable regulations and the
/// approving authority.
#[derive(Parser)]
#[command(name = "framevouch", version, after_help = help::PROGRAM)]
struct Arguments {
    /// When words have colours; results and what goes into a pipe have none.
    #[arg(long, value_name = "WHEN", global = true, default_value = "auto")]
    // What it says was heard before the arguments were parsed; here it is checked and told of.
    color: Color,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Check a capture against the recorded inputs.
    #[command(after_help = help::CHECK)]
    Check(check::Arguments),
    /// Measure what the capture chain does to a good picture.
    #[command(after_help = help::CALIBRATE)]
    Calibrate(calibrate::Arguments),
    /// Find where in a capture the display stands.
    #[command(after_help = help::LOCATE)]
    Locate(locate::Arguments),
    /// Draw the pictures that the display should show.
    #[command(after_help = help::DRAW)]
    Draw(draw::Arguments),
    /// Check a display definition and what its pixels can show.
    #[command(after_help = help::LINT)]
    Lint(lint::Arguments),
    /// Check many captures side by side, and tell what is new since the last time.
    #[command(after_help = help::SUITE)]
    Suite(suite::Arguments),
    /// Put faults into clean captures, thousands of them, and see what is caught.
    #[command(after_help = help::CAMPAIGN)]
    Campaign(campaign::Arguments),
    /// Put together what the shards of a campaign found on many machines.
    #[command(after_help = help::MERGE)]
    Merge(merge::Arguments),
    /// Find thresholds from what checks and campaigns have measured.
    #[command(after_help = help::TUNE)]
    Tune(tune::Arguments),
    /// Write the bundled scenario, check it, and compare what was found with what was seeded.
    #[command(after_help = help::DEMO)]
    Demo(demo::Arguments),
    /// List the kinds of faults that can be put into a capture, and show them.
    #[command(after_help = help::FAULTS)]
    Faults(faults::Arguments),
    /// Make one page for the reviewer out of result folders.
    #[command(after_help = help::REPORT)]
    Report(report::Arguments),
    /// Tell in words what an event of a check rests on: pixels, values, limits and rules.
    #[command(after_help = help::EXPLAIN)]
    Explain(explain::Arguments),
    /// Print the JSON Schema of a file that is read or written.
    #[command(after_help = help::SCHEMA)]
    Schema(schema::Arguments),
    /// Hash results and their inputs again, and name what is not as it was.
    #[command(after_help = help::VERIFY)]
    Verify(verify::Arguments),
    /// Print what lets a shell complete commands and options.
    #[command(after_help = help::COMPLETIONS)]
    Completions(completions::Arguments),
    /// Write the manual pages, one for each command.
    #[command(after_help = help::MAN)]
    Man(man::Arguments),
}

/// Runs the program with the arguments of the process.
#[must_use]
pub fn main() -> ExitCode {
    // Before they are parsed: help and errors come of that.
    Color::asked(std::env::args_os()).choose();
    let arguments = match Arguments::try_parse() {
        Ok(a) => a,
        Err(e) => {
            if e.use_stderr() {
                complain_in(e.render().to_string().trim_end());
                return ExitCode::from(EXIT_NOT_JUDGED);
            }
            // Help and version are no failure, and our own words.
            let _ = e.print();
            return ExitCode::from(EXIT_AGREES);
        }
    };
    let done = match arguments.command {
        Command::Check(a) => check::run(&a),
        Command::Calibrate(a) => calibrate::run(&a),
        Command::Locate(a) => locate::run(&a),
        Command::Draw(a) => draw::run(&a),
        Command::Lint(a) => lint::run(&a),
        Command::Suite(a) => suite::run(&a),
        Command::Campaign(a) => campaign::run(&a),
        Command::Merge(a) => merge::run(&a),
        Command::Tune(a) => tune::run(&a),
        Command::Demo(a) => demo::run(&a),
        Command::Faults(a) => faults::run(&a),
        Command::Report(a) => report::run(&a),
        Command::Explain(a) => explain::run(&a),
        Command::Schema(a) => schema::run(&a),
        Command::Verify(a) => verify::run(&a),
        Command::Completions(a) => completions::run(&a),
        Command::Man(a) => man::run(&a),
    };
    match done {
        Ok(status) => ExitCode::from(status),
        Err(e) => {
            complain(e.as_ref());
            ExitCode::from(EXIT_NOT_JUDGED)
        }
    }
}

/// Prints the text of an error to standard error.
fn complain_in(text: &str) {
    const HEAD: &str = "error:";
    let rest = text.strip_prefix(HEAD);
    let head = if rest.is_some() { HEAD } else { "" };
    print::warn_pieces(&[
        (Tone::Bad, head.into()),
        (Tone::Plain, rest.unwrap_or(text).into()),
    ]);
}

type Failure = Box<dyn StdError>;

/// Prints an error with its causes.
fn complain(error: &dyn StdError) {
    complain_in(&format!("error: {error}"));
    let mut cause = error.source();
    while let Some(e) = cause {
        warn!("  because: {e}");
        cause = e.source();
    }
}

/// The capture and how to read it.
#[derive(Clone, clap::Args)]
struct CaptureArguments {
    /// Folder of PNGs, YUV4MPEG2 file, any video that ffmpeg reads, or - for standard input.
    #[arg(long, value_name = "V")]
    capture: PathBuf,
    /// Frame rate of captures that carry no times, 1/s: a number, or two with a stroke (30000/1001).
    #[arg(long, value_name = "F", value_parser = parse_rate)]
    fps: Option<f64>,
    /// Standard input holds raw R'G'B' frames of 8 bits, three bytes a pixel, of this size; needs --fps.
    #[arg(long, value_name = "WxH", value_parser = parse_size, requires = "fps")]
    raw: Option<(usize, usize)>,
    /// Matrix of the stream, where its own mark is wrong or absent.
    #[arg(long)]
    matrix: Option<MatrixName>,
    /// Range of the stream, where its own mark is wrong or absent.
    #[arg(long)]
    range: Option<RangeName>,
    /// Where in the capture the display stands, px: left, top, width, height; or x and y of its corners, clockwise from the
    /// top left; or `auto`, which looks for it. Without it the display fills the capture, or stands where the profile says.
    #[arg(long, value_name = "X,Y,W,H|CORNERS|auto", allow_hyphen_values = true)]
    place: Option<PlaceArgument>,
    /// The ffmpeg program.
    #[arg(long, value_name = "PROGRAM", default_value = "ffmpeg")]
    ffmpeg: String,
    /// The one that the manifest says, where another one runs again.
    #[arg(skip)]
    recorded_ffmpeg: Option<String>,
    /// Longest time that ffmpeg, or what writes to standard input, may give nothing; then it is ended, and with it the run.
    #[arg(long, value_name = "SECONDS", value_parser = parse_timeout, default_value = "30")]
    ffmpeg_timeout: Duration,
}

/// Seconds, from a thousandth to a day.
fn parse_timeout(text: &str) -> Result<Duration, String> {
    match text.parse::<f64>() {
        Ok(seconds) if (0.001..=86_400.0).contains(&seconds) => {
            Ok(Duration::from_secs_f64(seconds))
        }
        _ => Err(format!(
            "\"{text}\" is not a number of seconds from 0.001 to 86400"
        )),
    }
}

/// The file that is run for a program of this name; the name itself where there is none.
fn program_path(name: &str) -> String {
    if Path::new(name).components().count() != 1 {
        return name.to_owned();
    }
    let folders = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&folders)
        .map(|folder| folder.join(name))
        .find(|path| path.is_file())
        .and_then(|path| path.into_os_string().into_string().ok())
        .unwrap_or_else(|| name.to_owned())
}

#[derive(Clone, Copy, ValueEnum)]
enum MatrixName {
    Bt601,
    Bt709,
}

#[derive(Clone, Copy, ValueEnum)]
enum RangeName {
    Limited,
    Full,
}

/// The word on the command line.
fn value_name<T: ValueEnum>(value: T) -> String {
    value
        .to_possible_value()
        .map_or(String::new(), |v| v.get_name().to_owned())
}

/// Frames a second: a number, or a fraction as streams state it.
fn parse_rate(text: &str) -> Result<f64, String> {
    let number = |t: &str| t.trim().parse::<f64>().ok();
    let rate = match text.split_once('/') {
        Some((above, below)) => number(above).zip(number(below)).map(|(a, b)| a / b),
        None => number(text),
    };
    rate.filter(|v| *v > 0.0 && *v <= 1000.0).ok_or_else(|| {
        format!(
            "\"{text}\" is not a frame rate; give a number above 0 and at most 1000, or a fraction like 30000/1001"
        )
    })
}

fn parse_size(text: &str) -> Result<(usize, usize), String> {
    let sides = text
        .split_once(['x', 'X'])
        .and_then(|(w, h)| Some((w.parse().ok()?, h.parse().ok()?)));
    match sides {
        Some((w, h)) if (1..=16384).contains(&w) && (1..=16384).contains(&h) => Ok((w, h)),
        _ => Err(format!(
            "\"{text}\" is not a size; write it as 1024x768, sides from 1 to 16384"
        )),
    }
}

impl CaptureArguments {
    fn is_piped(&self) -> bool {
        self.capture == Path::new("-")
    }

    /// The file at `capture`, as it says itself.
    fn plain(capture: &Path) -> Self {
        Self {
            capture: capture.into(),
            fps: None,
            raw: None,
            matrix: None,
            range: None,
            place: None,
            ffmpeg: "ffmpeg".into(),
            ffmpeg_timeout: OpenOptions::TIMEOUT_DEFAULT,
            recorded_ffmpeg: None,
        }
    }

    /// Says each option that is set, in a fixed order.
    fn say(&self, say: &mut dyn FnMut(&str, String)) {
        if let Some(fps) = self.fps {
            say("--fps", fps.to_string());
        }
        if let Some((width, height)) = self.raw {
            say("--raw", format!("{width}x{height}"));
        }
        if let Some(matrix) = self.matrix {
            say("--matrix", value_name(matrix));
        }
        if let Some(range) = self.range {
            say("--range", value_name(range));
        }
        if let Some(place) = &self.place {
            say("--place", place.words());
        }
        let ffmpeg = self.recorded_ffmpeg.as_ref().unwrap_or(&self.ffmpeg);
        if ffmpeg != "ffmpeg" {
            say("--ffmpeg", ffmpeg.clone());
        }
        if self.ffmpeg_timeout != OpenOptions::TIMEOUT_DEFAULT {
            let seconds = self.ffmpeg_timeout.as_secs_f64();
            say("--ffmpeg-timeout", seconds.to_string());
        }
    }

    /// Where the display stands, as far as that was said.
    fn place(&self, definition: &Definition) -> Result<Place, Failure> {
        let said = self.place.as_ref().map(|place| place.of(definition));
        said.unwrap_or(Ok(Place::Usual))
    }

    fn open(&self) -> Result<Capture, Failure> {
        let options = OpenOptions {
            // The display may be a part of the picture.
            size: None,
            matrix: self.matrix.map(|m| match m {
                MatrixName::Bt601 => Matrix::Bt601,
                MatrixName::Bt709 => Matrix::Bt709,
            }),
            range: self.range.map(|r| match r {
                RangeName::Limited => Range::Limited,
                RangeName::Full => Range::Full,
            }),
            raw: self
                .raw
                .zip(self.fps)
                .map(|((width, height), fps)| RawFormat { width, height, fps }),
            fps: self.fps,
            // By its path, so that what is run is what is digested.
            ffmpeg: program_path(&self.ffmpeg),
            timeout: self.ffmpeg_timeout,
        };
        Ok(Capture::open(&self.capture, &options)?)
    }
}

/// The definition and the recording.
#[derive(clap::Args)]
struct InputArguments {
    /// Display definition (TOML).
    #[arg(long, value_name = "D.toml")]
    display: PathBuf,
    /// Recording of the display's inputs (CSV, JSON Lines, Parquet).
    #[arg(long, value_name = "R.csv")]
    inputs: PathBuf,
    /// How this bench writes recordings, a file with a table [recording]; its keys stand before those of the definition.
    #[arg(long, value_name = "B.toml")]
    recording: Option<PathBuf>,
    /// A further table of the recording, by its name in the definition, as traffic=T.csv; once for each.
    #[arg(long = "table", value_name = "NAME=T.csv", value_parser = parse_table)]
    tables: Vec<(String, PathBuf)>,
    /// Accept a recording that lacks channels, or is shorter than the capture; what needs them is not judged.
    #[arg(long)]
    allow_missing: bool,
}

/// A table's name and file, as `--table` says them.
fn parse_table(text: &str) -> Result<(String, PathBuf), String> {
    match text.split_once('=') {
        Some((name, path)) if !name.is_empty() && !path.is_empty() => {
            Ok((name.to_owned(), PathBuf::from(path)))
        }
        _ => Err(format!(
            "\"{text}\" does not say which file is which table; expected NAME=FILE"
        )),
    }
}

impl InputArguments {
    fn load(&self) -> Result<(Definition, Recording), Failure> {
        let definition = Definition::load(&self.display)?;
        let missing = if self.allow_missing {
            MissingColumns::Allow
        } else {
            MissingColumns::Refuse
        };
        for (k, (name, _)) in self.tables.iter().enumerate() {
            if self.tables[..k].iter().any(|(other, _)| other == name) {
                return Err(
                    format!("--table gives \"{name}\" twice; leave one of them out").into(),
                );
            }
        }
        let files = Files {
            inputs: &self.inputs,
            form: self.recording.as_deref(),
            tables: &self.tables.iter().cloned().collect(),
        };
        let recording = Recording::load_all(&files, &definition, missing)?;
        Ok((definition, recording))
    }

    /// Says definition and recording, paths as a manifest at `home` stores them.
    fn say(&self, home: &Path, say: &mut dyn FnMut(&str, String)) {
        say("--display", stored_path(&self.display, home));
        say("--inputs", stored_path(&self.inputs, home));
        if let Some(bench) = &self.recording {
            say("--recording", stored_path(bench, home));
        }
        for (name, path) in &self.tables {
            say("--table", format!("{name}={}", stored_path(path, home)));
        }
    }

    /// The files that they were read from.
    fn paths<'a>(definition: &'a Definition, recording: &'a Recording) -> Vec<&'a Path> {
        let files = definition.contents().iter().map(|f| &f.file);
        let files = files.chain(recording.files());
        files.map(|f| f.path.as_path()).collect()
    }

    /// What was read, without the font files.
    fn read(definition: &Definition, recording: &Recording) -> Result<ReadFiles, Failure> {
        let mut inputs = ReadFiles::default();
        inputs.add_display(definition)?;
        if let Some(file) = recording.content() {
            inputs.add_file("inputs", file)?;
        }
        if let Some(file) = recording.form_content() {
            inputs.add_file("recording", file)?;
        }
        for (_, file) in recording.table_contents() {
            inputs.add_file("table", file)?;
        }
        Ok(inputs)
    }
}

/// Leave to write over what the program did not write itself.
#[derive(clap::Args)]
struct Force {
    /// Also replace files that stand where results go and were not written by framevouch.
    #[arg(long)]
    force: bool,
}

/// A file or folder that cannot be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write \"{path}\"")]
struct WriteError {
    path: String,
    source: std::io::Error,
}

fn cannot_write(path: &Path) -> impl FnOnce(std::io::Error) -> WriteError + '_ {
    move |source| WriteError {
        path: path.display().to_string(),
        source,
    }
}

fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    std::fs::write(path, bytes).map_err(cannot_write(path))?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::parse_rate;

    #[test]
    fn rates_are_numbers_or_fractions() {
        // A fraction was refused as no number.
        assert_eq!(parse_rate("30000/1001"), Ok(30000.0 / 1001.0));
        assert_eq!(parse_rate("25"), Ok(25.0));
        for bad in ["", "0", "-25", "25/0", "0/0", "1/2/3", "nan", "inf", "4000"] {
            assert!(parse_rate(bad).is_err(), "{bad}");
        }
    }
}
