//! `framevouch report`: result folders as one page for the reviewer.

use std::path::{Path, PathBuf};

use super::print::say_pieces;
use super::tone::Tone;
use super::{EXIT_AGREES, EXIT_FAULTS, Failure, Force, results};
use crate::evidence::junit;
use crate::evidence::report::unverified::differences;
use crate::evidence::report::{Bundle, PAGE, answer, page};
use crate::evidence::results_folder::{NOT_VERIFIED, Trust};
use crate::evidence::trace::{Trace, reqif, table};
use crate::evidence::workbook;
use crate::files::{self, Content, Kind};
use crate::requirements::{Names, Requirements};

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
    /// Requirements (CSV or ReqIF) whose wording the page shows, in the place of those that the definition named.
    #[arg(long, value_name = "FILE")]
    requirements: Option<PathBuf>,
    /// Also what the page says as JUnit XML, for build servers.
    #[arg(long, value_name = "FILE")]
    junit: Option<PathBuf>,
    /// Also the trace: requirements, regions and results, as CSV or, where the name ends with .reqif, as ReqIF. May be given
    /// more than once.
    #[arg(long, value_name = "FILE")]
    trace: Vec<PathBuf>,
    /// Also events, requirements, regions and coverage as a spreadsheet workbook (.xlsx).
    #[arg(long, value_name = "FILE")]
    workbook: Option<PathBuf>,
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

/// A file that is made beside others, whole or not at all.
struct Made<'a> {
    path: &'a Path,
    kind: Kind,
    bytes: Vec<u8>,
}

impl Arguments {
    /// What is written, the page first.
    fn outputs(&self) -> impl Iterator<Item = &PathBuf> {
        let beside = self.junit.iter().chain(&self.trace).chain(&self.workbook);
        std::iter::once(&self.out).chain(beside)
    }

    /// What is read and lies in no result folder.
    fn inputs(&self) -> impl Iterator<Item = &Path> {
        self.requirements.as_deref().into_iter()
    }

    fn load(&self) -> Result<Bundle, Failure> {
        let trust = Trust::asked(self.unverified);
        let given = self.requirements.as_deref();
        let given = given
            .map(|path| Requirements::load(path, &Names::default()))
            .transpose()?;
        let against = self.against.as_deref();
        let bundle = Bundle::load(&self.from, against, self.issued.clone(), trust)?;
        Ok(match given {
            Some(given) => bundle.with_requirements(given),
            None => bundle,
        })
    }

    fn make<'a>(&'a self, bundle: &Bundle) -> Result<Vec<Made<'a>>, Failure> {
        let mut made = vec![Made {
            path: &self.out,
            kind: PAGE,
            bytes: page(bundle).into_bytes(),
        }];
        if let Some(path) = &self.junit {
            made.push(Made {
                path,
                kind: junit::REPORT,
                bytes: junit::report_xml(bundle)?,
            });
        }
        if !self.trace.is_empty() {
            let trace = Trace::of(bundle);
            for path in &self.trace {
                let (kind, bytes) = match trace_form(path)? {
                    TraceForm::Csv => (table::FILE, table::csv(&trace)?),
                    TraceForm::Reqif => (reqif::FILE, reqif::reqif(&trace)?),
                };
                made.push(Made { path, kind, bytes });
            }
        }
        if let Some(path) = &self.workbook {
            made.push(Made {
                path,
                kind: workbook::FILE,
                bytes: workbook::workbook(bundle)?,
            });
        }
        Ok(made)
    }
}

enum TraceForm {
    Csv,
    Reqif,
}

fn trace_form(path: &Path) -> Result<TraceForm, Failure> {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("csv") => Ok(TraceForm::Csv),
        Some("reqif") => Ok(TraceForm::Reqif),
        _ => Err(format!(
            "--trace \"{}\": the name must end with .csv or .reqif, which says what is written",
            path.display()
        )
        .into()),
    }
}

/// Runs `report`: exit 0 when the page shows what was written, 1 when it is marked as not verified.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    for path in arguments.outputs() {
        refuse_inside(path, arguments)?;
    }
    // Before the work rather than after it.
    arguments
        .trace
        .iter()
        .try_for_each(|path| trace_form(path).map(drop))?;
    let bundle = arguments.load()?;
    let made = arguments.make(&bundle)?;
    let folders = arguments.from.iter().chain(&arguments.against);
    let results: Vec<PathBuf> = folders.flat_map(|f| results::files_of(f)).collect();
    let read = results
        .iter()
        .map(PathBuf::as_path)
        .chain(arguments.inputs());
    files::refuse_shared(read, arguments.outputs().cloned())?;
    let force = arguments.force.force;
    for m in &made {
        files::refuse_foreign(m.path, m.kind, force)?;
    }
    for m in &made {
        files::replace(m.path, &m.bytes, m.kind, force)?;
    }
    let differing = differences(&bundle);
    if !arguments.quiet {
        for part in answer::parts(&bundle) {
            say_pieces(&[
                (Tone::Plain, format!("{}: ", part.name)),
                (part.standing.into(), part.lines.join("; ")),
            ]);
        }
        let page = &made[0];
        say!(
            "{}: {:.1} MB, SHA-256 {}",
            page.path.display(),
            page.bytes.len() as f64 / 1e6,
            Content::of(&page.bytes).sha256
        );
    }
    for (folder, changes) in &differing {
        say_pieces(&[
            (Tone::Bad, NOT_VERIFIED.into()),
            (Tone::Plain, format!(": {folder}")),
        ]);
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
