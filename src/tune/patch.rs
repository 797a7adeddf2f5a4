//! The recommended thresholds as a change to the definition, for review and `git apply`.

use diffy::DiffOptions;
use toml_edit::{DocumentMut, Formatted, Item, Value};

use super::search::{RegionTuned, Tuned};
use crate::definition::DefinitionText;
use crate::definition::model::Hazard;
use crate::evidence::results_folder::NOT_VERIFIED;

/// What keeps a change from being written.
#[derive(Debug, thiserror::Error)]
#[error("the definition cannot be changed: {0}")]
pub struct Error(String);

/// `file`, one of those that a definition is written in, with the recommended thresholds; everything else, comments too,
/// stays as it is. Thresholds from material that is not as it was written get a comment that says so, on top, which stays
/// with them. What cannot be written there is told in `left_out`.
///
/// # Errors
/// When it is not a definition.
pub fn changed(
    file: &DefinitionText<'_>,
    tuned: &Tuned,
    left_out: &mut Vec<String>,
) -> Result<String, Error> {
    let DefinitionText { origin, text, .. } = file;
    let mut document: DocumentMut = text
        .parse()
        .map_err(|e: toml_edit::TomlError| Error(e.to_string()))?;
    let regions = document.get_mut("region");
    let regions = regions.and_then(Item::as_array_of_tables_mut);
    let tables = regions.into_iter().flat_map(|r| r.iter_mut());
    for (table, ids) in tables.zip(&file.regions) {
        let of = |id: &&str| tuned.regions.iter().find(|r| r.region == *id);
        let thresholds = |r: &RegionTuned| {
            let score = r.recommended.as_ref().unwrap_or(&r.present);
            (score.factor, score.confirm_ms)
        };
        let mut all = ids.iter().filter_map(of);
        let Some(first) = all.next() else { continue };
        if all.any(|r| thresholds(r) != thresholds(first)) {
            let ids = ids.join(", ");
            left_out.push(format!(
                "{ids} come of one region of {origin} and need different thresholds: not in the patch"
            ));
            continue;
        }
        let Some(score) = &first.recommended else {
            continue;
        };
        let mut are_set = true;
        if score.confirm_ms != first.present.confirm_ms {
            are_set &= set(&mut table["confirm_ms"], |_| score.confirm_ms);
        }
        if score.factor != 1.0
            && let Some(tolerances) = table.get_mut("tolerance").and_then(Item::as_table_like_mut)
        {
            for (_, item) in tolerances.iter_mut() {
                are_set &= set(item, |now| libm::round(now * score.factor * 1e4) / 1e4);
            }
        }
        if !are_set {
            let id = ids.join(", ");
            left_out.push(format!(
                "a threshold of {id} is a parameter in {origin}: not in the patch"
            ));
        }
    }
    change_budgets(&mut document, origin, tuned, left_out);
    let changed = document.to_string();
    Ok(if tuned.unverified.is_empty() || changed == *text {
        changed
    } else {
        format!(
            "# {NOT_VERIFIED}: thresholds below were tuned on results that are not as they were written.\n{changed}"
        )
    })
}

/// Sets the budgets that stand in the file to those that are recommended. One belongs to all regions of its hazard class.
fn change_budgets(
    document: &mut DocumentMut,
    origin: &str,
    tuned: &Tuned,
    left_out: &mut Vec<String>,
) {
    let Some(budgets) = document.get_mut("budget").and_then(Item::as_table_like_mut) else {
        return;
    };
    for hazard in Hazard::ALL {
        let Some(budget) = budgets
            .get_mut(hazard.name())
            .and_then(Item::as_table_like_mut)
        else {
            continue;
        };
        let of_class = tuned.regions.iter().filter(|r| r.hazard == hazard);
        let scores = of_class.map(|r| (r, r.recommended.as_ref().unwrap_or(&r.present)));
        let wanted: Vec<(&RegionTuned, f64)> = scores
            .filter_map(|(r, s)| Some((r, s.budget_per_hour?)))
            .collect();
        let Some(&(first, per_hour)) = wanted.first() else {
            continue;
        };
        let name = hazard.name();
        if wanted.iter().any(|(_, other)| *other != per_hour) {
            left_out.push(format!(
                "the {name} regions need different budgets in {origin}: not in the patch"
            ));
        } else if Some(per_hour) != first.present.budget_per_hour
            && let Some(item) = budget.get_mut("nuisance_per_hour")
            && !set(item, |_| per_hour)
        {
            left_out.push(format!(
                "the {name} budget is a parameter in {origin}: not in the patch"
            ));
        }
    }
}

