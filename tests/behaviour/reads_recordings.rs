//! Recordings as benches write them: each form gives the values that plain CSV gives, and says what is wrong with it.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::LazyLock;

use framevouch::definition::Definition;
use framevouch::definition::lint::{RecordingWarning, lint_recording};
use framevouch::definition::recording_form::RecordingForm;
use framevouch::judge::verdict::Verdict;
use framevouch::recording::{MissingColumns, Recording};

use crate::bench::{Bench, Files, inputs_until, of_inputs};

const DISPLAY: &str = r##"
[display]
name = "Strip"
width = 200
height = 60
background = "ink"
[fonts]
digits = { builtin = "B612 Mono Bold" }
[colors]
ink = "#0a0e13"
[channels.airspeed]
column = "airspeed_kt"
unit = "kt"
[channels.altitude]
column = "altitude_ft"
unit = "ft"
range = [-1000.0, 20000.0]
validity_column = "altitude_ok"
[channels.mode]
column = "mode"
interpolation = "text"
[[region]]
id = "strip"
rect = [0, 0, 200, 60]
hazard = "minor"
"##;

/// What all forms below say.
const PLAIN: &str = "t_s,airspeed_kt,altitude_ft,altitude_ok,mode\n\
                     0,60,1000,1,HOLD\n0.5,61.5,1010,1,HOLD\n1,63,1020,0,NAV\n";

static DEFINITION: LazyLock<Definition> = LazyLock::new(|| {
    Definition::from_toml(DISPLAY, "strip.toml", Path::new("")).expect("it is a good display")
});

fn read(form: &str, bytes: &[u8]) -> Result<Recording, String> {
    let form = RecordingForm::from_toml(&format!("[recording]\n{form}"), "bench.toml")
        .map_err(|e| e.to_string())?;
    let refuse = MissingColumns::Refuse;
    Recording::from_reader_as(bytes, "log", &DEFINITION, refuse, &form).map_err(|e| e.to_string())
}

/// A word of a bus: label, data from bit 11 on, sign and status, odd parity.
fn word(label: u8, data: u32, status: u32) -> u32 {
    let bits = u32::from(label.reverse_bits()) | (data & 0x7_ffff) << 10 | status << 29;
    bits | u32::from(bits.count_ones().is_multiple_of(2)) << 31
}

/// The table of [`PLAIN`] as words: altitude in steps of 1 ft, airspeed in steps of 1/16 kt, both in the highest bits.
fn words() -> String {
    let altitude = |feet: u32, status| word(0o203, feet << 1, status);
    let airspeed = |sixteenths: u32| word(0o206, sixteenths << 4, 3);
    // Of the published words: `arinc429.json`, labels 203 (1000 ft) and 206 (95.5 kt).
    assert_eq!(altitude(1000, 3), 0x601F_40C1);
    assert_eq!(airspeed(1528), 0xE17E_0061);
    let mut text = "time,word,mode\n".to_owned();
    for (time, altitude, airspeed, mode) in [
        ("0", altitude(1000, 3), airspeed(960), "HOLD"),
        ("0.5", altitude(1010, 3), airspeed(984), "HOLD"),
        ("1", altitude(1020, 1), airspeed(1008), "NAV"),
    ] {
        // A label that nobody asks for, and words of one time after the other.
        writeln!(
            text,
            "{time},{:08X},{mode}\n{time},0x{altitude:08x},\n{time},{airspeed:X},",
            word(0o101, 7, 3)
        )
        .expect("text can be written");
    }
    text
}

/// Written by another implementation of the format; see the folder's README.
const PARQUET: &[u8] = include_bytes!("recordings/strip.parquet");

const WORDS: &str = "time = \"time\"\nwords = \"word\"\n[recording.columns]\n\
    altitude_ft = { word = { label = \"203\", coding = \"binary\", full_scale = 131072, bits = 17 } }\n\
    airspeed_kt = { word = { label = \"206\", source = 0, coding = \"binary\", full_scale = 1024, bits = 14 } }\n";

