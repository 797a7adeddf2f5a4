//! How each kind of symbol is drawn: from its table in the definition and the inputs to
//! primitives of a [`Scene`].
//!
//! A symbol's geometry is written once, here; readings are found by fitting it to the capture
//! ([`freedom`] says along which values). A mistake in it cannot cancel out, since captures come
//! from other renderers, and the tests of each kind pin it to positions worked out by hand.
//!
//! What depends on the definition alone goes to [`Layer::Background`] (`draw_static`), what
//! depends on inputs to [`Layer::Moving`], and fixed marks over what moves to
//! [`Layer::Foreground`] (both `draw_moving`). Layers hold for a whole region: a ground drawn by
//! one symbol lies under everything that moves in the region, whatever the order of symbols.
//!
//! Invalid data, missing ones among them, take the symbol's moving and foreground parts away and
//! put up its failure flag, digits and all: the rule is one for all kinds that have a flag. An
//! attitude fails when pitch or roll does; a dial when all of its pointers do (one of several
//! merely goes); tape, rose and bar with their channel. Marks of other channels (bugs, wind
//! arrow, slip box) go by themselves, and readouts show their dashes.
//!
//! Angles reach pixels through `libm`, so that every machine draws the same bytes.
//!
//! [`Layer::Background`]: super::scene::Layer::Background
//! [`Layer::Moving`]: super::scene::Layer::Moving
//! [`Layer::Foreground`]: super::scene::Layer::Foreground

pub mod alerts;
pub mod attitude;
pub mod bar;
mod bug;
pub mod dial;
pub mod failure;
pub mod flag;
pub mod freedom;
pub mod liveness;
pub mod number;
pub mod readout;
pub mod rose;
pub mod rules;
pub mod scale;
pub mod tape;
pub mod text;
pub mod unchecked;
pub mod words;

use super::scene::Scene;
use crate::definition::Definition;
use crate::definition::model::Symbol;
use crate::recording::inputs::Inputs;

/// Adds what never moves, all in `Layer::Background`.
pub fn draw_static(symbol: &Symbol, d: &Definition, scene: &mut Scene) {
    match symbol {
        Symbol::Dial(m) => dial::draw_static(m, d, scene),
        Symbol::Tape(m) => tape::draw_static(m, d, scene),
        Symbol::Bar(m) => bar::draw_static(m, d, scene),
        Symbol::Text(m) => text::draw_static(m, d, scene),
        Symbol::Attitude(_)
        | Symbol::Rose(_)
        | Symbol::Readout(_)
        | Symbol::Alerts(_)
        | Symbol::Flag(_)
        | Symbol::Liveness(_)
        | Symbol::Unchecked(_) => {}
    }
}

/// Adds what depends on inputs (`Layer::Moving`), then fixed marks over it (`Layer::Foreground`).
///
/// `alert_base` is the index of the symbol's first alert in [`Inputs::active_since_s`]; `time_s`
/// sets the phase of a liveness mark.
pub fn draw_moving(
    symbol: &Symbol,
    d: &Definition,
    inputs: &Inputs,
    alert_base: usize,
    time_s: f64,
    scene: &mut Scene,
) {
    match symbol {
        Symbol::Attitude(m) => attitude::draw_moving(m, d, inputs, scene),
        Symbol::Dial(m) => dial::draw_moving(m, d, inputs, scene),
        Symbol::Tape(m) => tape::draw_moving(m, d, inputs, scene),
        Symbol::Rose(m) => rose::draw_moving(m, d, inputs, scene),
        Symbol::Bar(m) => bar::draw_moving(m, d, inputs, scene),
        Symbol::Readout(m) => readout::draw_moving(m, d, inputs, scene),
        Symbol::Alerts(m) => alerts::draw_moving(m, d, inputs, alert_base, scene),
        Symbol::Flag(m) => flag::draw_moving(m, d, inputs, scene),
        Symbol::Liveness(m) => liveness::draw(m, d, liveness::phase_at(m, time_s), scene),
        Symbol::Text(_) | Symbol::Unchecked(_) => {}
    }
}

