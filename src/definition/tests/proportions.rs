//! Proportions that need not be given: each changes the picture, and what it is otherwise is what is drawn without it.

use std::collections::BTreeSet;
use std::path::Path;

use super::super::Definition;
use super::gallery;
use crate::definition::schema::json_schema;

/// Within the recording, and beyond its end: then there are no data, and failure flags are up.
const TIMES_S: [f64; 2] = [10.0, 1e4];

/// What is drawn of symbols at all times.
fn drawn(symbols: &str) -> Vec<Vec<u8>> {
    let text = format!("{}\n{}", gallery::prelude(), gallery::region(symbols));
    let definition = Definition::from_toml(&text, "look", gallery::folder());
    let definition = definition.unwrap_or_else(|e| panic!("{e}"));
    TIMES_S
        .map(|t| gallery::drawn(&definition, t).interleaved())
        .to_vec()
}

/// The looks that show all that a kind's proportions bear on.
fn looks(kind: &str) -> Vec<String> {
    let look = gallery::symbols(Path::new(&format!("{kind}.toml")));
    let mut looks = vec![look.clone()];
    if kind == "bar" {
        let frame = "frame = \"grey\"";
        assert!(look.contains(frame));
        looks.push(look.replace(frame, &format!("{frame}\nstyle = \"pointer\"")));
    }
    looks
}

#[test]
fn every_proportion_changes_the_picture_and_its_default_does_not() {
    let tables = json_schema()["$defs"].as_object().unwrap();
    let mut kinds = BTreeSet::new();
    for (name, table) in tables {
        let Some(kind) = name.strip_suffix("Proportions") else {
            continue;
        };
        let kind = kind.to_lowercase();
        let head = format!("kind = \"{kind}\"");
        let looks = looks(&kind);
        for (key, property) in table["properties"].as_object().unwrap() {
            let usual = property["default"].as_f64().unwrap();
            let with = |look: &str, value: f64| {
                assert_eq!(look.matches(&head).count(), 1);
                drawn(&look.replace(
                    &head,
                    &format!("{head}\nproportions = {{ {key} = {value} }}"),
                ))
            };
            let mut is_changed = false;
            for look in &looks {
                let plain = drawn(look);
                assert_eq!(with(look, usual), plain, "{kind}: {key} = {usual}");
                is_changed |= with(look, 0.6 * usual) != plain;
            }
            assert!(is_changed, "{kind}: {key} changes nothing");
        }
        kinds.insert(kind);
    }
    assert_eq!(
        kinds.into_iter().collect::<Vec<_>>(),
        ["attitude", "bar", "dial", "flaps", "rose", "target"]
    );
}

#[test]
fn every_other_look_that_need_not_be_said_changes_the_picture_and_its_default_does_not() {
    for (look, after, key, usual, other) in [
        ("dial", "minor_length = 8,", "minor_width = ", "2", "1"),
        ("dial", "radius = 64\n", "turned_labels = ", "false", "true"),
        ("tape", "minor_length = 9,", "minor_width = ", "2", "4"),
        ("bar", "minor_length = 5,", "minor_width = ", "2", "4"),
        (
            "tape",
            "size = [16, 11],",
            "notch = ",
            "[0.5, 0.5]",
            "[0.5, 0.9]",
        ),
        (
            "rose",
            "size = [12, 9],",
            "notch = ",
            "[0.5, 0.5]",
            "[0.9, 0.5]",
        ),
        ("flag", "size = 20\n", "frame_width = ", "2", "5"),
        ("dial", "background = \"ink\",", "cross_width = ", "3", "6"),
        (
            "dial",
            "background = \"ink\",",
            "text_margin = ",
            "0.3",
            "0.6",
        ),
    ] {
        let text = gallery::symbols(Path::new(&format!("{look}.toml")));
        let (text, end) = match after.strip_suffix(',') {
            // In a table on one line.
            Some(key) => (
                text.replace(&format!("{key} }}"), &format!("{key}, }}")),
                ",",
            ),
            None => (text, "\n"),
        };
        assert_eq!(text.matches(after).count(), 1, "{look}: {after}");
        let with = |value: &str| drawn(&text.replace(after, &format!("{after} {key}{value}{end}")));
        let plain = drawn(&gallery::symbols(Path::new(&format!("{look}.toml"))));
        assert_eq!(with(usual), plain, "{look}: {key}{usual}");
        assert_ne!(with(other), plain, "{look}: {key}{other}");
    }
}
