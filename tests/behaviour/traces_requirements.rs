//! Requirements with their wording, from the tool that keeps them to the page and back.

use std::fs;

use crate::bench::Files;

const REQUIREMENTS: &str = "\
id,text,method,hazard
ES-ROT-01,\"Rotor speed shall be shown within 1 % <of its value>.\",test,catastrophic
ES-PWR-01,Power shall be shown.,test,minor
ES-LOST-01,A lamp shall be lit.,inspection,major
,Notes,,
";

/// The engine strip with a file of requirements, checked into `out/`.
fn checked(file: &str, text: &str) -> Files {
    let files = Files::new();
    files.write(file, text.as_bytes());
    let display = files.text("display.toml");
    // One region verifies nothing.
    let display = display.replace("requirements = [\"ES-COL-01\"]\n", "");
    let named = format!("[requirements]\nfile = \"{file}\"\n\n{display}");
    files.write("display.toml", named.as_bytes());
    let ran = files.check("clip.y4m", &["--quiet", "--matrix", "bt709"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    files
}

#[test]
fn wording_goes_from_the_file_to_the_page_and_back() {
    let files = checked("req.csv", REQUIREMENTS);
    lint_says_what_one_names_and_the_other_lacks(&files);
    results_hold_the_wording_and_vouch_for_its_file(&files);
    the_page_shows_wording_and_what_has_no_region(&files);
    the_trace_comes_back_as_it_went(&files);
    the_workbook_is_written_whole(&files);
    // The file is an input of the results.
    files.write("req.csv", REQUIREMENTS.replace("lit", "dark").as_bytes());
    let ran = files.run(&["report", "--from", "out", "--out", "late.html"]);
    assert_eq!(ran.status, 2);
    assert!(
        ran.stderr.contains("changed  ../req.csv") || ran.stderr.contains("req.csv"),
        "{}",
        ran.stderr
    );
}

fn lint_says_what_one_names_and_the_other_lacks(files: &Files) {
    let ran = files.run(&["lint", "--display", "display.toml"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    for said in [
        "requirements: 3 in req.csv, 1 rows or objects without an id",
        "1 of 3 requirements are verified by no region: ES-LOST-01",
        "names requirement \"ES-TRQ-01\", which the file of requirements does not have",
        "region \"rotor\" is hazardous, and its requirement \"ES-ROT-01\" is catastrophic",
    ] {
        assert!(
            ran.stdout.contains(said),
            "\"{said}\" is not in\n{}",
            ran.stdout
        );
    }
    files.write("other.csv", b"id;text\nES-ROT-01;other\n");
    let other = files.run(&[
        "lint",
        "--display",
        "display.toml",
        "--requirements",
        "other.csv",
    ]);
    assert!(
        other.stdout.contains("requirements: 1 in other.csv"),
        "{}",
        other.stdout
    );
    assert!(!other.stdout.contains("ES-LOST-01"), "{}", other.stdout);
}

fn results_hold_the_wording_and_vouch_for_its_file(files: &Files) {
    let display = files.json("out/display.json");
    assert_eq!(
        display["requirements"][0]["text"],
        "Rotor speed shall be shown within 1 % <of its value>."
    );
    let manifest = files.json("out/manifest.json");
    let inputs = manifest["inputs"].as_array().expect("inputs are a list");
    let file = inputs
        .iter()
        .find(|i| i["role"] == "requirements")
        .expect("it is an input");
    assert_eq!(file["path"], "../req.csv");
    let ran = files.run(&["verify", "--again", "out"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
}

fn the_page_shows_wording_and_what_has_no_region(files: &Files) {
    let ran = files.run(&[
        "report",
        "--from",
        "out",
        "--out",
        "page.html",
        "--junit",
        "page.xml",
    ]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert!(
        ran.stdout
            .contains("1 of 7 requirements are verified by no region"),
        "{}",
        ran.stdout
    );
    let page = files.text("page.html");
    for said in [
        "within 1 % &lt;of its value&gt;.",
        "method: test",
        "NO REGION",
        "no region verifies it",
        "not in the file of requirements",
    ] {
        assert!(page.contains(said), "{said}");
    }
    assert!(
        page.contains("data-standing=\"open\""),
        "what nobody verifies is open"
    );
    assert!(
        files
            .text("page.xml")
            .contains("NO REGION: no region verifies it")
    );
    // A file that is given for the page takes the place of what the results hold, and the page says which.
    let given = [
        "report",
        "--from",
        "out",
        "--out",
        "given.html",
        "--requirements",
        "other.csv",
    ];
    let ran = files.run(&given);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let page = files.text("given.html");
    assert!(page.contains("other.csv, SHA-256") && !page.contains("ES-LOST-01"));
}

fn the_trace_comes_back_as_it_went(files: &Files) {
    let report = [
        "report",
        "--quiet",
        "--from",
        "out",
        "--out",
        "page.html",
        "--issued",
        "2026-11-30T12:00:00Z",
    ];
    let traces = ["--trace", "trace.csv", "--trace", "trace.reqif"];
    let mut before = Vec::new();
    for _ in 0..2 {
        let ran = files.run(&[&report[..], &traces].concat());
        assert_eq!(ran.status, 0, "{}", ran.stderr);
        let both = ["trace.csv", "trace.reqif"].map(|f| files.read(f));
        assert!(before.is_empty() || before == both, "the same bytes");
        before = both.to_vec();
    }
    let table = files.text("trace.csv");
    let mut rows = csv_rows(&table);
    assert_eq!(
        rows.remove(0).join(","),
        "requirement,text,method,hazard,regions,result,because"
    );
    let of = |id: &str| {
        rows.iter()
            .find(|r| r[0] == id)
            .unwrap_or_else(|| panic!("{id}: {table}"))
    };
    assert_eq!(
        of("ES-LOST-01")[1..6],
        ["A lamp shall be lit.", "inspection", "major", "", "open"]
    );
    assert_eq!(of("ES-ROT-01")[4], "rotor");
    let lonely = rows.iter().find(|r| r[0].is_empty());
    assert!(
        lonely.is_some_and(|r| r[5] == "verifies no requirement"),
        "{table}"
    );
    let reqif = files.text("trace.reqif");
    assert!(
        reqif.contains("LAST-CHANGE=\"2026-11-30T12:00:00Z\"")
            && reqif.contains("&lt;of its value&gt;")
    );
    // What was written is a file of requirements again.
    let ran = files.run(&[
        "lint",
        "--display",
        "display.toml",
        "--requirements",
        "trace.reqif",
    ]);
    assert!(
        ran.stdout.contains("requirements: 7 in trace.reqif"),
        "{}",
        ran.stdout
    );
    let again = [
        &report[..],
        &["--requirements", "trace.reqif", "--trace", "again.csv"],
    ]
    .concat();
    assert_eq!(files.run(&again).status, 0);
    assert_eq!(
        csv_rows(&files.text("again.csv"))[1..3],
        csv_rows(&table)[1..3]
    );
    let odd = files.run(&[&report[..], &["--trace", "trace.txt"]].concat());
    assert_eq!(odd.status, 2);
    assert!(odd.stderr.contains(".reqif"), "{}", odd.stderr);
    fs::write(files.path("mine.csv"), "my,own\n").expect("there is room");
    let spared = files.run(&[&report[..], &["--trace", "mine.csv"]].concat());
    assert_eq!(
        (spared.status, files.text("mine.csv").as_str()),
        (2, "my,own\n")
    );
}

fn csv_rows(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(text.as_bytes());
    let rows = reader.records().map(|r| r.expect("it is a table"));
    rows.map(|r| r.iter().map(str::to_owned).collect())
        .collect()
}

/// `tests/foreign/exchange.py` has it read by another implementation.
fn the_workbook_is_written_whole(files: &Files) {
    for name in ["one.xlsx", "two.xlsx"] {
        let ran = files.run(&[
            "report",
            "--quiet",
            "--from",
            "out",
            "--out",
            "page.html",
            "--workbook",
            name,
        ]);
        assert_eq!(ran.status, 0, "{}", ran.stderr);
    }
    let bytes = files.read("one.xlsx");
    assert!(bytes == files.read("two.xlsx"), "the same bytes");
    let text = String::from_utf8_lossy(&bytes);
    for said in [
        "name=\"Requirements\"",
        "A lamp shall be lit.",
        "<autoFilter ref=\"A1:",
    ] {
        assert!(text.contains(said), "{said}");
    }
}

#[test]
fn files_that_cannot_be_requirements_are_refused_with_their_place() {
    let files = Files::new();
    let lint = |name: &str, bytes: &[u8]| {
        files.write(name, bytes);
        let ran = files.run(&["lint", "--display", "display.toml", "--requirements", name]);
        assert_eq!(ran.status, 2, "{name}: {}", ran.stdout);
        ran.stderr
    };
    assert!(
        lint("twice.csv", b"id,text\nA,1\nA,2\n")
            .contains("twice.csv:3: requirement \"A\" is given twice")
    );
    assert!(lint("names.csv", b"Object,Shall\nA,1\n").contains("there is: Object, Shall"));
    let bomb =
        b"<?xml version=\"1.0\"?>\n<!DOCTYPE b [<!ENTITY a \"aaaa\">]>\n<REQ-IF>&a;</REQ-IF>";
    assert!(lint("bomb.reqif", bomb).contains("bomb.reqif:2"));
    assert!(lint("packed.reqifz", b"PK\x03\x04").contains("unpack it"));
    let display = files.text("display.toml");
    let named = format!("[requirements]\nfile = \"no.csv\"\n\n{display}");
    files.write("display.toml", named.as_bytes());
    let ran = files.run(&["lint", "--display", "display.toml"]);
    assert_eq!(ran.status, 2);
    assert!(
        ran.stderr
            .contains("display.toml:2:8: cannot use requirements \"no.csv\""),
        "{}",
        ran.stderr
    );
}
