//! `framevouch tune`: thresholds from stored measurements.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::print::say_pieces;
use super::tone::Tone;
use super::{Failure, Force, results, write_file};
use crate::campaign::records::TRIALS_FILE;
use crate::campaign::statistics::Confidence;
use crate::definition::Definition;
use crate::definition::model::Hazard;
use crate::evidence::manifest::{Input, MANIFEST_FILE, ReadFiles, stored_path};
use crate::evidence::measurements::MEASUREMENTS_FILE;
use crate::evidence::results_folder::{NOT_VERIFIED, ResultsFolder, Trust};
use crate::evidence::run_folder::{Kind, RunFolder};
use crate::tune::material::{self, Gathering};
use crate::tune::patch;
use crate::tune::plot::trade_off_plot;
use crate::tune::search::{self, Demand, RegionTuned, Tuned};

/// Arguments of `tune`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Display definition (TOML) that the measurements were made with.
    #[arg(long, value_name = "D.toml")]
    display: PathBuf,
    /// Folders of results: of campaigns, and of checks of clean video with --measurements.
    #[arg(long, value_name = "DIR", required = true, num_args = 1..)]
    from: Vec<PathBuf>,
    /// Folder for `tune.json` and `thresholds.patch`.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Nuisance trips of the whole display, at most, 1/h.
    #[arg(long, value_name = "RATE", default_value_t = 0.01)]
    nuisance_per_hour: f64,
    /// Lower bound of the coverage in each region concerned, at least.
    #[arg(long, value_name = "SHARE", default_value_t = 0.99)]
    coverage: f64,
    /// Longest detection time, ms.
    #[arg(long, value_name = "MS", default_value_t = 500.0)]
    detection_ms: f64,
    /// Regions of this hazard class and above are concerned.
    #[arg(long, value_enum, default_value_t = HazardName::Hazardous)]
    hazard: HazardName,
    /// Confidence of all bounds.
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    confidence: f64,
    /// Wrong values count as faults from this many tolerances on.
    #[arg(long, value_name = "TOLERANCES", default_value_t = 2.0)]
    least_size: f64,
    /// Take results that are not as they were written, and mark all that comes of them as not verified (exit 1).
    #[arg(long)]
    unverified: bool,
    /// No summary.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    force: Force,
}

const KIND: Kind = Kind {
    command: "tune",
    is_result: |name| ["tune.json", "thresholds.patch", "trade_off.svg"].contains(&name),
    folders: &[],
    is_begun: |_| false,
};

#[derive(Clone, Copy, ValueEnum)]
enum HazardName {
    Catastrophic,
    Hazardous,
    Major,
    Minor,
}

/// Runs `tune`: exit 0 when every region concerned has a recommended set, 1 when one has none, or when they are from
/// results that are not as they were written.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let (tuned, is_unchanged) = run_as_at(arguments, &arguments.out)?;
    if !arguments.quiet {
        print(&tuned, &arguments.out, is_unchanged);
    }
    Ok(if tuned.is_satisfied && tuned.unverified.is_empty() {
        super::EXIT_AGREES
    } else {
        super::EXIT_FAULTS
    })
}

impl Arguments {
    /// Paths as they stand in a manifest in `folder`, made to lead there.
    pub(super) fn begun_in(mut self, folder: &Path) -> Self {
        for path in std::iter::once(&mut self.display).chain(&mut self.from) {
            *path = results::from_folder(path, folder);
        }
        self
    }
}

/// Tunes, and writes results whose manifest is the one that they would have at `home`. Also says whether the
/// definition stays as it is.
pub(super) fn run_as_at(arguments: &Arguments, home: &Path) -> Result<(Tuned, bool), Failure> {
    let demand = Demand {
        nuisance_per_hour: positive("--nuisance-per-hour", arguments.nuisance_per_hour)?,
        coverage: positive("--coverage", arguments.coverage)?.min(1.0),
        detection_ms: positive("--detection-ms", arguments.detection_ms)?,
        hazard: match arguments.hazard {
            HazardName::Catastrophic => Hazard::Catastrophic,
            HazardName::Hazardous => Hazard::Hazardous,
            HazardName::Major => Hazard::Major,
            HazardName::Minor => Hazard::Minor,
        },
        confidence: Confidence::new(arguments.confidence)?,
    };
    let definition = Definition::load(&arguments.display)?;
    let mut inputs = ReadFiles::default();
    inputs.add_display(&definition)?;
    let files = definition.contents().iter();
    let mut read: Vec<PathBuf> = files.map(|f| f.file.path.clone()).collect();
    read.extend(arguments.from.iter().flat_map(|f| results::files_of(f)));
    let read = read.iter().map(PathBuf::as_path);
    let out = RunFolder::claim(&arguments.out, KIND, read, arguments.force.force)?;
    let new = out.new_results();
    let trust = Trust::asked(arguments.unverified);
    let mut gathering = Gathering::default();
    let mut unverified = Vec::new();
    let mut known = BTreeSet::new();
    for path in &arguments.from {
        let (folder, (), verified) =
            ResultsFolder::load::<_, material::Error>(path, trust, |folder| {
                gathering.add(folder, &definition, arguments.least_size)
            })?;
        let shown = stored_path(path, home);
        let changes = verified.contradictions();
        unverified.extend(changes.iter().map(|change| format!("{shown}: {change}")));
        let place = std::fs::canonicalize(path).unwrap_or_else(|_| path.clone());
        let is_new = known.insert(place);
        for (role, name) in READ_OF_RESULTS {
            match folder.held(name) {
                Some(file) if is_new => inputs.add_file(role, &file)?,
                Some(file) => inputs.see(&[file])?,
                None => {}
            }
        }
    }
    let mut tuned = search::tune(&gathering.material(), &definition, &demand)?;
    tuned.unverified = unverified;
    let folder = arguments.display.parent().unwrap_or(Path::new(""));
    let mut patch = String::new();
    let mut left_out = Vec::new();
    for file in definition.texts() {
        let changed = patch::changed(&file, &tuned, &mut left_out)?;
        let path = Path::new(file.origin);
        let path = path.strip_prefix(folder).unwrap_or(path);
        patch += &patch::diff(file.text, &changed, &path.display().to_string());
    }
    let is_unchanged = patch.is_empty() && left_out.is_empty();
    tuned.notes.extend(left_out);
    let json = serde_json::to_string_pretty(&tuned)? + "\n";
    write_file(&new.join("tune.json"), json.as_bytes())?;
    write_file(&new.join("thresholds.patch"), patch.as_bytes())?;
    if let Ok(svg) = trade_off_plot(&tuned) {
        write_file(&new.join("trade_off.svg"), svg.as_bytes())?;
    }
    let words = arguments.normalised(home);
    results::write_manifest(&new, home, KIND.command, words, &inputs)?;
    out.finish()?;
    Ok((tuned, is_unchanged))
}

