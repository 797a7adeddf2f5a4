//! Recordings from text: values worked out by hand, and every kind of damage.

use std::error::Error as _;
use std::path::Path;
use std::sync::LazyLock;

use proptest::prelude::*;

use super::inputs::{Inputs, Value};
use super::{Error, MissingColumns, Recording};
use crate::definition::Definition;

/// One channel of each kind. In order of names: angle, flagged, held, line, words.
const CHANNELS: &str = r##"
[display]
name = "test"
width = 100
height = 100
background = "black"

[colors]
black = "#000000"

[fonts]
plain = { builtin = "B612 Regular" }

[channels.line]
column = "line_kt"
unit = "kt"
range = [-100.0, 300.0]
max_age_ms = 2000.0

[channels.angle]
column = "angle_deg"
interpolation = "angular"
max_age_ms = 2000.0

[channels.held]
column = "held"
interpolation = "hold"
max_age_ms = 1500.0

[channels.words]
column = "words"
interpolation = "text"
max_age_ms = 1500.0

[channels.flagged]
column = "flagged"
validity_column = "flagged_ok"
max_age_ms = 2000.0

[[region]]
id = "alerts"
rect = [0, 0, 100, 100]
hazard = "major"

[[region.symbol]]
kind = "alerts"
position = [5.0, 10.0]
line_height = 20.0
slots = 2
font = "plain"
size = 15.0
colors = { warning = "black", caution = "black", advisory = "black" }

[[region.symbol.alert]]
text = "SLOW"
class = "warning"
when = [{ channel = "line", below = 50.0 }]

[[region.symbol.alert]]
text = "SLOW AND HELD"
class = "caution"
when = [{ channel = "line", below = 50.0 }, { channel = "held", equals = 2.0 }]
"##;

const HEADER: &str = "t_s,line_kt,angle_deg,held,words,flagged,flagged_ok";

/// The test definition; made once, since reading the font takes a while.
fn definition() -> &'static Definition {
    static DEFINITION: LazyLock<Definition> = LazyLock::new(|| {
        let file = toml::from_str(CHANNELS).expect("the test definition is well formed");
        Definition::unchecked_for_tests(file)
    });
    &DEFINITION
}

fn read(text: impl AsRef<[u8]>) -> Result<Recording, Error> {
    Recording::from_reader(text.as_ref(), "r.csv", definition(), MissingColumns::Refuse)
}

/// A recording of some columns of the test definition; the others are missing.
fn of(text: &str) -> Recording {
    Recording::from_reader(
        text.as_bytes(),
        "r.csv",
        definition(),
        MissingColumns::Allow,
    )
    .expect("a good recording")
}

fn value(recording: &Recording, channel: &str, time_s: f64) -> Value {
    recording
        .inputs(time_s)
        .value(definition().channel(channel))
        .clone()
}

const fn number(v: f64) -> Value {
    Value::Number(v)
}

fn words(text: &str) -> Value {
    Value::Text(text.into())
}

#[test]
fn the_digest_is_of_what_was_read_not_of_what_stands_there_now() {
    let folder = tempfile::tempdir().expect("there is room");
    let path = folder.path().join("r.csv");
    let text = "t_s,line_kt\n0,1\n";
    std::fs::write(&path, text).expect("there is room");
    let r = Recording::load(&path, definition(), MissingColumns::Allow).expect("a good recording");
    std::fs::write(&path, "another").expect("there is room");
    let held = r.content().expect("it was a file");
    assert_eq!(held.content, crate::files::Content::of(text.as_bytes()));
    assert_eq!(held.path, path);
}

