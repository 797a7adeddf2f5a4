//! What this crate computes against values published elsewhere. The fixtures are in
//! `tests/checks`; each file here names the source beside the check.

mod attitude_drawing;
mod colour;
mod crc32;
mod distance_transform;
mod persistence;
mod statistics;

/// A fixture as JSON.
fn fixture(text: &str) -> serde_json::Value {
    serde_json::from_str(text).expect("the fixture is JSON")
}

/// The list called `name` in a fixture; never empty, so that no check passes by doing nothing.
fn list<'a>(fixture: &'a serde_json::Value, name: &str) -> &'a [serde_json::Value] {
    let list = fixture[name].as_array().expect("a list");
    assert!(!list.is_empty(), "{name} holds cases");
    list
}

/// A number.
fn number(value: &serde_json::Value) -> f64 {
    value.as_f64().expect("a number")
}

/// Three numbers.
fn three(value: &serde_json::Value) -> [f64; 3] {
    [0, 1, 2].map(|k| number(&value[k]))
}

/// Three codes.
fn codes(value: &serde_json::Value) -> [u8; 3] {
    three(value).map(|v| v as u8)
}
