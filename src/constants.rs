//! Every number that decisions hang on stands in the table of its stage, with where it comes from.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The stages that have a table, and how many numbers are in it at most: there shall be fewer.
const STAGES: [(&str, usize); 4] = [
    ("chain", 103),
    ("examine", 102),
    ("check", 27),
    ("judge", 26),
];
/// How code is laid out, and what marks mean: no decision hangs on these.
const NO_DECISION: [&str; 7] = [
    "LANES",
    "CHUNK",
    "CHUNKS_TOGETHER",
    "FOREIGN",
    "MISSING",
    "MOVING",
    "WORDS",
];
const REASONS: [&str; 4] = ["Derived", "Measured", "Budget", "Judged"];
const NUMBERS: [&str; 12] = [
    "f64", "f32", "usize", "u128", "u64", "u32", "u16", "u8", "i64", "i32", "std::ops", "(u64",
];

/// Named numbers of a source file outside its tests: their names, and the comment before each.
fn numbers(path: &Path) -> Vec<(String, String)> {
    let text = fs::read_to_string(path).expect("a source file");
    let text = text.split("\n#[cfg(test)]").next().unwrap_or_default();
    let (mut found, mut comment) = (Vec::new(), String::new());
    for line in text.lines().map(str::trim) {
        let declared = ["pub ", "pub(super) ", "pub(crate) "]
            .iter()
            .fold(line, |line, before| line.trim_start_matches(before));
        let named = declared.strip_prefix("const ");
        if let Some((name, rest)) = named.and_then(|rest| rest.split_once(':')) {
            let kind = rest.trim().trim_start_matches('[');
            let is_number = NUMBERS.iter().any(|n| kind.starts_with(n));
            let is_named = !name.contains(char::is_lowercase);
            if is_number && is_named && !NO_DECISION.contains(&name) {
                found.push((name.to_owned(), std::mem::take(&mut comment)));
            }
        } else if line.starts_with("///") {
            comment += line;
        } else {
            comment.clear();
        }
    }
    found
}

fn sources(folder: &Path, all: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, all);
        } else {
            all.push(path);
        }
    }
}

/// Prints how many there are by stage and reason (`cargo test --lib constants -- --nocapture`).
#[test]
fn every_number_of_a_stage_stands_in_its_table_with_its_reason() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for (stage, most) in STAGES {
        let folder = root.join(stage);
        let table = folder.join("constants.rs");
        let listed = numbers(&table);
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        let mut last = None;
        for (name, comment) in &listed {
            let own = REASONS.iter().find(|r| comment.contains(**r));
            let reason = if comment.contains("See [`") {
                last
            } else {
                own
            };
            let reason =
                reason.unwrap_or_else(|| panic!("{stage}: {name} lacks its reason: {comment}"));
            *counts.entry(reason).or_default() += 1;
            last = Some(reason);
        }
        println!("{stage}: {} {counts:?}", listed.len());
        assert!(listed.len() <= most, "{stage} has {} numbers", listed.len());
        let mut all = Vec::new();
        sources(&folder, &mut all);
        let is_test = |p: &PathBuf| p.ends_with("in_noise.rs") || p.ends_with("anywhere.rs");
        for path in all.iter().filter(|p| **p != table && !is_test(p)) {
            assert_eq!(
                numbers(path),
                [],
                "{} has numbers of its own",
                path.display()
            );
        }
    }
}