#[test]
fn lines_go_straight_from_row_to_row() {
    let r = of("t_s,line_kt\n1,100\n2,200\n4,0\n");
    for (time_s, expected) in [
        (0.999, Value::Invalid),
        (1.0, number(100.0)),
        (1.25, number(125.0)),
        (2.0, number(200.0)),
        (2.5, number(150.0)),
        (4.0, number(0.0)),
        (6.0, number(0.0)),
        (6.001, Value::Invalid),
        (f64::NAN, Value::Invalid),
        (f64::INFINITY, Value::Invalid),
        (f64::NEG_INFINITY, Value::Invalid),
    ] {
        assert_eq!(value(&r, "line", time_s), expected, "at {time_s} s");
    }
    assert_eq!(r.span_s(), (1.0, 4.0));
    assert_eq!(r.times_s(), [1.0, 2.0, 4.0]);
}

#[test]
fn angles_take_the_shortest_way_round() {
    let r = of("t_s,angle_deg\n0,359\n1,1\n2,-10\n3,170\n");
    for (time_s, expected) in [
        (0.0, 359.0),
        (0.25, 359.5),
        (0.5, 0.0),
        (0.75, 0.5),
        (1.5, 355.5),
        (2.0, 350.0),
        (3.0, 170.0),
    ] {
        assert_eq!(
            value(&r, "angle", time_s),
            number(expected),
            "at {time_s} s"
        );
    }
}

#[test]
fn held_values_and_words_stay_until_the_next_row() {
    let r = of("t_s,held,words\n0,1,ALT\n1,2,\n2,,HDG\n");
    for (time_s, held, text) in [
        (0.0, number(1.0), words("ALT")),
        (0.999, number(1.0), words("ALT")),
        (1.0, number(2.0), words("ALT")),
        (1.6, number(2.0), Value::Invalid),
        (2.5, number(2.0), words("HDG")),
        (2.501, Value::Invalid, words("HDG")),
        (3.501, Value::Invalid, Value::Invalid),
    ] {
        assert_eq!(value(&r, "held", time_s), held, "held at {time_s} s");
        assert_eq!(value(&r, "words", time_s), text, "words at {time_s} s");
    }
}

#[test]
fn rows_refresh_the_age_of_a_held_value() {
    let r = of("t_s,held\n0,7\n1,7\n2,7\n3,7\n");
    assert_eq!(value(&r, "held", 4.4), number(7.0));
    assert_eq!(value(&r, "held", 4.6), Value::Invalid);
}

#[test]
fn empty_cells_are_no_samples() {
    // 40 s^-1 slope from 0 to 2 although a row lies between; held carries the row.
    let r = of("t_s,line_kt,held\n0,0,1\n1,,1\n2,80,1\n");
    assert_eq!(value(&r, "line", 1.0), number(40.0));
    assert_eq!(value(&r, "line", 1.5), number(60.0));
    let late = of("t_s,line_kt,held\n0,,1\n1,5,1\n2,,1\n");
    assert_eq!(value(&late, "line", 0.5), Value::Invalid);
    assert_eq!(value(&late, "line", 1.0), number(5.0));
    assert_eq!(value(&late, "line", 2.9), number(5.0));
    assert_eq!(value(&late, "line", 3.1), Value::Invalid);
    let never = of("t_s,line_kt,held\n0,,1\n1,,1\n");
    assert_eq!(value(&never, "line", 0.5), Value::Invalid);
}

#[test]
fn gaps_longer_than_the_age_limit_are_invalid_once_it_is_over() {
    let r = of("t_s,line_kt\n0,0\n10,100\n10.5,100\n");
    assert_eq!(value(&r, "line", 1.0), number(10.0));
    assert_eq!(value(&r, "line", 2.0), number(20.0));
    assert_eq!(value(&r, "line", 2.000_001), Value::Invalid);
    assert_eq!(value(&r, "line", 9.999), Value::Invalid);
    assert_eq!(value(&r, "line", 10.0), number(100.0));
    // 2.3 - 0.3 is below 2 and 4.1 - 2.1 above it in binary; both are the limit itself.
    let r = of("t_s,line_kt\n0.3,0\n2.1,0\n");
    assert_eq!(value(&r, "line", 4.1), number(0.0));
}

