//! Damaged definitions: each is refused at the damage, in words that name it.

use std::path::Path;

use super::super::Definition;
use super::{EVERY_KIND, changed, gallery, read};

/// What stands once in the file, what it is replaced by; then the place, message and help of the
/// one problem that is reported.
type Damage = (
    &'static str,
    &'static str,
    &'static str,
    &'static str,
    &'static str,
);

#[rustfmt::skip]
const DAMAGES: &[Damage] = &[
    ("name = \"every kind\"", "name = every kind", "3:8", "string values must be quoted, expected literal string", ""),
    ("width = 640", "width = 640\nwidth = 641", "5:1", "duplicate key", "width is already given in this table"),
    ("[fonts]", "[fonts", "9:7", "unclosed table, expected `]`", ""),
    ("[colors]\n", "[colors]\n[display]\n", "14:2", "duplicate key", "display is already given in this table"),
    ("max_latency_ms = 120", "max_latency = 120", "7:1", "unknown key \"max_latency\" in display", "did you mean \"max_latency_ms\"?"),
    ("width = 640", "width = \"640\"", "4:9", "\"display.width\" is a string; expected a whole number", "Canvas width, px."),
    ("width = 640", "width = 640.0", "4:9", "\"display.width\" is a number; expected a whole number", "Canvas width, px."),
    ("height = 480", "height = -480", "5:10", "\"display.height\" is -480; expected a whole number from 0 to 4294967295", "Canvas height, px."),
    ("background = \"black\"\nmax", "max", "2:1", "display lacks the key \"background\"", "Colour of the empty canvas."),
    ("[display]", "[dispaly]", "2:2", "unknown key \"dispaly\" in the top level", "did you mean \"display\"?"),
    ("hazard = \"minor\"", "hazard = \"minr\"", "175:10", "\"region[4].hazard\" is \"minr\"; expected one of catastrophic, hazardous, major, minor, none", "did you mean \"minor\"?"),
    ("kind = \"dial\"", "kind = \"dail\"", "144:8", "\"kind\" is \"dail\"; expected one of attitude, dial, tape, rose, bar, readout, alerts, flag, text, liveness, unchecked, power_gauge, flaps, target, parts", "did you mean \"dial\"?"),
    ("kind = \"dial\"\n", "", "143:1", "\"region[3].symbol[0]\" has no \"kind\"; expected one of attitude, dial, tape, rose, bar, readout, alerts, flag, text, liveness, unchecked, power_gauge, flaps, target, parts", ""),
    ("lubber_length = 12", "luber_length = 12", "113:1", "unknown key \"luber_length\" in region[2].symbol[0] (rose)", "did you mean \"lubber_length\"?"),
    ("radius = 90\nchannel", "radius = nan\nchannel", "105:10", "\"region[2].symbol[0] (rose).radius\" is nan; expected a finite number", "Radius of the card, px; marks reach inwards."),
    ("radius = 90\nchannel", "radius = inf\nchannel", "105:10", "\"region[2].symbol[0] (rose).radius\" is inf; expected a finite number", "Radius of the card, px; marks reach inwards."),
    ("rect = [240, 0, 100, 240]", "rect = [240, 0, 100]", "62:8", "\"region[1].rect\" has 3 values; expected 4", "`[x, y, width, height]`, px."),
    ("rect = [240, 0, 100, 240]", "rect = [240, 0, 100, 240.5]", "62:22", "\"region[1].rect[3]\" is a number; expected a whole number", ""),
    ("pointers = [\n", "pointers = [\n 3,\n", "152:2", "\"region[3].symbol[0] (dial).pointers[0]\" is a whole number; expected a table", ""),
    ("direction = \"up\"\nedge", "direction = \"upp\"\nedge", "71:13", "\"region[1].symbol[0] (tape).direction\" is \"upp\"; expected one of up, down, right, left", "did you mean \"up\"?"),
    ("tip_radius = 70,", "", "152:5", "region[3].symbol[0] (dial).pointers[0] lacks the key \"tip_radius\"", "Distance of the tip from the middle, px."),
    ("cross = true }\n\n[[region]]\nid = \"speed\"", "cross = \"yes\" }\n\n[[region]]\nid = \"speed\"", "58:124", "\"region[0].symbol[0] (attitude).failure.cross\" is a string; expected true or false", "Whether the area is crossed out."),
    ("format = { suffix = \"%\" }", "format = { sufix = \"%\" }", "155:109", "unknown key \"sufix\" in region[3].symbol[0] (dial).readout.format", "did you mean \"suffix\"?"),
    ("format = { suffix = \"%\" }", "format = { decimals = 300 }", "155:120", "\"region[3].symbol[0] (dial).readout.format.decimals\" is 300; expected a whole number from 0 to 255", "Digits after the point."),
    ("interpolation = \"text\"", "interpolation = \"txt\"", "36:49", "\"channels.station.interpolation\" is \"txt\"; expected one of linear, angular, hold, text", "did you mean \"text\"?"),
    ("width = 640", "width = 9000", "4:9", "canvas width 9000 px: must be at least 1 and at most 8192 px", ""),
    ("height = 480", "height = 0", "5:10", "canvas height 0 px: must be at least 1 and at most 8192 px", ""),
    ("background = \"black\"\nmax", "background = \"blak\"\nmax", "6:14", "there is no colour \"blak\"", "did you mean \"black\"?"),
    ("max_latency_ms = 120", "max_latency_ms = -1", "7:18", "time -1 ms: must be at least 0 and at most 60000 ms", ""),
    ("red = \"#ff2020\"", "red = \"ff2020\"", "16:7", "\"ff2020\" is not a colour; expected \"#rrggbb\" with six hexadecimal digits", ""),
    ("red = \"#ff2020\"", "red = \"#ff20\"", "16:7", "\"#ff20\" is not a colour; expected \"#rrggbb\" with six hexadecimal digits", ""),
    ("sky = \"sky\"", "sky = \"#2060c0\"", "51:7", "there is no colour \"#2060c0\"", "colours are named: give it a name in [colors] and use the name here"),
    ("builtin = \"B612 Regular\"", "builtin = \"B612 Regulr\"", "10:21", "there is no built-in face \"B612 Regulr\"", "did you mean \"B612 Regular\"?"),
    ("{ builtin = \"B612 Regular\" }", "{ }", "10:9", "font \"plain\" must have either \"builtin\" or \"file\"", "built-in faces: B612 Regular, B612 Bold, B612 Mono Regular, B612 Mono Bold"),
    ("range = [-1, 1]", "range = [1, -1]", "26:52", "range of \"slip\": low end 1 is not below high end -1", ""),
    ("interpolation = \"angular\", range = [0, 360]", "interpolation = \"angular\", range = [-180, 181]", "29:86", "range of the angular channel \"heading\" is -180 to 181; it must lie in one turn, within -360 to 360", "as in [0, 360] or [-180, 180]; without a range it is 0 to 360"),
    ("interpolation = \"text\"", "interpolation = \"text\", range = [0, 1]", "36:65", "\"station\" is a text channel; text has no range", ""),
    ("column = \"pitch_deg\"", "column = \"\"", "24:20", "channel \"pitch\" names no column", ""),
    ("[colors]\n", "[budget.major]\nnuisance_per_hour = 0\ntime_to_alert_ms = 500\n[colors]\n", "14:21", "number of nuisance trips 0 1/h: must be above 0 and at most 1000 1/h", ""),
    ("[colors]\n", "[budget.minr]\nnuisance_per_hour = 1\ntime_to_alert_ms = 500\n[colors]\n", "13:9", "unknown key \"minr\" in budget", "did you mean \"minor\"?"),
    ("range = [-1, 1]", "max_age_ms = 0", "26:57", "age limit 0 ms: must be above 0 and at most 3600000 ms", ""),
    ("id = \"speed\"", "id = \"attitude\"", "61:6", "region id \"attitude\" is given twice", "the other one stands at panel.toml:39:6"),
    ("id = \"speed\"", "id = \"\"", "61:6", "region id is empty", ""),
    ("id = \"speed\"", "id = \"*\"", "61:6", "region id \"*\" is kept for the whole frame", ""),
    ("id = \"speed\"", "id = \"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx\"", "61:6", "region id has 65 characters; at most 64 are allowed", ""),
    ("[channels]\n", "[channels]\n\"air/speed\" = { column = \"a\" }\n", "24:1", "channel name \"air/speed\" must not begin with a dot or hold slashes, quotes or control characters", ""),
    ("id = \"speed\"", "id = \"../speed\"", "61:6", "region id \"../speed\" must not begin with a dot or hold slashes, quotes or control characters", ""),
    ("rect = [240, 0, 100, 240]", "rect = [240, 0, 0, 240]", "62:17", "size 0 px: must be above 0 and at most 16384 px", ""),
    ("rect = [240, 0, 100, 240]", "rect = [240, 0, 100, -240]", "62:22", "size -240 px: must be above 0 and at most 16384 px", ""),
    ("rect = [240, 0, 100, 240]", "rect = [230, 0, 100, 240]", "62:8", "region \"speed\" overlaps region \"attitude\" by 10 x 240 px at (230, 0)", ""),
    ("rect = [340, 0, 300, 240]", "rect = [340, 0, 301, 240]", "97:8", "region \"heading\" reaches from (340, 0) to (641, 240), off the canvas of 640 x 480 px", ""),
    ("id = \"speed\"", "id = \"speed\"\nconfirm_ms = 60001", "62:14", "time 60001 ms: must be at least 0 and at most 60000 ms", ""),
    ("id = \"speed\"", "id = \"speed\"\nconfirm_frames = [9, 8]", "62:18", "[9, 8] frames: must be [k, n], 1 <= k <= n <= 128", ""),
    ("id = \"speed\"", "id = \"speed\"\nconfirm_frames = [0, 8]", "62:18", "[0, 8] frames: must be [k, n], 1 <= k <= n <= 128", ""),
    ("id = \"speed\"", "id = \"speed\"\nrecover_ms = -1", "62:14", "time -1 ms: must be at least 0 and at most 60000 ms", ""),
    ("id = \"speed\"", "id = \"speed\"\nmax_latency_ms = 1e9", "62:18", "time 1000000000 ms: must be at least 0 and at most 60000 ms", ""),
    ("airspeed = 2.0", "airspeed = 0", "65:26", "tolerance 0: must be above 0 and at most 1e12", ""),
    ("airspeed = 2.0", "airspeed = -2.0", "65:26", "tolerance -2: must be above 0 and at most 1e12", ""),
    ("airspeed = 2.0,", "", "70:11", "region \"speed\" shows \"airspeed\" by a tape but gives no tolerance for it", "add the largest permitted error, airspeed = ... (kt), to the region's tolerance"),
    ("airspeed = 2.0", "airspeed = 2.0, airpseed = 2.0", "65:31", "there is no channel \"airpseed\"", "did you mean \"airspeed\"?"),
    ("airspeed = 2.0", "airspeed = 2.0, station = 2.0", "65:31", "\"station\" is a text channel; a number is needed here", ""),
    ("channel = \"fuel\"\n", "channel = \"fule\"\n", "161:11", "there is no channel \"fule\"", "did you mean \"fuel\"?"),
    ("channel = \"fuel\"\n", "channel = \"station\"\n", "161:11", "\"station\" is a text channel; only a readout can show text", ""),
    ("channel = \"mode\"\n", "channel = \"station\"\n", "203:11", "\"station\" is a text channel; a flag chooses by a number", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"station\", at_least = 180 }", "93:38", "\"station\" is a text channel; a number is needed here", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\" }", "93:26", "condition on \"airspeed\" compares with nothing", "give at least one of below, at_most, at_least, above, equals, is_one_of, valid"),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", at_least = 180, below = 100 }", "93:26", "condition can never hold: nothing is at least 180 and below 100", ""),
    ("when = [{ channel = \"fuel\", below = 60 }], color", "when = [], color", "165:25", "\"when\" has no condition, so it would always hold", ""),
    ("line = \"white\"", "line = \"wite\"", "53:8", "there is no colour \"wite\"", "did you mean \"white\"?"),
    ("font = \"plain\"\nsize = 18\nlabel_radius", "font = \"plane\"\nsize = 18\nlabel_radius", "109:8", "there is no font \"plane\"", "there is: mono, plain"),
    ("text = \"STN\"", "text = \"STN\\u4e00\"", "212:8", "font \"plain\" lacks '一'", ""),
    ("suffix = \"%\"", "suffix = \"\\u4e00\"", "155:107", "font \"mono\" lacks '一'", ""),
    ("breakpoints = [[0, -130], [60, -60], [120, 130]]", "breakpoints = [[0, -130]]", "147:15", "1 breakpoints; a scale needs at least two", ""),
    ("breakpoints = [[0, -130], [60, -60], [120, 130]]", "breakpoints = [[0, -130], [60, -60], [60, 130]]", "147:39", "breakpoints must rise: value 60 follows 60", ""),
    ("breakpoints = [[0, -130], [60, -60], [120, 130]]", "breakpoints = [[0, -130], [60, 140], [120, 130]]", "147:44", "the scale must run one way: angle 130 follows 140", ""),
    ("breakpoints = [[0, 0.0], [400, 1.0]]", "breakpoints = [[0, 0.0], [400, 1.5]]", "163:32", "place along the bar 1.5: must be at least 0 and at most 1", ""),
    ("min = 0\n", "min = 200\n", "74:7", "scale: low end 200 is not below high end 200", ""),
    ("px_per_unit = 3.0", "px_per_unit = 0", "73:15", "pixels per unit 0 px: must be above 0 and at most 1000000 px", ""),
    ("ticks = { major_step = 20, major_length = 12, minor_step = 10, minor_length = 6, color = \"white\", labels = { font = \"mono\"", "ticks = { major_step = 0, major_length = 12, color = \"white\", labels = { font = \"mono\"", "76:24", "step 0: must be above 0 and at most 1e12", ""),
    ("ticks = { major_step = 20, major_length = 12, minor_step = 10, minor_length = 6, color = \"white\", labels = { font = \"mono\"", "ticks = { major_step = 20, minor_step = 0.05, major_length = 12, color = \"white\", labels = { font = \"mono\"", "76:41", "step 0.05 makes more than 2000 marks over 200 units", ""),
    ("max = 200\n", "max = 200\nperiod = -360\n", "76:10", "period -360: must be above 0 and at most 1e12", ""),
    ("edge = \"right\"\npx", "edge = \"top\"\npx", "72:8", "this edge lies across the scale; expected left or right", ""),
    ("from = 0, to = 40", "from = 40, to = 0", "77:19", "band: low end 40 is not below high end 0", ""),
    ("calm_below = 2", "calm_below = -2", "133:14", "calm limit -2: must be at least 0 and at most 1e12", ""),
    ("size = 22", "size = -22", "91:8", "font size -22 px: must be above 0 and at most 1024 px", ""),
    ("slots = 4", "slots = 0", "182:9", "slots 0: must be at least 1 and at most 64", ""),
    ("slots = 4", "slots = 65", "182:9", "slots 65: must be at least 1 and at most 64", ""),
    ("value = 1, text", "value = 0, text", "207:63", "state value 0 is given twice", ""),
    ("max_hold_ms = 400", "max_hold_ms = 50", "233:15", "max_hold_ms 50 is shorter than period_ms 100: a healthy mark would fail", ""),
    ("period_ms = 100", "period_ms = 0", "232:13", "time 0 ms: must be above 0 and at most 60000 ms", ""),
    ("reason = \"moving map\"", "reason = \"\"", "238:10", "an unchecked area must say why it cannot be checked", ""),
    ("wrap = 360, zero_as_wrap", "zero_as_wrap", "124:39", "zero_as_wrap needs \"wrap\"", ""),
    ("tail_radius = 10", "tail_radius = 70", "152:57", "pointer has no length: tip and tail have the same radius", ""),
    ("marks = [10, 20, 30, 45, 60]", "marks = [10, 20, 30, 45, 190]", "56:49", "bank mark 190 deg: must be above 0 and at most 180 deg", ""),
    ("limit = 60", "limit = 91", "55:99", "steepest pitch line 91 deg: must be above 0 and at most 90 deg", ""),
    ("frame = \"white\"", "frame = \"white\"\norigin = 500", "167:10", "origin 500 lies outside the scale, 0 to 400", ""),
    ("mark_length = 12\nfont", "mark_length = 95\nfont", "108:15", "marks of 95 px reach past the middle of a card of radius 90 px", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", at_least = \"fast\" }", "93:61", "\"fast\" is text; \"at_least\" needs a number or a channel", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", at_least = true }", "93:61", "\"region[1].symbol[0] (tape).window.readout.color_rules[0].when[0].at_least\" is true or false; expected a number or a string or a table", "Holds when the value is at or above this."),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", equals = \"fast\" }", "93:59", "\"fast\" is text, and \"airspeed\" holds numbers", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"station\", equals = 3 }", "93:38", "\"station\" is a text channel; a number is needed here", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", above = { channel = \"rotor\" } }", "93:70", "\"airspeed\" is in \"kt\" and \"rotor\" in \"%\"", "compare with a derived channel that brings it to the same unit"),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", above = { channel = \"target_sped\" } }", "93:70", "there is no channel \"target_sped\"", "did you mean \"target_speed\"?"),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", above = { chanel = \"rotor\" } }", "93:60", "unknown key \"chanel\" in region[1].symbol[0] (tape).window.readout.color_rules[0].when[0].above", "did you mean \"channel\"?"),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ any = [] }", "93:34", "\"any\" joins no condition", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ below = 3 }", "93:26", "a condition needs one of channel, all, any, not", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ not = { channel = \"airspeed\", at_least = 3 }, absolute = true }", "93:85", "\"absolute\" is asked of a channel, and none is named", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", below = 3, all = [{ channel = \"rotor\", below = 3 }] }", "93:26", "a condition on \"airspeed\" does not join others as well; put it among those in all, any or not", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", equals = 3, hysteresis = 2 }", "93:75", "hysteresis needs one of below, at_most, at_least, above", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", valid = true, below = 3 }", "93:26", "condition on \"airspeed\" asks for \"valid\" and compares", "a comparison holds only of valid data; ask one of the two, or join two conditions by any"),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", is_one_of = [] }", "93:62", "condition can never hold: \"is_one_of\" names no value", ""),
    ("{ channel = \"airspeed\", at_least = 180 }", "{ channel = \"airspeed\", at_least = 180, delay_ms = 0 }", "93:77", "delay 0 ms: must be above 0 and at most 3600000 ms", ""),
    ("column = \"n2_pct\"", "expression = \"rotr * 2.0\"", "33:26", "there is no channel \"rotr\"", "did you mean \"rotor\"?"),
    ("column = \"n2_pct\"", "expression = \"rotor +\"", "33:33", "not an expression of CEL: mismatched input the end of the expression", ""),
    ("column = \"n2_pct\"", "expression = \"rotor * 2.0 + engine\"", "33:25", "channel \"engine\" is worked out from itself: engine from engine", ""),
    ("column = \"n2_pct\"", "expression = \"fuel + rotor\"", "33:31", "\"kg\" and \"%\" are different units", ""),
    ("column = \"n2_pct\"", "expression = \"absolute(rotor)\"", "33:26", "there is no function \"absolute\"", "did you mean \"abs\"?"),
    ("column = \"n2_pct\"", "expression = \"rotor\", column = \"n2_pct\"", "33:25", "channel \"engine\" has both \"column\" and \"expression\"; one must go", ""),
    ("column = \"n2_pct\"", "validity_column = \"ok\", expression = \"rotor\"", "33:30", "channel \"engine\" is worked out and has no validity column", "it is valid when what it is worked out from is; give that the validity column"),
    ("column = \"n2_pct\"", "max_age_ms = 500", "33:10", "channel \"engine\" has no \"column\" and no \"expression\"", "name the column of the recording, or say how it is worked out"),
    ("column = \"n2_pct\"", "expression = \"fuel\"", "33:25", "the expression gives \"kg\", and the channel's unit is \"%\"", ""),
];

