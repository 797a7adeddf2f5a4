//! In which ways the symbols of a region move with their channels, and which values stand there
//! as digits.
//!
//! The examiner measures one value per [`Freedom`] by fitting, and reads one number per
//! [`ReadoutField`]. Both are listed from the definition alone; whether they are on the picture
//! for given inputs is asked for separately, since invalid data put up a failure flag instead.

use super::{attitude, has_failed, rose, scale, tape};
use crate::definition::Definition;
use crate::definition::model::{
    Attitude, BankFixed, Bar, Dial, DialPointer, Readout, Rose, Slip, Symbol, Tape, Wind,
};
use crate::picture::Point;
use crate::recording::inputs::{ChannelId, Inputs};
use crate::reference::scene::Bounds;

/// One way in which a symbol moves continuously with a channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Freedom {
    /// Index of the symbol in its region.
    pub symbol: usize,
    /// Index among the symbol's pointers or bugs; 0 for what it has once.
    pub part: usize,
    /// The channel that drives it.
    pub channel: ChannelId,
    /// What moves: `pointer`, `pitch`, `roll`, `slip`, `scale`, `bug`, `card`, `wind`, `length`.
    pub what: &'static str,
    /// Values this far apart look the same.
    pub period: Option<f64>,
    /// Lowest value that is shown; lower ones look like it.
    pub low: f64,
    /// Highest value that is shown; higher ones look like it.
    pub high: f64,
}

/// A value that stands in a symbol as digits or text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadoutField<'a> {
    /// Index of the symbol in its region.
    pub symbol: usize,
    /// Which one: `readout`, `window`, `wind direction`, `wind speed`.
    pub what: &'static str,
    /// The channel that it shows.
    pub channel: ChannelId,
    /// How it looks.
    pub model: &'a Readout,
}

/// All freedoms of a region, in the order of symbols.
///
/// # Panics
/// When there is no such region.
#[must_use]
pub fn freedoms(d: &Definition, region_index: usize) -> Vec<Freedom> {
    let symbols = d.regions()[region_index].symbol.iter().enumerate();
    let mut found = Vec::new();
    for (symbol, model) in symbols {
        let free = |what, channel: &str, period, [low, high]: [f64; 2]| Freedom {
            symbol,
            part: 0,
            channel: d.channel(channel),
            what,
            period,
            low,
            high,
        };
        let turn = |what, channel: &str| free(what, channel, Some(360.0), [0.0, 360.0]);
        match model {
            Symbol::Attitude(a) => {
                found.push(free("pitch", &a.pitch, None, [-90.0, 90.0]));
                found.push(free("roll", &a.roll, Some(360.0), [-180.0, 180.0]));
                found.extend(
                    a.slip
                        .iter()
                        .map(|s| free("slip", &s.channel, None, slip_range(s))),
                );
            }
            Symbol::Dial(m) => {
                let range = scale::span(&m.breakpoints).unwrap_or_default();
                let pointers = m.pointers.iter().enumerate();
                found.extend(pointers.map(|(part, p)| Freedom {
                    part,
                    ..free("pointer", &p.channel, None, range)
                }));
            }
            Symbol::Tape(m) => {
                let range = m.period.map_or([m.min, m.max], |period| [0.0, period]);
                found.push(free("scale", &m.channel, m.period, range));
                let bugs = m.bugs.iter().enumerate();
                found.extend(bugs.map(|(part, b)| Freedom {
                    part,
                    ..free("bug", &b.channel, m.period, range)
                }));
            }
            Symbol::Rose(m) => {
                found.push(turn("card", &m.channel));
                let bugs = m.bugs.iter().enumerate();
                found.extend(bugs.map(|(part, b)| Freedom {
                    part,
                    ..turn("bug", &b.channel)
                }));
                found.extend(m.wind.iter().map(|w| turn("wind", &w.direction)));
            }
            Symbol::Bar(m) => {
                let range = scale::span(&m.breakpoints).unwrap_or_default();
                found.push(free("length", &m.channel, None, range));
            }
            Symbol::Readout(_)
            | Symbol::Alerts(_)
            | Symbol::Flag(_)
            | Symbol::Text(_)
            | Symbol::Liveness(_)
            | Symbol::Unchecked(_) => {}
        }
    }
    found
}

