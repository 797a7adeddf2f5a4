//! `framevouch demo`: the bundled scenario, checked, and what was found against what was seeded.

use std::path::{Path, PathBuf};

use super::print::say_pieces;
use super::tone::Tone;
use super::{Failure, Force, check, results, stop, write_file};
use crate::check::Outcome;
use crate::definition::Definition;
use crate::demo::{self, faults, scenario, unit};
use crate::evidence::manifest::ReadFiles;
use crate::evidence::run_folder::{Kind, RunFolder};
use crate::judge::events::{Event, name};
use crate::recording::{MissingColumns, Recording};

/// Arguments of `demo`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Folder for everything.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// No progress and no summary.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
}

/// What stands beside the results of the check.
const KIND: Kind = Kind {
    command: "demo",
    is_result: |name| {
        const FILES: [&str; 6] = [
            "display.toml",
            "engine_strip.toml",
            "reversionary.toml",
            "inputs.csv",
            unit::CAPTURE_FILE,
            unit::TRUTH_FILE,
        ];
        FILES.contains(&name)
    },
    folders: &[],
    is_begun: |_| false,
};

/// An event may begin this long before its fault, s: onsets are dated to frames.
const BEFORE_S: f64 = 0.1;

/// Runs `demo`: exit 0 when every seeded fault was found as its class in its place, and nothing else.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let out = &arguments.out;
    let force = arguments.force.force;
    let folder = RunFolder::claim(out, KIND, [], force)?;
    let new = folder.new_results();
    write_file(&new.join("display.toml"), demo::DISPLAY.as_bytes())?;
    write_file(
        &new.join("engine_strip.toml"),
        demo::ENGINE_STRIP.as_bytes(),
    )?;
    write_file(
        &new.join("reversionary.toml"),
        demo::REVERSIONARY.as_bytes(),
    )?;
    write_file(&new.join("inputs.csv"), scenario::inputs_csv().as_bytes())?;
    let definition = Definition::load(&new.join("display.toml"))?;
    let recording = Recording::load(&new.join("inputs.csv"), &definition, MissingColumns::Refuse)?;
    let plan = unit::Plan::default();
    let seeded = faults::demo_faults(&definition, plan.frames_per_s(), plan.seed);
    let source = unit::Unit::new(&definition, &recording, plan, seeded);
    if !arguments.quiet {
        say!(
            "drawing {} frames with the stand-in unit into {}",
            source.frame_count(),
            out.display()
        );
    }
    let seeded = unit::produce(&new, source, &mut |_, _| {})?;
    results::write_manifest(&new, out, KIND.command, Vec::new(), &ReadFiles::default())?;
    folder.finish()?;
    let results = out.join("check");
    // Exactly what `framevouch check` does, so that its manifest repeats it.
    let check_arguments = check::Arguments::plain(
        &out.join("display.toml"),
        &out.join("inputs.csv"),
        &out.join(unit::CAPTURE_FILE),
        &results,
        arguments.quiet,
        force,
    );
    let outcome = check::carry_out(&check_arguments, &results, &stop::on_signals()?)?;
    if let Some(e) = &outcome.error {
        super::complain(e);
        return Ok(super::EXIT_NOT_JUDGED);
    }
    let (all_found, nothing_else) = compare(&seeded, &outcome, arguments.quiet);
    if !arguments.quiet {
        print_where(&results, &outcome);
    }
    Ok(if all_found && nothing_else {
        super::EXIT_AGREES
    } else {
        super::EXIT_FAULTS
    })
}

fn overlaps(event: &Event, fault: &faults::Fault) -> bool {
    event.onset_s >= fault.onset_s - BEFORE_S && event.onset_s <= fault.end_s
}

fn is_found_by(event: &Event, fault: &faults::Fault) -> bool {
    let is_class = name(event.class) == format!("{:?}", fault.class).to_lowercase();
    overlaps(event, fault) && is_class && event.regions == fault.regions
}

/// Prints what was found against what was seeded: whether all was found, and nothing else.
fn compare(seeded: &[faults::Fault], outcome: &Outcome, quiet: bool) -> (bool, bool) {
    let mut all_found = true;
    let mut claimed = vec![false; outcome.events.len()];
    let say = |line: String, (tone, word): (Tone, String)| {
        if !quiet {
            say_pieces(&[(Tone::Plain, line), (tone, word)]);
        }
    };
    let head = format!(
        "{:<34} {:<11} {:<18} {:>8}  ",
        "seeded", "class", "where", "onset s"
    );
    say(head, (Tone::Plain, "found".into()));
    for fault in seeded {
        let found = (0..outcome.events.len())
            .find(|k| !claimed[*k] && is_found_by(&outcome.events[*k], fault));
        let result = match found {
            Some(k) => {
                claimed[k] = true;
                let delay_ms = (outcome.events[k].detected_s - fault.onset_s) * 1000.0;
                (Tone::Good, format!("after {delay_ms:.0} ms"))
            }
            None => {
                all_found = false;
                (Tone::Bad, "NOT FOUND as its class in its place".into())
            }
        };
        let seeded = format!(
            "{:<34} {:<11} {:<18} {:>8.2}  ",
            fault.what,
            format!("{:?}", fault.class).to_lowercase(),
            fault.regions.join(", "),
            fault.onset_s
        );
        say(seeded, result);
    }
    let mut nothing_else = true;
    for (event, _) in outcome.events.iter().zip(&claimed).filter(|(_, c)| !**c) {
        nothing_else = false;
        let event = format!(
            "NOT SEEDED: {} in {} from {:.2} s to {:.2} s",
            name(event.class),
            event.regions.join(", "),
            event.onset_s,
            event.end_s
        );
        say(String::new(), (Tone::Bad, event));
    }
    (all_found, nothing_else)
}

fn print_where(results: &Path, outcome: &Outcome) {
    let s = &outcome.summary;
    say!("{} frames checked; {}", s.frames, s.profile_from);
    say!(
        "frames, events, summary and pictures: {}",
        results.display()
    );
    say!("{}", s.caution);
}