#[test]
fn damage_is_reported_once_with_place_words_and_way_out() {
    for (from, to, place, message, help) in DAMAGES {
        let error = read(&changed(from, to)).expect_err(message);
        let [problem] = error.problems() else {
            panic!("one problem for {to:?}:\n{error}")
        };
        assert_eq!(
            format!("{}:{}", problem.line, problem.column),
            *place,
            "{error}"
        );
        assert_eq!(problem.message, *message, "{error}");
        assert_eq!(problem.help.as_deref().unwrap_or(""), *help, "{error}");
    }
}

#[test]
fn many_kinds_of_damage_are_covered() {
    let messages: std::collections::BTreeSet<_> = DAMAGES.iter().map(|d| d.3).collect();
    assert!(messages.len() >= 75, "{}", messages.len());
}

#[test]
fn all_problems_of_a_file_are_listed_in_its_order() {
    let text = changed("background = \"black\"\nmax", "background = \"blak\"\nmax")
        .replace("id = \"heading\"", "id = \"speed\"")
        .replace("slots = 4", "slots = 0");
    assert_eq!(
        read(&text).unwrap_err().to_string(),
        "\
panel.toml:6:14: there is no colour \"blak\"
 6 | background = \"blak\"
   |              ^^^^^^
   = did you mean \"black\"?
panel.toml:96:6: region id \"speed\" is given twice
 96 | id = \"speed\"
    |      ^^^^^^^
    = the other one stands at panel.toml:61:6
panel.toml:182:9: slots 0: must be at least 1 and at most 64
 182 | slots = 0
     |         ^
3 problems in panel.toml"
    );
}