fn good_forms() -> Vec<(&'static str, &'static str, Vec<u8>)> {
    let text = |t: &str| t.as_bytes().to_vec();
    vec![
        ("plain", "", text(PLAIN)),
        (
            "semicolons and decimal commas",
            "decimal = \"comma\"",
            text(
                "t_s;airspeed_kt;altitude_ft;altitude_ok;mode\n0;60;1000;1;HOLD\n0,5;61,5;1010;1;HOLD\n1;63;1020;0;NAV\n",
            ),
        ),
        (
            "lines before the header, comments and units",
            "skip_rows = 2\ncomment = \"#\"\nunit_row = true\ndelimiter = \"tab\"",
            text(
                "Logger 7, run 12\n\n# begun\nt_s\tairspeed_kt\taltitude_ft\taltitude_ok\tmode\ns\tkt\tft\t\t\n0\t60\t1000\t1\tHOLD\n\
                 # half a second\n0.5\t61.5\t1010\t1\tHOLD\n1\t63\t1020\t0\tNAV\n",
            ),
        ),
        (
            "milliseconds from another zero",
            "time = \"time_ms\"\ntime_unit = \"ms\"\ntime_zero = 5000",
            text(
                &PLAIN
                    .replace("t_s", "time_ms")
                    .replace("\n0,", "\n5000,")
                    .replace("\n0.5,", "\n5500,")
                    .replace("\n1,", "\n6000,"),
            ),
        ),
        (
            "microseconds from the first row",
            "time_unit = \"us\"\ntime_zero = \"first\"",
            text(
                &PLAIN
                    .replace("\n0,", "\n1700000000000000,")
                    .replace("\n0.5,", "\n1700000000500000,")
                    .replace("\n1,", "\n1700000001000000,"),
            ),
        ),
        (
            "dates and times with their zones",
            "time_unit = \"utc\"\ntime_zero = \"2031-05-04T10:00:00Z\"",
            text(
                &PLAIN
                    .replace("\n0,", "\n2031-05-04T12:00:00+02:00,")
                    .replace("\n0.5,", "\n2031-05-04T10:00:00.500Z,")
                    .replace("\n1,", "\n2031-05-04 10:00:01Z,"),
            ),
        ),
        (
            "dates and times of one zone, from the first row",
            "time_unit = \"utc\"\ntime_zone = \"-05:00\"",
            text(
                &PLAIN
                    .replace("\n0,", "\n2031-12-31 23:59:59.5,")
                    .replace("\n0.5,", "\n2032-01-01 00:00:00,")
                    .replace("\n1,", "\n2032-01-01 00:00:00.5,"),
            ),
        ),
        (
            "other names and units",
            "[recording.columns]\nairspeed_kt = { name = \"IAS [km/h]\", scale = 0.5 }\n\
             altitude_ft = { name = \"ALT\", scale = 2, offset = -10 }\naltitude_ok = { name = \"ALT ok\" }",
            text(
                "t_s,IAS [km/h],ALT,ALT ok,mode\n0,120,505,1,HOLD\n0.5,123,510,1,HOLD\n1,126,515,0,NAV\n",
            ),
        ),
        (
            "rows that repeat, the last counts",
            "repeats = \"last\"",
            text(
                "t_s,airspeed_kt,altitude_ft,altitude_ok,mode\n0,59,999,1,HOLD\n0,60,1000,1,\n0.5,61.5,,,HOLD\n0.5,,1010,1,\n\
                 1,63,1020,0,OFF\n1,,,,NAV\n",
            ),
        ),
        (
            "rows that repeat, the first counts",
            "repeats = \"first\"",
            text(
                "t_s,airspeed_kt,altitude_ft,altitude_ok,mode\n0,60,,,HOLD\n0,59,1000,1,OFF\n0.5,61.5,1010,1,HOLD\n\
                 1,63,1020,0,NAV\n1,0,0,0,OFF\n",
            ),
        ),
        (
            "JSON Lines",
            "",
            text(
                "{\"t_s\": 0, \"airspeed_kt\": 60, \"altitude_ft\": 1000, \"altitude_ok\": true, \"mode\": \"HOLD\"}\n\
                 {\"mode\": \"HOLD\", \"t_s\": 0.5, \"airspeed_kt\": 6.15e1, \"altitude_ft\": 1010, \"list\": [1, 2]}\n\n\
                 {\"t_s\": 1, \"airspeed_kt\": 63, \"altitude_ft\": 1020, \"altitude_ok\": false, \"mode\": \"NAV\"}",
            ),
        ),
        (
            "Parquet",
            "time = \"time\"\ntime_zone = \"Z\"",
            PARQUET.to_vec(),
        ),
        ("words of a bus", WORDS, text(&words())),
    ]
}

