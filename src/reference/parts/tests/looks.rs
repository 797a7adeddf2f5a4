//! Looks that no kind has, written in parts, at positions worked out by hand.

use super::super::bench;
use crate::definition::Definition;
use crate::picture::Rect;
use crate::recording::inputs::Inputs;
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;

fn of(parts: &str) -> Definition {
    bench::display(&format!("kind = \"parts\"\n{parts}"))
}

/// The display as drawn, R of R'G'B' by place.
fn drawn(d: &Definition, inputs: &Inputs) -> impl Fn(usize, usize) -> u8 + use<> {
    let canvas = Drawing::new(d).frame(d, inputs, &mut Painter::new());
    assert_eq!(canvas.area(), Rect::new(0, 0, 200, 200));
    move |x, y| canvas.at(x as i32, y as i32)[0]
}

const NEEDLE: &str = r##"
part = [
    { id = "needle", shape = { path = "M -2 30 L -1 -70 L 1 -70 L 2 30 Z" }, at = [100, 100], fill = "white",
      motion = [{ channel = "a", turn_about = [100, 100], scale = [[0, -90], [100, 90]] }] },
    { id = "hub", shape = { circle = { center = [100, 100], radius = 8 } }, fill = "red" },
]
"##;

#[test]
fn a_tapered_needle_with_a_counterweight_turns_under_its_hub() {
    let d = of(NEEDLE);
    // 75 stands at 45 deg: up and to the right.
    let inputs = bench::inputs(&d, &[("a", 75.0)]);
    let at = drawn(&d, &inputs);
    assert_eq!(
        [at(140, 59), at(85, 114)],
        [255, 255],
        "tip and counterweight"
    );
    assert_eq!(at(60, 59), 0);
    let all = Drawing::new(&d).freedoms(&d, 0);
    assert_eq!(all.len(), 1);
    assert_eq!(
        (&*all[0].what, all[0].low, all[0].high),
        ("turn", 0.0, 100.0)
    );
    // The corner of the tip, 70 px up and 1 px to the side; 1.8 deg for a unit.
    let px = Drawing::new(&d).px_per_unit(&d, 0, &all[0], &inputs);
    assert!(
        (px - libm::hypot(70.0, 1.0) * 1.8f64.to_radians()).abs() < 1e-9,
        "{px}"
    );
    // Beyond the end it stands, and there is no reading.
    assert_eq!(
        Drawing::new(&d).px_per_unit(&d, 0, &all[0], &bench::inputs(&d, &[("a", 101.0)])),
        0.0
    );
}

