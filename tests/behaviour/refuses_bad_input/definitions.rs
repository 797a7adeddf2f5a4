//! Damaged definitions.

use super::*;

pub(super) fn cases() -> Vec<Case> {
    vec![
        case(
            "no definition",
            |f| {
                std::fs::remove_file(f.path(DISPLAY)).expect("it was there");
                usual()
            },
            &["display.toml"],
        ),
        case(
            "empty definition",
            |f| {
                f.write(DISPLAY, b"");
                usual()
            },
            &["display.toml", "display"],
        ),
        case(
            "definition is no text",
            |f| {
                f.write(DISPLAY, &[0xff, 0xfe, 0, 1]);
                usual()
            },
            &["display.toml", "UTF-8"],
        ),
        case(
            "definition cut off",
            |f| {
                let t = f.text(DISPLAY);
                f.write(
                    DISPLAY,
                    &t.as_bytes()[..t.find("column = \"rotor").expect("it is there") + 12],
                );
                usual()
            },
            &["display.toml:"],
        ),
        case(
            "unknown key",
            |f| {
                replace(f, DISPLAY, "max_latency_ms", "max_latencyms");
                usual()
            },
            &["display.toml:", "max_latencyms", "max_latency_ms"],
        ),
        case(
            "unknown key of a symbol",
            |f| {
                replace(f, DISPLAY, "px_per_unit = 7.0", "px_per_uni = 7.0");
                usual()
            },
            &["display.toml:", "px_per_uni"],
        ),
        case(
            "word for a number",
            |f| {
                replace(f, DISPLAY, "width = 480", "width = \"wide\"");
                usual()
            },
            &["display.toml:", "width"],
        ),
        case(
            "canvas of no width",
            |f| {
                replace(f, DISPLAY, "width = 480", "width = 0");
                usual()
            },
            &["display.toml:", "0"],
        ),
        case(
            "huge canvas",
            |f| {
                replace(f, DISPLAY, "width = 480", "width = 4000000000");
                usual()
            },
            &["display.toml:", "width"],
        ),
        case(
            "unknown colour",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "background = \"paper\"",
                    "background = \"papr\"",
                );
                usual()
            },
            &["display.toml:", "papr", "paper"],
        ),
        case(
            "colour is no colour",
            |f| {
                replace(f, DISPLAY, "\"#dfe4e6\"", "\"#dfe4e\"");
                usual()
            },
            &["display.toml:", "#dfe4e"],
        ),
        case(
            "unknown channel",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "channel = \"rotor_speed\"",
                    "channel = \"rotor_sped\"",
                );
                usual()
            },
            &["display.toml:", "rotor_sped", "rotor_speed"],
        ),
        case(
            "unknown font",
            |f| {
                replace(f, DISPLAY, "font = \"text\"", "font = \"txt\"");
                usual()
            },
            &["display.toml:", "txt"],
        ),
        case(
            "unknown built-in face",
            |f| {
                replace(f, DISPLAY, "\"B612 Bold\"", "\"B612 Heavy\"");
                usual()
            },
            &["display.toml:", "B612 Heavy"],
        ),
        case(
            "font file that is not there",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "{ builtin = \"B612 Bold\" }",
                    "{ file = \"none.ttf\" }",
                );
                usual()
            },
            &["none.ttf"],
        ),
        case(
            "font file that is no font",
            |f| {
                f.write("bad.ttf", b"no font");
                replace(
                    f,
                    DISPLAY,
                    "{ builtin = \"B612 Bold\" }",
                    "{ file = \"bad.ttf\" }",
                );
                usual()
            },
            &["bad.ttf"],
        ),
        case(
            "unknown symbol kind",
            |f| {
                replace(f, DISPLAY, "kind = \"dial\"", "kind = \"dail\"");
                usual()
            },
            &["display.toml:", "dail", "dial"],
        ),
        case(
            "region outside the canvas",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "rect = [8, 6, 464, 72]",
                    "rect = [8, 6, 474, 72]",
                );
                usual()
            },
            &["display.toml:", "rect"],
        ),
        case(
            "regions overlap",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "rect = [8, 84, 104, 140]",
                    "rect = [8, 70, 104, 140]",
                );
                usual()
            },
            &["display.toml:", "rotor"],
        ),
        case(
            "region id twice",
            |f| {
                replace(f, DISPLAY, "id = \"torque\"", "id = \"rotor\"");
                usual()
            },
            &["display.toml:", "rotor"],
        ),
        case(
            "range upside down",
            |f| {
                replace(f, DISPLAY, "range = [0.0, 130.0]", "range = [130.0, 0.0]");
                usual()
            },
            &["display.toml:", "130"],
        ),
        case(
            "tolerance of nothing",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "tolerance = { torque = 2.0 }",
                    "tolerance = { torque = 0.0 }",
                );
                usual()
            },
            &["display.toml:", "torque"],
        ),
        case(
            "breakpoints that fall",
            |f| {
                replace(f, DISPLAY, "[[0, 0], [120, 1]]", "[[120, 0], [0, 1]]");
                usual()
            },
            &["display.toml:", "breakpoints"],
        ),
        case(
            "number that is none",
            |f| {
                replace(f, DISPLAY, "px_per_unit = 7.0", "px_per_unit = nan");
                usual()
            },
            &["display.toml:", "px_per_unit"],
        ),
    ]
}