#[test]
fn every_form_gives_the_values_that_plain_csv_gives() {
    let plain = read("", PLAIN.as_bytes()).expect("it is plain");
    for (what, form, bytes) in good_forms() {
        let recording = read(form, &bytes).unwrap_or_else(|e| panic!("{what}: {e}"));
        assert_eq!(recording.times_s(), [0.0, 0.5, 1.0], "{what}");
        for time_s in [-1.0, 0.0, 0.25, 0.5, 0.9, 1.0, 1.5, 9.0] {
            assert_eq!(
                recording.inputs(time_s),
                plain.inputs(time_s),
                "{what}, at {time_s} s"
            );
        }
    }
}

#[test]
fn every_form_says_where_it_is_wrong_and_what_to_do() {
    let word_row = |word: &str| format!("time,word,mode\n0,{word},HOLD\n");
    let decimal = WORDS.replace(
        "coding = \"binary\", full_scale = 131072, bits = 17",
        "coding = \"decimal\"",
    );
    let json = |line: &str| {
        format!(
            "{{\"t_s\": 0, \"airspeed_kt\": 1, \"altitude_ft\": 1, \"altitude_ok\": 1, \"mode\": \"A\"}}\n{line}\n"
        )
    };
    for (form, text, said) in [
        (
            "",
            PLAIN.replace(',', ";"),
            "log:1: columns are separated by ';', expected ','; say delimiter = \"semicolon\" in [recording]",
        ),
        (
            "",
            PLAIN.replace("\n0,", "\ns,kt,ft,,\n0,"),
            "log:2, column \"t_s\": \"s\" is not a number; if the row holds units, say unit_row = true in [recording]",
        ),
        (
            "",
            PLAIN.replace("\n0.5,61.5", "\n0.5,\"61,5\""),
            "log:3, column \"airspeed_kt\": \"61,5\" is not a number (decimal comma?); write it with a decimal point, or say decimal = \"comma\" in [recording]",
        ),
        (
            "decimal = \"comma\"\ndelimiter = \"comma\"",
            PLAIN.into(),
            "log:3, column \"t_s\": \"0.5\" is not a number with a decimal comma (decimal point?)",
        ),
        (
            "",
            PLAIN.replace("\n0.5", "\n0"),
            "log:3, column \"t_s\": time 0 s stands already in the row before; times must rise, so keep one row for each, or say in [recording] which one counts (repeats = \"first\" or \"last\")",
        ),
        (
            "",
            PLAIN.replace("\n0.5", "\n2031-05-04T10:00:00Z"),
            "log:3, column \"t_s\": \"2031-05-04T10:00:00Z\" is a date and time, expected a number; say time_unit = \"utc\" in [recording]",
        ),
        (
            "time_unit = \"utc\"",
            PLAIN.into(),
            "log:2, column \"t_s\": \"0\" is no date and time, expected one such as 2031-05-04T10:00:00.02Z",
        ),
        (
            "time_unit = \"utc\"",
            PLAIN.replace("\n0,", "\n2031-05-04 10:00:00,"),
            "log:2, column \"t_s\": \"2031-05-04 10:00:00\" has no zone; say which one is meant, as time_zone = \"Z\" or \"+01:00\" in [recording]",
        ),
        (
            "time = \"Zeit\"",
            PLAIN.into(),
            "log:1: no time column \"Zeit\"; say time = \"...\" in [recording]",
        ),
        (
            "",
            PLAIN.replace("airspeed_kt", "IAS"),
            "log:1: the display needs a column that the file lacks: \"airspeed_kt\" for channel \"airspeed\"; correct the channels' columns, say what the recording calls them in [recording.columns]",
        ),
        (
            "columns = { mode = { scale = 2 } }",
            PLAIN.into(),
            "log:1: channel \"mode\" is text, and its column \"mode\" has a scale",
        ),
        (
            "",
            json("{\"t_s\": 1, \"airspeed_kt\": }"),
            "log:2: the line is no JSON object, at its character 27: expected value",
        ),
        ("", json("[1, 2]"), "log:2: the line is no JSON object"),
        (
            "",
            json("{\"t_s\": 1, \"airspeed_kt\": [60]}"),
            "log:2, column \"airspeed_kt\": found a list, expected a number",
        ),
        (
            "",
            json("{\"t_s\": 1, \"t_s\": 2}"),
            "log:2, column \"t_s\": the line has this name twice",
        ),
        (
            "",
            json("{\"airspeed_kt\": 2}"),
            "log:2, column \"t_s\": the cell is empty; every row needs its time",
        ),
        (
            WORDS,
            word_row("12 34"),
            "log:2, column \"word\": \"12 34\" is no 32-bit word, expected up to eight hexadecimal digits such as E00190A1",
        ),
        (
            WORDS,
            word_row("601F40C1"),
            "log: no word has the label (and source) of \"airspeed\"; correct them in [recording.columns]",
        ),
        (
            &decimal,
            word_row(&format!("{:X}", word(0o203, 13, 0))),
            "log:2, column \"word\": word 800034C1 has 13 in bits 11 to 14, where a decimal digit was expected; is its value coded in binary?",
        ),
        (
            "format = \"parquet\"",
            PLAIN.into(),
            "log: the file is no Parquet file that can be read: ",
        ),
    ] {
        let error = read(form, text.as_bytes()).expect_err(said);
        assert!(error.starts_with(said), "{error}\nexpected {said}");
    }
    for cut in [PARQUET.len() - 1, PARQUET.len() / 2, 4] {
        let error =
            read("time = \"time\"\ntime_zone = \"Z\"", &PARQUET[..cut]).expect_err("it is cut off");
        assert!(
            error.contains("no Parquet file that can be read"),
            "{error}"
        );
    }
    let error = read("time = \"time\"", PARQUET).expect_err("its times have no zone");
    assert!(
        error.starts_with("log, row 1, column \"time\": ") && error.contains("time_zone"),
        "{error}"
    );
}