/// True when the symbol's failure flag stands on the picture for these inputs.
#[must_use]
pub fn has_failed(symbol: &Symbol, d: &Definition, inputs: &Inputs) -> bool {
    let is_lost = |channel: &str| inputs.value(d.channel(channel)).number().is_none();
    match symbol {
        Symbol::Attitude(m) => is_lost(&m.pitch) || is_lost(&m.roll),
        Symbol::Dial(m) => dial::has_failed(m, d, inputs),
        Symbol::Tape(m) => is_lost(&m.channel),
        Symbol::Rose(m) => is_lost(&m.channel),
        Symbol::Bar(m) => is_lost(&m.channel),
        Symbol::Readout(_)
        | Symbol::Alerts(_)
        | Symbol::Flag(_)
        | Symbol::Text(_)
        | Symbol::Liveness(_)
        | Symbol::Unchecked(_) => false,
    }
}

/// What the tests of symbols share: a small display around the symbol under test, and ways to
/// look at a scene.
#[cfg(test)]
pub(crate) mod bench {
    use crate::definition::Definition;
    use crate::definition::model::{Condition, Operand};
    use crate::picture::{Point, Rgb};
    use crate::recording::inputs::{Inputs, Value};
    use crate::reference::drawing::Drawing;
    use crate::reference::scene::{Bounds, Item, Layer, Scene, Shape, Words};

    const HEAD: &str = r##"
        [display]
        name = "test"
        width = 200
        height = 200
        background = "black"
        [fonts]
        sans = { builtin = "B612 Regular" }
        mono = { builtin = "B612 Mono Regular" }
        [colors]
        black = "#000000"
        white = "#ffffff"
        red = "#ff0000"
        amber = "#ffc000"
        green = "#00ff00"
        sky = "#3080ff"
        ground = "#805020"
        [channels]
        a = { column = "a" }
        b = { column = "b" }
        c = { column = "c" }
        d = { column = "d" }
        [[region]]
        id = "r"
        rect = [0, 0, 200, 200]
        hazard = "minor"
    "##;

    /// Symbols that are read: attitude, dial, tape, rose, bar.
    pub const READ: [&str; 5] = [
        r##"
        kind = "attitude"
        rect = [0, 0, 200, 200]
        pitch = "a"
        roll = "b"
        px_per_deg = 4.0
        sky = "sky"
        ground = "ground"
        line = "white"
        aircraft = "amber"
        bank = { radius = 80.0, marks = [30.0], mark_length = 8.0, pointer_size = 10.0 }
        slip = { channel = "c", center = [100.0, 30.0], px_per_unit = 50.0, travel = 20.0, size = [16.0, 4.0],
                 color = "green" }
        failure = { rect = [0, 0, 200, 200], font = "sans", size = 20.0, color = "red", background = "black" }
        "##,
        r##"
        kind = "dial"
        center = [100.0, 100.0]
        radius = 80.0
        breakpoints = [[0.0, -120.0], [40.0, -60.0], [100.0, 120.0]]
        ticks = { major_step = 20.0, major_length = 10.0, color = "white" }
        pointers = [
            { channel = "a", tip_radius = 70.0, tail_radius = 30.0, width = 6.0, color = "green" },
            { channel = "b", shape = "triangle", tip_radius = 80.0, tail_radius = 92.0, width = 8.0, color = "red" },
        ]
        readout = { channel = "a", position = [100.0, 100.0], font = "mono", size = 14.0, color = "white" }
        failure = { rect = [0, 0, 200, 200], font = "sans", size = 20.0, color = "red", background = "black" }
        "##,
        r##"
        kind = "tape"
        rect = [20, 0, 60, 200]
        channel = "a"
        direction = "up"
        edge = "right"
        px_per_unit = 2.0
        min = 0.0
        max = 300.0
        ticks = { major_step = 20.0, major_length = 12.0, color = "white" }
        bugs = [{ channel = "b", color = "green", size = [16.0, 8.0] }]
        window = { rect = [20, 85, 60, 30], background = "black", border = "amber",
                   readout = { channel = "a", position = [50.0, 100.0], font = "mono", size = 16.0, color = "white" } }
        failure = { rect = [0, 0, 200, 200], font = "sans", size = 20.0, color = "red", background = "black" }
        "##,
        r##"
        kind = "rose"
        center = [100.0, 100.0]
        radius = 70.0
        channel = "a"
        color = "white"
        mark_length = 10.0
        font = "sans"
        size = 12.0
        label_radius = 50.0
        lubber = "amber"
        lubber_length = 12.0
        bugs = [{ channel = "b", color = "sky", size = [12.0, 8.0] }]
        wind = { direction = "c", speed = "d", center = [30.0, 30.0], length = 24.0, width = 2.0, color = "green",
                 calm_below = 2.0,
                 speed_readout = { channel = "d", position = [30.0, 60.0], font = "mono", size = 10.0, color = "green" } }
        readout = { channel = "a", position = [100.0, 10.0], font = "mono", size = 14.0, color = "white" }
        failure = { rect = [0, 0, 200, 200], font = "sans", size = 20.0, color = "red", background = "black" }
        "##,
        r##"
        kind = "bar"
        rect = [50, 10, 20, 100]
        channel = "a"
        direction = "up"
        edge = "left"
        breakpoints = [[0.0, 0.0], [50.0, 0.25], [100.0, 1.0]]
        color = "green"
        failure = { rect = [0, 0, 200, 200], font = "sans", size = 20.0, color = "red", background = "black" }
        "##,
    ];

