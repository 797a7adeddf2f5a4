//! `framevouch campaign`: faults put into clean video, and what the check says of each.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};

use super::{Failure, results};
use crate::campaign::plots;
use crate::campaign::run::{Ended, Prepared};
use crate::campaign::statistics::Confidence;
use crate::campaign::summary::{self, Coverage, Summary};
use crate::evidence::manifest::{Input, stored_path};

/// Arguments of `campaign`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Plan of the campaign (TOML).
    #[arg(long, value_name = "P.toml")]
    plan: PathBuf,
    /// Folder for the results; one that holds a part of them goes on where it was.
    #[arg(long, value_name = "DIR", required_unless_present = "dry_run")]
    out: Option<PathBuf>,
    /// Say how many trials there are and about how long they take, and carry out none.
    #[arg(long)]
    dry_run: bool,
    /// The ffmpeg program.
    #[arg(long, value_name = "PROGRAM", default_value = "ffmpeg")]
    ffmpeg: String,
    /// No progress and no summary.
    #[arg(long)]
    quiet: bool,
}

/// Runs `campaign`: exit 0 when it is complete, 2 when it was not carried out to its end.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let prepared = Prepared::load(&arguments.plan, &arguments.ffmpeg)?;
    let Some(out) = arguments.out.as_ref().filter(|_| !arguments.dry_run) else {
        print_plan(&prepared)?;
        return Ok(super::EXIT_AGREES);
    };
    let Some(summary) = carry_out(&prepared, arguments, out, out)? else {
        if !arguments.quiet {
            say!(
                "the time budget is spent; call the same command again to go on ({})",
                out.display()
            );
        }
        return Ok(super::EXIT_NOT_JUDGED);
    };
    if !arguments.quiet {
        print_summary(&summary, out);
    }
    Ok(super::EXIT_AGREES)
}

/// Carries a campaign out to its end, whatever its time budget, and writes results whose manifest is the one
/// that they would have at `home`.
pub(super) fn run_as_at(arguments: &Arguments, home: &Path) -> Result<(), Failure> {
    let prepared = Prepared::load(&arguments.plan, &arguments.ffmpeg)?;
    let out = arguments.out.as_ref().ok_or("no folder for the results")?;
    while carry_out(&prepared, arguments, out, home)?.is_none() {}
    Ok(())
}

impl Arguments {
    /// Paths as they stand in a manifest in `folder`, made to lead there.
    pub(super) fn begun_in(mut self, folder: &Path) -> Self {
        self.plan = results::from_folder(&self.plan, folder);
        self
    }
}

/// Goes on with a campaign in `out`; `None` when its time budget was spent before its end.
fn carry_out(
    prepared: &Prepared,
    arguments: &Arguments,
    out: &Path,
    home: &Path,
) -> Result<Option<Summary>, Failure> {
    let bar = if arguments.quiet || !std::io::stderr().is_terminal() {
        ProgressBar::hidden()
    } else {
        let bar = ProgressBar::new(prepared.trials().len());
        if let Ok(style) =
            ProgressStyle::with_template("{bar:40} {pos}/{len} trials, {per_sec}, {eta} left")
        {
            bar.set_style(style);
        }
        bar
    };
    prepared.claim(out)?;
    results::begin(out)?;
    let ended = prepared.run(out, &clock(), &mut |done, _| bar.set_position(done))?;
    bar.finish_and_clear();
    if ended == Ended::Budget {
        return Ok(None);
    }
    let summary = summary::summarise(
        prepared.plan(),
        prepared.definition(),
        prepared.trials(),
        out,
        Confidence::USUAL,
    )?;
    let json = serde_json::to_string_pretty(&summary)? + "\n";
    super::write_file(&out.join("campaign.json"), json.as_bytes())?;
    let failed = write_plots(&summary, out);
    write_manifest(prepared, arguments, out, home)?;
    // All else stands by now: a plot takes no trial with it.
    match failed.as_slice() {
        [] => Ok(Some(summary)),
        list => Err(format!(
            "{} of the plots cannot be written; all other results are complete. {}",
            list.len(),
            list.join("; ")
        )
        .into()),
    }
}

