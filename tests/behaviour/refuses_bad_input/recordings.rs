//! Damaged recordings.

use super::*;

pub(super) fn cases() -> Vec<Case> {
    vec![
        case(
            "no recording",
            |f| {
                std::fs::remove_file(f.path("inputs.csv")).expect("it was there");
                usual()
            },
            &["inputs.csv"],
        ),
        case(
            "empty recording",
            |f| {
                f.write("inputs.csv", b"");
                usual()
            },
            &["inputs.csv", "empty"],
        ),
        case(
            "no rows",
            |f| {
                let t = f.text("inputs.csv");
                f.write("inputs.csv", t.lines().next().expect("a header").as_bytes());
                usual()
            },
            &["inputs.csv", "no rows"],
        ),
        case(
            "no time column",
            |f| {
                replace(f, "inputs.csv", "t_s", "time");
                usual()
            },
            &["inputs.csv", "t_s"],
        ),
        case(
            "no header",
            |f| {
                let t = f.text("inputs.csv");
                f.write(
                    "inputs.csv",
                    t.split_once('\n').expect("lines").1.as_bytes(),
                );
                usual()
            },
            &["inputs.csv:1", "header"],
        ),
        case(
            "missing column",
            |f| {
                replace(f, "inputs.csv", "torque_pct", "torq_pct");
                usual()
            },
            &["inputs.csv", "torque_pct", "--allow-missing"],
        ),
        case(
            "column twice",
            |f| {
                replace(f, "inputs.csv", "pitch_deg", "roll_deg");
                usual()
            },
            &["inputs.csv", "roll_deg", "twice"],
        ),
        case(
            "word for a value",
            |f| {
                set_rotor(f, 5, "fast");
                usual()
            },
            &["inputs.csv:5", "rotor_speed_pct", "fast"],
        ),
        case(
            "NaN",
            |f| {
                set_rotor(f, 6, "NaN");
                usual()
            },
            &["inputs.csv:6", "rotor_speed_pct", "NaN"],
        ),
        case(
            "infinite",
            |f| {
                set_rotor(f, 6, "-inf");
                usual()
            },
            &["inputs.csv:6", "rotor_speed_pct", "-inf"],
        ),
        case(
            "too large",
            |f| {
                set_rotor(f, 6, "1e999");
                usual()
            },
            &["inputs.csv:6", "rotor_speed_pct", "1e999"],
        ),
        case(
            "decimal comma",
            |f| {
                set_rotor(f, 7, "\"99,5\"");
                usual()
            },
            &["inputs.csv:7", "rotor_speed_pct", "decimal"],
        ),
        case(
            "row cut off",
            |f| {
                set_line(f, "inputs.csv", 8, |l| l[..20].into());
                usual()
            },
            &["inputs.csv:8", "fields"],
        ),
        case(
            "time repeats",
            |f| {
                set_time(f, 4, "0.02");
                usual()
            },
            &["inputs.csv:4", "t_s", "0.02"],
        ),
        case(
            "time falls",
            |f| {
                set_time(f, 9, "0.01");
                usual()
            },
            &["inputs.csv:9", "t_s", "0.01"],
        ),
        case(
            "time is a word",
            |f| {
                set_time(f, 9, "12:00:01");
                usual()
            },
            &["inputs.csv:9", "t_s", "12:00:01"],
        ),
        case(
            "time is empty",
            |f| {
                set_time(f, 9, "");
                usual()
            },
            &["inputs.csv:9", "t_s", "empty"],
        ),
        case(
            "other separator",
            |f| {
                let t = f.text("inputs.csv").replace(',', ";");
                f.write("inputs.csv", t.as_bytes());
                usual()
            },
            &["inputs.csv", ";"],
        ),
        case(
            "UTF-16",
            |f| {
                let t: Vec<u8> = [0xff, 0xfe]
                    .into_iter()
                    .chain(
                        f.text("inputs.csv")
                            .encode_utf16()
                            .flat_map(u16::to_le_bytes),
                    )
                    .collect();
                f.write("inputs.csv", &t);
                usual()
            },
            &["inputs.csv", "UTF-16"],
        ),
        case(
            "no text",
            |f| {
                let b = f.read("clip.y4m");
                f.write("inputs.csv", &b[b.len() / 2..]);
                usual()
            },
            &["inputs.csv"],
        ),
    ]
}
