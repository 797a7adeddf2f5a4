//! A complete definition, what is made of it, and what becomes of it when a line is damaged.

mod artwork;
mod damaged;
pub(super) mod gallery;
mod properties;
mod proportions;

use std::path::Path;

use super::*;
use crate::files::Content;
use crate::judge::region;
use crate::reference::drawing::Drawing;
use lint::{Warning, channel_sources, lint, lint_against};

/// Every symbol kind in one valid definition, about which there is nothing to advise.
const EVERY_KIND: &str = include_str!("every_kind.toml");

fn read(text: &str) -> Result<Definition, Error> {
    Definition::from_toml(text, "panel.toml", Path::new(""))
}

/// [`EVERY_KIND`] with the only occurrence of `from` replaced.
fn changed(from: &str, to: &str) -> String {
    assert_eq!(
        EVERY_KIND.matches(from).count(),
        1,
        "{from:?} stands once in the file"
    );
    EVERY_KIND.replacen(from, to, 1)
}

fn advice_on(from: &str, to: &str) -> Vec<Warning> {
    warnings(&read(&changed(from, to)).unwrap_or_else(|e| panic!("{e}")))
}

fn warnings(definition: &Definition) -> Vec<Warning> {
    let reach = |k: usize, freedoms: usize| region::reach_sigmas(definition, k, freedoms);
    let advice = lint_against(definition, definition.requirements(), &reach);
    advice.into_iter().map(|a| a.warning).collect()
}

#[test]
fn every_kind_loads_without_advice() {
    let definition = read(EVERY_KIND).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(warnings(&definition), []);
    let kinds: std::collections::BTreeSet<_> = definition
        .regions()
        .iter()
        .flat_map(|r| &r.symbol)
        .map(model::Symbol::kind)
        .collect();
    assert_eq!(kinds.len(), 11, "the file shows every kind: {kinds:?}");
    assert_eq!(definition.size(), (640, 480));
    assert_eq!(definition.color("amber"), Rgb([0xff, 0xb0, 0x00]));
    // The moving map alone.
    assert_eq!(definition.unchecked_px(), 200 * 40);
}

