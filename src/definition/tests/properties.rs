//! Whatever the text, reading it gives a definition or an error, never a panic; and what is
//! read can be used without another check.

use proptest::prelude::*;

use super::{Definition, EVERY_KIND, lint, read};
use crate::reference::drawing::Drawing;

/// Pieces that mean something to the reader.
fn piece() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("[[region]]\n".to_owned()),
        Just("[[region.symbol]]\n".to_owned()),
        Just("[display]\n".to_owned()),
        Just("kind = \"dial\"\n".to_owned()),
        Just("rect = [0, 0, 10, 10]\n".to_owned()),
        Just("a.b.c = { d = [1, {}] }\n".to_owned()),
        "[a-z_]{1,8} = (nan|inf|-1|0|1e308|9223372036854775807|\"\"|true|\\[\\]|\\{\\})\n",
        "\\PC{0,12}",
    ]
}

/// A value to put in the place of another.
fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<f64>().prop_map(|v| format!("{v:?}")),
        any::<i64>().prop_map(|v| v.to_string()),
        (-400i64..400).prop_map(|v| v.to_string()),
        Just("1e12".to_owned()),
        Just("-1e12".to_owned()),
        Just("1e-300".to_owned()),
        Just("2147483647".to_owned()),
        Just("-2147483648".to_owned()),
        "\"[a-z]{0,9}\"",
        Just("[]".to_owned()),
        Just("{}".to_owned()),
    ]
}

/// Byte ranges of all numbers and strings in the valid file.
fn values_of(text: &str) -> Vec<std::ops::Range<usize>> {
    fn gather(
        value: &toml::Spanned<toml::de::DeValue<'_>>,
        into: &mut Vec<std::ops::Range<usize>>,
    ) {
        match value.get_ref() {
            toml::de::DeValue::Array(items) => items.iter().for_each(|v| gather(v, into)),
            toml::de::DeValue::Table(table) => table.values().for_each(|v| gather(v, into)),
            _ => into.push(value.span()),
        }
    }
    let root = toml::de::DeTable::parse(text).unwrap();
    let mut all = Vec::new();
    root.get_ref().values().for_each(|v| gather(v, &mut all));
    all
}

/// Reads `text` and, when it is accepted, uses everything that a checked definition promises.
fn read_and_use(text: &str) -> Result<(), String> {
    match read(text) {
        Ok(definition) => {
            for warning in lint(&definition) {
                let _ = warning.to_string();
            }
            let drawing = Drawing::new(&definition);
            for (k, region) in definition.regions().iter().enumerate() {
                let area = region.area();
                let (width, height) = definition.size();
                assert!(area.x >= 0 && area.y >= 0 && !area.is_empty());
                assert!(area.right() as usize <= width && area.bottom() as usize <= height);
                for name in region.channels_used() {
                    let _ = definition.channel(name);
                }
                for shown in drawing.freedoms(&definition, k) {
                    let channel = &definition.channels()[shown.channel.0].0;
                    assert!(region.tolerance[channel] > 0.0);
                    let px_per_unit = drawing.least_px_per_unit(k, &shown);
                    assert!(px_per_unit.is_finite() && px_per_unit > 0.0);
                }
            }
            Ok(())
        }
        Err(error) => {
            assert!(!error.problems().is_empty(), "an error names what is wrong");
            let lines = text.split('\n').count();
            assert!(
                error
                    .problems()
                    .iter()
                    .all(|p| (1..=lines).contains(&p.line))
            );
            Err(error.to_string())
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_text_never_panics(text in "\\PC{0,200}") {
        let _ = read_and_use(&text);
    }

    #[test]
    fn meaningful_pieces_never_panic(pieces in prop::collection::vec(piece(), 0..20)) {
        let _ = read_and_use(&pieces.concat());
    }

    #[test]
    fn cut_file_never_panics(at in 0..EVERY_KIND.len()) {
        let _ = read_and_use(&EVERY_KIND[..at]);
    }

    #[test]
    fn file_with_other_values_never_panics(
        changes in prop::collection::vec((any::<prop::sample::Index>(), value()), 1..4)
    ) {
        let ranges = values_of(EVERY_KIND);
        let mut text = EVERY_KIND.to_owned();
        let mut chosen: Vec<_> = changes.iter().map(|(k, v)| (ranges[k.index(ranges.len())].clone(), v)).collect();
        chosen.sort_by_key(|(range, _)| std::cmp::Reverse(range.start));
        chosen.dedup_by_key(|(range, _)| range.start);
        for (range, value) in chosen {
            text.replace_range(range, value);
        }
        let _ = read_and_use(&text);
    }

    #[test]
    fn file_with_other_bytes_never_panics(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<char>()), 1..6)
    ) {
        let mut letters: Vec<char> = EVERY_KIND.chars().collect();
        for (k, letter) in changes {
            let k = k.index(letters.len());
            letters[k] = letter;
        }
        let _ = read_and_use(&letters.into_iter().collect::<String>());
    }

    #[test]
    fn included_file_with_other_bytes_never_panics(
        changes in prop::collection::vec((any::<prop::sample::Index>(), "[a-z$}{\\[\\]\"= .0-9\n]"), 0..6)
    ) {
        let (display, rest) = EVERY_KIND.split_once("[[region]]").unwrap();
        let rest = format!("[[region]]{}", rest.replace("\"airspeed\"", "\"${speed}\""));
        let mut letters: Vec<String> = rest.chars().map(String::from).collect();
        for (k, letter) in changes {
            let k = k.index(letters.len());
            letters[k] = letter;
        }
        let folder = tempfile::tempdir().unwrap();
        let included = letters.concat();
        std::fs::write(folder.path().join("rest.toml"), &included).unwrap();
        let place = "[[include]]\nfile = \"rest.toml\"\nid = \"a\"\nat = [1, -1]\nwith = { speed = \"airspeed\" }\n";
        let text = format!("{place}{display}");
        match Definition::from_toml(&text, "panel.toml", folder.path()) {
            Ok(definition) => drop(lint(&definition)),
            Err(error) => for problem in error.problems() {
                let text = if problem.origin == "panel.toml" { &text } else { &included };
                assert!((1..=text.split('\n').count()).contains(&problem.line), "{problem}");
                let is_inside = problem.origin != "panel.toml";
                assert_eq!(problem.included.len(), usize::from(is_inside), "{problem}");
            }
        }
    }

    #[test]
    fn removed_lines_are_missed(at in any::<prop::sample::Index>()) {
        let lines: Vec<&str> = EVERY_KIND.lines().collect();
        let at = at.index(lines.len());
        let text = [&lines[..at], &lines[at + 1..]].concat().join("\n");
        let _ = read_and_use(&text);
    }
}

#[test]
fn deep_nesting_is_refused() {
    for text in [
        format!("a = {}{}", "[".repeat(50_000), "]".repeat(50_000)),
        format!("a = {}", "{a = ".repeat(50_000)),
        format!("{} = 1", vec!["a"; 50_000].join(".")),
        format!("[{}]", vec!["a"; 50_000].join(".")),
        (0..2000)
            .map(|k| format!("[{}]\n", vec!["a"; k % 79 + 1].join(".")))
            .collect(),
    ] {
        assert!(read_and_use(&text).is_err());
    }
}

#[test]
fn many_problems_are_listed_in_time() {
    let text: String = (0..20_000).map(|k| format!("k{k} = 1\n")).collect();
    assert_eq!(read(&text).unwrap_err().problems().len(), 20_001);
}
