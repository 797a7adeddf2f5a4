//! `framevouch demo`: the bundled scenario, checked, and what was found against what was seeded.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::print::say_pieces;
use super::tone::Tone;
use super::{Failure, Force, cannot_write, check, results, stop, write_file};
use crate::check::Outcome;
use crate::definition::Definition;
use crate::demo::{self, faults, scenario, unit, whole};
use crate::evidence::manifest::ReadFiles;
use crate::evidence::run_folder::{Kind, RunFolder};
use crate::judge::event::{Event, name};
use crate::recording::{self, MissingColumns, Recording};

/// Arguments of `demo`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Folder for everything.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Which scenario.
    #[arg(long, value_enum, default_value_t = Which::Lake)]
    which: Which,
    /// No progress and no summary.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
}

/// The bundled scenarios.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Which {
    /// One page, with a fault of every class.
    Lake,
    /// All that a flight display shows, on pages, with a second display beside it.
    Whole,
}

/// What stands beside the results of the check.
const KIND: Kind = Kind {
    command: "demo",
    is_result: |name| {
        const FILES: [&str; 7] = [
            "display.toml",
            "engine_strip.toml",
            "reversionary.toml",
            INPUTS_FILE,
            TRAFFIC_FILE,
            unit::CAPTURE_FILE,
            unit::TRUTH_FILE,
        ];
        FILES.contains(&name)
    },
    folders: &[SECOND],
    is_begun: |_| false,
};

const INPUTS_FILE: &str = "inputs.csv";
const TRAFFIC_FILE: &str = "traffic.csv";
/// The folder of the display beside the first one.
const SECOND: &str = "second";

/// An event may begin this long before its fault, s: onsets are dated to frames.
const BEFORE_S: f64 = 0.1;

/// Runs `demo`: exit 0 when every seeded fault was found as its class in its place, and nothing else.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    match arguments.which {
        Which::Lake => lake(arguments),
        Which::Whole => whole(arguments),
    }
}

fn lake(arguments: &Arguments) -> Result<u8, Failure> {
    let out = &arguments.out;
    let folder = RunFolder::claim(out, KIND, [], arguments.force.force)?;
    let new = folder.new_results();
    for (name, text) in [
        ("display.toml", demo::DISPLAY),
        ("engine_strip.toml", demo::ENGINE_STRIP),
        ("reversionary.toml", demo::REVERSIONARY),
        (INPUTS_FILE, &scenario::inputs_csv()),
    ] {
        write_file(&new.join(name), text.as_bytes())?;
    }
    let definition = Definition::load(&new.join("display.toml"))?;
    let recording = Recording::load(&new.join(INPUTS_FILE), &definition, MissingColumns::Refuse)?;
    let plan = unit::Plan::default();
    let seeded = faults::demo_faults(&definition, plan.frames_per_s(), plan.seed);
    let source = unit::Unit::new(&definition, &recording, plan, seeded);
    let seeded = arguments.produce(&new, source)?;
    results::write_manifest(&new, out, KIND.command, Vec::new(), &ReadFiles::default())?;
    folder.finish()?;
    arguments.check(out, &out.join("check"), &seeded, |check| check)
}

fn whole(arguments: &Arguments) -> Result<u8, Failure> {
    let out = &arguments.out;
    let folder = RunFolder::claim(out, KIND, [], arguments.force.force)?;
    let new = folder.new_results();
    let second = new.join(SECOND);
    std::fs::create_dir_all(&second).map_err(cannot_write(&second))?;
    for (folder, display) in [(&new, whole::DISPLAY), (&second, whole::SECOND)] {
        let inputs = whole::scenario::inputs_csv();
        write_file(&folder.join("display.toml"), display.as_bytes())?;
        write_file(&folder.join(INPUTS_FILE), inputs.as_bytes())?;
    }
    let traffic = new.join(TRAFFIC_FILE);
    write_file(&traffic, whole::scenario::traffic_csv().as_bytes())?;
    let plan = unit::Plan {
        rate: whole::RATE,
        ..unit::Plan::default()
    };
    let produced = |folder: &Path, tables: BTreeMap<String, PathBuf>, seed: u64, faults: Faults| {
        let definition = Definition::load(&folder.join("display.toml"))?;
        let files = recording::Files {
            inputs: &folder.join(INPUTS_FILE),
            form: None,
            tables: &tables,
        };
        let recording = Recording::load_all(&files, &definition, MissingColumns::Refuse)?;
        let plan = unit::Plan { seed, ..plan };
        let source = unit::Unit::new(&definition, &recording, plan, faults(&definition));
        arguments.produce(folder, source)
    };
    let tables = BTreeMap::from([(TRAFFIC.to_owned(), traffic)]);
    let seeded = produced(&new, tables, plan.seed, whole::faults)?;
    let beside = produced(
        &second,
        BTreeMap::new(),
        plan.seed + 1,
        whole::second_faults,
    )?;
    results::write_manifest(&new, out, KIND.command, Vec::new(), &ReadFiles::default())?;
    folder.finish()?;
    let (results, traffic) = (out.join("check"), out.join(TRAFFIC_FILE));
    let first = arguments.check(out, &results, &seeded, |check| {
        check.with_table(TRAFFIC, &traffic)
    })?;
    let (second, to) = (out.join(SECOND), out.join("check_second"));
    let other = arguments.check(&second, &to, &beside, |check| check.beside(&results))?;
    Ok(first.max(other))
}

/// The table of the whole display, as its definition calls it.
const TRAFFIC: &str = "traffic";

type Faults = fn(&Definition) -> Vec<faults::Fault>;

impl Arguments {
    /// Draws the capture of `source` into `folder`, and gives the faults in it.
    fn produce(&self, folder: &Path, source: unit::Unit) -> Result<Vec<faults::Fault>, Failure> {
        if !self.quiet {
            say!(
                "drawing {} frames with the stand-in unit into {}",
                source.frame_count(),
                folder.display()
            );
        }
        Ok(unit::produce(folder, source, &mut |_, _| {})?)
    }

    /// Checks what stands in `folder`, exactly as `framevouch check` does, so that its manifest repeats it; `given` adds what else
    /// that is given. Compares what was found with what was `seeded`.
    fn check(
        &self,
        folder: &Path,
        results: &Path,
        seeded: &[faults::Fault],
        given: impl FnOnce(check::Arguments) -> check::Arguments,
    ) -> Result<u8, Failure> {
        let plain = check::Arguments::plain(
            &folder.join("display.toml"),
            &folder.join(INPUTS_FILE),
            &folder.join(unit::CAPTURE_FILE),
            results,
            self.quiet,
            self.force.force,
        );
        let outcome = check::carry_out(&given(plain), results, &stop::on_signals()?)?;
        if let Some(e) = &outcome.error {
            super::complain(e);
            return Ok(super::EXIT_NOT_JUDGED);
        }
        let (all_found, nothing_else) = compare(seeded, &outcome, self.quiet);
        if !self.quiet {
            print_where(results, &outcome);
        }
        Ok(if all_found && nothing_else {
            super::EXIT_AGREES
        } else {
            super::EXIT_FAULTS
        })
    }
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
    let is_fault = |f: &&faults::Fault| f.class != faults::Class::Harmless;
    for fault in seeded.iter().filter(is_fault) {
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