#[test]
fn font_file_that_cannot_be_used_is_reported_at_its_name() {
    for (file, words) in [
        ("none.ttf", "cannot use font file \"none.ttf\": "),
        ("Cargo.toml", "it is not a TrueType or OpenType font"),
        ("src", "it is not a file"),
    ] {
        let face = "{ builtin = \"B612 Regular\" }";
        let error = read(&changed(face, &format!("{{ file = \"{file}\" }}"))).unwrap_err();
        let [problem] = error.problems() else {
            panic!("{error}")
        };
        assert_eq!((problem.line, problem.column), (10, 18));
        assert!(problem.message.contains(words), "{error}");
    }
}

#[test]
fn empty_file_lacks_its_display() {
    let error = read("").unwrap_err();
    assert!(
        error
            .to_string()
            .starts_with("panel.toml:1:1: the top level lacks the key \"display\"")
    );
}

#[test]
fn nearest_harmless_changes_are_accepted() {
    for (from, to) in [
        ("rect = [240, 0, 100, 240]", "rect = [241, 0, 99, 240]"),
        ("range = [-1, 1]", "range = [-1, -0.999]"),
        (
            "[[0, -130], [60, -60], [120, 130]]",
            "[[0, 130], [60, 60], [120, -130]]",
        ),
        ("slots = 4", "slots = 64"),
        ("slots = 4", "slots = 1"),
        ("max_latency_ms = 120", "max_latency_ms = 60000"),
        ("id = \"speed\"", "id = \"speed 2.b\""),
        (
            "minor_step = 10, minor_length = 6, color = \"white\", labels = { font = \"mono\"",
            "minor_step = 0.1, minor_length = 6, color = \"white\", labels = { font = \"mono\"",
        ),
        ("#ff2020", "#FF2020"),
        ("max_hold_ms = 400", "max_hold_ms = 100"),
        ("width = 640", "width = 8_192"),
    ] {
        let result = read(&changed(from, to));
        assert!(result.is_ok(), "{to}: {}", result.unwrap_err());
    }
}

