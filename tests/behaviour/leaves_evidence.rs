//! What a reviewer holds in hands: the page, tables, the manifest; and that nobody changed them since.

use std::fs;

use framevouch::demo::faults::Kind;
use framevouch::evidence::schema::schemas;

use crate::bench::{Bench, Files, all_bytes, inputs_until, y4m};

/// Results of a clip with one fault, in `out/`.
fn checked() -> Files {
    let bench = Bench::engine_strip(3.2);
    let kind = Kind::BlankRegion(bench.region("power"), bench.definition.background());
    let files = Files::new();
    files.write("inputs.csv", inputs_until(3.2).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(Some((kind, 1.8, 2.8)))));
    let mut words = vec!["--quiet", "--matrix", "bt709"];
    if cfg!(feature = "parquet") {
        words.extend(["--measurements", "--parquet"]);
    }
    let ran = files.check("clip.y4m", &words);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    files
}

#[test]
fn evidence_of_a_run_holds_together() {
    let files = checked();
    the_page_holds_every_section(&files);
    tables_say_what_the_records_say(&files);
    #[cfg(feature = "parquet")]
    typed_tables_say_the_same(&files);
    records_keep_to_their_schemas(&files);
    what_nobody_touched_verifies(&files);
    the_check_runs_again_to_the_same_bytes(&files);
    a_changed_byte_in_any_file_is_named(&files);
}

/// Rows of a Parquet file, by names of columns.
#[cfg(feature = "parquet")]
fn rows(files: &Files, name: &str) -> Vec<std::collections::BTreeMap<String, serde_json::Value>> {
    use parquet::file::reader::{FileReader, SerializedFileReader};
    let file = fs::File::open(files.path(name)).expect("it was written");
    let reader = SerializedFileReader::new(file).expect("it is Parquet");
    let rows = reader.get_row_iter(None).expect("it has rows");
    rows.map(|row| {
        let row = row.expect("it is whole");
        let cells = row.get_column_iter();
        let cells = cells.map(|(name, field)| (name.clone(), value_of(field)));
        cells.collect()
    })
    .collect()
}

#[cfg(feature = "parquet")]
fn value_of(field: &parquet::record::Field) -> serde_json::Value {
    use parquet::record::Field;
    match field {
        Field::Null => serde_json::Value::Null,
        Field::Bool(v) => (*v).into(),
        Field::Long(v) => (*v).into(),
        Field::Double(v) => (*v).into(),
        Field::Str(v) => v.as_str().into(),
        other => panic!("no column holds {other}"),
    }
}

#[cfg(feature = "parquet")]
fn typed_tables_say_the_same(files: &Files) {
    let lines = files.text("out/frames.jsonl");
    let records: Vec<serde_json::Value> = lines
        .lines()
        .map(|l| serde_json::from_str(l).expect("a record"))
        .collect();
    let frames = rows(files, "out/frames.parquet");
    assert_eq!(frames.len(), records.len());
    let (mut regions, mut readings) = (
        rows(files, "out/regions.parquet").into_iter(),
        rows(files, "out/readings.parquet").into_iter(),
    );
    let of = |value: &serde_json::Value, key: &str| value.get(key).cloned().unwrap_or_default();
    for (row, record) in frames.iter().zip(&records) {
        for key in ["frame", "time_s", "crc32", "verdict"] {
            assert_eq!(row[key], record[key], "{record}");
        }
        for (id, region) in record["regions"].as_object().expect("a table") {
            let row = regions.next().expect("a row a region");
            assert_eq!(
                (&row["region"], &row["frame"]),
                (&id.as_str().into(), &record["frame"])
            );
            for key in ["verdict", "staleness_ms", "staleness_se_ms"] {
                assert_eq!(row[key], region[key], "{record}");
            }
            for reading in region["readings"].as_array().expect("a list") {
                let row = readings.next().expect("a row a reading");
                assert_eq!(row["region"], id.as_str());
                for key in [
                    "channel",
                    "what",
                    "displayed",
                    "error",
                    "unit",
                    "px_per_unit",
                ] {
                    assert_eq!(row[key], of(reading, key), "{record}");
                }
            }
        }
    }
    assert!(regions.next().is_none() && readings.next().is_none());
    // The event's region is wrong in some frames of what thresholds decide on.
    let measured = rows(files, "out/measurements.parquet");
    let is_wrong = |r: &&std::collections::BTreeMap<String, serde_json::Value>| {
        r["region"] == "power" && r["state"] == "picture"
    };
    assert!(measured.iter().any(|r| is_wrong(&r)));
    assert!(measured.len() > 2 * records.len());
}

