//! JSON Schemas of all records, and of what is read as data, made from their types. Copies lie in `schemas/` and are kept fresh by a test;
//! `REGENERATE=schema cargo test --lib schema` writes them anew.

use serde_json::Value;

use super::display::DisplayRecord;
use super::manifest::Manifest;
use super::records::{FrameRecord, Summary};
use super::stills::StillsRecord;
use crate::campaign::plan::Plan;
use crate::campaign::records::TrialRecord;
use crate::campaign::summary::Summary as CampaignSummary;
use crate::capture::profile::Profile;
use crate::definition::recording_form::RecordingForm;
use crate::judge::event::Event;
use crate::suite::plan::SuitePlan;
use crate::suite::records::SuiteRecord;
use crate::tune::search::Tuned;

/// By name of the file that it describes: the schema (JSON Schema, draft 2020-12). Those of `frames` and
/// `trials` describe one line.
#[must_use]
pub fn schemas() -> [(&'static str, Value); 10] {
    [
        ("frames", schemars::schema_for!(FrameRecord).to_value()),
        ("events", schemars::schema_for!(Vec<Event>).to_value()),
        ("summary", schemars::schema_for!(Summary).to_value()),
        ("display", schemars::schema_for!(DisplayRecord).to_value()),
        ("stills", schemars::schema_for!(StillsRecord).to_value()),
        ("manifest", schemars::schema_for!(Manifest).to_value()),
        ("trials", schemars::schema_for!(TrialRecord).to_value()),
        (
            "campaign",
            schemars::schema_for!(CampaignSummary).to_value(),
        ),
        ("suite", schemars::schema_for!(SuiteRecord).to_value()),
        ("tune", schemars::schema_for!(Tuned).to_value()),
    ]
}

/// The same for what is read besides the definition: the plans of a campaign and of a suite, the profile of a chain, and what stands under
/// `[recording]`.
#[must_use]
pub fn input_schemas() -> [(&'static str, Value); 4] {
    [
        ("plan", schemars::schema_for!(Plan).to_value()),
        ("suite_plan", schemars::schema_for!(SuitePlan).to_value()),
        ("profile", schemars::schema_for!(Profile).to_value()),
        ("recording", schemars::schema_for!(RecordingForm).to_value()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn committed_schemas_are_fresh() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/evidence/schemas");
        let is_asked = std::env::var("REGENERATE").as_deref() == Ok("schema");
        for (name, schema) in schemas().into_iter().chain(input_schemas()) {
            let path = format!("{folder}/{name}.schema.json");
            let fresh = format!("{schema:#}\n");
            if is_asked {
                std::fs::write(&path, &fresh).unwrap();
            }
            let committed = std::fs::read_to_string(&path).unwrap_or_default();
            assert!(
                committed == fresh,
                "{path} is stale; run with REGENERATE=schema"
            );
        }
        assert!(
            !is_asked,
            "the schemas were written; look at the change and run again without REGENERATE"
        );
    }
}
