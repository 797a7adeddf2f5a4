//! `framevouch lint`: a display definition and what its pixels can show.

use std::path::PathBuf;

use super::Failure;
use super::print::say_pieces;
use super::tone::Tone;
use crate::definition::Definition;
use crate::definition::lint;
use crate::judge::region;
use crate::recording::{Files, MissingColumns, Recording};
use crate::requirements::{Names, Requirements};

/// Arguments of `lint`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Display definition (TOML).
    #[arg(long, value_name = "D.toml")]
    display: PathBuf,
    /// Recording of the display's inputs, to see which channels it has and what of the display it reaches.
    #[arg(long, value_name = "R.csv")]
    inputs: Option<PathBuf>,
    /// Requirements (CSV or ReqIF) to hold regions against, in the place of those that the definition names.
    #[arg(long, value_name = "FILE")]
    requirements: Option<PathBuf>,
    /// How this bench writes recordings, a file with a table [recording]; its keys stand before those of the definition.
    #[arg(long, value_name = "B.toml", requires = "inputs")]
    recording: Option<PathBuf>,
    /// A further table of the recording, by its name in the definition, as traffic=T.csv; once for each.
    #[arg(long = "table", value_name = "NAME=T.csv", value_parser = super::parse_table, requires = "inputs")]
    tables: Vec<(String, PathBuf)>,
    /// Print the definition with every symbol written out in parts, and nothing else: it draws the same picture.
    #[arg(long)]
    expand: bool,
}

/// Runs `lint`. Warnings leave the exit status at 0; an invalid definition gives 2.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let definition = Definition::load(&arguments.display)?;
    if arguments.expand {
        say!("{}", definition.expanded());
        return Ok(super::EXIT_AGREES);
    }
    let given = arguments.requirements.as_deref();
    let given = given
        .map(|path| Requirements::load(path, &Names::default()))
        .transpose()?;
    let recording = arguments
        .inputs
        .as_deref()
        .map(|path| {
            let files = Files {
                inputs: path,
                form: arguments.recording.as_deref(),
                tables: &arguments.tables.iter().cloned().collect(),
            };
            Recording::load_all(&files, &definition, MissingColumns::Allow)
        })
        .transpose()?;
    let (width, height) = definition.size();
    say!(
        "{}: {width} x {height}, {} regions",
        definition.file().display.name,
        definition.regions().len()
    );
    say!("channels:");
    for source in lint::channel_sources(&definition) {
        let is_missing = recording
            .as_ref()
            .is_some_and(|r| r.missing_channels().iter().any(|m| m == source.channel));
        let state = match (&recording, is_missing) {
            (None, _) => "",
            (Some(_), true) => "  MISSING in the recording",
            (Some(_), false) => "  present",
        };
        let from = match (source.column, source.expression) {
            (Some(column), _) => format!("column {column}"),
            (None, expression) => format!("= {}", expression.unwrap_or("")),
        };
        say!(
            "  {:<22} {from:<31} {:<8} in {}{state}",
            source.channel,
            source.unit,
            source.regions.join(", ")
        );
    }
    let unchecked = definition.unchecked_px();
    if unchecked > 0 {
        say!(
            "unchecked: {unchecked} of {} px of the display lie in no region, in unchecked regions or in unchecked areas",
            width * height
        );
    }
    let requirements = given.as_ref().or(definition.requirements());
    if let Some(r) = requirements {
        say!(
            "requirements: {} in {}, {} rows or objects without an id",
            r.all.len(),
            r.file.path.display(),
            r.without_id
        );
    }
    let reach = |k: usize, freedoms: usize| region::reach_sigmas(&definition, k, freedoms);
    let warnings = lint::lint_against(&definition, requirements, &reach);
    for w in &warnings {
        say_pieces(&[
            (Tone::Open, "warning:".into()),
            (Tone::Plain, format!(" {w}")),
        ]);
    }
    let of_recording = recording
        .as_ref()
        .map_or(Vec::new(), |r| lint::lint_recording(&definition, r));
    let mut advised = String::new();
    for w in &of_recording {
        say!("warning: recording: {w}");
        // What is to be done about several is said once.
        if w.advice() != advised {
            advised = w.advice();
            say!("  = {advised}");
        }
    }
    match warnings.len() + of_recording.len() {
        1 => say!("1 warning"),
        count => say!("{count} warnings"),
    }
    Ok(super::EXIT_AGREES)
}
