//! The JSON Schema of the display definition, made from the types in [`super::model`].
//!
//! The same schema drives `shape`, so what an editor accepts and what the reader
//! accepts cannot drift apart. A copy for editors lies beside this file and is kept fresh by a
//! test; `REGENERATE=schema cargo test --lib schema` writes it anew.

use std::sync::OnceLock;

use serde_json::Value;

use super::model::DisplayFile;

/// The schema (JSON Schema, draft 2020-12) of a display definition.
#[must_use]
pub fn json_schema() -> &'static Value {
    static SCHEMA: OnceLock<Value> = OnceLock::new();
    SCHEMA.get_or_init(|| schemars::schema_for!(DisplayFile).to_value())
}

/// The schema as indented JSON with a final line break: the bytes of `display.schema.json`.
#[must_use]
pub fn json_schema_text() -> String {
    format!("{:#}\n", json_schema())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn committed_schema_is_fresh() {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/src/definition/display.schema.json"
        );
        let fresh = json_schema_text();
        if std::env::var("REGENERATE").as_deref() == Ok("schema") {
            std::fs::write(path, fresh).unwrap();
            panic!(
                "display.schema.json was written; look at the change and run again without REGENERATE"
            );
        }
        let committed = std::fs::read_to_string(path).unwrap_or_default();
        assert!(
            committed == fresh,
            "display.schema.json is stale; run with REGENERATE=schema"
        );
    }

    #[test]
    fn every_symbol_kind_refuses_unknown_keys() {
        let kinds = json_schema()["$defs"]["Symbol"]["oneOf"]
            .as_array()
            .unwrap();
        assert_eq!(kinds.len(), 15);
        for kind in kinds {
            assert_eq!(
                kind["additionalProperties"],
                Value::Bool(false),
                "{}",
                kind["properties"]["kind"]
            );
        }
    }
}
