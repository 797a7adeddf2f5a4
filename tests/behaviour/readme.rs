//! What the README tells one to type exists. `tests/hostile/readme.py` runs all of it.

use std::fs;
use std::path::Path;

use framevouch::campaign::plan::Plan;
use framevouch::definition::Definition;
use framevouch::definition::recording_form::RecordingForm;
use framevouch::suite;

use crate::bench::Files;

fn readme() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    fs::read_to_string(path).expect("it is there")
}

/// Command lines of indented blocks, in one line each, without what stands behind `#`.
fn commands(text: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        let is_indented = line.starts_with("    ");
        let Some(line) = line
            .trim_start()
            .strip_prefix("$ framevouch ")
            .filter(|_| is_indented)
        else {
            continue;
        };
        let mut words = line.to_owned();
        while let Some(part) = words.strip_suffix('\\') {
            words = format!("{part}{}", lines.next().expect("it goes on").trim());
        }
        out.push(words.split(" #").next().unwrap_or_default().to_owned());
    }
    out
}

#[test]
fn every_option_that_the_readme_names_exists() {
    let files = Files::new();
    let commands = commands(&readme());
    assert!(commands.len() > 10, "{commands:?}");
    for line in commands {
        let mut words = line.split_whitespace();
        let verb = words.next().expect("there is a command");
        let help = files.run(&[verb, "--help"]);
        assert_eq!(help.status, 0, "{line}: {}", help.stderr);
        for option in words.filter(|w| w.starts_with("--")) {
            let is_known = help.stdout.split_whitespace().any(|w| w == option);
            assert!(is_known, "{line}: {option} is not in\n{}", help.stdout);
        }
    }
}

#[test]
fn definition_and_plans_of_the_readme_are_good() {
    let text = readme();
    let blocks: Vec<&str> = text
        .split("```toml\n")
        .skip(1)
        .filter_map(|b| b.split("```").next())
        .collect();
    let [suite, plan, display, dialect, words] = blocks[..] else {
        panic!("{} blocks of TOML", blocks.len());
    };
    // Its stars are filled in by readme.py, where there are files.
    let suite = suite.replace('*', "all");
    let suite = suite::plan::read(&suite, "suite.toml", Path::new("."));
    let (_, runs) = suite.unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(runs.len(), 2);
    let plan = Plan::from_toml(plan, "plan.toml").unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(plan.fault.len(), 2);
    let display = Definition::from_toml(display, "display.toml", Path::new("."));
    let display = display.unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(display.size(), (320, 240));
    for form in [dialect, words] {
        RecordingForm::from_toml(form, "bench.toml").unwrap_or_else(|e| panic!("{e}"));
    }
}