fn the_page_holds_every_section(files: &Files) {
    let report = [
        "report",
        "--from",
        "out",
        "--against",
        "out",
        "--issued",
        "issue <7>",
        "--out",
    ];
    for page in ["page.html", "again.html"] {
        let ran = files.run(&[&report[..], &[page]].concat());
        assert_eq!(ran.status, 0, "{}", ran.stderr);
    }
    let page = files.text("page.html");
    assert!(
        page == files.text("again.html"),
        "two pages of the same results differ"
    );
    for id in [
        "answer",
        "cautions",
        "timeline",
        "events",
        "requirements",
        "readings",
        "compare",
        "reproduce",
        "manifest",
    ] {
        assert!(
            page.contains(&format!("<section id=\"{id}\"")),
            "no section {id}"
        );
    }
    assert!(page.contains("issue &lt;7&gt;") && !page.contains("issue <7>"));
    assert!(page.contains("New events: 0") && page.contains("All inputs have the same SHA-256"));
    assert!(page.contains("Faults found") && page.contains("data:image/png;base64,"));
    assert!(page.contains("the approving authority"));
    for outside in ["http://", "https://", "src=\"/", "@import"] {
        let rest = page.replace("http://www.w3.org/", "");
        assert!(!rest.contains(outside), "{outside} leads out of the page");
    }
}

fn tables_say_what_the_records_say(files: &Files) {
    let events = files.json("out/events.json");
    let text = files.text("out/events.csv");
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = rows.records().map(|r| r.expect("a row")).collect();
    assert_eq!(rows.len(), events.as_array().expect("a list").len());
    assert_eq!(&rows[0][1], "blank");
    assert_eq!(
        rows[0][3].parse::<f64>().ok(),
        events[0]["onset_s"].as_f64()
    );
    let readings: usize = files
        .frames()
        .iter()
        .flat_map(|f| {
            f["regions"]
                .as_object()
                .expect("regions")
                .values()
                .cloned()
                .collect::<Vec<_>>()
        })
        .map(|r| r["readings"].as_array().expect("a list").len())
        .sum();
    assert_eq!(files.text("out/readings.csv").lines().count(), readings + 1);
    let mut reader = quick_xml::Reader::from_file(files.path("out/junit.xml")).expect("it opens");
    let (mut buffer, mut failures) = (Vec::new(), 0);
    loop {
        match reader.read_event_into(&mut buffer).expect("it is XML") {
            quick_xml::events::Event::Eof => break,
            quick_xml::events::Event::Start(e) if e.name().as_ref() == "failure" => failures += 1,
            _ => {}
        }
    }
    assert!(failures >= 1);
}

fn records_keep_to_their_schemas(files: &Files) {
    // What campaigns, suites and tuning write is not in the results of a check.
    let is_of_check = |name: &str| !["trials", "campaign", "suite", "tune"].contains(&name);
    for (name, schema) in schemas().into_iter().filter(|(n, _)| is_of_check(n)) {
        let validator = jsonschema::validator_for(&schema).expect("the schema is one");
        let values = if name == "frames" {
            files.frames()
        } else {
            vec![files.json(&format!("out/{name}.json"))]
        };
        for value in values {
            if let Err(e) = validator.validate(&value) {
                panic!("{name}: {e} at {}", e.instance_path());
            }
        }
        assert!(
            !validator.is_valid(&serde_json::json!(17)),
            "{name} takes anything"
        );
    }
}