/// The recording of [`Files`] as another bench writes it, and what says so.
fn other_bench(files: &Files) -> &'static str {
    let text = files.text("inputs.csv").replace(',', ";").replace('.', ",");
    files.write(
        "inputs.csv",
        text.replace("t_s", "Zeit")
            .replace("torque_pct", "TQ")
            .as_bytes(),
    );
    "[recording]\ntime = \"Zeit\"\ndecimal = \"comma\"\n[recording.columns]\ntorque_pct = { name = \"TQ\" }\n"
}

#[test]
fn a_bench_is_told_on_the_command_line_in_the_definition_or_in_a_file_that_it_includes() {
    let files = Files::new();
    let display = files.text("display.toml");
    let form = other_bench(&files);
    let plain = files.check("clip.y4m", &["--matrix", "bt709"]);
    assert!(
        plain.status == 2 && plain.stderr.contains("delimiter = \"semicolon\""),
        "{}",
        plain.stderr
    );

    files.write("bench.toml", form.as_bytes());
    let more = ["--recording", "bench.toml", "--matrix", "bt709"];
    let ran = files.check("clip.y4m", &more);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let manifest = files.json("out/manifest.json");
    let inputs = manifest["inputs"].as_array().expect("it lists them");
    assert!(
        inputs
            .iter()
            .any(|i| i["role"] == "recording" && i["path"] == "../bench.toml"),
        "{manifest:#}"
    );
    let again = files.run(&["verify", "out", "--again"]);
    assert!(
        again.status == 0 && again.stdout.contains("run again: the same bytes"),
        "{}{}",
        again.stdout,
        again.stderr
    );
    // Whoever changes what the bench writes changes what was checked.
    files.write("bench.toml", form.replace("TQ", "TQ ").as_bytes());
    assert_eq!(files.run(&["verify", "out"]).status, 1);

    for (display, file) in [
        (format!("{display}\n{form}"), None),
        (format!("include = [\"bench.toml\"]\n{display}"), Some(form)),
    ] {
        files.write("display.toml", display.as_bytes());
        file.into_iter()
            .for_each(|text| files.write("bench.toml", text.as_bytes()));
        let ran = files.check("clip.y4m", &["--matrix", "bt709", "--quiet"]);
        assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    }
    files.write("bench.toml", b"[recording]\ntime = 5\n");
    let ran = files.check("clip.y4m", &more);
    assert!(
        ran.status == 2 && ran.stderr.contains("bench.toml:2:8: "),
        "{}",
        ran.stderr
    );
}