#[test]
fn the_definition_in_the_readme_loads_without_advice() {
    let readme = include_str!("../../../README.md");
    let (_, from) = readme
        .split_once("```toml\n[display]")
        .expect("it shows a definition");
    let (text, _) = from.split_once("```").expect("its end is marked");
    let definition = read(&format!("[display]{text}")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(warnings(&definition), []);
    // What is worked out from a channel makes its region depend on that.
    let sources = channel_sources(&definition);
    let found: Vec<_> = sources.iter().map(|s| (s.channel, s.expression)).collect();
    let trend = "airspeed + 6.0 * rate(airspeed)";
    assert_eq!(found, [("airspeed", None), ("speed_trend", Some(trend))]);
}

#[test]
fn channels_behind_derived_ones_are_used() {
    let text = changed(
        "target_speed = { column = \"target_kt\", unit = \"kt\", range = [0, 200], interpolation = \"hold\" }",
        "target_speed = { expression = \"step * 2\", unit = \"kt\" }\nstep = { expression = \"last * 3\" }\nlast = { column = \"q\" }",
    );
    let definition = read(&text).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(warnings(&definition), []);
    let sources = channel_sources(&definition);
    let last = sources.iter().find(|s| s.channel == "last").unwrap();
    assert_eq!(last.regions, ["speed"]);
}

#[test]
fn every_symbol_kind_word_is_one_of_the_schema() {
    let options = schema::json_schema()["$defs"]["Symbol"]["oneOf"]
        .as_array()
        .unwrap();
    let words: std::collections::BTreeSet<_> = options
        .iter()
        .filter_map(|o| o["properties"]["kind"]["const"].as_str())
        .collect();
    let definition = read(EVERY_KIND).unwrap();
    for symbol in definition.regions().iter().flat_map(|r| &r.symbol) {
        assert!(words.contains(symbol.kind()), "{}", symbol.kind());
    }
}

#[test]
fn channels_of_a_region_include_rules_bugs_winds_and_alerts() {
    let definition = read(EVERY_KIND).unwrap();
    let used = |k: usize| {
        definition.regions()[k]
            .channels_used()
            .into_iter()
            .collect::<Vec<_>>()
    };
    assert_eq!(used(0), ["pitch", "roll", "slip"]);
    assert_eq!(used(1), ["airspeed", "pitch", "target_speed"]);
    assert_eq!(used(2), ["heading", "wind_from", "wind_speed"]);
    assert_eq!(used(3), ["engine", "fuel", "rotor"]);
    assert_eq!(used(4), ["airspeed", "fuel", "mode", "rotor", "station"]);
}

#[test]
fn travel_per_unit_is_that_of_the_geometry() {
    let definition = read(EVERY_KIND).unwrap();
    let drawing = Drawing::new(&definition);
    let shown = |k: usize| {
        let all = drawing.freedoms(&definition, k).into_iter();
        all.map(|f| {
            let px_per_unit = drawing.least_px_per_unit(k, &f);
            let channel = definition.channels()[f.channel.0].0.as_str();
            (f.symbol, channel, (px_per_unit * 1e3).round() / 1e3)
        })
        .collect::<Vec<_>>()
    };
    // Tip of the bank pointer at 100 px, turned by a degree: 100 x pi / 180. Before, the
    // larger of half the width and this was taken (120 px, 2.094).
    assert_eq!(
        shown(0),
        [(0, "pitch", 4.0), (0, "roll", 1.745), (0, "slip", 100.0)]
    );
    assert_eq!(shown(1), [(0, "airspeed", 3.0), (0, "target_speed", 3.0)]);
    // A card, and on it a bug of the same channel, so one freedom that shows best there: the outer corner of a bug of 10 by 10 px on it: hypot(100, 5) x pi / 180; a
    // corner of the tail of an arrow of 40 px, 3 px wide, about its middle: hypot(20, 1.5) x pi / 180.
    assert_eq!(shown(2), [(0, "heading", 1.748), (0, "wind_from", 0.35)]);
    // The lower stretch has 70 deg for 60 %: 70 / 60 x pi / 180 x radius of the tip.
    assert_eq!(
        shown(3),
        [(0, "rotor", 1.425), (0, "engine", 1.507), (1, "fuel", 0.5)]
    );
}

#[test]
fn alerts_come_in_the_order_of_the_file() {
    let definition = read(EVERY_KIND).unwrap();
    let alerts: Vec<_> = definition
        .alerts()
        .map(|a| (a.region, a.symbol, a.alert, a.what.text.as_str()))
        .collect();
    assert_eq!(alerts, [(4, 0, 0, "ROTOR LOW"), (4, 0, 1, "FUEL LOW")]);
    assert_eq!(definition.unchecked(), [Rect::new(330, 430, 200, 40)]);
}

#[test]
fn channel_sources_name_columns_and_regions() {
    let definition = read(EVERY_KIND).unwrap();
    let sources = channel_sources(&definition);
    assert_eq!(sources.len(), 13);
    let airspeed = &sources[0];
    assert_eq!(
        (airspeed.channel, airspeed.column, airspeed.unit),
        ("airspeed", Some("airspeed_kt"), "kt")
    );
    assert_eq!(airspeed.validity_column, Some("airspeed_ok"));
    assert_eq!(airspeed.regions, ["speed", "messages"]);
}

#[test]
fn missing_file_is_named_with_its_cause() {
    let error = Definition::load(Path::new("no_such_folder/panel.toml")).unwrap_err();
    assert_eq!(
        error.to_string(),
        "cannot read definition \"no_such_folder/panel.toml\""
    );
    assert!(std::error::Error::source(&error).is_some());
}

#[test]
fn file_is_loaded_with_the_font_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let font = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/reference_frames/fonts/B612-Bold.ttf"
    );
    std::fs::copy(font, folder.path().join("bold.ttf")).unwrap();
    let path = folder.path().join("panel.toml");
    let text = changed(
        "plain = { builtin = \"B612 Regular\" }",
        "plain = { file = \"bold.ttf\" }",
    );
    std::fs::write(&path, text).unwrap();
    let definition = Definition::load(&path).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(definition.face(definition.font("plain")).weight, 700);
    // What was read is known, whatever stands there now.
    let held = [&path, &folder.path().join("bold.ttf")].map(|p| std::fs::read(p).unwrap());
    std::fs::write(&path, "another").unwrap();
    let contents: Vec<_> = definition
        .contents()
        .iter()
        .map(|f| (f.role, &f.file.content))
        .collect();
    let [file, font] = held.map(|h| Content::of(&h));
    assert_eq!(contents, [("display", &file), ("font", &font)]);
}

#[test]
fn file_that_is_not_text_is_refused_at_the_first_bad_byte() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("panel.toml");
    std::fs::write(&path, b"[display]\nname = \"\xff\"\n").unwrap();
    let error = Definition::load(&path).unwrap_err();
    let [problem] = error.problems() else {
        panic!("{error}")
    };
    assert_eq!((problem.line, problem.column), (2, 9));
    assert!(problem.message.contains("UTF-8"), "{problem}");
}

#[test]
fn byte_order_mark_is_accepted() {
    assert!(read(&format!("\u{feff}{EVERY_KIND}")).is_ok());
}

