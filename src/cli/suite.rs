//! `framevouch suite`: many captures, checked side by side, and what is new since the last time.

use std::error::Error as StdError;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::print::say_pieces;
use super::tone::Tone;
use super::{Failure, Force, check, stop};
use crate::evidence::report::labels::count_of;
use crate::judge::event::{Event, name};
use crate::shard::Shard;
use crate::suite::folder::PAGE_FILE;
use crate::suite::plan::{Plan, Planned};
use crate::suite::records::{RunRecord, SuiteRecord};
use crate::suite::run::{Checker, Order, Told, carry_out};

/// Runs that are under way at once unless the user says otherwise: each holds some frames of its video.
const MOST_JOBS: usize = 8;

/// Arguments of `suite`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Plan of the suite (TOML): captures with their recordings, definitions, profiles and tags.
    #[arg(long, value_name = "S.toml")]
    plan: PathBuf,
    /// Folder for the results; runs that an earlier call finished there are kept where nothing that goes in has changed.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The folder of the last suite: what is new, gone or changed since.
    #[arg(long, value_name = "DIR")]
    against: Option<PathBuf>,
    /// Carry out one of N parts of the plan, for several machines: the runs whose place in it, from 1, is K modulo N; one that stands
    /// beside another has no place of its own, and is of that one's part.
    #[arg(long, value_name = "K/N")]
    shard: Option<Shard>,
    /// Runs that are under way at once; as many as there are cores, at most 8, without it. Results do not depend on it.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
    /// Time or number of issue, as it shall stand on the pages; without it they have none.
    #[arg(long, value_name = "TEXT")]
    issued: Option<String>,
    /// The ffmpeg program.
    #[arg(long, value_name = "PROGRAM", default_value = "ffmpeg")]
    ffmpeg: String,
    /// Print nothing.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
}

/// Runs `suite`: exit 1 when there is a new fault, 2 when there is none and a run could not be judged, else 0.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let plan = Plan::load(&arguments.plan)?;
    let stop = stop::on_signals()?;
    let jobs = arguments
        .jobs
        .map_or_else(|| rayon::current_num_threads().min(MOST_JOBS), usize::from);
    let order = Order {
        plan: &plan,
        out: &arguments.out,
        against: arguments.against.as_deref(),
        shard: arguments.shard,
        issued: arguments.issued.clone(),
        jobs,
        is_forced: arguments.force.force,
    };
    let checker = CommandChecker {
        ffmpeg: &arguments.ffmpeg,
        is_forced: arguments.force.force,
        stop: &stop,
    };
    let tell = &mut |told: &Told| {
        if !arguments.quiet {
            print_run(told);
        }
    };
    let record = carry_out(&order, &checker, &stop, tell)?;
    if !arguments.quiet {
        print_summary(&record, &arguments.out);
    }
    Ok(record.exit_status)
}

/// Checks as `framevouch check` does, so that each run's manifest repeats it.
struct CommandChecker<'a> {
    ffmpeg: &'a str,
    is_forced: bool,
    stop: &'a Arc<AtomicBool>,
}

impl CommandChecker<'_> {
    fn check_of(&self, run: &Planned, home: &Path) -> check::Arguments {
        check::Arguments::of_suite(run, home, self.ffmpeg, self.is_forced)
    }
}

impl Checker for CommandChecker<'_> {
    fn arguments(&self, run: &Planned, home: &Path) -> Vec<String> {
        self.check_of(run, home).normalised(home)
    }

    fn check(&self, run: &Planned, home: &Path) -> Result<(), String> {
        let checked = check::carry_out(&self.check_of(run, home), home, self.stop);
        checked.map(drop).map_err(|e| in_words(e.as_ref()))
    }
}

/// An error with its causes.
fn in_words(error: &dyn StdError) -> String {
    let mut words = error.to_string();
    let mut cause = error.source();
    while let Some(e) = cause {
        words += &format!("; because: {e}");
        cause = e.source();
    }
    words
}

/// Events told in the line of a run.
const MOST_EVENTS: usize = 2;

fn print_run(told: &Told) {
    let run = told.run;
    let width = told.of.to_string().len();
    let tone = match (run.events.is_empty(), run.is_unjudged()) {
        (false, _) => Tone::Bad,
        (true, true) => Tone::Open,
        (true, false) => Tone::Good,
    };
    let kept = if told.is_kept { ", kept" } else { "" };
    say_pieces(&[
        (
            Tone::Plain,
            format!("{:>width$}/{} {:<24} ", told.number, told.of, run.id),
        ),
        (tone, format!("{:<12}", run.result)),
        (Tone::Plain, format!(" {}{kept}", about(run))),
    ]);
}

/// What a run found, in a few words.
fn about(run: &RunRecord) -> String {
    let mut words = vec![if run.manifest_sha256.is_some() {
        count_of(run.frames as usize, "frame")
    } else {
        "no results".to_owned()
    }];
    let new = |k: &usize| run.changes.as_ref().is_some_and(|c| c.new.contains(k));
    for (k, event) in run.events.iter().enumerate().take(MOST_EVENTS) {
        words.push(format!(
            "{}{}",
            if new(&k) { "new: " } else { "" },
            in_short(event)
        ));
    }
    if run.events.len() > MOST_EVENTS {
        words.push(format!("and {} more", run.events.len() - MOST_EVENTS));
    }
    let gone = run.changes.as_ref().map_or(0, |c| c.gone.len());
    if gone > 0 {
        words.push(format!("{} gone", count_of(gone, "event")));
    }
    words.extend(run.error.clone());
    // A line a run, whatever an error says.
    words.join("; ").replace('\n', " ")
}

fn in_short(event: &Event) -> String {
    format!(
        "{} in {} from {:.3} s to {:.3} s",
        name(event.class),
        event.regions.join(", "),
        event.onset_s,
        event.end_s
    )
}

pub(super) fn print_summary(suite: &SuiteRecord, out: &Path) {
    let all = &suite.all;
    let tone = match suite.exit_status {
        super::EXIT_AGREES => Tone::Good,
        super::EXIT_FAULTS => Tone::Bad,
        _ => Tone::Open,
    };
    say_pieces(&[
        (Tone::Plain, format!("{}: ", suite.name)),
        (tone, suite.result.clone()),
    ]);
    let part = suite.shard.map_or(String::new(), |s| {
        format!(" (part {s} of {})", suite.planned)
    });
    say!(
        "  runs        {}{part}: {} with faults, {} not judged or not to the end",
        all.runs,
        all.faulty,
        all.not_judged
    );
    if let Some(against) = &suite.against {
        let runs = suite.runs.iter().filter(|r| r.new_events() > 0).count();
        say!(
            "  against     {}: {} in {}, {} gone",
            against.name,
            count_of(all.new_events as usize, "new event"),
            count_of(runs, "run"),
            all.gone_events
        );
        if !against.gone_runs.is_empty() {
            say!("  no longer   {}", against.gone_runs.join(", "));
        }
    }
    say!("  events      {}", all.events);
    say!("  results     {}", out.display());
    say!("  page        {}", out.join(PAGE_FILE).display());
    say!("  {}", suite.caution);
}
