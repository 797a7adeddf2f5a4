//! Definitions in several files.

use std::fs;

use super::super::symbols::Symbol;
use super::super::tests::gallery::{self, drawn};
use super::super::{Definition, Error, lint};
use super::fit::MARK;
use crate::definition::schema::json_schema;
use crate::files::Content;
use crate::reference::canvas::Canvas;

/// A display that has nothing of its own but its canvas; what it includes comes before.
const DISPLAY: &str =
    "[display]\nname = \"engines\"\nwidth = 400\nheight = 100\nbackground = \"black\"\n";
const COLORS: &str = "[colors]\nblack = \"#000000\"\nwhite = \"#ffffff\"\n\
                      [fonts]\ndigits = { builtin = \"B612 Mono Bold\" }\n";
/// An instrument about its own top left corner.
const ENGINE: &str = r##"include = ["common/colors.toml"]

[channels."n1_${side}"]
column = "n1_${side}_pct"
unit = "%"
range = [0, 120]

[[region]]
id = "n1"
rect = [0, 0, 180, 100]
hazard = "major"
requirements = ["${requirement}"]
tolerance = { "n1_${side}" = 1.0 }

[[region.symbol]]
kind = "text"
text = "ENG ${number}"
position = [90, 20]
font = "digits"
size = "${size}"
color = "white"

[[region.symbol]]
kind = "bar"
rect = [20, 40, 140, 20]
channel = "n1_${side}"
direction = "right"
edge = "bottom"
breakpoints = [[0, 0], [120, 1]]
style = "fill"
color = "white"
bands = "${bands}"
failure = { rect = [20, 40, 140, 20], text = "N1", font = "digits", size = 16, color = "white", background = "black" }
"##;
const PLACES: &str = r##"
[[include]]
file = "engine.toml"
id = "left"
with = { side = "left", number = 1, size = 18, requirement = "ENG-1", bands = [] }

[[include]]
file = "engine.toml"
id = "right"
at = [200, 0]
with = { side = "right", number = 2, size = 18, requirement = "ENG-2", bands = [{ from = 100, to = 120, color = "white" }] }
"##;

/// `panel.toml` of these files.
fn load(files: &[(&str, &str)]) -> Result<(Definition, tempfile::TempDir), Error> {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    Ok((Definition::load(&folder.path().join("panel.toml"))?, folder))
}

/// What is said of `panel.toml` of these files, with paths from their folder.
fn refusal(files: &[(&str, &str)]) -> String {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    let told = match Definition::load(&folder.path().join("panel.toml")) {
        Ok(_) => "accepted".into(),
        Err(e) => e.to_string(),
    };
    let shown = folder.path().display().to_string() + "/";
    told.replace(&shown, "")
}

fn engines() -> Vec<(&'static str, String)> {
    vec![
        ("panel.toml", format!("{PLACES}{DISPLAY}")),
        ("engine.toml", ENGINE.replace("common/", "")),
        ("colors.toml", COLORS.into()),
    ]
}