#[test]
fn lint_tells_what_a_check_would_stumble_over() {
    let said = |text: &str| -> Vec<String> {
        let recording = read("", text.as_bytes()).expect("it can be read");
        lint_recording(&DEFINITION, &recording)
            .iter()
            .map(RecordingWarning::to_string)
            .collect()
    };
    let rows = |step: f64, more: &str| {
        let mut text = format!(
            "t_s,airspeed_kt,altitude_ft,altitude_ok,mode{}\n",
            if more.is_empty() { "" } else { ",oil" }
        );
        for k in 0..100 {
            writeln!(text, "{},60,1000,1,HOLD{more}", f64::from(k) * step)
                .expect("text can be written");
        }
        text
    };
    assert_eq!(said(&rows(0.02, "")), Vec::<String>::new());
    assert_eq!(said(&rows(0.02, ",1")), ["no channel reads \"oil\""]);
    assert_eq!(
        said(&rows(1.0, "")),
        ["rows lie 1 s apart, and the display may be 150 ms late"]
    );
    let ms = said(&rows(20.0, ""));
    assert_eq!(ms[0], "rows lie 20 s apart: as ms that would be 0.02 s");
    assert!(ms[1].starts_with("\"airspeed\": values lie up to 20 s apart (from 0 s on; 99 times more than its age limit of 2 s)"), "{ms:?}");
    let invalid = said(&rows(0.02, "").replace(",1000,", ",90000,"));
    assert_eq!(
        invalid,
        ["\"altitude\": none of its 100 values can be used: flagged invalid, or outside its range"]
    );

    let files = Files::new();
    let mut lint = of_inputs("lint");
    let ran = files.run(&lint);
    assert!(
        ran.stdout
            .contains("warning: recording: region \"fuel\": \"fuel\" has a scale from "),
        "{}",
        ran.stdout
    );
    files.write(
        "bench.toml",
        b"[recording.columns]\ntorque = { scale = 2 }\n",
    );
    lint.extend(["--recording", "bench.toml"]);
    let ran = files.run(&lint);
    assert!(
        ran.stdout
            .contains("[recording.columns] has \"torque\", which no channel reads"),
        "{}",
        ran.stdout
    );
}