#[test]
fn problems_of_a_file_cut_anywhere_lie_within_it() {
    for at in (0..EVERY_KIND.len()).step_by(97) {
        if let Err(error) = read(&EVERY_KIND[..at]) {
            let lines = EVERY_KIND[..at].split('\n').count();
            assert!(
                error.problems().iter().all(|p| p.line <= lines),
                "{at}: {error}"
            );
        }
    }
}

/// What stands once in a look of the gallery, what it is replaced by, and what is said of that.
const LOOKS: [(&str, &str, &str, &str); 9] = [
    (
        "dial_rolling",
        "[[0, 0], [1000, 360]]",
        "[[0, 0], [1000, 350]]",
        "a rolling scale is one even turn from 0: two breakpoints, as in [[0, 0], [1000, 360]]",
    ),
    (
        "dial_rolling",
        "[[0, 0], [1000, 360]]",
        "[[0, 0], [500, 90], [1000, 360]]",
        "a rolling scale is one even turn from 0",
    ),
    (
        "power_gauge",
        "to = 110,",
        "to = 100,",
        "range ends at 100: it must end above 100, where it begins",
    ),
    (
        "power_gauge",
        "to = 115,",
        "to = 109,",
        "range ends at 109: it must end above 110, where it begins",
    ),
    (
        "power_gauge",
        "limit_s = 30,",
        "limit_s = 0,",
        "time limit 0 s: must be above 0 and at most 86400 s",
    ),
    (
        "power_gauge",
        "radii = [64, 72]",
        "radii = [72, 72]",
        "the inner radius is not below the outer one",
    ),
    (
        "power_gauge",
        "to_deg = 130",
        "to_deg = -130",
        "an arc ends up to 360 deg after it begins",
    ),
    (
        "power_gauge",
        "left = \"two_minutes_left\"",
        "left = \"two_minutes_lift\"",
        "there is no channel \"two_minutes_lift\"",
    ),
    (
        "power_gauge",
        "tip_radius = 52",
        "tip_radius = -12",
        "size -12 px: must be above 0",
    ),
];

