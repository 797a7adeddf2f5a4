//! What the tests of parts share: a small display around the symbol under test, and ways to look at a scene.

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
    Condition::at_least(channel, limit)
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