    /// A display of 200 x 200 with one region and one symbol (none when `symbol` is empty).
    pub fn display(symbol: &str) -> Definition {
        if symbol.is_empty() {
            display_of(&[])
        } else {
            display_of(&[symbol])
        }
    }

    /// The same with several symbols.
    pub fn display_of(symbols: &[&str]) -> Definition {
        let symbols: String = symbols
            .iter()
            .map(|s| format!("\n[[region.symbol]]\n{s}\n"))
            .collect();
        let file = toml::from_str(&format!("{HEAD}{symbols}")).expect("a display for tests");
        Definition::unchecked_for_tests(file)
    }

    /// Inputs with the given values; other channels are invalid, no alert is active.
    pub fn inputs(d: &Definition, values: &[(&str, f64)]) -> Inputs {
        let mut all = vec![Value::Invalid; d.channels().len()];
        for (name, v) in values {
            all[d.channel(name).0] = Value::Number(*v);
        }
        Inputs {
            values: all,
            ..Inputs::default()
        }
    }

    pub fn below(channel: &str, limit: f64) -> Condition {
        Condition {
            channel: Some(channel.into()),
            below: Some(Operand::Number(limit)),
            ..Condition::default()
        }
    }

    pub fn at_least(channel: &str, limit: f64) -> Condition {
        Condition {
            channel: Some(channel.into()),
            at_least: Some(Operand::Number(limit)),
            ..Condition::default()
        }
    }

    /// What never moves; checks that all of it stands in the background.
    pub fn fixed(d: &Definition) -> Scene {
        let mut scene = Scene::default();
        Drawing::new(d).region_static(d, 0, &mut scene);
        assert!(scene.items().iter().all(|i| i.layer == Layer::Background));
        scene
    }

    /// What moves and what lies over it.
    pub fn moving(d: &Definition, inputs: &Inputs) -> Scene {
        let mut scene = Scene::default();
        Drawing::new(d).region_moving(d, 0, inputs, &mut scene);
        assert!(scene.items().iter().all(|i| i.layer != Layer::Background));
        scene
    }

    pub fn items(scene: &Scene, color: Rgb) -> Vec<&Item> {
        scene.items().iter().filter(|i| i.color == color).collect()
    }

    pub const fn is_fill(item: &Item) -> bool {
        matches!(item.shape, Shape::Fill { .. })
    }

    /// Points of all contours of a fill.
    pub fn points(scene: &Scene, item: &Item) -> Vec<Point> {
        match item.shape {
            Shape::Fill { first, last } => scene.contours(first, last).flatten().copied().collect(),
            Shape::Words(_) => Vec::new(),
        }
    }

    /// Points of the `k`-th fill of a colour.
    pub fn outline(scene: &Scene, color: Rgb, k: usize) -> Vec<Point> {
        points(
            scene,
            items(scene, color)
                .into_iter()
                .filter(|i| is_fill(i))
                .nth(k)
                .expect("a fill of this colour"),
        )
    }

    /// A line of words in a scene.
    pub struct Line {
        pub text: String,
        pub color: Rgb,
        pub layer: Layer,
        pub clip: Option<Bounds>,
        pub words: Words,
    }

    pub fn lines(scene: &Scene) -> Vec<Line> {
        let line = |item: &Item| match item.shape {
            Shape::Words(words) => Some(Line {
                text: scene.words(&words).into(),
                color: item.color,
                layer: item.layer,
                clip: item.clip,
                words,
            }),
            Shape::Fill { .. } => None,
        };
        scene.items().iter().filter_map(line).collect()
    }
}