#[test]
fn flagged_samples_are_invalid_and_never_approached() {
    let r = of(
        "t_s,flagged,flagged_ok\n0,10,1\n1,20,TRUE\n2,-999,no\n3,30,valid\n4,40,\n5,,0\n6,60,yes\n",
    );
    for (time_s, expected) in [
        (0.5, number(15.0)),
        (1.0, number(20.0)),
        (1.9, number(20.0)),
        (2.0, Value::Invalid),
        (2.9, Value::Invalid),
        (3.0, number(30.0)),
        (3.5, number(35.0)),
        (4.5, number(40.0)),
        (5.0, Value::Invalid),
        (5.5, Value::Invalid),
        (6.0, number(60.0)),
    ] {
        assert_eq!(value(&r, "flagged", time_s), expected, "at {time_s} s");
    }
    let unknown = of("t_s,flagged,flagged_ok\n0,10,\n1,20,1\n");
    assert_eq!(value(&unknown, "flagged", 0.5), Value::Invalid);
}

#[test]
fn values_outside_the_range_are_invalid() {
    let r = of("t_s,line_kt\n0,300\n1,300.1\n2,-100\n3,-100.1\n");
    assert_eq!(value(&r, "line", 0.5), number(300.0));
    assert_eq!(value(&r, "line", 1.0), Value::Invalid);
    assert_eq!(value(&r, "line", 2.5), number(-100.0));
    assert_eq!(value(&r, "line", 3.0), Value::Invalid);
}

#[test]
fn alerts_count_from_the_first_row_of_their_run() {
    let r = of("t_s,line_kt,held\n0,40,1\n1,40,2\n2,60,2\n3,40,2\n4,30,2\n");
    let since = |time_s| r.inputs(time_s).active_since_s;
    assert_eq!(since(-1.0), [None, None]);
    assert_eq!(since(0.0), [Some(0.0), None]);
    assert_eq!(since(1.0), [Some(0.0), Some(1.0)]);
    // On the way from 40 to 60 the speed passes 50 half way.
    assert_eq!(since(1.25), [Some(0.0), Some(1.0)]);
    assert_eq!(since(1.75), [None, None]);
    // From 60 to 40: active before a row says so.
    assert_eq!(since(2.75), [Some(2.75), Some(2.75)]);
    assert_eq!(since(3.5), [Some(3.0), Some(3.0)]);
    // The held value is too old 1.5 s after its last row, the speed 2 s after.
    assert_eq!(since(5.75), [Some(3.0), None]);
    assert_eq!(since(6.5), [None, None]);
}

#[test]
fn missing_columns_are_missing_values_when_allowed() {
    let r = of("t_s,line_kt,flagged\n0,1,2\n");
    assert_eq!(r.missing_channels(), ["angle", "held", "words"]);
    assert_eq!(r.missing_validity(), ["flagged"]);
    assert_eq!(value(&r, "angle", 0.0), Value::Missing);
    assert_eq!(value(&r, "angle", -5.0), Value::Missing);
    assert_eq!(value(&r, "flagged", 0.0), number(2.0));
}

#[test]
fn buffers_are_filled_anew() {
    let r = of("t_s,line_kt\n0,1\n1,2\n");
    let mut inputs = Inputs::default();
    r.inputs_at(0.5, &mut inputs);
    r.inputs_at(1.0, &mut inputs);
    assert_eq!(inputs, r.inputs(1.0));
    assert_eq!(
        (
            inputs.time_s,
            inputs.values.len(),
            inputs.active_since_s.len()
        ),
        (1.0, 5, 2)
    );
}