/// What is read of each result folder, by its role.
const READ_OF_RESULTS: [(&str, &str); 3] = [
    ("results", MANIFEST_FILE),
    ("measurements", MEASUREMENTS_FILE),
    ("trials", TRIALS_FILE),
];

impl Arguments {
    /// Files that go in, each once.
    pub(super) fn inputs(&self) -> Vec<Input> {
        let mut inputs = vec![Input::new("display", &self.display)];
        let mut known = BTreeSet::new();
        for folder in &self.from {
            let place = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.clone());
            if !known.insert(place) {
                continue;
            }
            let trials = folder.join(TRIALS_FILE);
            let of_folder = [
                Some(Input::new("results", folder.join(MANIFEST_FILE))),
                Some(Input::new("measurements", folder.join(MEASUREMENTS_FILE))),
                trials.exists().then(|| Input::new("trials", trials)),
            ];
            inputs.extend(of_folder.into_iter().flatten());
        }
        inputs
    }

    /// The arguments in a fixed order, paths as a manifest at `home` stores them.
    pub(super) fn normalised(&self, home: &Path) -> Vec<String> {
        let path = |p: &Path| stored_path(p, home);
        let mut words = vec!["--display".into(), path(&self.display), "--from".into()];
        words.extend(self.from.iter().map(|folder| path(folder)));
        let mut say = |name: &str, value: String| words.extend([name.to_owned(), value]);
        say("--nuisance-per-hour", self.nuisance_per_hour.to_string());
        say("--coverage", self.coverage.to_string());
        say("--detection-ms", self.detection_ms.to_string());
        say("--confidence", self.confidence.to_string());
        say("--least-size", self.least_size.to_string());
        if let Some(hazard) = self.hazard.to_possible_value() {
            say("--hazard", hazard.get_name().to_owned());
        }
        if self.unverified {
            words.push("--unverified".into());
        }
        words
    }
}

fn positive(name: &str, value: f64) -> Result<f64, Failure> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(format!("{name} is {value}; it must be above 0").into())
    }
}

fn print(tuned: &Tuned, out: &Path, is_unchanged: bool) {
    say!(
        "{}: {} sets of thresholds on {:.2} h of clean video and {} faults",
        tuned.display,
        tuned.sets,
        tuned.clean_hours,
        tuned.faults
    );
    for r in &tuned.regions {
        print_region(r);
    }
    let [concerned, others] = tuned.without_set();
    for (regions, which) in [(concerned, "regions concerned"), (others, "other regions")] {
        if !regions.is_empty() {
            say!(
                "  no set meets the demand in {which}: {}",
                regions.join(", ")
            );
        }
    }
    for way in tuned.in_the_way() {
        say!("    {}", way.words);
        let all: Vec<&str> = way.concerned.iter().chain(&way.others).copied().collect();
        say!("      holds for {}", all.join(", "));
    }
    for line in &tuned.unverified {
        say_pieces(&[
            (Tone::Bad, format!("  {NOT_VERIFIED}")),
            (Tone::Plain, format!("  {line}")),
        ]);
    }
    for note in &tuned.notes {
        say!("  note        {note}");
    }
    if is_unchanged {
        say!("  patch       nothing to change");
    } else {
        say!("  patch       {}", out.join("thresholds.patch").display());
    }
    say!("  results     {}", out.display());
    say!("  {}", tuned.caution);
}

fn print_region(r: &RegionTuned) {
    let Some(s) = &r.recommended else {
        return;
    };
    let range = |v: Option<[f64; 2]>| v.map_or(String::new(), |[a, b]| format!("{a} to {b}"));
    let limit = match s.budget_per_hour {
        Some(per_hour) => format!(
            "budget of its class {per_hour} trips an hour (good {})",
            range(r.budgets_per_hour)
        ),
        None => format!(
            "confirmed after {} ms (good {})",
            s.confirm_ms,
            range(r.confirms_ms)
        ),
    };
    say!(
        "  {:<16} tolerances x {} (good {}), {limit}",
        r.region,
        s.factor,
        range(r.factors),
    );
    if r.is_concerned {
        say!(
            "    {} of {} faults, at least {:.2} %; worst {:.0} ms; {} trips in {:.2} h",
            s.coverage.k,
            s.coverage.n,
            s.coverage.at_least() * 100.0,
            s.detection_ms.as_ref().map_or(0.0, |d| d.worst),
            s.nuisance.events,
            s.nuisance.hours,
        );
    }
}