/// Writes the plots; what keeps some of them from being written.
fn write_plots(summary: &Summary, out: &Path) -> Vec<String> {
    let folder = out.join("plots");
    let cannot = |what: &str, e: &dyn std::fmt::Display| format!("{what}: {e}");
    if let Err(e) = super::make_folder(&folder) {
        return vec![cannot("plots", &e)];
    }
    let plots = plots::plots(summary);
    let undrawn = plots.failed.iter().map(|(name, e)| cannot(name, e));
    let unwritten = plots.drawn.iter().filter_map(|plot| {
        let path = folder.join(format!("{}.svg", plot.name));
        let written = super::write_file(&path, plot.svg.as_bytes());
        written.err().map(|e| cannot(&plot.name, &e))
    });
    undrawn.chain(unwritten).collect()
}

fn write_manifest(
    prepared: &Prepared,
    arguments: &Arguments,
    out: &Path,
    home: &Path,
) -> Result<(), Failure> {
    let folder = arguments.plan.parent().unwrap_or(Path::new(""));
    let plan = prepared.plan();
    let display = folder.join(&plan.plan.display);
    let mut inputs = vec![
        Input::new("plan", &arguments.plan),
        Input::new("display", &display),
    ];
    for c in &plan.capture {
        inputs.push(Input::new("capture", folder.join(&c.file)));
        inputs.push(Input::new("inputs", folder.join(&c.inputs)));
        let profile = c.profile.iter();
        inputs.extend(profile.map(|p| Input::new("profile", folder.join(p))));
    }
    inputs.extend(results::named_files(prepared.definition(), &display));
    let words = vec!["--plan".into(), stored_path(&arguments.plan, home)];
    results::write_manifest_of(out, home, "campaign", words, &inputs)
}

fn print_summary(s: &Summary, out: &Path) {
    say!("{}: {} of {} trials", s.name, s.carried_out, s.planned);
    say!(
        "  {:<20} {:>11} {:>11} {:>9} {:>9} {:>9}",
        "kind",
        "in place",
        "as class",
        "at least",
        "median",
        "worst"
    );
    let row = |name: &str, c: &Coverage| {
        let ms = |v: Option<f64>| v.map_or("-".into(), |v| format!("{v:.0} ms"));
        say!(
            "  {name:<20} {:>11} {:>11} {:>8.2}% {:>9} {:>9}",
            format!("{} of {}", c.in_place.k, c.in_place.n),
            format!("{} of {}", c.as_class.k, c.as_class.n),
            c.as_class.at_least() * 100.0,
            ms(c.detection_ms.as_ref().map(|d| d.median.value)),
            ms(c.detection_ms.as_ref().map(|d| d.worst)),
        );
    };
    for c in &s.by_kind {
        row(c.kind.as_deref().unwrap_or(""), c);
    }
    row("all", &s.coverage);
    let raised: u64 = s.harmless.iter().map(|h| h.raised.k).sum();
    let tried: u64 = s.harmless.iter().map(|h| h.raised.n).sum();
    say!("  harmless changes raised: {raised} of {tried}");
    let at_most = s
        .nuisance
        .rate
        .one_sided_per_hour
        .map_or(String::new(), |b| {
            format!(", at most {:.2} an hour", b.upper)
        });
    say!(
        "  clean video: {} raised in {:.2} h{at_most}",
        s.nuisance.rate.events,
        s.nuisance.rate.hours
    );
    for (kind, count) in &s.not_begun {
        say!("  found no moment: {count} of {kind}");
    }
    say!("  results     {}", out.display());
    say!("  {}", s.caution);
}

#[expect(
    clippy::disallowed_methods,
    reason = "a time budget and an estimate are of this machine; no result depends on them"
)]
fn clock() -> impl Fn() -> f64 {
    let begun = std::time::Instant::now();
    move || begun.elapsed().as_secs_f64()
}

fn print_plan(prepared: &Prepared) -> Result<(), Failure> {
    say!(
        "{}: {} trials",
        prepared.plan().plan.name,
        prepared.trials().len()
    );
    say!("  {:<20} {:>8} {:>8}", "kind", "faults", "twins");
    for (kind, (faults, twins)) in prepared.trials().by_kind() {
        say!("  {kind:<20} {faults:>8} {twins:>8}");
    }
    let estimate_s = prepared.estimate_s(&clock())?;
    say!(
        "  about {:.0} min on this machine, by a few trials of the first stretch",
        (estimate_s / 60.0).ceil()
    );
    Ok(())
}