#[test]
fn harmless_spellings_are_read() {
    let plain = of("t_s,line_kt,words\n0,10,A B\n0.5,20,C\n");
    for text in [
        "\u{feff}t_s,line_kt,words\n0,10,A B\n0.5,20,C\n",
        "t_s,line_kt,words\r\n0,10,A B\r\n0.5,20,C\r\n",
        "t_s,line_kt,words\n0,10,A B\n0.5,20,C",
        "\nt_s,line_kt,words\n\n0,10,A B\n0.5,20,C\n\n\n",
        "\"t_s\",\"line_kt\",\"words\"\n\"0\",\"10\",\"A B\"\n\"0.5\",\"20\",C\n",
        " t_s , line_kt , words \n 0 , +1e1 , A B \n .5 , 20. , C \n",
        ",t_s,line_kt,words,\n0,0,10,A B,\n1,0.5,20,C,\n",
        "words,unused,line_kt,t_s\nA B,junk,10,0\nC,NaN,20,0.5\n",
    ] {
        let r = of(text);
        for time_s in [0.0, 0.25, 0.5, 3.0] {
            assert_eq!(
                r.inputs(time_s),
                plain.inputs(time_s),
                "{text:?} at {time_s} s"
            );
        }
    }
    let comma = of("t_s,words\n0,\"A, \"\"B\"\"\"\n");
    assert_eq!(value(&comma, "words", 0.0), words("A, \"B\""));
}