#[test]
fn carriage_returns_are_accepted() {
    assert!(read(&EVERY_KIND.replace('\n', "\r\n")).is_ok());
}

#[test]
fn tolerance_of_less_than_half_a_pixel_draws_advice() {
    // 0.1 kt x 3 px/kt = 0.3 px; 0.2 kt is 0.6 px.
    let warnings = advice_on("airspeed = 2.0", "airspeed = 0.1");
    assert_eq!(
        warnings[0].to_string(),
        "region \"speed\": an error of 0.1 kt in \"airspeed\" moves the tape by 0.30 px"
    );
    assert!(
        warnings[0].advice().starts_with("allow at least 0.167"),
        "{}",
        warnings[0].advice()
    );
    let is_below = |w: &Warning| matches!(w, Warning::ToleranceBelowPixels { .. });
    assert!(
        !advice_on("airspeed = 2.0", "airspeed = 0.2")
            .iter()
            .any(is_below)
    );
}

#[test]
fn advice_is_given_once_and_only_where_due() {
    #[rustfmt::skip]
    let cases = [
        ("airspeed = 2.0", "airspeed = 0.5", "region \"speed\": \"airspeed\" is written in steps of 1, coarser than its tolerance 0.5"),
        ("format = { suffix = \"%\" }", "format = { quantum = 0.25, decimals = 1 }", "region \"engine\": \"rotor\" is rounded to 0.25 but written with 1 decimals"),
        ("fuel = 5.0 }", "fuel = 5.0, pitch = 1 }", "region \"engine\" has a tolerance for \"pitch\" but does not use it"),
        ("slip = 0.05", "slip = 2", "region \"attitude\": tolerance 2 for \"slip\" covers its whole range of 2"),
        ("rect = [620, 460, 12, 8]", "rect = [630, 460, 12, 8]", "region \"messages\": symbol 4 (liveness) reaches 2.0 px over its border"),
        ("position = [480, 405]", "position = [636, 405]", "region \"messages\": symbol 2 (text) reaches"),
        ("minor_half_width = 20, limit = 60, visible_px = 80, font = \"plain\", size = 18", "minor_half_width = 20, limit = 60, visible_px = 80, font = \"plain\", size = 10", "region \"attitude\": font \"plain\" at 10 px has capitals of"),
        ("tail_radius = 10, width = 6", "tail_radius = 10, width = 0.4", "region \"engine\": a line of the dial that moves is 0.4 px wide"),
        ("from = 180, to = 200", "from = 180, to = 220", "region \"speed\": 220 is marked on a tape that runs from 0 to 200"),
        ("at = 110,", "at = 130,", "region \"engine\": 130 is marked on a dial that runs from 0 to 120"),
        ("max = 200\n", "max = 200\nperiod = 210\n", "region \"speed\": the tape's period 210 is no multiple of its step 20"),
        ("requirements = [\"DSP-2\"]\n", "", "region \"speed\" names no requirement"),
        ("hazard = \"minor\"", "hazard = \"none\"", "region \"messages\" has hazard none and yet verifies requirements"),
        ("hazard = \"hazardous\"", "hazard = \"hazardous\"\nconfirm_ms = 900", "region \"attitude\": a hazardous picture stands for at least 1020 ms before it is raised"),
        ("[colors]\n", "[budget.hazardous]\nnuisance_per_hour = 0.001\ntime_to_alert_ms = 100\n[colors]\n", "region \"attitude\": under its budget an error of twice the tolerance of \"pitch\" is found within 100 ms only by readings with a standard error below 0.0"),
        ("advice_position = [330, 360]\n", "", "region \"messages\": the advice of \"ROTOR LOW\" has no place to be shown"),
        ("text = \"FUEL LOW\"\nclass = \"caution\"", "text = \"ROTOR LOW\"\nclass = \"warning\"", "region \"messages\": two alerts of one class both read \"ROTOR LOW\""),
        ("caution = \"amber\"", "caution = \"green\"", "region \"messages\": caution alerts are shown in \"green\", which is not amber"),
        ("advisory = \"cyan\"", "advisory = \"red\"", "region \"messages\": advisory alerts are shown in \"red\", which is not told apart from red and amber"),
        ("channel = \"station\"\n", "channel = \"station\"\nformat = { decimals = 2 }\n", "region \"messages\": the readout of the text channel \"station\" has a number format"),
        ("[colors]\n", "[colors]\nviolet = \"#8000ff\"\n", "colour \"violet\" is not used"),
        ("[fonts]\n", "[fonts]\nbold = { builtin = \"B612 Bold\" }\n", "font \"bold\" is not used"),
        ("[channels]\n", "[channels]\nspare = { column = \"spare\" }\n", "channel \"spare\" is not used"),
    ];
    for (from, to, wanted) in cases {
        let warnings = advice_on(from, to);
        let texts: Vec<_> = warnings.iter().map(ToString::to_string).collect();
        let hits = texts.iter().filter(|t| t.starts_with(wanted)).count();
        assert_eq!(hits, 1, "{wanted:?} in {texts:#?}");
        assert!(warnings.iter().all(|w| !w.advice().is_empty()));
    }
}

