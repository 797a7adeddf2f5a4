//! `framevouch campaign`: faults put into clean video, and what the check says of each.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};

use super::{Failure, Force, results, stop};
use crate::campaign::plan::Plan;
use crate::campaign::plots;
use crate::campaign::results as files;
use crate::campaign::run::{Ended, Prepared};
use crate::campaign::statistics::Confidence;
use crate::campaign::summary::{self, Coverage, Kept, Summary, by_class};
use crate::evidence::campaign_junit::campaign_junit_xml;
use crate::evidence::manifest::{self, Input, MANIFEST_FILE, ReadFiles, stored_path};
use crate::evidence::run_folder::{Kind, RunFolder};
use crate::evidence::tables;
use crate::shard::Shard;

/// Arguments of `campaign`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Plan of the campaign (TOML).
    #[arg(long, value_name = "P.toml")]
    plan: PathBuf,
    /// Folder for the results; one that holds a part of them goes on where it was.
    #[arg(long, value_name = "DIR", required_unless_present = "dry_run")]
    out: Option<PathBuf>,
    /// Carry out one of N shards, K of them from 1, each into a folder of its own; `framevouch merge` puts them together.
    #[arg(long, value_name = "K/N", conflicts_with = "dry_run")]
    shard: Option<Shard>,
    /// Also the trials, and what thresholds decide on, as typed tables (Parquet).
    #[cfg(feature = "parquet")]
    #[arg(long, conflicts_with = "shard")]
    parquet: bool,
    /// Say how many trials there are and about how long they take, and carry out none.
    #[arg(long)]
    dry_run: bool,
    /// The ffmpeg program.
    #[arg(long, value_name = "PROGRAM", default_value = "ffmpeg")]
    ffmpeg: String,
    /// No progress and no summary.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
}

/// What is written on the way stays where it is; the rest is written when that is whole.
pub(super) const KIND: Kind = Kind {
    command: "campaign",
    is_result: |name| {
        files::is_written_on_the_way(name)
            || ["campaign.json", "junit.xml"].contains(&name)
            || tables::FILES.contains(&name)
    },
    folders: &["misses", "plots"],
    is_begun: files::is_begun,
};

/// Runs `campaign`: exit 0 when it is complete, 1 when a limit of its plan is not kept, 2 when it was not carried out to its
/// end. A shard knows of no limits.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let prepared = Prepared::load(&arguments.plan, &arguments.ffmpeg)?.sharded(arguments.shard);
    let Some(out) = arguments.out.as_ref().filter(|_| !arguments.dry_run) else {
        print_plan(&prepared)?;
        return Ok(super::EXIT_AGREES);
    };
    let prepared = prepared.stopped_by(stop::on_signals()?);
    let summary = match carry_out(&prepared, arguments, out, out)? {
        Left::Done(summary) => summary,
        Left::Shard(shard) => {
            if !arguments.quiet {
                say!("{}: shard {shard} is complete", prepared.plan().plan.name);
                say!("  results     {}", out.display());
                say!(
                    "  all {} together: framevouch merge DIR... --out DIR",
                    shard.of()
                );
            }
            return Ok(super::EXIT_AGREES);
        }
        Left::More(why) => {
            let go_on = format!("call the same command again to go on ({})", out.display());
            if why == Ended::Stopped {
                return Err(format!("broken off; {go_on}").into());
            }
            if !arguments.quiet {
                say!("the time budget is spent; {go_on}");
            }
            return Ok(super::EXIT_NOT_JUDGED);
        }
    };
    Ok(told(&summary, out, arguments.quiet))
}

/// Says what a whole campaign found: 1 when a limit of its plan is not kept, else 0.
pub(super) fn told(summary: &Summary, out: &Path, is_quiet: bool) -> u8 {
    if !is_quiet {
        print_summary(summary, out);
    }
    let is_broken = summary.limits.iter().any(|l| l.kept() == Kept::No);
    if is_broken {
        super::EXIT_FAULTS
    } else {
        super::EXIT_AGREES
    }
}