/// What is wrong, the text, and all of the error's text.
#[rustfmt::skip]
fn damaged() -> Vec<(&'static str, Vec<u8>, &'static str)> {
    let row = |row: &str| format!("{HEADER}\n0,1,2,3,A,4,1\n{row}\n").into_bytes();
    let bytes = |text: &str| text.as_bytes().to_vec();
    vec![
        ("empty file", bytes(""),
            "r.csv: the file is empty; expected a header line such as \"t_s,airspeed_kt\" and rows"),
        ("blank file", bytes("\u{feff}\n \r\n\n"),
            "r.csv: the file is empty; expected a header line such as \"t_s,airspeed_kt\" and rows"),
        ("no header", bytes("0.0,1,2\n0.1,1,2\n"),
            "r.csv:1: expected a header line with column names such as \"t_s,airspeed_kt\", found numbers: \"0.0,1,2\"; add one"),
        ("no rows", bytes(HEADER),
            "r.csv: the file has a header line and no rows; expected at least one"),
        ("no time column", bytes("Time,line_kt\n0,1\n"),
            "r.csv:1: no time column \"t_s\" (did you mean \"Time\"?); say time = \"Time\" in [recording]"),
        ("no time column nor anything like it", bytes("altitude_ft,line_kt\n0,1\n"),
            "r.csv:1: no time column \"t_s\"; say time = \"...\" in [recording]"),
        ("missing columns", bytes("t_s,line_kts,angle_deg,words,flagged\n0,1,2,A,3\n"),
            "r.csv:1: the display needs columns that the file lacks: \"flagged_ok\" for validity of channel \"flagged\" \
             (did you mean \"flagged\"?), \"held\" for channel \"held\", \"line_kt\" for channel \"line\" (did you mean \
             \"line_kts\"?); correct the channels' columns, say what the recording calls them in [recording.columns], or allow what is missing (--allow-missing, in a plan allow_missing) to leave what needs them unjudged"),
        ("one missing column", bytes("t_s,line_kt,angle_deg,words,flagged,flagged_ok\n0,1,2,A,3,1\n"),
            "r.csv:1: the display needs a column that the file lacks: \"held\" for channel \"held\"; correct the \
             channels' columns, say what the recording calls them in [recording.columns], or allow what is missing (--allow-missing, in a plan allow_missing) to leave what needs them unjudged"),
        ("a name twice", bytes("t_s,line_kt,held,line_kt\n0,1,2,3\n"),
            "r.csv:1, column \"line_kt\": the name stands twice in the header, as fields 2 and 4; rename or remove one"),
        ("semicolons", bytes("t_s;line_kt\n0,0;1\n"),
            "r.csv:1: columns are separated by ';', expected ','; say delimiter = \"semicolon\" in [recording]"),
        ("tabs", bytes("t_s\tline_kt\n0\t1\n"),
            "r.csv:1: columns are separated by '\\t', expected ','; say delimiter = \"tab\" in [recording]"),
        ("too few fields", row("1,2,3"),
            "r.csv:3: 3 fields, expected 7 as in the header (is the line cut off?)"),
        ("too many fields", row("1,2,3,4,A,5,1,9"),
            "r.csv:3: 8 fields, expected 7 as in the header (decimal commas? use decimal points, and quote text that holds a comma)"),
        ("a word for a number", row("1,N/A,2,3,A,4,1"),
            "r.csv:3, column \"line_kt\": \"N/A\" is not a number; leave the cell empty when there is no value"),
        ("a word in a flagged cell", row("1,2,2,3,A,oops,0"),
            "r.csv:3, column \"flagged\": \"oops\" is not a number; leave the cell empty when there is no value"),
        ("decimal comma", row("1,\"12,7\",2,3,A,4,1"),
            "r.csv:3, column \"line_kt\": \"12,7\" is not a number (decimal comma?); write it with a decimal point, or say decimal = \"comma\" in [recording]"),
        ("NaN", row("1,2,nan,3,A,4,1"),
            "r.csv:3, column \"angle_deg\": \"nan\" is not a finite number; leave the cell empty when there is no value, or use a validity column"),
        ("infinity", row("1,2,3,-inf,A,4,1"),
            "r.csv:3, column \"held\": \"-inf\" is not a finite number; leave the cell empty when there is no value, or use a validity column"),
        ("overflow", row("1,1e999,3,4,A,4,1"),
            "r.csv:3, column \"line_kt\": \"1e999\" is too large for a number; expected a magnitude up to 1.7976931348623157e308"),
        ("bad validity", row("1,2,3,4,A,4,maybe"),
            "r.csv:3, column \"flagged_ok\": \"maybe\" does not say whether the value is valid; expected 1, true, yes or valid, or 0, false, no or invalid"),
        ("no time in a row", row(",2,3,4,A,4,1"),
            "r.csv:3, column \"t_s\": the cell is empty; every row needs its time"),
        ("a time of day", row("12:00:01,2,3,4,A,4,1"),
            "r.csv:3, column \"t_s\": \"12:00:01\" is not a number; leave the cell empty when there is no value"),
        ("repeated time", row("0.0,2,3,4,A,4,1"),
            "r.csv:3, column \"t_s\": time 0 s stands already in the row before; times must rise, so keep one row for each, or say in [recording] which one counts (repeats = \"first\" or \"last\")"),
        ("falling time", row("-0.5,2,3,4,A,4,1"),
            "r.csv:3, column \"t_s\": time falls to -0.5 s after 0 s on line 2; sort the rows, or split the file where the clock was set back"),
        ("time out of range", row("1e15,2,3,4,A,4,1"),
            "r.csv:3, column \"t_s\": time 1e15 s is out of range; expected a magnitude up to 1e11 s (milliseconds? say time_unit = \"ms\" in [recording])"),
        ("open quote", row("1,2,3,4,\"A,4,1\n2,2,3,4,A,4,1"),
            "r.csv:3: a quote mark is opened and not closed on this line; close it or remove it"),
        ("open quote in the header", bytes("t_s,\"line_kt\n0,1\n"),
            "r.csv:1: a quote mark is opened and not closed on this line; close it or remove it"),
        ("old line ends", bytes("t_s,line_kt\r0,1\r1,2\r"),
            "r.csv:1: a carriage return stands inside of the line; end lines with LF or CRLF"),
        ("Latin-1", [HEADER.as_bytes(), b"\n0,1,2,3,caf\xe9,4,1\n"].concat(),
            "r.csv:2: the line is not UTF-8 text; save the file as UTF-8 (is it a CSV file at all?)"),
        ("UTF-16", b"\xff\xfet\0_\0s\0\n\0".to_vec(),
            "r.csv:1: the file is UTF-16, expected UTF-8; save it as \"CSV UTF-8\""),
        ("a picture", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec(),
            "r.csv:1: the line is not UTF-8 text; save the file as UTF-8 (is it a CSV file at all?)"),
        ("an endless line", [HEADER.as_bytes(), b"\n0,", &vec![b'1'; 3 << 20]].concat(),
            "r.csv:2: the line is longer than 1048576 bytes; expected one row a line, ended by LF or CRLF"),
        ("an endless blank", vec![b' '; 3 << 20],
            "r.csv:1: the line is longer than 1048576 bytes; expected one row a line, ended by LF or CRLF"),
        ("line numbers after CRLF and blank lines", bytes(&format!("{HEADER}\r\n0,1,2,3,A,4,1\r\n\r\n1,x\r\n")),
            "r.csv:4: 2 fields, expected 7 as in the header (is the line cut off?)"),
        ("a long and odd cell", row(&format!("1,{}\u{1b}[31m,3,4,A,4,1", "x".repeat(39))),
            "r.csv:3, column \"line_kt\": \"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx\\u{1b}...\" is not a number; leave the cell empty when there is no value"),
    ]
}

