//! The gallery: every kind of symbol and the common looks, each drawn from the lines that stand beside its picture.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use framevouch::definition::Definition;
use framevouch::definition::model::Interpolation;
use framevouch::recording::{Files, MissingColumns, Recording};
use framevouch::reference::drawing::Drawing;
use framevouch::reference::painter::Painter;
use framevouch::reference::png::png;

/// What `REGENERATE` is set to where pictures and page are to be written.
pub const GALLERY: &str = "gallery";
/// Recording time that the pictures show, s.
const SHOWN_S: f64 = 10.0;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reference_frames/gallery")
}

fn read(name: &str) -> String {
    let path = folder().join(name);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// One entry: a title, a sentence, and the symbols that make it.
struct Entry {
    name: String,
    title: String,
    says: String,
    symbols: String,
}

fn entries() -> Vec<Entry> {
    let files = fs::read_dir(folder()).expect("there is a gallery");
    let mut names: Vec<String> = files
        .filter_map(|f| f.ok()?.file_name().into_string().ok())
        .filter_map(|n| Some(n.strip_suffix(".toml")?.to_owned()))
        .filter(|n| n != "prelude")
        .collect();
    names.sort_unstable();
    let entry = |name: String| {
        let text = read(&format!("{name}.toml"));
        let (comment, symbols) = text.split_once('\n').expect("an entry has lines");
        let comment = comment
            .strip_prefix("# ")
            .expect("an entry begins with its title");
        let (title, says) = comment.split_once(". ").unwrap_or((comment, ""));
        Entry {
            name,
            title: title.trim_end_matches('.').to_owned(),
            says: says.to_owned(),
            symbols: symbols.trim().to_owned(),
        }
    };
    names.into_iter().map(entry).collect()
}

/// The definition that shows an entry: the head that all share, and a region over the whole canvas.
fn definition(entry: &Entry) -> Definition {
    let prelude = read("prelude.toml");
    let parsed: toml::Table = prelude.parse().expect("the prelude is TOML");
    let channels = parsed["channels"].as_table().expect("it has channels");
    let words = toml::Value::String("text".into());
    let numbers = channels
        .iter()
        .filter(|(_, c)| c.get("interpolation") != Some(&words))
        .map(|(name, _)| format!("\"{name}\" = 1.0"));
    let tolerance = numbers.collect::<Vec<_>>().join(", ");
    let [width, height] = ["width", "height"].map(|side| &parsed["display"][side]);
    let text = format!(
        "{prelude}\n[[region]]\nid = \"look\"\nrect = [0, 0, {width}, {height}]\nhazard = \"minor\"\n\
         tolerance = {{ {tolerance} }}\n\n{}\n",
        entry.symbols
    );
    Definition::from_toml(&text, &entry.name, &folder()).unwrap_or_else(|e| panic!("{e}"))
}

fn picture(entry: &Entry) -> Vec<u8> {
    let definition = definition(entry);
    let files = Files {
        inputs: &folder().join("inputs.csv"),
        form: None,
        tables: &[("traffic".to_owned(), folder().join("traffic.csv"))].into(),
    };
    let recording = Recording::load_all(&files, &definition, MissingColumns::Refuse);
    let recording = recording.unwrap_or_else(|e| panic!("{e}"));
    let drawing = Drawing::new(&definition);
    let canvas = drawing.frame(&definition, &recording.inputs(SHOWN_S), &mut Painter::new());
    png(&canvas).expect("the canvas has pixels")
}

fn page(entries: &[Entry]) -> String {
    let mut out = String::from(
        "# Gallery\n\nEvery kind of symbol, and the common looks by parts: the picture, and the lines that make it. Colours, fonts and\n\
         channels stand in [prelude.toml](prelude.toml), what is shown in [inputs.csv](inputs.csv) and [traffic.csv](traffic.csv), at\n\
         10 s. All of it is drawn by the program and kept fresh by a test (`REGENERATE=gallery cargo test --release --test reference_frames` draws it anew). The scenario\n\
         is invented.\n",
    );
    for entry in entries {
        let Entry {
            name,
            title,
            says,
            symbols,
        } = entry;
        let _ = write!(
            out,
            "\n## {title}\n\n{says}\n\n![{title}]({name}.png)\n\n```toml\n{symbols}\n```\n"
        );
    }
    out
}

#[test]
fn the_gallery_shows_what_its_lines_draw() {
    let entries = entries();
    let is_asked = std::env::var(super::REGENERATE).as_deref() == Ok(GALLERY);
    let mut stale = Vec::new();
    let mut hold = |name: String, fresh: Vec<u8>| {
        let path = folder().join(&name);
        if is_asked {
            fs::write(&path, &fresh).expect("the gallery can be written");
        }
        if fs::read(&path).ok() != Some(fresh) {
            stale.push(name);
        }
    };
    for entry in &entries {
        hold(format!("{}.png", entry.name), picture(entry));
    }
    hold("README.md".into(), page(&entries).into_bytes());
    assert!(
        stale.is_empty(),
        "stale: {stale:?}; look at them, and run with REGENERATE=gallery"
    );
    assert!(
        !is_asked,
        "the gallery was written; look at the change and run again without REGENERATE"
    );
}

#[test]
fn the_gallery_has_every_kind() {
    let schema = framevouch::definition::schema::json_schema();
    let kinds = schema["$defs"]["Symbol"]["oneOf"]
        .as_array()
        .expect("kinds");
    let all: BTreeSet<&str> = kinds
        .iter()
        .filter_map(|k| k["properties"]["kind"]["const"].as_str())
        .collect();
    let entries = entries();
    let is_shown = |kind: &&&str| {
        let line = format!("kind = \"{kind}\"");
        entries.iter().any(|e| e.symbols.contains(&line))
    };
    let missing: Vec<_> = all.iter().filter(|k| !is_shown(k)).collect();
    assert!(all.len() > 10 && missing.is_empty(), "{missing:?}");
    // Text channels have no tolerance.
    let first = definition(&entries[0]);
    let is_text =
        |c: &framevouch::definition::model::Channel| c.interpolation == Interpolation::Text;
    assert!(
        first
            .channels()
            .iter()
            .all(|(n, c)| { is_text(c) != first.regions()[0].tolerance.contains_key(n) })
    );
}
