//! `framevouch report`: result folders as one page for the reviewer.

use std::path::{Path, PathBuf};

use super::{EXIT_AGREES, EXIT_FAULTS, Failure, Force, results};
use crate::evidence::junit;
use crate::evidence::report::unverified::differences;
use crate::evidence::report::{Bundle, PAGE, answer, page};
use crate::evidence::results_folder::{NOT_VERIFIED, Trust};
use crate::files::{self, Content};

/// Arguments of `report`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Result folders of `framevouch check`, one or more.
    #[arg(long, value_name = "DIR", required = true, num_args = 1..)]
    from: Vec<PathBuf>,
    /// The page (HTML, one file).
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Results to compare with: what is new, gone or changed.
    #[arg(long, value_name = "DIR")]
    against: Option<PathBuf>,
    /// Also what the page says as JUnit XML, for build servers.
    #[arg(long, value_name = "FILE")]
    junit: Option<PathBuf>,
    /// Take results that are not as they were written, and mark the page as not verified (exit 1).
    #[arg(long)]
    unverified: bool,
    /// Time or number of issue, as it shall stand on the page; without it the page has none.
    #[arg(long, value_name = "TEXT")]
    issued: Option<String>,
    /// Print nothing.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
}

/// Runs `report`: exit 0 when the page shows what was written, 1 when it is marked as not verified.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    for path in std::iter::once(&arguments.out).chain(&arguments.junit) {
        refuse_inside(path, arguments)?;
    }
    let bundle = Bundle::load(
        &arguments.from,
        arguments.against.as_deref(),
        arguments.issued.clone(),
        Trust::asked(arguments.unverified),
    )?;
    let page = page(&bundle);
    let junit = match &arguments.junit {
        Some(path) => Some((path, junit::report_xml(&bundle)?)),
        None => None,
    };
    let folders = arguments.from.iter().chain(&arguments.against);
    let results: Vec<PathBuf> = folders.flat_map(|f| results::files_of(f)).collect();
    let results = results.iter().map(PathBuf::as_path);
    let force = arguments.force.force;
    let pages = [&arguments.out].into_iter().chain(&arguments.junit);
    files::refuse_shared(results, pages.cloned())?;
    if let Some((path, _)) = &junit {
        files::refuse_foreign(path, junit::REPORT, force)?;
    }
    files::replace(&arguments.out, page.as_bytes(), PAGE, force)?;
    if let Some((path, bytes)) = junit {
        files::replace(path, &bytes, junit::REPORT, force)?;
    }
    let differing = differences(&bundle);
    if !arguments.quiet {
        for part in answer::parts(&bundle) {
            say!("{}: {}", part.name, part.lines.join("; "));
        }
        say!(
            "{}: {:.1} MB, SHA-256 {}",
            arguments.out.display(),
            page.len() as f64 / 1e6,
            Content::of(page.as_bytes()).sha256
        );
    }
    for (folder, changes) in &differing {
        say!("{NOT_VERIFIED}: {folder}");
        changes.iter().for_each(|change| say!("  {change}"));
    }
    Ok(if differing.is_empty() {
        EXIT_AGREES
    } else {
        EXIT_FAULTS
    })
}

/// What lies in a result folder and is none of its results keeps the folder from verifying.
fn refuse_inside(path: &Path, arguments: &Arguments) -> Result<(), Failure> {
    let beside = match path.parent() {
        Some(parent) if parent != Path::new("") => parent,
        _ => Path::new("."),
    };
    let Ok(place) = std::fs::canonicalize(beside) else {
        return Ok(());
    };
    let mut folders = arguments.from.iter().chain(&arguments.against);
    let is_inside = |f: &&PathBuf| std::fs::canonicalize(f).is_ok_and(|f| place.starts_with(f));
    match folders.find(is_inside) {
        Some(folder) => Err(format!(
            "\"{}\" would lie in the results \"{}\", which then would not verify: write it beside them",
            path.display(),
            folder.display()
        )
        .into()),
        None => Ok(()),
    }
}
