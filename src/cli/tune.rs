//! `framevouch tune`: thresholds from stored measurements.

use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::{Failure, make_folder, results, write_file};
use crate::campaign::records::TRIALS_FILE;
use crate::campaign::statistics::Confidence;
use crate::definition::Definition;
use crate::definition::model::Hazard;
use crate::evidence::manifest::{Input, stored_path};
use crate::evidence::measurements::MEASUREMENTS_FILE;
use crate::tune::material::Material;
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
    /// No summary.
    #[arg(long)]
    quiet: bool,
}

#[derive(Clone, Copy, ValueEnum)]
enum HazardName {
    Catastrophic,
    Hazardous,
    Major,
    Minor,
}

/// Runs `tune`: exit 0 when every region concerned has a recommended set, 1 when one has none.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let (tuned, is_unchanged) = run_as_at(arguments, &arguments.out)?;
    if !arguments.quiet {
        print(&tuned, &arguments.out, is_unchanged);
    }
    Ok(if tuned.is_satisfied {
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
    let mut material = Material::default();
    for folder in &arguments.from {
        material.add(folder, &definition, arguments.least_size)?;
    }
    let tuned = search::tune(&material, &definition, &demand)?;
    make_folder(&arguments.out)?;
    results::begin(&arguments.out)?;
    let json = serde_json::to_string_pretty(&tuned)? + "\n";
    write_file(&arguments.out.join("tune.json"), json.as_bytes())?;
    let text = std::fs::read_to_string(&arguments.display)?;
    let changed = patch::changed(&text, &tuned)?;
    let name = arguments
        .display
        .file_name()
        .map_or("display.toml".into(), |n| n.to_string_lossy().into_owned());
    let patch = patch::diff(&text, &changed, &name);
    write_file(&arguments.out.join("thresholds.patch"), patch.as_bytes())?;
    if let Ok(svg) = trade_off_plot(&tuned) {
        write_file(&arguments.out.join("trade_off.svg"), svg.as_bytes())?;
    }
    write_manifest(arguments, home)?;
    Ok((tuned, patch.is_empty()))
}

fn write_manifest(arguments: &Arguments, home: &Path) -> Result<(), Failure> {
    let path = |p: &Path| stored_path(p, home);
    let mut inputs = vec![Input::new("display", &arguments.display)];
    let mut words = vec![
        "--display".into(),
        path(&arguments.display),
        "--from".into(),
    ];
    for folder in &arguments.from {
        words.push(path(folder));
        inputs.push(Input::new("measurements", folder.join(MEASUREMENTS_FILE)));
        let trials = folder.join(TRIALS_FILE);
        if trials.exists() {
            inputs.push(Input::new("trials", trials));
        }
    }
    let mut say = |name: &str, value: String| words.extend([name.to_owned(), value]);
    say(
        "--nuisance-per-hour",
        arguments.nuisance_per_hour.to_string(),
    );
    say("--coverage", arguments.coverage.to_string());
    say("--detection-ms", arguments.detection_ms.to_string());
    say("--confidence", arguments.confidence.to_string());
    say("--least-size", arguments.least_size.to_string());
    if let Some(hazard) = arguments.hazard.to_possible_value() {
        say("--hazard", hazard.get_name().to_owned());
    }
    results::write_manifest_of(&arguments.out, home, "tune", words, &inputs)
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
    say!(
        "  {:<16} tolerances x {} (good {}), confirmed after {} ms (good {})",
        r.region,
        s.factor,
        range(r.factors),
        s.confirm_ms,
        range(r.confirms_ms),
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
