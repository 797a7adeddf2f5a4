//! Examples and exit statuses, as `--help` and the manual pages show them.
//!
//! Examples work as they are written, in the folder in which the README's were tried: `demo` is what `framevouch demo`
//! wrote, `clean` and `nominal` what `framevouch draw` did, `plan.toml` stands in the README. `tests/hostile/readme.py`
//! runs all of them. A comment says how one ends that does not end with 0.

pub(super) const PROGRAM: &str = "\
Examples:
  framevouch demo --out demo                        # the main job, on bundled material; a minute
  framevouch report --from demo/check --out report.html
  framevouch explain 1 --from demo/check

Exit status:
  0  what was asked holds: what was judged agrees, limits are kept, files are as they were
  1  it does not hold: at least one event, a limit that is not kept, results that are not as they were written
  2  it cannot be said: bad input, a changed chain, broken off; the error says what to do

Every command has its own examples: framevouch COMMAND --help. Names of files in them are those of the demo.";

pub(super) const CHECK: &str = "\
Examples:
  framevouch check --display demo/display.toml --inputs demo/inputs.csv --capture nominal --out out/nominal
  framevouch check --display demo/display.toml --inputs demo/inputs.csv --capture nominal \\
    --offset 0 --profile profile.json --measurements --quiet --out out/measured

Exit status:
  0  what was judged agrees
  1  at least one event, and judged to the end
  2  could not be judged, or not to the end: the error and summary.json say why";

pub(super) const CALIBRATE: &str = "\
Examples:
  framevouch calibrate --display demo/display.toml --inputs demo/inputs.csv --capture nominal --out profile.json

Exit status:
  0  measured, and the profile is written
  2  the capture is not good enough to measure a chain from, or bad input";

pub(super) const LOCATE: &str = "\
Examples:
  framevouch locate --display demo/display.toml --inputs demo/inputs.csv --capture nominal
  framevouch locate --display demo/display.toml --inputs demo/inputs.csv --capture nominal \\
    --picture place.png --out placed.json --force

Exit status:
  0  found, and what was asked for is written
  2  not found, or the chain cannot be measured there";

pub(super) const DRAW: &str = "\
Examples:
  framevouch draw --display demo/display.toml --inputs demo/inputs.csv --fps 25 --from 5 --to 8 --format png --out nominal
  framevouch draw --display demo/display.toml --inputs demo/inputs.csv --over nominal --at 6 --out over

Exit status:
  0  drawn
  2  bad input";

pub(super) const LINT: &str = "\
Examples:
  framevouch lint --display demo/display.toml
  framevouch lint --display demo/display.toml --inputs demo/inputs.csv
  framevouch lint --display demo/display.toml --expand

Exit status:
  0  the definition can be used; warnings leave it at that
  2  it cannot: each error with its place";

pub(super) const SUITE: &str = "\
Examples:
  framevouch suite --plan suite.toml --out out/suite
  framevouch suite --plan suite.toml --against out/suite --issued \"build 2\" --out out/suite2
  framevouch suite --plan suite.toml --shard 1/2 --out out/part1     # one of two machines

Exit status:
  0  every run was judged, and nothing is faulty; with --against: nothing is new
  1  at least one event; with --against: one that the last suite does not have
  2  nothing of that, and a run could not be judged, or not to its end; or broken off (call it again to go on), or bad input";

pub(super) const CAMPAIGN: &str = "\
Examples:
  framevouch campaign --plan plan.toml --dry-run
  framevouch campaign --plan plan.toml --out out/campaign       # ends with 1: a limit is not kept
  framevouch campaign --plan plan.toml --shard 1/2 --out out/shard_1

Exit status:
  0  complete, and every limit of the plan is kept; of a shard: complete
  1  complete, and a limit is not kept: it says which
  2  not complete (call it again to go on), or bad input";

pub(super) const MERGE: &str = "\
Examples:
  framevouch merge out/shard_1 out/shard_2 --out out/merged     # ends with 1: a limit is not kept

The results are those of one machine, byte for byte. Trials that found no moment in the video of their shard are
carried out now, so captures and recordings must be there.

Exit status:
  0  put together, and every limit of the plan is kept
  1  put together, and a limit is not kept: it says which
  2  not put together: a shard is missing or not finished, with the command that makes it, or is not as it was written";

