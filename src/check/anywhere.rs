//! Symbols anywhere: whatever a definition that is read says of their places, the display is drawn and checked.

use std::path::Path;

use proptest::prelude::*;

use super::run::Run;
use crate::capture::CapturedFrame;
use crate::capture::profile::Profile;
use crate::chain::register::FrameReference;
use crate::definition::Definition;
use crate::definition::lint::lint;
use crate::examine::comparison::ChainLook;
use crate::examine::subject::Subject;
use crate::picture::{Encoding, Matrix, Picture, Range, Subsampling};
use crate::recording::inputs::Inputs;
use crate::recording::{MissingColumns, Recording};
use crate::reference::canvas::Siting;
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;

const EVERY_KIND: &str = include_str!("../definition/tests/every_kind.toml");
const INPUTS: &str = "t_s,pitch_deg,roll_deg,lateral_g,airspeed_kt,airspeed_ok,target_kt,heading_deg,wind_from_deg,wind_kt,nr_pct,n2_pct,fuel_kg,mode,station
0,5,10,0.05,100,1,110,90,120,20,70,80,200,1,ABC
1,6,12,0.06,103,1,110,95,121,20,72,82,199,1,ABD
";

/// Lines of symbols that hold a place: `rect`, `center` or `position`, at the head of a line.
fn places() -> Vec<usize> {
    let mut is_symbol = false;
    let mut found = Vec::new();
    for (k, line) in EVERY_KIND.lines().enumerate() {
        if line.starts_with('[') {
            is_symbol = line.starts_with("[[region.symbol") || line.starts_with("[region.symbol");
        }
        let is_place = ["rect = ", "center = ", "position = "]
            .iter()
            .any(|key| line.starts_with(key));
        if is_symbol && is_place {
            found.push(k);
        }
    }
    found
}

/// The display with some of its symbols elsewhere, each by so much.
fn moved(moves: &[(prop::sample::Index, i32, i32)]) -> String {
    let places = places();
    let mut lines: Vec<String> = EVERY_KIND.lines().map(str::to_owned).collect();
    for (k, dx, dy) in moves {
        let line = &mut lines[places[k.index(places.len())]];
        let (key, list) = line.split_once(" = ").expect("a key");
        let mut numbers: Vec<i32> = list
            .trim_matches(['[', ']'])
            .split(", ")
            .map(|n| n.parse().expect("whole numbers"))
            .collect();
        numbers[0] += dx;
        numbers[1] += dy;
        *line = format!("{key} = {numbers:?}");
    }
    lines.join("\n")
}

fn draw_and_check(text: &str) {
    let Ok(definition) = Definition::from_toml(text, "moved.toml", Path::new("")) else {
        return;
    };
    let _ = lint(&definition);
    let recording = Recording::from_reader(
        INPUTS.as_bytes(),
        "inputs.csv",
        &definition,
        MissingColumns::Refuse,
    )
    .expect("all columns are there");
    let drawing = Drawing::new(&definition);
    let subject = Subject::new(&definition, &drawing);
    let size = definition.size();
    let encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };
    let profile = Profile::plain(size, encoding, Subsampling::Both, Siting::Center);
    let chain = ChainLook::of(&profile);
    let mut painter = Painter::new();
    let mut inputs = Inputs::default();
    // What is due, and what is due another time: then everything is looked for.
    let mut run = Run::new(
        &definition,
        subject,
        &recording,
        &chain,
        size,
        0.0,
        0.0,
        Painter::new(),
    );
    for (index, shown_s) in [0.0, 0.9].into_iter().enumerate() {
        recording.inputs_at(shown_s, &mut inputs);
        let halved = (Subsampling::Both, Siting::Center);
        let drawn = FrameReference::draw(subject, &inputs, &chain.look, halved, size, &mut painter);
        let picture: Picture = drawn.picture(encoding);
        let frame = CapturedFrame {
            index: index as u64,
            time_s: index as f64 * 0.04,
            crc32: picture.crc32(),
            picture,
        };
        let examined = run.examine(&frame, None);
        let _ = run.judge(&frame, examined);
    }
}

#[test]
fn a_symbol_beside_the_display_is_no_panic() {
    // Indexed a row of the picture with the columns of a rectangle beside it.
    for (from, to) in [
        ("center = [480, 130]", "center = [2000, 130]"),
        ("rect = [250, 10, 80, 220]", "rect = [900, 10, 80, 220]"),
        ("center = [100, 360]", "center = [-500, 360]"),
        ("rect = [220, 260, 20, 200]", "rect = [220, -900, 20, 200]"),
    ] {
        assert!(EVERY_KIND.contains(from));
        draw_and_check(&EVERY_KIND.replacen(from, to, 1));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn symbols_may_stand_anywhere(
        moves in prop::collection::vec((any::<prop::sample::Index>(), -900i32..900, -700i32..700), 1..4)
    ) {
        draw_and_check(&moved(&moves));
    }
}