fn slip_range(slip: &Slip) -> [f64; 2] {
    let most = libm::fabs(slip.travel / slip.px_per_unit);
    [-most, most]
}

/// All readouts of a region, in the order of symbols.
///
/// # Panics
/// When there is no such region.
#[must_use]
pub fn readouts(d: &Definition, region_index: usize) -> Vec<ReadoutField<'_>> {
    let symbols = d.regions()[region_index].symbol.iter().enumerate();
    let mut found = Vec::new();
    for (symbol, model) in symbols {
        let field = |what, model| field(d, symbol, what, model);
        match model {
            Symbol::Readout(m) => found.push(field("readout", m)),
            Symbol::Dial(m) => found.extend(m.readout.iter().map(|r| field("readout", r))),
            Symbol::Tape(m) => found.extend(m.window.iter().map(|w| field("window", &w.readout))),
            Symbol::Rose(m) => {
                if let Some(wind) = &m.wind {
                    found.extend(
                        wind.direction_readout
                            .iter()
                            .map(|r| field("wind direction", r)),
                    );
                    found.extend(wind.speed_readout.iter().map(|r| field("wind speed", r)));
                }
                found.extend(m.readout.iter().map(|r| field("readout", r)));
            }
            Symbol::Attitude(_)
            | Symbol::Bar(_)
            | Symbol::Alerts(_)
            | Symbol::Flag(_)
            | Symbol::Text(_)
            | Symbol::Liveness(_)
            | Symbol::Unchecked(_) => {}
        }
    }
    found
}

fn field<'a>(
    d: &Definition,
    symbol: usize,
    what: &'static str,
    model: &'a Readout,
) -> ReadoutField<'a> {
    ReadoutField {
        symbol,
        what,
        channel: d.channel(&model.channel),
        model,
    }
}

/// True when the readout's own words stand on the picture (dashes count); false when the
/// failure flag of its symbol stands there instead.
///
/// # Panics
/// When `field` is not of this region.
#[must_use]
pub fn is_readout_shown(
    d: &Definition,
    region_index: usize,
    field: &ReadoutField,
    inputs: &Inputs,
) -> bool {
    !has_failed(&d.regions()[region_index].symbol[field.symbol], d, inputs)
}