/// Carries a campaign out to its end, whatever its time budget, and writes results whose manifest is the one
/// that they would have at `home`.
pub(super) fn run_as_at(arguments: &Arguments, home: &Path) -> Result<(), Failure> {
    let prepared = Prepared::load(&arguments.plan, &arguments.ffmpeg)?.sharded(arguments.shard);
    let out = arguments.out.as_ref().ok_or("no folder for the results")?;
    while matches!(carry_out(&prepared, arguments, out, home)?, Left::More(_)) {}
    Ok(())
}

impl Arguments {
    /// Paths as they stand in a manifest in `folder`, made to lead there.
    pub(super) fn begun_in(mut self, folder: &Path) -> Self {
        self.plan = results::from_folder(&self.plan, folder);
        self
    }

    /// Runs `program` as ffmpeg; manifests do not say which one ran.
    pub(super) fn with_ffmpeg(mut self, program: &str) -> Self {
        program.clone_into(&mut self.ffmpeg);
        self
    }

    /// The arguments in a fixed order, paths as a manifest at `home` stores them.
    pub(super) fn normalised(&self, home: &Path) -> Vec<String> {
        normalised(&self.plan, self.shard, self.with_tables(), home)
    }

    const fn with_tables(&self) -> bool {
        #[cfg(feature = "parquet")]
        return self.parquet;
        #[cfg(not(feature = "parquet"))]
        return false;
    }

    /// Files that go in: the plan, and those that it names.
    pub(super) fn inputs(&self) -> Result<Vec<Input>, Failure> {
        Ok(self.inputs_of(&Plan::load(&self.plan)?))
    }

    fn inputs_of(&self, plan: &Plan) -> Vec<Input> {
        let mut inputs = vec![
            Input::new("plan", &self.plan),
            Input::new("display", self.beside_plan(&plan.plan.display)),
        ];
        for c in &plan.capture {
            inputs.push(Input::new("capture", self.beside_plan(&c.file)));
            inputs.push(Input::new("inputs", self.beside_plan(&c.inputs)));
            let bench = c.recording.as_ref();
            inputs.extend(bench.map(|b| Input::new("recording", self.beside_plan(b))));
            let tables = c.tables.values();
            inputs.extend(tables.map(|t| Input::new("table", self.beside_plan(t))));
            let profile = c.profile.iter();
            inputs.extend(profile.map(|p| Input::new("profile", self.beside_plan(p))));
        }
        inputs
    }

    /// Where a file lies that the plan names.
    fn beside_plan(&self, path: &Path) -> PathBuf {
        self.plan.parent().unwrap_or(Path::new("")).join(path)
    }
}

/// The arguments of a campaign, paths as a manifest at `home` stores them.
pub(super) fn normalised(
    plan: &Path,
    shard: Option<Shard>,
    with_tables: bool,
    home: &Path,
) -> Vec<String> {
    let mut words = vec!["--plan".into(), stored_path(plan, home)];
    words.extend(
        shard
            .into_iter()
            .flat_map(|s| ["--shard".into(), s.to_string()]),
    );
    words.extend(with_tables.then(|| "--parquet".into()));
    words
}

/// What is left of a campaign.
enum Left {
    /// Nothing.
    Done(Box<Summary>),
    /// Nothing of this shard.
    Shard(Shard),
    /// Something, and why.
    More(Ended),
}