#[test]
fn region_that_is_left_out_on_purpose_draws_no_advice() {
    let rest = "\n[[region]]\nid = \"map\"\nrect = [0, 480, 640, 20]\nhazard = \"none\"\n";
    let taller = changed("height = 480", "height = 500") + rest;
    let empty = warnings(&read(&taller).unwrap());
    let region = "map".to_owned();
    assert_eq!(empty, [Warning::NothingToCheck { region }]);
    let map =
        "[[region.symbol]]\nkind = \"unchecked\"\nrect = [0, 480, 640, 20]\nreason = \"map\"\n";
    let left_out = read(&(taller + map)).unwrap();
    assert_eq!(warnings(&left_out), []);
    assert!(left_out.regions()[5].is_unchecked());
    assert_eq!(left_out.unchecked_px(), 200 * 40 + 640 * 20);
}

#[test]
fn dial_reaches_only_where_its_scale_runs() {
    // From -90 to 90 deg the dial stays above its middle, here 10 px above the region's border.
    let half = changed(
        "[[0, -130], [60, -60], [120, 130]]",
        "[[0, -90], [60, -60], [120, 90]]",
    )
    .replace("center = [100, 360]", "center = [100, 470]");
    let is_outside = |w: &Warning| matches!(w, Warning::SymbolOutsideRegion { .. });
    assert!(!warnings(&read(&half).unwrap()).iter().any(is_outside));
    let whole = changed("center = [100, 360]", "center = [100, 470]");
    let texts: Vec<_> = warnings(&read(&whole).unwrap())
        .iter()
        .map(ToString::to_string)
        .collect();
    // The lower end, at 130 deg: the corner of a mark, 90 px out and 1 px aside: 57.9 + 0.8 = 58.6 px below the middle.
    assert_eq!(
        texts,
        ["region \"engine\": symbol 0 (dial) reaches 48.6 px over its border, and off the display"]
    );
}

#[test]
fn advice_stands_at_its_place_in_the_file() {
    // No place was given before.
    let place = |from: &str, to: &str| {
        let advice = lint(&read(&changed(from, to)).unwrap_or_else(|e| panic!("{e}")));
        let a = &advice[0];
        assert!(a.to_string().starts_with(&format!(
            "panel.toml:{}:{}: {}",
            a.problem.line, a.problem.column, a.warning
        )));
        (a.problem.line, a.problem.column)
    };
    assert_eq!(place("airspeed = 2.0", "airspeed = 0.1"), (65, 26));
    assert_eq!(
        place("rect = [620, 460, 12, 8]", "rect = [630, 460, 12, 8]"),
        (229, 8)
    );
    assert_eq!(place("at = 110,", "at = 130,"), (150, 18));
    assert_eq!(place("max = 200\n", "max = 200\nperiod = 210\n"), (76, 10));
    assert_eq!(
        place("[colors]\n", "[colors]\nviolet = \"#8000ff\"\n"),
        (14, 1)
    );
}

#[test]
fn symbols_outside_are_told_by_how_far_and_from_what() {
    let told = |from: &str, to: &str| advice_on(from, to)[0].to_string();
    assert_eq!(
        told("rect = [620, 460, 12, 8]", "rect = [700, 460, 12, 8]"),
        "region \"messages\": symbol 4 (liveness) lies wholly outside it, 72.0 px over its border, and off the display"
    );
    assert_eq!(
        told("rect = [620, 460, 12, 8]", "rect = [300, 460, 12, 8]"),
        "region \"messages\": symbol 4 (liveness) lies wholly outside it, 20.0 px over its border"
    );
    // Nothing was said of a slip indicator beside the display.
    assert_eq!(
        told("center = [120, 30]", "center = [-90, 30]"),
        "region \"attitude\": \"slip\" of symbol 0 (attitude) is never seen: it lies outside what it is cut to"
    );
}

#[test]
fn alert_colours_are_told_apart_by_hue() {
    // The nearest harmless change: yellow is accepted for cautions, orange-red for neither.
    assert_eq!(advice_on("amber = \"#ffb000\"", "amber = \"#ffff00\""), []);
    assert!(!advice_on("red = \"#ff2020\"", "red = \"#ff6000\"").is_empty());
}
