//! Definitions in several files: judged, drawn and vouched for as if they stood in one.

use crate::bench::{Files, all_bytes, of_inputs};

/// The engine strip in three files; regions stand in the order of the one file.
fn split(files: &Files) {
    let strip = files.text("display.toml");
    let (display, rest) = strip.split_once("[fonts]").expect("it has fonts");
    let (names, regions) = rest.split_once("[[region]]").expect("it has regions");
    files.write("strip/names.toml", format!("[fonts]{names}").as_bytes());
    let regions = format!("include = [\"names.toml\"]\n[[region]]{regions}");
    files.write("strip/regions.toml", regions.as_bytes());
    // The names are needed here, too: a file that is included twice counts once.
    let includes = "include = [\"strip/regions.toml\", \"strip/names.toml\"]\n";
    files.write("display.toml", (includes.to_owned() + display).as_bytes());
}

#[test]
fn one_definition_in_three_files_is_checked_as_in_one() {
    let files = Files::new();
    assert_eq!(files.check("clip.y4m", &[]).status, 0);
    let (frames, display) = (
        files.read("out/frames.jsonl"),
        files.json("out/display.json"),
    );
    split(&files);
    let ran = files.check("clip.y4m", &[]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert_eq!(files.read("out/frames.jsonl"), frames);
    assert_eq!(files.json("out/display.json"), display);
    // Whoever changes an included file is noticed as if it were the definition.
    let manifest = files.json("out/manifest.json");
    let inputs = manifest["inputs"].as_array().expect("inputs are listed");
    let included: Vec<_> = inputs.iter().filter(|i| i["role"] == "include").collect();
    let paths: Vec<_> = included.iter().filter_map(|i| i["path"].as_str()).collect();
    assert_eq!(paths, ["../strip/regions.toml", "../strip/names.toml"]);
    assert_eq!(files.run(&["verify", "out"]).status, 0);
    let again = files.run(&["verify", "--again", "out"]);
    assert_eq!(again.status, 0, "{}{}", again.stdout, again.stderr);
    let names = files.text("strip/names.toml");
    files.write("strip/names.toml", (names + "# another\n").as_bytes());
    let verified = files.run(&["verify", "out"]);
    assert_ne!(verified.status, 0);
    assert!(
        verified.stdout.contains("strip/names.toml"),
        "{}",
        verified.stdout
    );
}

/// A bar about its own corner, by its parameters.
const BAR: &str = r##"
[[region]]
id = "bar"
rect = [0, 0, 104, 140]
hazard = "major"
requirements = ["ENG-${number}"]
tolerance = { "${channel}" = 2.0 }

[[region.symbol]]
kind = "bar"
rect = [12, 8, 30, 96]
channel = "${channel}"
direction = "up"
edge = "right"
breakpoints = "${scale}"
style = "fill"
color = "navy"
frame = "ink"
background = "white"
failure = { rect = [4, 0, 98, 112], text = "ENG ${number}", font = "text", size = 18, color = "ink", background = "amber" }

[[region.symbol]]
kind = "parts"
part = [{ shape = { words = { text = "ENG ${number}", position = [52, 126], font = "text", size = 18, color = "ink" } } }]
"##;
const PLACES: &str = r##"
[[include]]
file = "bar.toml"
id = "left"
at = [8, 84]
with = { channel = "torque", number = 1, scale = [[0, 0], [120, 1]] }

[[include]]
file = "bar.toml"
id = "right"
at = [344, 84]
with = { channel = "collective", number = 2, scale = [[0, 0], [100, 1]] }

"##;

/// The bar of [`BAR`] in two places, beside the strip's names.
fn two_engines(files: &Files) {
    split(files);
    files.write("bar.toml", BAR.as_bytes());
    let display = files.text("display.toml");
    let (_, display) = display.split_once('\n').expect("it has lines");
    let head = "[[include]]\nfile = \"strip/names.toml\"\n";
    files.write(
        "display.toml",
        format!("{head}{PLACES}{display}").as_bytes(),
    );
}

#[test]
fn an_instrument_in_two_places_is_linted_drawn_and_written_out() {
    let files = Files::new();
    two_engines(&files);
    let ran = files.run(&["lint", "--display", "display.toml"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert!(
        ran.stdout.contains("480 x 272, 2 regions"),
        "{}",
        ran.stdout
    );
    let line = |channel: &str| {
        let is_it = |l: &&str| l.trim_start().starts_with(channel);
        ran.stdout
            .lines()
            .find(is_it)
            .unwrap_or("")
            .trim_end()
            .to_owned()
    };
    assert!(line("torque").ends_with("in left.bar"), "{}", ran.stdout);
    assert!(
        line("collective").ends_with("in right.bar"),
        "{}",
        ran.stdout
    );
    // Colours and channels that others share are no slip here.
    assert!(ran.stdout.ends_with("0 warnings\n"), "{}", ran.stdout);
    let expanded = files.run(&["lint", "--expand", "--display", "display.toml"]);
    let draw = |out: &str| {
        let mut words = of_inputs("draw");
        words.extend(["--fps", "25", "--from", "0.4", "--to", "0.4"]);
        words.extend(["--format", "png", "--out", out]);
        let ran = files.run(&words);
        assert_eq!(ran.status, 0, "{}", ran.stderr);
        let drawn = all_bytes(&files.path(out)).into_iter();
        let mut pictures = drawn.filter(|(name, _)| name.ends_with(".png"));
        pictures.next().expect("a picture was drawn").1
    };
    let two = draw("two");
    files.write("display.toml", expanded.stdout.as_bytes());
    assert_eq!(draw("written_out"), two);
    // And it is seen whether they are where they belong.
    files.write(
        "display.toml",
        expanded.stdout.replace("344", "343").as_bytes(),
    );
    assert_ne!(draw("moved"), two);
}

#[test]
fn a_slip_in_an_instrument_is_told_with_its_places() {
    let files = Files::new();
    two_engines(&files);
    files.write("bar.toml", BAR.replace("\"navy\"", "\"navi\"").as_bytes());
    let ran = files.run(&["lint", "--display", "display.toml"]);
    assert_eq!(ran.status, 2);
    let told = "\
bar.toml:17:9: there is no colour \"navi\"
 17 | color = \"navi\"
    |         ^^^^^^
    = did you mean \"navy\"?
    = included as \"left\" at display.toml:4:1
    = included as \"right\" at display.toml:10:1";
    assert!(ran.stderr.contains(told), "{}", ran.stderr);
}