fn as_files<'f>(files: &'f [(&'static str, String)]) -> Vec<(&'static str, &'f str)> {
    files.iter().map(|(name, text)| (*name, &**text)).collect()
}

/// The engines with `from`, which stands once in `file`, replaced.
fn refusal_with(file: &str, from: &str, to: &str) -> String {
    let mut files = engines();
    let (_, text) = files.iter_mut().find(|(name, _)| *name == file).unwrap();
    assert_eq!(
        text.matches(from).count(),
        1,
        "{from:?} stands once in {file}"
    );
    *text = text.replacen(from, to, 1);
    refusal(&as_files(&files))
}

#[test]
fn a_file_in_two_places_makes_two_instruments() {
    let (definition, folder) = load(&as_files(&engines())).unwrap_or_else(|e| panic!("{e}"));
    let regions = definition.regions();
    let ids: Vec<_> = regions.iter().map(|r| r.id.as_str()).collect();
    assert_eq!(ids, ["left.n1", "right.n1"]);
    assert_eq!(regions[0].rect, [0, 0, 180, 100]);
    assert_eq!(regions[1].rect, [200, 0, 180, 100]);
    assert_eq!(regions[1].requirements, ["ENG-2"]);
    assert_eq!(regions[1].tolerance["n1_right"], 1.0);
    let [Symbol::Text(text), Symbol::Bar(bar)] = &regions[1].symbol[..] else {
        panic!("{:?}", regions[1].symbol)
    };
    assert_eq!(text.text, "ENG 2");
    assert_eq!((text.position, text.size), ([290.0, 20.0], 18.0));
    assert_eq!((bar.rect, bar.bands.len()), ([220, 40, 140, 20], 1));
    assert_eq!(bar.failure.rect, [220, 40, 140, 20]);
    // Columns of the recording follow the parameters, too.
    let columns: Vec<_> = definition
        .channels()
        .iter()
        .map(|(_, c)| c.column.as_deref())
        .collect();
    assert_eq!(columns, [Some("n1_left_pct"), Some("n1_right_pct")]);
    assert_eq!(lint::lint(&definition), []);
    // Each file once, as it was read; what they include themselves after them.
    let contents = definition
        .contents()
        .iter()
        .map(|f| (f.role, f.file.clone()));
    let names = [
        ("display", "panel.toml"),
        ("include", "engine.toml"),
        ("include", "colors.toml"),
    ];
    for ((role, file), (wanted, name)) in contents.zip(names) {
        let path = folder.path().join(name);
        assert_eq!((role, &file.path), (wanted, &path));
        assert_eq!(file.content, Content::of(&fs::read(path).unwrap()));
    }
    assert_eq!(definition.contents().len(), 3);
    // And which regions stand where, for changes of them.
    let texts = definition.texts();
    let found: Vec<_> = texts.iter().map(|t| &t.regions[..]).collect();
    assert_eq!(found, [&[][..], &[vec!["left.n1", "right.n1"]], &[]]);
}

#[test]
fn places_add_up_where_files_are_included_in_files() {
    let outer = "[[include]]\nfile = \"sub/pair.toml\"\nid = \"top\"\nat = [90, 5]\nwith = { side = \"r\" }\n";
    let inner = "[[include]]\nfile = \"engine.toml\"\nid = \"right\"\nat = [100, -5]\n\
                 with = { side = \"${side}\", number = 1, size = 18, requirement = \"ENG-1\", bands = [] }\n";
    let (definition, _folder) = load(&[
        ("panel.toml", &format!("{outer}{DISPLAY}")),
        ("sub/pair.toml", inner),
        ("sub/engine.toml", ENGINE),
        ("sub/common/colors.toml", COLORS),
    ])
    .unwrap_or_else(|e| panic!("{e}"));
    let [region] = definition.regions() else {
        panic!("one region")
    };
    assert_eq!(
        (&*region.id, region.rect),
        ("top.right.n1", [190, 0, 180, 100])
    );
    assert!(region.tolerance.contains_key("n1_r"));
}

#[test]
fn paths_begin_at_the_file_that_names_them() {
    let font = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/reference_frames/fonts/B612-Bold.ttf"
    );
    let svg = r##"<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9" fill="#ff0000"/></svg>"##;
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::create_dir_all(at("common/fonts")).unwrap();
    fs::copy(font, at("common/fonts/bold.ttf")).unwrap();
    fs::write(at("common/lamp.svg"), svg).unwrap();
    let common =
        "[fonts]\nbold = { file = \"fonts/bold.ttf\" }\n[artwork.lamp]\nfile = \"./lamp.svg\"\n";
    fs::write(at("common/all.toml"), common).unwrap();
    let own = "[colors]\nblack = \"#000000\"\n[[region]]\nid = \"lamp\"\nrect = [0, 0, 400, 100]\nhazard = \"minor\"\n\
               [[region.symbol]]\nkind = \"parts\"\npart = [{ shape = { artwork = \"lamp\" } }]\n";
    fs::write(
        at("panel.toml"),
        format!("include = [\"common/all.toml\"]\n{DISPLAY}{own}"),
    )
    .unwrap();
    let definition = Definition::load(&at("panel.toml")).unwrap_or_else(|e| panic!("{e}"));
    let roles: Vec<_> = definition.contents().iter().map(|f| f.role).collect();
    assert_eq!(roles, ["display", "include", "font", "artwork"]);
    // Written out, the definition stands in the same folder and needs no other file of TOML.
    let expanded = definition.expanded();
    fs::remove_file(at("common/all.toml")).unwrap();
    let again =
        Definition::from_toml(&expanded, "again", folder.path()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(again.face(again.font("bold")).weight, 700);
    assert!(!expanded.contains("include"), "{expanded}");
}

#[test]
fn slips_are_told_with_file_place_and_way_out() {
    let mut other = Vec::new();
    for (file, from, to, wanted) in [
        // In the instrument: once, with both places.
        ("engine.toml", "color = \"white\"\n\n", "color = \"wite\"\n\n", "\
engine.toml:21:9: there is no colour \"wite\"
 21 | color = \"wite\"
    |         ^^^^^^
    = did you mean \"white\"?
    = included as \"left\" at panel.toml:2:1
    = included as \"right\" at panel.toml:7:1"),
        ("engine.toml", "kind = \"bar\"", "kind = \"baar\"", "\
engine.toml:24:8: \"kind\" is \"baar\"; expected one of attitude, dial, tape, rose, bar, readout, alerts, flag, text, liveness, unchecked, power_gauge, flaps, target, parts
 24 | kind = \"baar\"
    |        ^^^^^^
    = did you mean \"bar\"?
    = included as \"left\" at panel.toml:2:1
    = included as \"right\" at panel.toml:7:1"),
        ("engine.toml", "[[region.symbol]]\nkind = \"bar\"", "[[region.symbol]\nkind = \"bar\"", "\
engine.toml:23:17: unclosed array table, expected `]`
 23 | [[region.symbol]
    |                 ^
    = included as \"left\" at panel.toml:2:1
    = included as \"right\" at panel.toml:7:1"),
        ("engine.toml", "style = \"fill\"", "stile = \"fill\"", "\
engine.toml:30:1: unknown key \"stile\" in region[0].symbol[1] (bar)
 30 | stile = \"fill\"
    | ^^^^^
    = did you mean \"style\"?
    = included as \"left\" at panel.toml:2:1
    = included as \"right\" at panel.toml:7:1"),
        // In a file that the instrument includes.
        ("colors.toml", "#ffffff", "#fffff", "\
colors.toml:3:9: \"#fffff\" is not a colour; expected \"#rrggbb\" with six hexadecimal digits
 3 | white = \"#fffff\"
   |         ^^^^^^^^
   = included at engine.toml:1:12, included as \"left\" at panel.toml:2:1"),
        // What is given for a parameter, where it is given.
        ("panel.toml", "number = 2, size = 18", "number = 2, size = -2", "\
panel.toml:11:45: "),
        ("panel.toml", "number = 2", "number = []", "\
engine.toml:17:8: parameter \"number\" is an array; among other words it must be a string or a number
 17 | text = \"ENG ${number}\"
    |        ^^^^^^^^^^^^^^^
    = included as \"right\" at panel.toml:7:1"),
        ("panel.toml", "number = 2", "numbr = 2", "\
panel.toml:11:26: \"engine.toml\" has no parameter \"numbr\"
 11 | with = { side = \"right\", numbr = 2, size = 18, requirement = \"ENG-2\", bands = [{ from = 100, to = 120, color = \"white\" }
    |                          ^^^^^
    = did you mean \"number\"?
engine.toml:17:8: parameter \"number\" is not given
 17 | text = \"ENG ${number}\"
    |        ^^^^^^^^^^^^^^^
    = did you mean \"numbr\"?
    = included as \"right\" at panel.toml:7:1
2 problems in engine.toml, panel.toml"),
        ("engine.toml", "ENG ${number}", "ENG ${number", "\
engine.toml:17:8: \"${\" begins a parameter, and no \"}\" ends it
 17 | text = \"ENG ${number\"
    |        ^^^^^^^^^^^^^^
    = included as \"left\" at panel.toml:2:1
    = included as \"right\" at panel.toml:7:1"),
        // The same name twice, in two files and in one.
        ("panel.toml", "[display]", "[colors]\nwhite = \"#eeeeee\"\n\n[display]", "\
panel.toml:13:1: \"white\" is given twice in [colors]
 13 | white = \"#eeeeee\"
    | ^^^^^
    = the other one stands at colors.toml:3:1"),
        ("panel.toml", "id = \"right\"", "id = \"left\"", "\
engine.toml:9:6: region id \"left.n1\" is given twice
 9 | id = \"n1\"
   |      ^^^^
   = the other one stands at engine.toml:9:6
   = included as \"left\" at panel.toml:7:1"),
        // What an include may be.
        ("panel.toml", "at = [200, 0]", "at = [200.5, 0]", "\
panel.toml:10:7: \"include[1].at[0]\" is a number; expected a whole number"),
        ("panel.toml", "at = [200, 0]", "by = [200, 0]", "\
panel.toml:10:1: unknown key \"by\" in include[1]"),
        ("engine.toml", "[\"colors.toml\"]", "[3]", "\
engine.toml:1:12: \"include[0]\" is a whole number; expected a string or a table"),
        ("engine.toml", "\"colors.toml\"", "\"../colors.toml\"", "\
engine.toml:1:12: \"../colors.toml\" leads out of the folder of the file that includes it
 1 | include = [\"../colors.toml\"]
   |            ^^^^^^^^^^^^^^^^
   = put what is shared beside the definitions that share it, or into a folder there"),
        ("engine.toml", "\"colors.toml\"", "\"/etc/passwd\"", "\
engine.toml:1:12: \"/etc/passwd\" leads out of"),
        ("engine.toml", "\"colors.toml\"", "\"\"", "\
engine.toml:1:12: \"\" leads out of"),
        ("engine.toml", "\"colors.toml\"", "\".\"", "\
engine.toml:1:12: cannot include \".\": it is not a file but a folder"),
        ("engine.toml", "\"colors.toml\"", "\"colours.toml\"", "\
engine.toml:1:12: cannot include \"colours.toml\": No such file or directory (os error 2)
 1 | include = [\"colours.toml\"]
   |            ^^^^^^^^^^^^^^
   = the path is taken from the folder of the file that it stands in
   = included as \"left\" at panel.toml:2:1
   = included as \"right\" at panel.toml:7:1"),
        ("engine.toml", "\"colors.toml\"", "\"engine.toml\"", "\
engine.toml:1:12: a circle: engine.toml includes engine.toml"),
        ("colors.toml", "[colors]", "include = [\"./panel.toml\"]\n[colors]", "\
colors.toml:1:12: a circle: panel.toml includes engine.toml includes colors.toml includes panel.toml"),
        ("colors.toml", "[colors]", "[[colors]]", "\
colors.toml:1:1: \"colors\" is an array; expected a table"),
    ] {
        let told = refusal_with(file, from, to);
        if !told.starts_with(wanted) {
            other.push(format!("{told}\n\nwanted:\n{wanted}\n"));
        }
    }
    assert!(other.is_empty(), "{}", other.join("\n"));
}

#[test]
fn depth_places_and_bytes_have_an_end() {
    let chain: Vec<(String, String)> = (0..12)
        .map(|k| {
            (
                format!("f{k}.toml"),
                format!("include = [\"f{}.toml\"]", k + 1),
            )
        })
        .collect();
    let panel = format!("include = [\"f0.toml\"]\n{DISPLAY}");
    let mut files = vec![("panel.toml", &*panel)];
    files.extend(chain.iter().map(|(name, text)| (&**name, &**text)));
    let told = refusal(&files);
    assert!(
        told.starts_with("f7.toml:1:12: files are included in files more than 8 deep"),
        "{told}"
    );
    // Each includes the next one twice.
    let twice = |k: usize| format!("include = [\"f{k}.toml\", \"f{k}.toml\"]\n");
    let doubling: Vec<(String, String)> = (0..8)
        .map(|k| (format!("f{k}.toml"), twice(k + 1)))
        .collect();
    let panel = format!("{}{DISPLAY}", twice(0));
    let mut files = vec![("panel.toml", &*panel), ("f8.toml", "")];
    files.extend(doubling.iter().map(|(name, text)| (&**name, &**text)));
    let told = refusal(&files);
    assert!(
        told.contains("files are included in more than 256 places"),
        "{told}"
    );
    let large = format!("# {}\n", "x".repeat(9 << 20));
    let panel = format!("include = [\"large.toml\", \"large.toml\"]\n{DISPLAY}");
    let told = refusal(&[("panel.toml", &panel), ("large.toml", &large)]);
    assert!(
        told.starts_with(
            "panel.toml:1:26: with \"large.toml\" the definition is larger than 16 MiB"
        ),
        "{told}"
    );
}

#[test]
fn a_file_that_is_no_text_is_refused_at_the_first_bad_byte() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("bad.toml"), b"# \n\xff").unwrap();
    let text = format!("include = [\"bad.toml\"]\n{DISPLAY}");
    let error = Definition::from_toml(&text, "panel.toml", folder.path()).unwrap_err();
    let [problem] = error.problems() else {
        panic!("{error}")
    };
    assert!(problem.origin.ends_with("bad.toml"), "{error}");
    assert_eq!((problem.line, problem.column), (2, 1));
    assert_eq!(problem.included, ["included at panel.toml:1:12"]);
}

#[test]
fn what_looks_like_a_parameter_is_left_alone_where_nothing_is_included() {
    let own = "[[region]]\nid = \"a\"\nrect = [0, 0, 400, 100]\nhazard = \"minor\"\n\
               [[region.symbol]]\nkind = \"text\"\ntext = \"${a}\"\nposition = [9, 9]\nfont = \"digits\"\nsize = 9\ncolor = \"white\"\n";
    let (definition, _folder) =
        load(&[("panel.toml", &format!("{DISPLAY}{COLORS}{own}"))]).unwrap();
    let Symbol::Text(text) = &definition.regions()[0].symbol[0] else {
        panic!("a text")
    };
    assert_eq!(text.text, "${a}");
}

/// What the gallery does not show: positions that need not be given, and shapes that do not move with their part.
const OTHERS: [&str; 3] = [
    r##"
[[region.symbol]]
kind = "tape"
rect = [80, 10, 40, 140]
channel = "airspeed"
direction = "down"
edge = "left"
reference = 40
px_per_unit = 2
min = 0
max = 300
ticks = { major_step = 10, major_length = 14, color = "white" }
failure = { rect = [80, 10, 40, 140], text = "IAS", font = "strong", size = 20, color = "amber", background = "ink" }
[[region.symbol]]
kind = "tape"
rect = [130, 10, 100, 30]
channel = "altitude"
direction = "left"
edge = "top"
reference = 150.5
px_per_unit = 0.5
min = 0
max = 9000
ticks = { major_step = 50, major_length = 14, color = "white" }
failure = { rect = [130, 10, 100, 30], text = "ALT", font = "strong", size = 20, color = "amber", background = "ink" }
"##,
    r##"
[[region.symbol]]
kind = "attitude"
rect = [40, 10, 160, 140]
center = [100.25, 70]
pitch = "pitch"
roll = "roll"
px_per_deg = 3
sky = "sky"
ground = "ground"
line = "white"
aircraft = "amber"
failure = { rect = [40, 10, 160, 140], text = "ATT", font = "strong", size = 28, color = "amber", background = "ink" }
[[region.symbol]]
kind = "unchecked"
rect = [0, 0, 20, 20]
reason = "a map"
"##,
    r##"
[[region.symbol]]
kind = "parts"
[[region.symbol.part]]
at = [7, 9]
[[region.symbol.part.part]]
shape.blink = { rect = [10, 10, 20, 20], on = "white", off = "grey", period_ms = 100, max_hold_ms = 400 }
[[region.symbol.part.part]]
shape.unchecked = { rect = [200, 10, 20, 20], reason = "a map" }
[[region.symbol.part.part]]
shape.circle = { center = [60, 20], radius = 9 }
fill = "green"
[[region.symbol.part.part]]
[region.symbol.part.part.shape.slots]
position = [10, 60]
line_height = 20
slots = 2
font = "label"
size = 14
colors = { warning = "red", caution = "amber", advisory = "white" }
advice_position = [10, 120]
failure = { rect = [120, 50, 60, 40], text = "X", font = "strong", size = 20, color = "red", background = "ink", cross = true }
alert = [{ text = "FUEL", class = "caution", when = [{ channel = "fuel", below = 600 }], advice = "LAND" }]
"##,
];

/// Every kind and every look of the gallery draws the same bytes elsewhere, and written out.
#[test]
fn whatever_is_drawn_moves_with_the_place() {
    let prelude = gallery::prelude();
    let folder = tempfile::tempdir().unwrap();
    let panel = "panel.svg";
    fs::copy(gallery::folder().join(panel), folder.path().join(panel)).unwrap();
    let moved = prelude
        .replace("width = 240", "width = 304")
        .replace("height = 160", "height = 192");
    let place = "[[include]]\nfile = \"look.toml\"\nid = \"there\"\nat = [64, 32]\n";
    let moved = format!("{place}{moved}");
    let read = |text: &str| {
        Definition::from_toml(text, "panel.toml", folder.path()).unwrap_or_else(|e| panic!("{e}"))
    };
    let looks = gallery::looks().into_iter();
    let looks = looks.map(|path| (path.display().to_string(), gallery::symbols(&path)));
    let others = OTHERS
        .iter()
        .map(|look| ("others".to_owned(), (*look).to_owned()));
    for (path, symbols) in looks.chain(others) {
        let look = gallery::region(&symbols);
        fs::write(folder.path().join("look.toml"), &look).unwrap();
        let (here, there) = (read(&format!("{prelude}\n{look}")), read(&moved));
        let written_out = read(&there.expanded());
        // Beyond the recording there are no data, and failure flags are up.
        for time_s in [10.0, 1e4] {
            let (a, b) = (drawn(&here, time_s), drawn(&there, time_s));
            let c = drawn(&written_out, time_s);
            assert_eq!(c.interleaved(), b.interleaved(), "{path} at {time_s} s");
            assert!(is_moved(&a, &b, [64, 32]), "{path} at {time_s} s");
        }
        let unchecked = |d: &Definition| {
            let symbols = d.regions()[0].symbol.iter();
            let areas = symbols.flat_map(|s| s.unchecked().map(|u| u.rect).collect::<Vec<_>>());
            areas.collect::<Vec<_>>()
        };
        let due = unchecked(&here).into_iter();
        let due: Vec<_> = due.map(|[x, y, w, h]| [x + 64, y + 32, w, h]).collect();
        assert_eq!(unchecked(&there), due, "{path}");
    }
}

/// Whether `b` is `a`, moved, and empty round it.
fn is_moved(a: &Canvas, b: &Canvas, [dx, dy]: [i32; 2]) -> bool {
    let (width, height) = (240, 160);
    let ground = [0x0b, 0x0f, 0x14];
    (0..height + dy).all(|y| {
        (0..width + dx).all(|x| {
            let due = match (x >= dx, y >= dy) {
                (true, true) => a.at(x - dx, y - dy),
                _ => ground,
            };
            b.at(x, y) == due
        })
    })
}

#[test]
fn marks_of_the_schema_are_known() {
    fn gather(schema: &serde_json::Value, into: &mut Vec<String>) {
        match schema {
            serde_json::Value::Object(table) => {
                into.extend(table.get(MARK).and_then(|m| Some(m.as_str()?.to_owned())));
                table.values().for_each(|v| gather(v, into));
            }
            serde_json::Value::Array(items) => items.iter().for_each(|v| gather(v, into)),
            _ => {}
        }
    }
    let mut marks = Vec::new();
    gather(json_schema(), &mut marks);
    marks.sort_unstable();
    marks.dedup();
    assert_eq!(marks, ["along", "group", "id", "page", "path", "point"]);
}