#[test]
fn what_a_rolling_dial_and_a_power_gauge_cannot_be_is_refused() {
    for (look, from, to, message) in LOOKS {
        let symbols = gallery::symbols(Path::new(&format!("{look}.toml")));
        assert_eq!(symbols.matches(from).count(), 1, "{look}: {from}");
        let symbols = symbols.replace(from, to);
        let text = format!("{}\n{}", gallery::prelude(), gallery::region(&symbols));
        let error = Definition::from_toml(&text, look, gallery::folder()).unwrap_err();
        assert!(error.to_string().contains(message), "{look}: {error}");
    }
}

#[test]
fn labels_that_count_on_need_the_length_of_a_turn() {
    let symbols = r#"[[region.symbol]]
kind = "parts"
part = [{ repeat = { step = 100, from = 0, to = 900, turn_of = "altitude", per_unit = 0.36, turn_about = [120, 80] },
  shape = { label = { position = [120, 20], font = "label", size = 12, color = "white" } } }]
"#;
    let whole = |symbols: &str| {
        let text = format!("{}\n{}", gallery::prelude(), gallery::region(symbols));
        Definition::from_toml(&text, "look", gallery::folder())
    };
    let error = whole(symbols).unwrap_err().to_string();
    let message = "labels that count on from turn to turn need the length of a turn in \"period\"";
    assert!(error.contains(message), "{error}");
    let result = whole(&symbols.replace("turn_of", "period = 1000, turn_of"));
    assert!(result.is_ok(), "{}", result.unwrap_err());
}