#[test]
fn damage_is_named_with_its_place() {
    for (what, text, expected) in damaged() {
        let error = read(&text).expect_err(what);
        assert_eq!(error.to_string(), expected, "{what}");
    }
}

#[test]
fn errors_know_line_and_column() {
    let error = read(format!("{HEADER}\n0,1,2,3,A,4,1\n1,x,3,4,A,4,1\n")).expect_err("a word");
    assert_eq!((error.line(), error.column()), (Some(3), Some("line_kt")));
}

#[test]
fn files_that_cannot_be_opened_or_read_chain_the_cause() {
    let folder = tempfile::tempdir().expect("a folder");
    let load = |path: &Path| {
        Recording::load(path, definition(), MissingColumns::Allow).expect_err("no such file")
    };
    let path = folder.path().join("none.csv");
    let error = load(&path);
    assert_eq!(
        error.to_string(),
        format!("cannot open recording \"{}\"", path.display())
    );
    assert!(error.source().is_some());
    // A folder opens on some systems and then cannot be read; either is an error with a cause.
    let error = load(folder.path());
    assert!(error.to_string().starts_with("cannot "), "{error}");
    assert!(error.source().is_some());
}

#[test]
fn files_are_read_from_disk() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("good.csv");
    std::fs::write(&path, "t_s,line_kt\n0,1\n").expect("written");
    let r = Recording::load(&path, definition(), MissingColumns::Allow).expect("a good recording");
    assert_eq!(value(&r, "line", 0.0), number(1.0));
}

/// Every cut of a good file is a recording of fewer rows or an error.
#[test]
fn cut_files_never_panic() {
    let text =
        format!("\u{feff}{HEADER}\r\n0,1,2,3,\"A, \"\"B\"\"\",4,1\r\n1,1,2,3,\u{e9},4,0\r\n");
    let whole = read(&text).expect("a good recording").times_s().len();
    for end in 0..text.len() {
        if let Ok(r) = read(&text.as_bytes()[..end]) {
            assert!(r.times_s().len() <= whole);
        }
    }
}

