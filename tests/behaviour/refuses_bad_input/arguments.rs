//! Arguments that make no sense.

use super::*;

const PROFILE: &str = r#"{"profile_version": 1, "width": 64}"#;

pub(super) fn cases() -> Vec<Case> {
    vec![
        case(
            "offset is a word",
            |_| with(&["--offset", "soon"]),
            &["soon", "--offset"],
        ),
        case(
            "offset is infinite",
            |_| with(&["--offset", "inf"]),
            &["inf", "--offset"],
        ),
        case(
            "offset beyond all times",
            |_| with(&["--offset", "1e300"]),
            &["1e300", "--offset", "1e10"],
        ),
        case("no frames a second", |_| with(&["--fps", "0"]), &["0"]),
        case(
            "fewer than no frames a second",
            |_| with(&["--fps=-25"]),
            &["-25"],
        ),
        case(
            "size is a word",
            |_| with_capture("-", &["--raw", "big", "--fps", "25"]),
            &["big"],
        ),
        case(
            "unknown matrix",
            |_| with_capture("clip.y4m", &["--matrix", "bt2020"]),
            &["bt2020", "bt709"],
        ),
        case(
            "profile that is not there",
            |_| with(&["--profile", "none.json"]),
            &["none.json"],
        ),
        case(
            "profile is no JSON",
            |f| {
                f.write("p.json", b"shift: 1");
                with(&["--profile", "p.json"])
            },
            &["p.json"],
        ),
        case(
            "profile cut off",
            |f| {
                f.write("p.json", PROFILE.as_bytes());
                with(&["--profile", "p.json"])
            },
            &["p.json"],
        ),
        case(
            "results where a file is",
            |f| {
                f.write("out", b"a file");
                usual()
            },
            &["out"],
        ),
        case(
            "drawing at no rate",
            |_| drawing(&["--fps", "0", "--format", "png", "--out", "x"]),
            &["0", "--fps"],
        ),
        case(
            "drawing backwards",
            |_| {
                drawing(&[
                    "--fps", "5", "--from", "2", "--to", "1", "--format", "png", "--out", "x",
                ])
            },
            &["--from 2", "--to 1"],
        ),
        case(
            "drawing past the end",
            |_| {
                drawing(&[
                    "--fps", "5", "--from", "500", "--to", "501", "--format", "png", "--out", "x",
                ])
            },
            &["500", "nothing to draw"],
        ),
    ]
}
