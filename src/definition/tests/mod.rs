//! A complete definition, and what becomes of it when a line is damaged.
use super::*;
const EVERY_KIND: &str = include_str!("every_kind.toml");
#[test]
fn loads() {
    let d = Definition::from_toml(EVERY_KIND, "x.toml", std::path::Path::new("")).unwrap_or_else(|e| panic!("{e}"));
    for w in lint::lint(&d) { println!("{w}\n   {}", w.advice()); }
}
