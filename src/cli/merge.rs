//! `framevouch merge`: shards that many machines carried out, put together as if one had.

use std::path::{Path, PathBuf};

use super::{Failure, Force, campaign, results, stop, suite};
use crate::campaign::parts::Parts;
use crate::campaign::run::{Ended, Prepared};
use crate::campaign::summary::Summary;
use crate::evidence::manifest::Manifest;
use crate::evidence::run_folder::{Kind, RunFolder};

/// Arguments of `merge`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Folders of all shards, in any order.
    #[arg(value_name = "SHARD", required = true, num_args = 1..)]
    shards: Vec<PathBuf>,
    /// Folder for the results.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The plan, where it lies elsewhere than the shards' manifests say.
    #[arg(long, value_name = "P.toml")]
    plan: Option<PathBuf>,
    /// Also the trials, and what thresholds decide on, as typed tables (Parquet), as campaign --parquet writes them.
    #[cfg(feature = "parquet")]
    #[arg(long)]
    parquet: bool,
    /// The ffmpeg program, for trials that are left.
    #[arg(long, value_name = "PROGRAM", default_value = "ffmpeg")]
    ffmpeg: String,
    /// No progress and no summary.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
}

impl Arguments {
    const fn with_tables(&self) -> bool {
        #[cfg(feature = "parquet")]
        return self.parquet;
        #[cfg(not(feature = "parquet"))]
        return false;
    }
}

/// Runs `merge`: ends as the command ends whose shards these are.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let manifests = arguments
        .shards
        .iter()
        .map(|s| Some((s, Manifest::read(s).ok()?.0)));
    let first = manifests.flatten().next();
    match first.as_ref().map(|(folder, m)| (folder, m.command.as_str())) {
        // Where none is whole, what is said of campaigns says so.
        None | Some((_, "campaign")) => {
            let summary = campaign_of(arguments)?;
            Ok(campaign::told(&summary, &arguments.out, arguments.quiet))
        }
        Some((_, "suite")) => {
            let force = arguments.force.force;
            let record = crate::suite::merge::merge(&arguments.shards, &arguments.out, force)?;
            if !arguments.quiet {
                suite::print_summary(&record, &arguments.out);
            }
            Ok(record.exit_status)
        }
        Some((folder, other)) => Err(format!(
            "\"{}\" holds results of \"{other}\", which has no shards; give folders that campaign --shard or suite --shard wrote",
            folder.display()
        )
        .into()),
    }
}

/// A campaign, from its shards. It begins anew when it was broken off: the shards stay as they are.
fn campaign_of(arguments: &Arguments) -> Result<Summary, Failure> {
    // Unfinished trials that stand there are somebody's.
    const KIND: Kind = Kind {
        is_begun: |_| false,
        ..campaign::KIND
    };
    let parts = Parts::open(&arguments.shards, arguments.plan.as_deref())?;
    let plan = arguments.plan.clone().or_else(|| parts.plan());
    let plan = plan.ok_or("the shards' manifests name no plan: give --plan")?;
    if !plan.is_file() {
        return Err(format!(
            "the plan is not at \"{}\", where the shards' manifests say: give --plan",
            plan.display()
        )
        .into());
    }
    let prepared = Prepared::load(&plan, &arguments.ffmpeg)?.stopped_by(stop::on_signals()?);
    let out: &Path = &arguments.out;
    let (read, held) = (prepared.paths(), parts.files());
    let paths = read.iter().chain(&held).map(PathBuf::as_path);
    let folder = RunFolder::claim(out, KIND, paths, arguments.force.force)?;
    let new = folder.new_results();
    let bar = campaign::progress_bar(&prepared, arguments.quiet);
    let captures = prepared.captures()?;
    let tell = &mut |done, _| bar.set_position(done);
    let ended = prepared.merge(&new, &captures, parts, tell)?;
    bar.finish_and_clear();
    if ended != Ended::Finished {
        let again = "the shards are as they were, and the same command puts them together";
        return Err(format!("broken off; {again}").into());
    }
    let with_tables = arguments.with_tables();
    let concluded = campaign::conclude(&prepared, &new, &new, with_tables)?;
    let words = campaign::normalised(&plan, None, with_tables, out);
    let inputs = prepared.inputs(&captures)?;
    results::write_manifest(&new, out, KIND.command, words, &inputs)?;
    folder.finish()?;
    concluded.whole()
}
