//! `draw --over` brings a definition onto a real picture: it says how far each region lies off, and where.

use serde_json::Value;

use crate::bench::{Files, Ran, of_inputs};

fn over(files: &Files, more: &[&str]) -> Ran {
    let mut words = of_inputs("draw");
    words.extend(["--over", "clip.y4m", "--matrix", "bt709", "--out", "over"]);
    words.extend(more);
    files.run(&words)
}

fn region<'a>(table: &'a Value, id: &str) -> &'a Value {
    let rows = table.as_array().expect("a row a region");
    let found = rows.iter().find(|r| r["region"] == id);
    found.unwrap_or_else(|| panic!("no row for {id}"))
}

#[test]
fn a_definition_that_fits_agrees_everywhere() {
    let files = Files::new();
    let ran = over(&files, &["--at", "0.2"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let table = files.json("over/regions.json");
    for row in table.as_array().expect("a row a region") {
        assert_eq!(row["agrees"], true, "{row}");
        for by in row["displacement_px"].as_array().expect("x and y") {
            assert!(by.as_f64().is_none_or(|px| px.abs() < 0.25), "{row}");
        }
    }
    for name in ["capture", "reference", "blend", "difference"] {
        let picture = image::open(files.path(&format!("over/{name}.png")));
        let picture = picture.unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!((picture.width(), picture.height()), (480, 272));
    }
    let verified = files.run(&["verify", "over"]);
    assert_eq!(verified.status, 0, "{}{}", verified.stdout, verified.stderr);
}

#[test]
fn what_stands_elsewhere_is_told_with_its_displacement_and_symbol() {
    let files = Files::new();
    let text = files.text("display.toml");
    // The readout of the power dial 3 px too far left, and 2 px too low, in the definition.
    let moved = text.replace("position = [228, 177.5]", "position = [225, 179.5]");
    assert_ne!(moved, text);
    files.write("display.toml", moved.as_bytes());
    let ran = over(&files, &["--at", "0.2"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let table = files.json("over/regions.json");
    let row = region(&table, "power");
    assert_eq!(row["agrees"], false);
    assert_eq!(row["symbol"], "dial (symbol[0])");
    let place: Vec<i64> = (row["place"].as_array().expect("a box").iter())
        .filter_map(Value::as_i64)
        .collect();
    let [x, y, width, height] = place[..] else {
        panic!("{row}");
    };
    assert!((190..232).contains(&x) && (160..185).contains(&y), "{row}");
    assert!(width < 90 && height < 40, "{row}");
    assert_eq!(region(&table, "fuel")["agrees"], true);
    assert!(ran.stdout.contains("dial (symbol[0])"), "{}", ran.stdout);

    // A whole region, by its texts and its bar.
    let text = text.replace("rect = [20, 92, 30, 96]", "rect = [22, 92, 30, 96]");
    files.write("display.toml", text.as_bytes());
    let ran = over(&files, &["--at", "0.2"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let row = &files.json("over/regions.json");
    let by = region(row, "torque")["displacement_px"][0].as_f64();
    assert!(by.is_some_and(|px| (-2.3..-1.0).contains(&px)), "{by:?}");
}

#[test]
fn a_moment_that_the_capture_does_not_show_is_refused() {
    let files = Files::new();
    for (at, words) in [
        ("-1", "begins at 0.000 s"),
        ("9", "ends at 0.520 s"),
        ("nan", "is no time"),
    ] {
        let ran = over(&files, &["--at", at]);
        assert_eq!(ran.status, 2, "{at}: {}", ran.stdout);
        assert!(ran.stderr.contains(words), "{at}: {}", ran.stderr);
        assert!(!files.path("over/regions.json").exists());
    }
    let ran = over(&files, &[]);
    assert!(
        ran.status == 2 && ran.stderr.contains("--at"),
        "{}",
        ran.stderr
    );
}

#[test]
fn schemas_are_printed_by_name() {
    let files = Files::new();
    let listed = files.run(&["schema"]);
    assert_eq!(listed.status, 0);
    for line in listed.stdout.lines() {
        let name = line.split_whitespace().next().expect("a name first");
        let printed = files.run(&["schema", name]);
        let schema: Value = serde_json::from_str(&printed.stdout).expect(name);
        assert!(jsonschema::meta::is_valid(&schema), "{name}");
    }
    let wrong = files.run(&["schema", "plans"]);
    assert!(
        wrong.status == 2 && wrong.stderr.contains("there is: definition"),
        "{}",
        wrong.stderr
    );
}