/// `csv` with each value of `column` as `with` makes it.
fn altered(csv: &str, column: &str, with: impl Fn(f64) -> f64) -> String {
    let mut lines = csv.lines();
    let header = lines.next().expect("there is a header");
    let k = header
        .split(',')
        .position(|name| name == column)
        .expect("it has the column");
    let rows = lines.map(|line| {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        cells[k] = with(cells[k].parse().expect("a number")).to_string();
        cells.join(",") + "\n"
    });
    std::iter::once(format!("{header}\n")).chain(rows).collect()
}

fn recorded(bench: &mut Bench, csv: &str) {
    let refuse = MissingColumns::Refuse;
    let recording = Recording::from_reader(csv.as_bytes(), "inputs.csv", &bench.definition, refuse);
    bench.recording = recording.expect("it is good");
}

const LENGTH_S: f64 = 10.0;

/// Before (84362e5) such a check told of a power that misleads and of symbols that stand still.
#[test]
fn a_recording_of_one_row_a_second_is_no_faulty_display() {
    let mut bench = Bench::engine_strip(LENGTH_S);
    let frames = bench.frames(None);
    let csv = inputs_until(LENGTH_S);
    let rows = csv
        .lines()
        .enumerate()
        .filter(|(k, _)| *k == 0 || (k - 1) % 50 == 0);
    recorded(
        &mut bench,
        &rows
            .map(|(_, line)| format!("{line}\n"))
            .collect::<String>(),
    );
    let checked = bench.check(&frames);
    let told = checked.told();
    assert_eq!(checked.outcome.exit_status(), 0, "{told}");
    assert!(
        told.contains("the recording has a row every 1.000 s, and the display may be 200 ms late"),
        "{told}"
    );
    assert!(
        told.contains("not judged between rows of the recording"),
        "{told}"
    );
    // What changes slowly is judged all the same.
    let judged = |region: &str| {
        let is_judged = |f: &&framevouch::evidence::records::FrameRecord| {
            f.regions[region].verdict != Verdict::NotJudged
        };
        checked.frames.iter().filter(is_judged).count() as f64 / checked.frames.len() as f64
    };
    assert!(judged("fuel") > 0.95, "{}", judged("fuel"));
    assert!(judged("power") < 0.9, "{}", judged("power"));
}

#[test]
fn a_recording_in_other_units_is_told_from_a_display_that_is_wrong() {
    let mut bench = Bench::engine_strip(LENGTH_S);
    let frames = bench.frames(None);
    let csv = inputs_until(LENGTH_S);
    let told = |bench: &mut Bench, csv: &str| {
        recorded(bench, csv);
        let checked = bench.check(&frames);
        assert_eq!(
            checked.outcome.exit_status(),
            1,
            "it is misleading all the same"
        );
        checked.outcome.summary.notes.join("\n")
    };
    let pounds = told(&mut bench, &altered(&csv, "fuel_kg", |v| v / 0.453_592_37));
    assert!(pounds.contains("fuel reads 0.454 of the inputs: kg shown, lb recorded? Then say scale = 0.45359237 in [recording.columns]"), "{pounds}");
    let knots = told(&mut bench, &altered(&csv, "airspeed_kt", |v| v * 1.852));
    assert!(
        knots.contains("airspeed reads 0.540 of the inputs: kt shown, km/h recorded?"),
        "{knots}"
    );
    let exchanged = csv
        .replacen("torque_pct", "x", 1)
        .replacen("collective_pct", "torque_pct", 1)
        .replacen("x,", "collective_pct,", 1);
    let exchanged = told(&mut bench, &exchanged);
    assert!(
        exchanged.contains("and the other way round: are their columns exchanged?"),
        "{exchanged}"
    );
    let less = told(&mut bench, &altered(&csv, "collective_pct", |v| v + 20.0));
    assert!(
        less.contains("collective reads 20.0 % less than its inputs throughout"),
        "{less}"
    );
    // A good recording and a good display have nothing to tell.
    recorded(&mut bench, &csv);
    let good = bench.check(&frames).told();
    assert!(
        !good.contains("inputs") && !good.contains("exchanged"),
        "{good}"
    );
}