/// Goes on with a campaign in `out`.
fn carry_out(
    prepared: &Prepared,
    arguments: &Arguments,
    out: &Path,
    home: &Path,
) -> Result<Left, Failure> {
    let bar = progress_bar(prepared, arguments.quiet);
    let paths = prepared.paths();
    let paths = paths.iter().map(PathBuf::as_path);
    let folder = RunFolder::claim(out, KIND, paths, arguments.force.force)?;
    if arguments.force.force && !files::is_begun(out) {
        // What is not ours and is to be replaced.
        folder.withdraw(&|_| false)?;
    }
    if !prepared.claim(out)? {
        // A summary of more or other trials than these will be.
        folder.withdraw(&files::is_written_on_the_way)?;
    }
    let captures = prepared.captures()?;
    let tell = &mut |done, _| bar.set_position(done);
    let ended = prepared.run(out, &captures, &clock(), tell)?;
    bar.finish_and_clear();
    if ended != Ended::Finished {
        return Ok(Left::More(ended));
    }
    let new = folder.new_results();
    let words = arguments.normalised(home);
    if let Some(shard) = prepared.shard() {
        let inputs = prepared.inputs(&captures)?;
        write_manifest(words, &inputs, out, &new, home)?;
        folder.finish()?;
        return Ok(Left::Shard(shard));
    }
    let concluded = conclude(prepared, out, &new, arguments.with_tables())?;
    let inputs = prepared.inputs(&captures)?;
    write_manifest(words, &inputs, out, &new, home)?;
    folder.finish()?;
    Ok(Left::Done(Box::new(concluded.whole()?)))
}

/// Shows how far a campaign is.
pub(super) fn progress_bar(prepared: &Prepared, is_quiet: bool) -> ProgressBar {
    if is_quiet || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(prepared.trials().len());
    if let Ok(style) =
        ProgressStyle::with_template("{bar:40} {pos}/{len} trials, {per_sec}, {eta} left")
    {
        bar.set_style(style);
    }
    bar
}

/// What all trials say, and which plots of it cannot be written.
pub(super) struct Concluded {
    summary: Summary,
    failed: Vec<String>,
}

impl Concluded {
    /// The summary, where all plots stand. All else does by now: a plot takes no trial with it.
    pub(super) fn whole(self) -> Result<Summary, Failure> {
        match self.failed.as_slice() {
            [] => Ok(self.summary),
            list => Err(format!(
                "{} of the plots cannot be written; all other results are complete. {}",
                list.len(),
                list.join("; ")
            )
            .into()),
        }
    }
}

/// Sums up the trials in `out`, and writes what they say into `new`, with tables of all of them where these are asked for.
pub(super) fn conclude(
    prepared: &Prepared,
    out: &Path,
    new: &Path,
    with_tables: bool,
) -> Result<Concluded, Failure> {
    let summary = summary::summarise(
        prepared.plan(),
        prepared.definition(),
        prepared.trials(),
        out,
        Confidence::USUAL,
    )?;
    let json = serde_json::to_string_pretty(&summary)? + "\n";
    super::write_file(&new.join("campaign.json"), json.as_bytes())?;
    super::write_file(&new.join("junit.xml"), &campaign_junit_xml(&summary)?)?;
    #[cfg(feature = "parquet")]
    if with_tables {
        let display = &prepared.definition().file().display.name;
        tables::of_campaign(out, new, display)?;
    }
    #[cfg(not(feature = "parquet"))]
    debug_assert!(!with_tables);
    let failed = write_plots(&summary, new);
    Ok(Concluded { summary, failed })
}

/// Writes the plots; what keeps some of them from being written.
fn write_plots(summary: &Summary, out: &Path) -> Vec<String> {
    let folder = out.join("plots");
    let cannot = |what: &str, e: &dyn std::fmt::Display| format!("{what}: {e}");
    if let Err(e) = std::fs::create_dir_all(&folder) {
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

/// Writes the manifest of what is in `new`, and of what was written in `out` on the way.
fn write_manifest(
    words: Vec<String>,
    inputs: &ReadFiles,
    out: &Path,
    new: &Path,
    home: &Path,
) -> Result<(), Failure> {
    let mut outputs = manifest::outputs(new)?;
    outputs.extend(manifest::outputs_that(out, &files::is_written_on_the_way)?);
    let manifest = manifest::make(new, home, KIND.command, words, inputs, outputs)?;
    super::write_file(&new.join(MANIFEST_FILE), manifest.to_json()?.as_bytes())
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
    for class in by_class(&s.limits) {
        say!("  {}", class.words());
    }
    if s.limits.is_empty() {
        say!("  the plan sets no limit_ms: nothing says how soon faults must be raised");
    }
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
