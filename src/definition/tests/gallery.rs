//! The looks of the gallery, as definitions for tests.

use std::path::{Path, PathBuf};

use super::super::Definition;
use crate::recording::{Files, MissingColumns, Recording};
use crate::reference::canvas::Canvas;
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;

pub fn folder() -> &'static Path {
    Path::new(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/reference_frames/gallery"
    ))
}

/// The head that all looks share.
pub fn prelude() -> String {
    std::fs::read_to_string(folder().join("prelude.toml")).unwrap()
}

/// The files of all looks.
pub fn looks() -> Vec<PathBuf> {
    let files = std::fs::read_dir(folder()).unwrap();
    let mut looks: Vec<_> = files.map(|f| f.unwrap().path()).collect();
    looks.retain(|p| p.extension().is_some_and(|e| e == "toml") && !p.ends_with("prelude.toml"));
    looks.sort_unstable();
    assert!(looks.len() > 35, "{looks:?}");
    looks
}

/// The symbols of a look.
pub fn symbols(look: &Path) -> String {
    std::fs::read_to_string(folder().join(look)).unwrap()
}

/// A region over the whole canvas with these symbols.
pub fn region(symbols: &str) -> String {
    let prelude: toml::Table = prelude().parse().unwrap();
    let channels = prelude["channels"].as_table().unwrap().iter();
    let numbers = channels.filter(|(_, c)| c.get("interpolation") != Some(&"text".into()));
    let tolerance: Vec<_> = numbers
        .map(|(name, _)| format!("\"{name}\" = 1.0"))
        .collect();
    format!(
        "[[region]]\nid = \"look\"\nrect = [0, 0, 240, 160]\nhazard = \"minor\"\n\
         tolerance = {{ {} }}\n{symbols}",
        tolerance.join(", ")
    )
}

/// What a definition with the channels of the prelude draws. Beyond its end the recording has no data.
pub fn drawn(definition: &Definition, time_s: f64) -> Canvas {
    let files = Files {
        inputs: &folder().join("inputs.csv"),
        form: None,
        tables: &[("traffic".to_owned(), folder().join("traffic.csv"))].into(),
    };
    let recording = Recording::load_all(&files, definition, MissingColumns::Refuse);
    let inputs = recording.unwrap_or_else(|e| panic!("{e}")).inputs(time_s);
    Drawing::new(definition).frame(definition, &inputs, &mut Painter::new())
}
