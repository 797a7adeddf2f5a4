//! `framevouch report`: result folders as one page for the reviewer.

use std::path::PathBuf;

use super::{EXIT_AGREES, EXIT_FAULTS, Failure, write_file};
use crate::evidence::junit;
use crate::evidence::report::unverified::differences;
use crate::evidence::report::{Bundle, answer, page};
use crate::evidence::results_folder::{NOT_VERIFIED, Trust};
use crate::files::Content;

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
}

/// Runs `report`: exit 0 when the page shows what was written, 1 when it is marked as not verified.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let bundle = Bundle::load(
        &arguments.from,
        arguments.against.as_deref(),
        arguments.issued.clone(),
        if arguments.unverified {
            Trust::Unverified
        } else {
            Trust::Verified
        },
    )?;
    let page = page(&bundle);
    write_file(&arguments.out, page.as_bytes())?;
    if let Some(path) = &arguments.junit {
        write_file(path, &junit::report_xml(&bundle)?)?;
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
        let inside = std::fs::canonicalize(&arguments.out).is_ok_and(|page| {
            let mut folders = arguments.from.iter().chain(&arguments.against);
            folders.any(|f| std::fs::canonicalize(f).is_ok_and(|f| page.starts_with(f)))
        });
        if inside {
            say!("note: the page lies in a result folder; verify will name it as extra there");
        }
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