#[test]
fn an_arc_runs_down_with_its_value() {
    let d = of(r##"
        part = [{ shape = { arc = { center = [100, 100], radii = [60, 80], from_deg = 0, to_deg = 270 } }, fill = "white",
                  motion = [{ name = "left", channel = "a", sector = { about = [100, 100], from_deg = 0 },
                              scale = [[0, 0], [100, 270]] }] }]
        "##);
    for (v, lit) in [
        (100.0, [true, true, true]),
        (50.0, [true, true, false]),
        (20.0, [true, false, false]),
        (0.0, [false; 3]),
    ] {
        // In the middle of the band at 20, 110 and 250 deg.
        let at = drawn(&d, &bench::inputs(&d, &[("a", v)]));
        let places = [20.0, 110.0, 250.0f64].map(|deg| {
            let (sin, cos) = deg.to_radians().sin_cos();
            at((100.0 + 70.0 * sin) as usize, (100.0 - 70.0 * cos) as usize) == 255
        });
        assert_eq!(places, lit, "{v}");
    }
}

#[test]
fn marks_without_end_are_drawn_where_they_are_in_view() {
    let d = of(r##"
        part = [{ clip = { rect = [0, 0, 40, 200] }, motion = [{ channel = "a", per_unit = 0.5, shift_along = [0, 1] }],
                  part = [{ shape = { rect = [0, 99, 10, 2] }, fill = "white",
                            repeat = { step = 20, per_unit = 0.5, shift_along = [0, -1] } }] }]
        "##);
    // At 51,960 the mark of that value stands in the middle, its neighbours 10 px away.
    let inputs = bench::inputs(&d, &[("a", 51_960.0)]);
    let at = drawn(&d, &inputs);
    assert_eq!(
        [at(5, 99), at(5, 100), at(5, 89), at(5, 110), at(5, 95)],
        [255, 255, 255, 255, 0]
    );
    assert_eq!(
        bench::moving(&d, &inputs).items().len(),
        21,
        "a mark every 10 px, those at the edges cut"
    );
}

#[test]
fn a_drum_shows_two_digits_of_the_place_that_rolls() {
    let d = of(r##"
        part = [{ clip = { rect = [0, 80, 200, 40] },
                  shape = { drum = { channel = "a", position = [100, 100], font = "mono", size = 20, color = "white",
                                     pitch = 14, row_height = 24, places = 3 } } }]
        "##);
    let lines = |v: f64| -> Vec<(String, f64, f64)> {
        let scene = bench::moving(&d, &bench::inputs(&d, &[("a", v)]));
        let face = d.face(d.font("mono"));
        let one = |l: &bench::Line| {
            let middle_x = l.words.origin.x + face.line_advance(&l.text) * 10.0;
            (
                l.text.clone(),
                middle_x,
                l.words.origin.y - face.cap_height * 10.0,
            )
        };
        bench::lines(&scene).iter().map(one).collect()
    };
    let near = |found: &[(String, f64, f64)], text: &str, x: f64, y: f64| {
        found
            .iter()
            .any(|(t, fx, fy)| t == text && (fx - x).abs() < 1e-9 && (fy - y).abs() < 1e-9)
    };
    let all = lines(129.5);
    // The last place: 9 half a row down, 0 half a row up; the tens roll with it; the hundreds stand.
    for (text, x, y) in [
        ("9", 93.0, 112.0),
        ("0", 93.0, 88.0),
        ("2", 79.0, 112.0),
        ("3", 79.0, 88.0),
        ("1", 65.0, 100.0),
    ] {
        assert!(near(&all, text, x, y), "{text}: {all:?}");
    }
    assert!(!near(&all, "2", 65.0, 76.0));
}

#[test]
fn one_of_several_is_chosen_and_a_colour_shades() {
    let d = of(r##"
        part = [
            { choose = true, part = [
                { when = [{ channel = "a", at_least = 10 }], shape = { rect = [10, 10, 20, 20] }, fill = "red" },
                { shape = { circle = { center = [20, 20], radius = 10 } }, fill = "green" },
            ] },
            { shape = { rect = [100, 0, 100, 10] },
              shade = { from = [100, 0], to = [200, 0], stop = [{ offset = 0, color = "black" }, { offset = 1, color = "white" }] } },
            { shape = { rounded = { rect = [100, 50, 40, 40], radius = 20 } }, opacity = 0.5, fill = "white" },
        ]
        "##);
    let at = drawn(&d, &bench::inputs(&d, &[("a", 12.0)]));
    assert_eq!(at(11, 11), 255, "the corner of the square");
    // Half-way along the shade, and at its middle pixel's own place: 255 x 50.5 / 100.
    assert_eq!(at(150, 5), 129);
    assert_eq!(
        [at(120, 70), at(101, 51)],
        [128, 0],
        "half covered, and nothing in the corner"
    );
    let at = drawn(&d, &bench::inputs(&d, &[("a", 9.0)]));
    assert_eq!(at(11, 11), 0);
}

#[test]
fn words_are_cut_to_a_round_outline_and_stay_level() {
    let d = of(r##"
        part = [{ clip = { circle = { center = [100, 100], radius = 20 } }, motion = [{ channel = "a", turn_about = [100, 100] }],
                  part = [{ upright = true, shape = { words = { text = "HHHHHHHH", position = [100, 100], font = "sans",
                            size = 40, color = "white" } } }] }]
        "##);
    let inputs = bench::inputs(&d, &[("a", 30.0)]);
    let at = drawn(&d, &inputs);
    let lit: Vec<(usize, usize)> = (0..200)
        .flat_map(|x| (0..200).map(move |y| (x, y)))
        .filter(|(x, y)| at(*x, *y) > 0)
        .collect();
    assert!(lit.len() > 200, "the middle is there: {} px", lit.len());
    let far =
        |(x, y): &(usize, usize)| libm::hypot(*x as f64 + 0.5 - 100.0, *y as f64 + 0.5 - 100.0);
    assert!(lit.iter().all(|p| far(p) < 20.8), "and nothing outside");
    assert_eq!(
        bench::lines(&bench::moving(&d, &inputs))[0].words.direction,
        (1.0, 0.0)
    );
}