fn what_nobody_touched_verifies(files: &Files) {
    let ran = files.run(&["verify", "out"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let none = files.run(&["verify", "."]);
    assert_eq!(none.status, 2);
    assert!(
        none.stderr.contains("holds no manifest.json"),
        "{}",
        none.stderr
    );
}

fn the_check_runs_again_to_the_same_bytes(files: &Files) {
    let before = all_bytes(&files.path("out"));
    let ran = files.run_with(
        &["verify", "--again", "out"],
        &[],
        &[("RAYON_NUM_THREADS", "1")],
    );
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stdout.contains("run again: the same bytes"),
        "{}",
        ran.stdout
    );
    assert!(
        before == all_bytes(&files.path("out")),
        "verify changed the results"
    );
}

fn a_changed_byte_in_any_file_is_named(files: &Files) {
    let outputs = all_bytes(&files.path("out"));
    let outputs = outputs.iter().map(|(name, _)| format!("out/{name}"));
    let inputs = ["display.toml", "inputs.csv", "clip.y4m"].map(str::to_owned);
    for name in outputs.chain(inputs).filter(|n| n != "out/manifest.json") {
        let path = files.path(&name);
        let good = fs::read(&path).expect("it can be read");
        let mut bad = good.clone();
        let middle = bad.len() / 2;
        bad[middle] ^= 1;
        fs::write(&path, bad).expect("it can be written");
        let ran = files.run(&["verify", "out"]);
        fs::write(&path, good).expect("it can be written");
        assert_eq!(ran.status, 1, "{name}: {}", ran.stdout);
        let shown = name
            .strip_prefix("out/")
            .map_or(format!("../{name}"), str::to_owned);
        assert!(
            ran.stdout.contains(&format!("changed  {shown}\n")),
            "{name}: {}",
            ran.stdout
        );
    }
}

#[test]
fn a_capture_from_standard_input_cannot_be_run_again_and_says_so() {
    let files = Files::new();
    let clip = files.read("clip.y4m");
    let arguments = [
        "check",
        "--display",
        "display.toml",
        "--inputs",
        "inputs.csv",
        "--capture",
        "-",
        "--out",
        "out",
        "--matrix",
        "bt709",
        "--quiet",
    ];
    let ran = files.run_with(&arguments, &clip, &[]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let verified = files.run(&["verify", "out"]);
    assert_eq!(verified.status, 0, "{}", verified.stderr);
    assert!(
        verified
            .stdout
            .contains("capture came through standard input"),
        "{}",
        verified.stdout
    );
    let again = files.run(&["verify", "--again", "out"]);
    assert_eq!(again.status, 2, "{}", again.stdout);
    assert!(
        again.stderr.contains("cannot be run again"),
        "{}",
        again.stderr
    );
    let page = files.run(&["report", "--from", "out", "--out", "page.html"]);
    assert_eq!(page.status, 0, "{}", page.stderr);
    let page = files.text("page.html");
    assert!(
        page.contains("NOT EXERCISED"),
        "a short clip leaves regions blind, and the page says so"
    );
    assert!(page.contains("cannot be run again from here"));
}

#[test]
fn a_folder_of_pictures_is_listed_and_a_changed_one_named() {
    let files = Files::new().with_folder();
    let ran = files.check("frames", &["--quiet"]);
    assert!(ran.status < 2, "{}", ran.stderr);
    assert_eq!(files.run(&["verify", "out"]).status, 0);
    files.write("frames/frame_000003.png", b"not a picture");
    let changed = files.run(&["verify", "out"]);
    assert_eq!(changed.status, 1);
    assert!(
        changed
            .stdout
            .contains("changed  ../frames/frame_000003.png"),
        "{}",
        changed.stdout
    );
}
