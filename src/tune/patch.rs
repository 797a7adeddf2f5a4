//! The recommended thresholds as a change to the definition, for review and `git apply`.

use similar::TextDiff;
use toml_edit::{DocumentMut, Formatted, Item, Value};

use super::search::Tuned;
use crate::evidence::results_folder::NOT_VERIFIED;

/// What keeps a change from being written.
#[derive(Debug, thiserror::Error)]
#[error("the definition cannot be changed: {0}")]
pub struct Error(String);

/// `text`, a definition, with the recommended thresholds; everything else, comments too, stays as it is. Thresholds
/// from material that is not as it was written get a comment that says so, on top, which stays with them.
///
/// # Errors
/// When it is not a definition.
pub fn changed(text: &str, tuned: &Tuned) -> Result<String, Error> {
    let mut document: DocumentMut = text
        .parse()
        .map_err(|e: toml_edit::TomlError| Error(e.to_string()))?;
    let regions = document
        .get_mut("region")
        .and_then(Item::as_array_of_tables_mut)
        .ok_or_else(|| Error("it has no [[region]]".into()))?;
    for table in regions.iter_mut() {
        let id = table.get("id").and_then(Item::as_str).unwrap_or_default();
        let Some(score) = tuned
            .regions
            .iter()
            .find(|r| r.region == id)
            .and_then(|r| r.recommended.as_ref())
        else {
            continue;
        };
        if score.confirm_ms != tuned_present(tuned, id) {
            set(&mut table["confirm_ms"], score.confirm_ms);
        }
        if score.factor != 1.0
            && let Some(tolerances) = table.get_mut("tolerance").and_then(Item::as_table_like_mut)
        {
            for (_, item) in tolerances.iter_mut() {
                let now = item
                    .as_float()
                    .or_else(|| item.as_integer().map(|v| v as f64));
                if let Some(now) = now {
                    set(item, libm::round(now * score.factor * 1e4) / 1e4);
                }
            }
        }
    }
    let changed = document.to_string();
    Ok(if tuned.unverified.is_empty() || changed == text {
        changed
    } else {
        format!(
            "# {NOT_VERIFIED}: thresholds below were tuned on results that are not as they were written.\n{changed}"
        )
    })
}

fn tuned_present(tuned: &Tuned, id: &str) -> f64 {
    let region = tuned.regions.iter().find(|r| r.region == id);
    region.map_or(f64::NAN, |r| r.present.confirm_ms)
}

/// Replaces a number and keeps the spaces and comments round it.
fn set(item: &mut Item, number: f64) {
    let value = if libm::trunc(number) == number && number.abs() < 1e15 {
        Value::Integer(Formatted::new(number as i64))
    } else {
        Value::Float(Formatted::new(number))
    };
    match item.as_value_mut() {
        Some(old) => {
            let decor = old.decor().clone();
            *old = value;
            *old.decor_mut() = decor;
        }
        None => *item = Item::Value(value),
    }
}

/// The change from `before` to `after` as a unified diff of the file `path`; empty when nothing changes.
#[must_use]
pub fn diff(before: &str, after: &str, path: &str) -> String {
    if before == after {
        return String::new();
    }
    TextDiff::from_lines(before, after)
        .unified_diff()
        .context_radius(3)
        .header(&format!("a/{path}"), &format!("b/{path}"))
        .to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::statistics::Confidence;
    use crate::definition::Definition;
    use crate::definition::model::Hazard;
    use crate::demo;
    use crate::tune::material::Material;
    use crate::tune::search::{Demand, tune};
    use std::path::Path;

    /// The demo display's own thresholds, as if nothing had to change.
    fn tuned() -> Tuned {
        let definition = Definition::from_toml(demo::DISPLAY, "d", Path::new("")).unwrap();
        let demand = Demand {
            nuisance_per_hour: 1.0,
            coverage: 0.9,
            detection_ms: 500.0,
            hazard: Hazard::Hazardous,
            confidence: Confidence::USUAL,
        };
        tune(&Material::default(), &definition, &demand).unwrap()
    }

    #[test]
    fn only_the_thresholds_of_their_region_change() {
        let mut tuned = tuned();
        let same = changed(demo::DISPLAY, &tuned).unwrap();
        assert_eq!(diff(demo::DISPLAY, &same, "d.toml"), "");
        for r in &mut tuned.regions {
            let mut score = r.present.clone();
            if r.region == "rotor" {
                score.factor = 1.5;
                score.confirm_ms = 240.0;
            }
            r.recommended = Some(score);
        }
        let after = changed(demo::DISPLAY, &tuned).unwrap();
        let patch = diff(demo::DISPLAY, &after, "d.toml");
        let lines = |c: char| {
            let own = move |l: &&str| l.starts_with(c) && !l.starts_with(&c.to_string().repeat(3));
            patch.lines().filter(own).collect::<Vec<&str>>()
        };
        assert_eq!(
            lines('-'),
            [
                "-confirm_ms = 300",
                "-tolerance = { rotor_speed = 1.0, engine_speed = 1.0 }"
            ],
            "{patch}"
        );
        assert_eq!(
            lines('+'),
            [
                "+confirm_ms = 240",
                "+tolerance = { rotor_speed = 1.5, engine_speed = 1.5 }"
            ],
            "{patch}"
        );
        Definition::from_toml(&after, "d", Path::new("")).unwrap();
        tuned.unverified = vec!["changed  measurements.bin".into()];
        let marked = changed(demo::DISPLAY, &tuned).unwrap();
        let patch = diff(demo::DISPLAY, &marked, "d.toml");
        assert!(patch.contains("\n+# NOT VERIFIED: "), "{patch}");
        Definition::from_toml(&marked, "d", Path::new("")).unwrap();
    }
}
