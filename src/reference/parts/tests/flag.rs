//! Tests: flag, pinned to positions worked out by hand.

use super::super::bench;
use crate::recording::inputs::Value;

#[test]
fn the_state_follows_the_channel_and_invalid_data_have_a_look_of_their_own() {
    let d = bench::display(
        r##"
        kind = "flag"
        channel = "a"
        rect = [10, 10, 60, 20]
        font = "sans"
        size = 12.0
        state = [
            { value = 0, text = "", color = "white" },
            { value = 1, text = "ARM", color = "white", frame = "white" },
            { value = 2, text = "HOLD", color = "black", background = "green" },
        ]
        invalid = { text = "FAIL", color = "amber" }
        "##,
    );
    for (v, text, items) in [
        (Value::Number(0.0), "", 0),
        (Value::Number(0.49), "", 0),
        (Value::Number(0.5), "ARM", 2),
        (Value::Number(2.0), "HOLD", 2),
        (Value::Number(3.0), "FAIL", 1),
        (Value::Number(-0.5), "FAIL", 1),
        (Value::Invalid, "FAIL", 1),
        (Value::Missing, "FAIL", 1),
    ] {
        let mut inputs = bench::inputs(&d, &[]);
        inputs.values[d.channel("a").0] = v.clone();
        let scene = bench::moving(&d, &inputs);
        let lines = bench::lines(&scene);
        assert_eq!(lines.first().map_or("", |l| l.text.as_str()), text, "{v:?}");
        assert_eq!(scene.items().len(), items, "{v:?}");
    }
}