pub(super) const TUNE: &str = "\
Examples:
  framevouch tune --display demo/display.toml --from out/campaign out/clean --out tuned     # ends with 1: too little material

Exit status:
  0  every region concerned has a set of thresholds that is shown to meet the demand
  1  one has none, or results were taken that are not as they were written
  2  bad input";

pub(super) const DEMO: &str = "\
Examples:
  framevouch demo --out demo

Exit status:
  0  every seeded fault was found as its class in its place, and nothing else
  1  one was not, or something else was
  2  it could not be carried out";

pub(super) const FAULTS: &str = "\
Examples:
  framevouch faults --display demo/display.toml --inputs demo/inputs.csv --capture clean --out faults

Exit status:
  0  listed, and shown where --out is given
  2  bad input";

pub(super) const REPORT: &str = "\
Examples:
  framevouch report --from demo/check --out report.html
  framevouch report --from demo/check --out report.html --junit report.xml --issued \"issue 3\"
  framevouch report --from demo/check --out report.html --trace trace.reqif --trace trace.csv --workbook figures.xlsx
  framevouch report --from out/clean --against out/nominal --out changes.html

Exit status:
  0  the page shows what was written
  1  it is marked NOT VERIFIED: results are not as they were written, and --unverified was given
  2  no page";

pub(super) const EXPLAIN: &str = "\
Examples:
  framevouch explain 1 --from demo/check
  framevouch explain airspeed --from demo/check     # what is said of a region, blind time too

Exit status:
  0  explained, from results as they were written
  1  explained from results that are not as they were written, which --unverified allows; title and headings say so
  2  there is no such event, or the results cannot be read";

pub(super) const SCHEMA: &str = "\
Examples:
  framevouch schema
  framevouch schema events

Exit status:
  0  printed
  2  there is no such schema";

pub(super) const VERIFY: &str = "\
Examples:
  framevouch verify demo/check
  framevouch verify --again out/nominal

Exit status:
  0  all is as it was written
  1  something is changed, missing or extra, or comes out otherwise: each file is named
  2  that cannot be said: no manifest, or nothing that could be run again";

pub(super) const COMPLETIONS: &str = "\
Examples:
  framevouch completions bash > framevouch.bash     # then: source framevouch.bash
  framevouch completions zsh > _framevouch          # into a folder of $fpath
  framevouch completions fish > framevouch.fish     # into ~/.config/fish/completions

Exit status:
  0  printed
  2  there is no such shell here";

pub(super) const MAN: &str = "\
Examples:
  framevouch man --out man1                         # man -l man1/framevouch-check.1

Exit status:
  0  written
  2  something else stands there, or it cannot be written";

#[cfg(test)]
mod tests {
    use clap::{CommandFactory, Parser};

    use crate::cli::Arguments;

    /// The examples in a help text, each in one line, without comments and without what the shell does with the output.
    fn examples(text: &str) -> Vec<Vec<String>> {
        let text = text.replace("\\\n", " ");
        let lines = text.lines().filter(|l| l.starts_with("  framevouch "));
        let words = |line: &str| -> Vec<String> {
            let line = line.split(['#', '>']).next().unwrap_or_default();
            let quoted = line.split('"').enumerate();
            quoted
                .flat_map(|(k, part)| match k % 2 {
                    0 => part.split_whitespace().map(str::to_owned).collect(),
                    _ => vec![part.to_owned()],
                })
                .collect()
        };
        lines.map(words).collect()
    }

    #[test]
    fn every_command_has_examples_that_parse_and_tells_its_exit_statuses() {
        let program = Arguments::command();
        for command in std::iter::once(&program).chain(program.get_subcommands()) {
            let name = command.get_name();
            let help = command.get_after_help().map(ToString::to_string);
            let help = help.unwrap_or_else(|| panic!("{name} has no examples"));
            let examples = examples(&help);
            assert!(!examples.is_empty(), "{name}");
            for example in examples {
                if let Err(e) = Arguments::try_parse_from(&example) {
                    panic!("{example:?}: {e}");
                }
                assert!(name == "framevouch" || example[1] == name, "{example:?}");
            }
            let (_, statuses) = help.split_once("Exit status:\n").expect(name);
            for status in ["  0  ", "  2  "] {
                assert!(statuses.contains(status), "{name}: {status}");
            }
        }
    }

    #[test]
    fn the_command_line_is_sound() {
        Arguments::command().debug_assert();
    }
}