/// Replaces a number, or nothing, by what `change` makes of it, and keeps the spaces and comments round it; false where
/// something else stands there.
fn set(item: &mut Item, change: impl Fn(f64) -> f64) -> bool {
    let now = match &*item {
        Item::None => Some(f64::NAN),
        old => old
            .as_float()
            .or_else(|| old.as_integer().map(|v| v as f64)),
    };
    let Some(number) = now.map(change) else {
        return false;
    };
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
    true
}

/// The change from `before` to `after` as a unified diff of the file `path`; empty when nothing changes.
#[must_use]
pub fn diff(before: &str, after: &str, path: &str) -> String {
    if before == after {
        return String::new();
    }
    DiffOptions::new()
        .set_original_filename(format!("a/{path}"))
        .set_modified_filename(format!("b/{path}"))
        .create_patch(before, after)
        .to_string()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::campaign::statistics::Confidence;
    use crate::definition::Definition;
    use crate::definition::model::Hazard;
    use crate::demo;
    use crate::tune::material::Material;
    use crate::tune::search::{Demand, tune};
    use std::path::Path;

    /// The demo display's own thresholds, as if nothing had to change.
    pub fn tuned() -> Tuned {
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

    /// The text of a definition whose regions stand in it once, with the thresholds; nothing is left out.
    fn changed(text: &str, tuned: &Tuned) -> Result<String, Error> {
        let file = DefinitionText {
            origin: "d",
            text,
            regions: tuned
                .regions
                .iter()
                .map(|r| vec![r.region.as_str()])
                .collect(),
        };
        let mut left_out = Vec::new();
        let changed = super::changed(&file, tuned, &mut left_out);
        assert!(left_out.is_empty(), "{left_out:?}");
        changed
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

    #[test]
    fn thresholds_of_a_file_with_two_places_change_where_both_need_the_same() {
        let text = "[[region]]\nid = \"n1\"\nconfirm_ms = 300\ntolerance = { \"${n1}\" = 2.0 }\n\
                    [[region]]\nid = \"torque\"\ntolerance = { torque = \"${torque}\" }\n";
        let file = DefinitionText {
            origin: "engine.toml",
            text,
            regions: vec![
                vec!["left.n1", "right.n1"],
                vec!["left.torque", "right.torque"],
            ],
        };
        let mut tuned = tuned();
        tuned.regions.truncate(4);
        let ids = file.regions.concat();
        for (r, id) in tuned.regions.iter_mut().zip(ids) {
            r.region = id.into();
            r.present.confirm_ms = 300.0;
            let mut score = r.present.clone();
            score.factor = 1.5;
            r.recommended = Some(score);
        }
        let mut left_out = Vec::new();
        let after = super::changed(&file, &tuned, &mut left_out).unwrap();
        assert_eq!(after, text.replace("2.0", "3"));
        assert_eq!(
            left_out,
            [
                "a threshold of left.torque, right.torque is a parameter in engine.toml: not in the patch"
            ]
        );
        if let Some(score) = &mut tuned.regions[1].recommended {
            score.factor = 2.0;
        }
        assert_eq!(super::changed(&file, &tuned, &mut left_out).unwrap(), text);
        assert!(
            left_out[1].starts_with("left.n1, right.n1 come of one region of engine.toml"),
            "{left_out:?}"
        );
    }
}