/// The model behind a freedom.
enum Part<'a> {
    Pitch(&'a Attitude),
    Roll(&'a Attitude),
    Slip(&'a Slip),
    Pointer(&'a Dial, &'a DialPointer),
    Scale(&'a Tape),
    TapeBug(&'a Tape, usize),
    Card(&'a Rose),
    RoseBug(&'a Rose, usize),
    Wind(&'a Rose, &'a Wind),
    Length(&'a Bar),
}

fn part<'a>(d: &'a Definition, region_index: usize, freedom: &Freedom) -> Part<'a> {
    let symbol = &d.regions()[region_index].symbol[freedom.symbol];
    let k = freedom.part;
    let found = match (symbol, freedom.what) {
        (Symbol::Attitude(a), "pitch") => Some(Part::Pitch(a)),
        (Symbol::Attitude(a), "roll") => Some(Part::Roll(a)),
        (Symbol::Attitude(a), "slip") => a.slip.as_ref().map(Part::Slip),
        (Symbol::Dial(m), "pointer") => m.pointers.get(k).map(|p| Part::Pointer(m, p)),
        (Symbol::Tape(m), "scale") => Some(Part::Scale(m)),
        (Symbol::Tape(m), "bug") => Some(Part::TapeBug(m, k)),
        (Symbol::Rose(m), "card") => Some(Part::Card(m)),
        (Symbol::Rose(m), "bug") => Some(Part::RoseBug(m, k)),
        (Symbol::Rose(m), "wind") => m.wind.as_ref().map(|w| Part::Wind(m, w)),
        (Symbol::Bar(m), "length") => Some(Part::Length(m)),
        _ => None,
    };
    found.expect("a freedom belongs to the region that it was listed for")
}

/// True when what the freedom moves is on the picture for these inputs.
///
/// # Panics
/// When `freedom` is not of this region.
#[must_use]
pub fn is_shown(d: &Definition, region_index: usize, freedom: &Freedom, inputs: &Inputs) -> bool {
    let symbol = &d.regions()[region_index].symbol[freedom.symbol];
    if has_failed(symbol, d, inputs) || inputs.value(freedom.channel).number().is_none() {
        return false;
    }
    match part(d, region_index, freedom) {
        Part::Wind(rose, wind) => inputs
            .value(d.channel(&rose.channel))
            .number()
            .is_some_and(|heading| rose::wind_angle(wind, d, inputs, heading).is_some()),
        Part::Pitch(_)
        | Part::Roll(_)
        | Part::Slip(_)
        | Part::Pointer(..)
        | Part::Scale(_)
        | Part::TapeBug(..)
        | Part::Card(_)
        | Part::RoseBug(..)
        | Part::Length(_) => true,
    }
}

/// Pixels that the ink moves for a unit of the channel at these inputs, without sign: the tip
/// of a pointer, the rim of a card, the bank pointer, the end of a bar.
///
/// 0 when it does not move: not shown, or the value lies beyond the ends, or a bug is parked.
///
/// # Panics
/// When `freedom` is not of this region.
#[must_use]
pub fn px_per_unit(d: &Definition, region_index: usize, freedom: &Freedom, inputs: &Inputs) -> f64 {
    if !is_shown(d, region_index, freedom, inputs) {
        return 0.0;
    }
    let Some(v) = inputs.value(freedom.channel).number() else {
        return 0.0;
    };
    let is_within = freedom.period.is_some() || (freedom.low..=freedom.high).contains(&v);
    let part = part(d, region_index, freedom);
    let stands = match &part {
        // Beyond 90 degrees of pitch another attitude is drawn, which moves as well.
        Part::Pitch(_) => false,
        Part::TapeBug(m, _) => {
            let along = tape::View::new(m, d, inputs).map(|view| view.bug_along(v));
            !is_within || !matches!(along, Some((_, false)))
        }
        _ => !is_within,
    };
    if stands {
        return 0.0;
    }
    match travel(&part) {
        Travel::Even(px_per_unit) => px_per_unit,
        Travel::Bent(px_per_place, breakpoints) => {
            libm::fabs(px_per_place * scale::slope(breakpoints, v))
        }
    }
}

/// Pixels that the ink moves for a unit of the channel where its scale is coarsest, without sign: what an
/// error is surely shown by. Above 0 in a checked definition.
///
/// # Panics
/// When `freedom` is not of this region.
#[must_use]
pub fn least_px_per_unit(d: &Definition, region_index: usize, freedom: &Freedom) -> f64 {
    match travel(&part(d, region_index, freedom)) {
        Travel::Even(px_per_unit) => px_per_unit,
        Travel::Bent(px_per_place, breakpoints) => {
            libm::fabs(px_per_place) * scale::least_slope(breakpoints)
        }
    }
}

/// How far ink goes, px, without sign.
enum Travel<'a> {
    /// So far for a unit, anywhere.
    Even(f64),
    /// So far for a unit of place on a scale that breakpoints bend.
    Bent(f64, &'a [[f64; 2]]),
}

/// The one place that says how far each kind of ink goes.
fn travel<'a>(part: &Part<'a>) -> Travel<'a> {
    match part {
        Part::Pitch(a) => Travel::Even(libm::fabs(a.px_per_deg)),
        Part::Roll(a) => Travel::Even(roll_radius(a).to_radians()),
        Part::Slip(s) => Travel::Even(libm::fabs(s.px_per_unit)),
        Part::Pointer(m, p) => Travel::Bent(reach(p).to_radians(), &m.breakpoints),
        Part::Scale(m) | Part::TapeBug(m, _) => Travel::Even(libm::fabs(m.px_per_unit)),
        Part::Card(m) | Part::RoseBug(m, _) => Travel::Even(m.radius.to_radians()),
        Part::Wind(_, w) => Travel::Even((w.length / 2.0).to_radians()),
        Part::Length(m) => {
            let b = Bounds::from_rect(m.rect);
            let length = if is_vertical(m) {
                b.bottom - b.top
            } else {
                b.right - b.left
            };
            Travel::Bent(length, &m.breakpoints)
        }
    }
}

fn is_vertical(bar: &Bar) -> bool {
    scale::Lane::new(bar.rect, bar.direction, bar.edge).is_vertical()
}

/// Distance from the aircraft symbol of the ink that shows the bank best: the tip of the bank
/// pointer, the outer end of turning marks, or the horizon's end where there is no bank scale.
fn roll_radius(a: &Attitude) -> f64 {
    match &a.bank {
        Some(bank) if bank.fixed == BankFixed::Marks => bank.radius,
        Some(bank) => bank.radius + bank.mark_length,
        None => f64::from(a.rect[2]) / 2.0,
    }
}

/// Distance from the middle of a dial of the pointer's farthest end.
fn reach(pointer: &DialPointer) -> f64 {
    libm::fabs(pointer.tip_radius).max(libm::fabs(pointer.tail_radius))
}

/// Area in which the ink of a freedom can move: the area of an attitude or tape, the disc of a
/// dial or card, the track of a slip box, the area of a bar.
///
/// # Panics
/// When `freedom` is not of this region.
#[must_use]
pub fn bounds(d: &Definition, region_index: usize, freedom: &Freedom) -> Bounds {
    let disc = |[x, y]: [f64; 2], radius: f64| around(Point::new(x, y), radius, radius);
    match part(d, region_index, freedom) {
        Part::Pitch(a) | Part::Roll(a) => Bounds::from_rect(a.rect),
        Part::Slip(s) => {
            let [w, h] = s.size;
            around(
                Point::new(s.center[0], s.center[1]),
                libm::fabs(s.travel) + w / 2.0,
                h / 2.0,
            )
        }
        Part::Pointer(m, p) => disc(m.center, reach(p) + p.width / 2.0),
        Part::Scale(m) => Bounds::from_rect(m.rect),
        Part::TapeBug(m, k) => {
            let lane = scale::Lane::new(m.rect, m.direction, m.edge);
            let across = m
                .bugs
                .get(k)
                .map_or(lane.depth, |b| b.size[1].min(lane.depth));
            lane.area([lane.start, lane.end], [0.0, across])
        }
        Part::Card(m) => disc(m.center, m.radius + m.mark_width / 2.0),
        Part::RoseBug(m, k) => {
            let [along, across] = m.bugs.get(k).map_or([0.0; 2], |b| b.size);
            disc(m.center, libm::hypot(m.radius + across, along / 2.0))
        }
        Part::Wind(_, w) => disc(w.center, libm::hypot(w.length / 2.0, 2.0 * w.width)),
        Part::Length(m) => Bounds::from_rect(m.rect),
    }
}

fn around(p: Point, half_width: f64, half_height: f64) -> Bounds {
    Bounds {
        left: p.x - half_width,
        top: p.y - half_height,
        right: p.x + half_width,
        bottom: p.y + half_height,
    }
}

/// The value that a freedom shows when its channel has `v`: brought into its period or stopped
/// at its ends.
#[must_use]
pub fn shown_value(freedom: &Freedom, v: f64) -> f64 {
    match freedom.period {
        Some(period) => freedom.low + (v - freedom.low).rem_euclid(period),
        None => v.min(freedom.high).max(freedom.low),
    }
}

/// Pitch and bank as the attitude symbol behind `pitch` or `roll` draws them for these inputs:
/// beyond 90 degrees of pitch both differ from the channels. `None` for other symbols and
/// invalid data.
///
/// # Panics
/// When `freedom` is not of this region.
#[must_use]
pub fn drawn_attitude(
    d: &Definition,
    region_index: usize,
    freedom: &Freedom,
    inputs: &Inputs,
) -> Option<(f64, f64)> {
    match part(d, region_index, freedom) {
        Part::Pitch(a) | Part::Roll(a) => attitude::values(a, d, inputs),
        Part::Slip(_)
        | Part::Pointer(..)
        | Part::Scale(_)
        | Part::TapeBug(..)
        | Part::Card(_)
        | Part::RoseBug(..)
        | Part::Wind(..)
        | Part::Length(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::bench;
    use super::*;
    use crate::recording::inputs::Value;
    use crate::reference::drawing::Drawing;
    use crate::reference::scene::{Layer, Scene};

    fn list(symbol: usize) -> (Definition, Vec<Freedom>) {
        let d = bench::display(bench::READ[symbol]);
        let found = freedoms(&d, 0);
        (d, found)
    }

    #[test]
    fn every_driven_part_is_listed_once() {
        let names: Vec<Vec<&str>> = (0..bench::READ.len())
            .map(|k| list(k).1.iter().map(|f| f.what).collect())
            .collect();
        let hand_written: [&[&str]; 5] = [
            &["pitch", "roll", "slip"],
            &["pointer", "pointer"],
            &["scale", "bug"],
            &["card", "bug", "wind"],
            &["length"],
        ];
        assert_eq!(names, hand_written);
        let d = bench::display_of(&bench::READ);
        let shown: Vec<_> = readouts(&d, 0).iter().map(|r| (r.symbol, r.what)).collect();
        assert_eq!(
            shown,
            [
                (1, "readout"),
                (2, "window"),
                (3, "wind speed"),
                (3, "readout")
            ]
        );
        let all = freedoms(&d, 0);
        assert_eq!(
            all.iter().map(|f| f.symbol).collect::<Vec<_>>(),
            [0, 0, 0, 1, 1, 2, 2, 3, 3, 3, 4]
        );
    }

    /// Largest distance that a point of an item which keeps its shape goes between two scenes.
    fn largest_move(before: &Scene, after: &Scene, limit_radius: f64) -> f64 {
        let middle = Point::new(100.0, 100.0);
        let mut most = 0.0f64;
        for (a, b) in before.items().iter().zip(after.items()) {
            if a.layer != Layer::Moving || !bench::is_fill(a) {
                continue;
            }
            for (p, q) in bench::points(before, a).iter().zip(bench::points(after, b)) {
                // What overreaches the area (the horizon's far ends) is not on the picture.
                if libm::hypot(p.x - middle.x, p.y - middle.y) <= limit_radius {
                    most = most.max(libm::hypot(p.x - q.x, p.y - q.y));
                }
            }
        }
        most
    }

    #[test]
    fn pixels_per_unit_are_what_the_drawing_does() {
        let values = [("a", 60.0), ("b", 70.0), ("c", 0.1), ("d", 9.0)];
        for symbol in 0..bench::READ.len() {
            let (d, found) = list(symbol);
            let mut inputs = bench::inputs(&d, &values);
            if symbol == 0 {
                // A pitch that has the horizon in view.
                inputs.values[d.channel("a").0] = Value::Number(5.0);
            }
            for f in &found {
                let h = 1e-4;
                let mut moved = inputs.clone();
                let v = inputs.value(f.channel).number().expect("a number");
                moved.values[f.channel.0] = Value::Number(v + h);
                let radius = match f.what {
                    "roll" => 80.5,
                    "pitch" => 150.0,
                    _ => f64::INFINITY,
                };
                let mut a = bench::moving(&d, &inputs);
                let mut b = bench::moving(&d, &moved);
                if f.what == "card" {
                    // The card moves bugs and wind along; look at the card alone.
                    let bare = |inputs: &Inputs| {
                        let mut inputs = inputs.clone();
                        inputs.values[d.channel("b").0] = Value::Invalid;
                        inputs.values[d.channel("c").0] = Value::Invalid;
                        bench::moving(&d, &inputs)
                    };
                    (a, b) = (bare(&inputs), bare(&moved));
                }
                let measured = largest_move(&a, &b, radius) / h;
                let stated = px_per_unit(&d, 0, f, &inputs);
                // Corners of a pointer or bug lie a little farther out than the tip or the rim.
                assert!(
                    (measured / stated - 1.0).abs() < 0.13,
                    "{}: {measured} {stated}",
                    f.what
                );
            }
        }
    }

    /// Where ink of a freedom stands in `every_kind.toml`, and how far it goes for a unit, worked out by hand.
    #[rustfmt::skip]
    const EVERY_KIND: [(usize, &str, usize, [f64; 4], f64); 11] = [
        (0, "pitch", 0, [0.0, 0.0, 240.0, 240.0], 4.0),
        // The bank pointer, 100 px from the middle.
        (0, "roll", 0, [110.0, 15.0, 130.0, 40.0], 100.0 * DEGREE),
        (0, "slip", 0, [90.0, 26.0, 150.0, 34.0], 100.0),
        (1, "scale", 0, [250.0, 10.0, 330.0, 230.0], 3.0),
        (1, "bug", 0, [250.0, 10.0, 330.0, 230.0], 3.0),
        (2, "card", 0, [380.0, 30.0, 580.0, 230.0], 90.0 * DEGREE),
        (2, "bug", 0, [380.0, 20.0, 580.0, 230.0], 90.0 * DEGREE),
        (2, "wind", 0, [588.0, 18.0, 632.0, 62.0], 20.0 * DEGREE),
        // In the lower stretch of the scale: 70 degrees for 60 %.
        (3, "pointer", 0, [10.0, 270.0, 190.0, 450.0], 70.0 * DEGREE * 70.0 / 60.0),
        (3, "pointer", 1, [10.0, 270.0, 190.0, 450.0], 74.0 * DEGREE * 70.0 / 60.0),
        (3, "length", 0, [220.0, 260.0, 240.0, 460.0], 0.5),
    ];
    const DEGREE: f64 = std::f64::consts::PI / 180.0;

    #[test]
    fn every_freedom_of_every_kind_moves_as_stated() {
        let text = include_str!("../../definition/tests/every_kind.toml")
            // A bug of its own channel: one that shows the heading stands still under the lubber line.
            .replace(
                "bugs = [{ channel = \"heading\"",
                "bugs = [{ channel = \"wind_from\"",
            );
        let d = Definition::from_toml(&text, "every_kind.toml", std::path::Path::new("")).unwrap();
        let mut inputs = bench::inputs(
            &d,
            &[
                ("pitch", 5.0),
                ("roll", 0.0),
                ("slip", 0.05),
                ("airspeed", 100.0),
                ("target_speed", 110.0),
                ("heading", 90.0),
                ("wind_from", 120.0),
                ("wind_speed", 20.0),
                ("rotor", 40.0),
                ("engine", 50.0),
                ("fuel", 200.0),
                ("mode", 0.0),
            ],
        );
        inputs.active_since_s = vec![None; 2];
        let drawing = Drawing::new(&d);
        let scene = |region: usize, inputs: &Inputs| {
            let mut scene = Scene::default();
            drawing.region_moving(&d, region, inputs, &mut scene);
            scene
        };
        let mut counted = 0;
        for (region, what, part, [left, top, right, bottom], by_hand) in EVERY_KIND {
            let found = freedoms(&d, region);
            let f = found
                .iter()
                .find(|f| f.what == what && f.part == part)
                .unwrap();
            let h = 1e-3;
            let v = inputs.value(f.channel).number().unwrap();
            let mut altered = inputs.clone();
            altered.values[f.channel.0] = Value::Number(v + h);
            let (before, after) = (scene(region, &inputs), scene(region, &altered));
            let mut most = 0.0f64;
            for (a, b) in before.items().iter().zip(after.items()) {
                if !bench::is_fill(a) || !bench::is_fill(b) {
                    continue;
                }
                for (p, q) in bench::points(&before, a)
                    .iter()
                    .zip(bench::points(&after, b))
                {
                    let is_seen = p.x >= left && p.x <= right && p.y >= top && p.y <= bottom;
                    if is_seen {
                        most = most.max(libm::hypot(p.x - q.x, p.y - q.y) / h);
                    }
                }
            }
            let stated = px_per_unit(&d, region, f, &inputs);
            assert!(
                (stated / by_hand - 1.0).abs() < 1e-9,
                "{what}: {stated}, by hand {by_hand}"
            );
            // Corners of a pointer or bug lie a little farther out than the tip or the rim.
            assert!(
                (most / stated - 1.0).abs() < 0.13,
                "{what}: {most} seen, {stated} stated"
            );
            // What lint goes by is the same figure, where the scale is coarsest; lint took 120 px for the 100 of roll.
            let least = least_px_per_unit(&d, region, f);
            assert!(
                (least / by_hand - 1.0).abs() < 1e-9,
                "{what}: {least}, by hand {by_hand}"
            );
            counted += 1;
        }
        let all: usize = (0..d.regions().len()).map(|k| freedoms(&d, k).len()).sum();
        assert_eq!(counted, all, "every freedom has its line");
    }

    #[test]
    fn hand_worked_pixels_per_unit() {
        let at = |symbol: usize, k: usize, values: &[(&str, f64)]| {
            let (d, found) = list(symbol);
            px_per_unit(&d, 0, &found[k], &bench::inputs(&d, values))
        };
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} {b}");
        let degree = std::f64::consts::PI / 180.0;
        near(at(0, 0, &[("a", 3.0), ("b", 0.0)]), 4.0);
        near(at(0, 1, &[("a", 3.0), ("b", 0.0)]), 80.0 * degree);
        near(at(0, 2, &[("a", 3.0), ("b", 0.0), ("c", 0.39)]), 50.0);
        near(at(0, 2, &[("a", 3.0), ("b", 0.0), ("c", 0.41)]), 0.0);
        near(at(1, 0, &[("a", 20.0), ("b", 0.0)]), 70.0 * degree * 1.5);
        near(at(1, 0, &[("a", 60.0), ("b", 0.0)]), 70.0 * degree * 3.0);
        near(at(1, 0, &[("a", 101.0), ("b", 0.0)]), 0.0);
        near(at(2, 0, &[("a", 20.0)]), 2.0);
        near(at(2, 0, &[("a", -1.0)]), 0.0);
        near(at(2, 1, &[("a", 100.0), ("b", 120.0)]), 2.0);
        near(at(2, 1, &[("a", 100.0), ("b", 160.0)]), 0.0);
        near(at(3, 0, &[("a", 500.0)]), 70.0 * degree);
        near(
            at(3, 2, &[("a", 0.0), ("c", 0.0), ("d", 5.0)]),
            12.0 * degree,
        );
        near(at(3, 2, &[("a", 0.0), ("c", 0.0), ("d", 1.0)]), 0.0);
        near(at(4, 0, &[("a", 20.0)]), 0.5);
        near(at(4, 0, &[("a", 75.0)]), 1.5);
        near(at(4, 0, &[]), 0.0);
    }

    #[test]
    fn the_ink_of_a_freedom_stays_in_its_bounds() {
        for symbol in [1, 2, 3, 4] {
            let (d, found) = list(symbol);
            for (k, f) in found.iter().enumerate() {
                for v in [0.0, 13.0, 47.0, 99.0, 181.0, 272.0] {
                    let scene = bench::moving(
                        &d,
                        &bench::inputs(&d, &[("a", v), ("b", v + 5.0), ("c", v), ("d", 9.0)]),
                    );
                    let color = [
                        ["", "", ""],
                        ["green", "red", ""],
                        ["white", "green", ""],
                        ["white", "sky", "green"],
                        ["green", "", ""],
                    ];
                    let area = bounds(&d, 0, f);
                    for item in bench::items(&scene, d.color(color[symbol][k])) {
                        let Some(ink) = bench::is_fill(item).then_some(item.bounds) else {
                            continue;
                        };
                        let ink = item.clip.map_or(ink, |clip| ink.intersection(&clip));
                        assert!(
                            ink.left >= area.left - 1e-9 && ink.right <= area.right + 1e-9,
                            "{}",
                            f.what
                        );
                        assert!(
                            ink.top >= area.top - 1e-9 && ink.bottom <= area.bottom + 1e-9,
                            "{}",
                            f.what
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn shown_values() {
        let (_, found) = list(0);
        assert_eq!(shown_value(&found[0], 12.0), 12.0);
        assert_eq!(shown_value(&found[1], 190.0), -170.0);
        let (_, found) = list(3);
        assert_eq!(shown_value(&found[0], -10.0), 350.0);
        let (_, found) = list(4);
        assert_eq!(shown_value(&found[0], 130.0), 100.0);
    }
}
