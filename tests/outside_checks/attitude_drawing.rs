//! What the rules ask of an attitude display, on the demo display as the reference renderer draws it.
//!
//! AMC 25.1303(b)(5): the horizon line moves and the aeroplane symbol is fixed; 30 degrees of roll turn the line by
//! 30 degrees; the horizon stays in view over normal pitch and at least 2 degrees more. AMC 25-11, appendix 1: at least
//! 5 degrees more. AC and AMC 25-11, table of colours: earth tan or brown, sky cyan or blue. All as quoted in the
//! notes on regulations that this project was given, not read in the original.

use std::path::Path;

use framevouch::definition::Definition;
use framevouch::demo;
use framevouch::picture::{Rect, Rgb};
use framevouch::recording::{MissingColumns, Recording};
use framevouch::reference::canvas::Canvas;
use framevouch::reference::drawing::Drawing;
use framevouch::reference::painter::Painter;

/// The attitude of the demo display.
struct Attitude {
    definition: Definition,
    region: usize,
}

impl Attitude {
    fn new() -> Self {
        let definition = Definition::from_toml(demo::DISPLAY, "demo", Path::new(""))
            .expect("the bundled display is good");
        let region = definition
            .regions()
            .iter()
            .position(|r| r.id == "attitude")
            .expect("it has an attitude");
        Self { definition, region }
    }

    fn area(&self) -> Rect {
        self.definition.regions()[self.region].area()
    }

    fn drawn(&self, pitch_deg: f64, roll_deg: f64) -> Canvas {
        let d = &self.definition;
        let csv = format!("t_s,pitch_deg,roll_deg\n0,{pitch_deg},{roll_deg}\n");
        let recording = Recording::from_reader(csv.as_bytes(), "inputs", d, MissingColumns::Allow)
            .expect("a row of numbers");
        let inputs = recording.inputs(0.0);
        Drawing::new(d).frame(d, &inputs, &mut Painter::new())
    }

    fn color(&self, name: &str) -> [u8; 3] {
        self.definition.color(name).0
    }

    /// Pixels of exactly this colour, from the top left.
    fn pixels(&self, canvas: &Canvas, color: [u8; 3]) -> Vec<(i32, i32)> {
        let area = self.area();
        let rows = area.y..area.bottom();
        rows.flat_map(|y| (area.x..area.right()).map(move |x| (x, y)))
            .filter(|(x, y)| canvas.at(*x, *y) == color)
            .collect()
    }

    /// The first row of a column, from the top, that is earth.
    fn horizon_at(&self, canvas: &Canvas, x: i32) -> f64 {
        let earth = self.color("ground");
        let mut rows = self.area().y..self.area().bottom();
        f64::from(rows.find(|y| canvas.at(x, *y) == earth).expect("earth"))
    }
}

#[test]
fn thirty_degrees_of_roll_turn_the_horizon_by_thirty_degrees() {
    let attitude = Attitude::new();
    // Columns near the edges, beside ladder, aircraft and bank scale.
    let columns = [330, 690];
    for roll_deg in [-30.0, -10.0, 10.0, 30.0f64] {
        let canvas = attitude.drawn(0.0, roll_deg);
        let [left, right] = columns.map(|x| attitude.horizon_at(&canvas, x));
        let turned_deg = ((left - right) / f64::from(columns[1] - columns[0]))
            .atan()
            .to_degrees();
        assert!((turned_deg - roll_deg).abs() < 0.3, "{turned_deg} deg");
    }
}

#[test]
fn the_aircraft_symbol_is_fixed_while_the_horizon_moves() {
    let attitude = Attitude::new();
    let amber = attitude.color("amber");
    let level = attitude.pixels(&attitude.drawn(0.0, 0.0), amber);
    assert!(level.len() > 100, "{} px", level.len());
    let mut horizons = Vec::new();
    for (pitch_deg, roll_deg) in [(8.0, 0.0), (-12.0, 0.0), (0.0, 30.0), (5.0, -45.0)] {
        let canvas = attitude.drawn(pitch_deg, roll_deg);
        assert_eq!(attitude.pixels(&canvas, amber), level);
        horizons.push(attitude.horizon_at(&canvas, 330));
    }
    assert!(
        horizons.windows(2).all(|w| (w[0] - w[1]).abs() > 10.0),
        "{horizons:?}"
    );
}

#[test]
fn the_horizon_stays_in_view_five_degrees_beyond_what_is_flown() {
    let attitude = Attitude::new();
    let csv = demo::scenario::inputs_csv();
    let mut rows = csv.lines().map(|l| l.split(','));
    let column = rows
        .next()
        .and_then(|mut header| header.position(|name| name == "pitch_deg"))
        .expect("the scenario has pitch");
    let flown_deg = rows
        .filter_map(|mut row| row.nth(column)?.parse::<f64>().ok())
        .fold(0.0, |most: f64, v| most.max(v.abs()));
    assert!(flown_deg > 1.0, "{flown_deg} deg");
    for pitch_deg in [flown_deg + 5.0, -flown_deg - 5.0] {
        for roll_deg in [-30.0, 0.0, 30.0] {
            let canvas = attitude.drawn(pitch_deg, roll_deg);
            for what in ["sky", "ground"] {
                let seen = attitude.pixels(&canvas, attitude.color(what)).len();
                assert!(
                    seen > 1000,
                    "{seen} px of {what} at {pitch_deg}, {roll_deg} deg"
                );
            }
        }
    }
}

/// Beyond the horizon the ladder goes on, so that pitch is told where only sky or earth is in view.
#[test]
fn marks_of_pitch_are_in_view_where_the_horizon_is_not() {
    let attitude = Attitude::new();
    for (pitch_deg, what) in [(45.0, "ground"), (-45.0, "sky")] {
        let canvas = attitude.drawn(pitch_deg, 0.0);
        assert!(attitude.pixels(&canvas, attitude.color(what)).is_empty());
        let white = attitude.pixels(&canvas, attitude.color("white"));
        // The ladder's half width is 24 px, and the bank scale lies 132 px from the middle.
        let marks = white.iter().filter(|(x, y)| {
            (x - 512).abs() <= 24 && (y - 206).abs() <= 88 && (y - 206).abs() > 10
        });
        assert!(marks.count() > 60, "at {pitch_deg} deg");
    }
}

#[test]
fn sky_is_blue_and_earth_is_brown() {
    let attitude = Attitude::new();
    let [sky, earth] = ["sky", "ground"].map(|name| Rgb(attitude.color(name)).0);
    assert!(sky[2] > sky[0] && sky[2] > sky[1], "{sky:?}");
    assert!(earth[0] > earth[1] && earth[1] > earth[2], "{earth:?}");
}