/// Public recordings, in a folder that the environment names; skipped without it.
#[test]
fn public_recordings_are_read() {
    let Some(folder) = std::env::var_os("FRAMEVOUCH_RECORDINGS") else {
        return;
    };
    let text = r##"
        [display]
        name = "test"
        width = 10
        height = 10
        background = "black"
        [colors]
        black = "#000000"
        [channels.airspeed]
        column = "airspeed_kt"
        range = [0.0, 500.0]
        [channels.pitch]
        column = "pitch_deg"
        [channels.heading]
        column = "heading_true_deg"
        interpolation = "angular"
        [channels.altitude]
        column = "altitude_ft"
    "##;
    let d = Definition::unchecked_for_tests(toml::from_str(text).expect("well formed"));
    let load = |name: &str, missing| Recording::load(&Path::new(&folder).join(name), &d, missing);
    for (name, rows, end_s, missing) in [
        ("sim_heli_hover_climb_turns.csv", 10_950, 218.98, 0),
        ("sim_plane_cruise_turbulence.csv", 9_000, 179.98, 0),
        ("real_fdr_twinjet_climb.csv", 1_500, 1499.0, 1),
    ] {
        let r = load(name, MissingColumns::Allow).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(
            (r.times_s().len(), r.span_s()),
            (rows, (0.0, end_s)),
            "{name}"
        );
        assert_eq!(r.missing_channels().len(), missing, "{name}");
        assert_eq!(
            load(name, MissingColumns::Refuse).is_ok(),
            missing == 0,
            "{name}"
        );
        // Between rows every channel has a value that lies between its neighbours.
        let mut inputs = Inputs::default();
        for pair in r.times_s().windows(2) {
            let (before, after) = (r.inputs(pair[0]), r.inputs(pair[1]));
            r.inputs_at(f64::midpoint(pair[0], pair[1]), &mut inputs);
            for channel in ["airspeed", "pitch", "altitude"].map(|c| d.channel(c)) {
                let [a, v, b] = [&before, &inputs, &after]
                    .map(|i| i.value(channel).number().expect("a number"));
                assert!(a.min(b) <= v && v <= a.max(b), "{name}: {a} {v} {b}");
            }
            if missing == 0 {
                let v = inputs
                    .value(d.channel("heading"))
                    .number()
                    .expect("a number");
                assert!((0.0..360.0).contains(&v));
            }
        }
    }
    // Several rows a second, one for each target: not a recording of one display's inputs.
    let traffic = load(
        "sim_traffic_for_heli_hover_climb_turns.csv",
        MissingColumns::Allow,
    )
    .expect_err("repeated times");
    assert!(
        traffic
            .to_string()
            .contains(":3, column \"t_s\": time 0 s stands already"),
        "{traffic}"
    );
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes);
        let _ = read([HEADER.as_bytes(), b"\n", &bytes].concat());
    }

    #[test]
    fn no_near_miss_makes_it_panic(text in "(t_s|line_kt|angle_deg|held|words|flagged|[0-9.eE+-]{0,5}|nan|\"|,|;|\r|\n| |\u{e9}|1,2){0,60}") {
        for missing in [MissingColumns::Allow, MissingColumns::Refuse] {
            if let Ok(r) = Recording::from_reader(text.as_bytes(), "r.csv", definition(), missing) {
                let (from_s, to_s) = r.span_s();
                for time_s in [from_s, f64::midpoint(from_s, to_s), to_s, to_s + 1.0] {
                    prop_assert!(r.inputs(time_s).values.iter().all(|v| v.number().is_none_or(f64::is_finite)));
                }
            }
        }
    }

    #[test]
    fn values_lie_between_their_neighbours(
        rows in prop::collection::vec((0.001_f64..1.9, -100.0_f64..300.0, 0.0_f64..360.0), 2..20),
        share in 0.0_f64..1.0,
    ) {
        let mut text = String::from("t_s,line_kt,angle_deg\n");
        let mut time_s = 0.0;
        for (step_s, line, angle) in &rows {
            time_s += step_s;
            text += &format!("{time_s},{line},{angle}\n");
        }
        let r = of(&text);
        for (k, pair) in r.times_s().windows(2).enumerate() {
            let inputs = r.inputs(pair[0] + share * (pair[1] - pair[0]));
            let d = definition();
            let line = inputs.value(d.channel("line")).number().expect("a number");
            let (a, b) = (rows[k].1, rows[k + 1].1);
            prop_assert!(a.min(b) <= line && line <= a.max(b), "{} {} {}", a, line, b);
            let angle = inputs.value(d.channel("angle")).number().expect("a number");
            let apart = |p: f64, q: f64| { let d = (p - q).abs(); d.min(360.0 - d) };
            let (a, b) = (rows[k].2, rows[k + 1].2);
            prop_assert!((0.0..360.0).contains(&angle));
            prop_assert!((apart(a, angle) + apart(angle, b) - apart(a, b)).abs() < 1e-6, "{} {} {}", a, angle, b);
        }
    }
}
