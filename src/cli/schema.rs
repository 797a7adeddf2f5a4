//! `framevouch schema`: the JSON Schema of any file that the program reads or writes.

use super::Failure;
use crate::definition::schema::json_schema;
use crate::evidence::schema::{input_schemas, schemas};

/// Arguments of `schema`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Which file: definition, plan, suite_plan, profile, recording, or one of a result folder. Without it, all are listed.
    #[arg(value_name = "NAME")]
    name: Option<String>,
}

/// Runs `schema`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let definition = ("definition", json_schema().clone());
    let all: Vec<_> = std::iter::once(definition)
        .chain(input_schemas())
        .chain(schemas())
        .collect();
    let Some(name) = &arguments.name else {
        for (name, schema) in &all {
            let says = schema["description"].as_str().unwrap_or_default();
            let first = says.lines().next().unwrap_or_default();
            say!("{name:11} {first}");
        }
        return Ok(super::EXIT_AGREES);
    };
    let Some((_, schema)) = all.iter().find(|(n, _)| n == name) else {
        let names: Vec<&str> = all.iter().map(|(n, _)| *n).collect();
        return Err(format!(
            "there is no schema \"{name}\"; there is: {}",
            names.join(", ")
        )
        .into());
    };
    say!("{schema:#}");
    Ok(super::EXIT_AGREES)
}
