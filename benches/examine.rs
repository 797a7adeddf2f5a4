//! How long it takes to check a frame, against a plain sum of absolute differences over an RGB
//! frame pair of the same size in the same run (called U).
//!
//! The time of a frame runs from the moment its pixels are there to the moment its record is handed
//! over: examination, judgement and the record, no decoding and no writing. Frames come from the
//! stand-in unit (another rasteriser and text engine than the reference's, 4:2:0, noise). The page
//! for 1920 x 1080 is the demo's enlarged to the full height.
//! "Everything wrong" shows frames of 9 s later as if they were due.
//!
//! `cargo bench --bench examine`

#![expect(clippy::disallowed_methods, reason = "a bench reads the clock")]

use std::collections::BTreeMap;
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use framevouch::capture::{self, CapturedFrame, Origin, StreamInfo};
use framevouch::check::place::Place;
use framevouch::check::{self, FrameSource, Offset, Settings, Sink, Snapshot, Stretch};
use framevouch::definition::Definition;
use framevouch::demo::unit::{Plan, Unit};
use framevouch::demo::{DISPLAY, scenario};
use framevouch::evidence::records::FrameRecord;
use framevouch::examine::subject::Subject;
use framevouch::picture::Picture;
use framevouch::recording::{MissingColumns, Recording};
use framevouch::reference::drawing::Drawing;

/// Frames from which the chain is measured; they are not timed.
const FIRST: u64 = 48;
/// Frames that are timed.
const TIMED: u64 = 50;
/// How much later the frames are that show everything wrong.
const LATER: u64 = 225;

/// Frames in memory.
struct Frames<'a> {
    frames: &'a [CapturedFrame],
    info: StreamInfo,
    next: usize,
    handed_over: std::rc::Rc<std::cell::Cell<Option<Instant>>>,
}

impl FrameSource for Frames<'_> {
    fn next_into(&mut self, frame: &mut CapturedFrame) -> Result<bool, capture::Error> {
        let Some(next) = self.frames.get(self.next) else {
            return Ok(false);
        };
        self.next += 1;
        frame.clone_from(next);
        self.handed_over.set(Some(Instant::now()));
        Ok(true)
    }

    fn info(&self) -> &StreamInfo {
        &self.info
    }
}

/// Adds up the times of the frames after the first stretch.
struct Clock {
    handed_over: std::rc::Rc<std::cell::Cell<Option<Instant>>>,
    spent: Duration,
    count: u32,
    verdicts: BTreeMap<String, u32>,
}

impl Sink for Clock {
    fn frame(&mut self, record: &FrameRecord) -> std::io::Result<()> {
        if record.frame >= FIRST {
            if let Some(start) = self.handed_over.get() {
                self.spent += start.elapsed();
                self.count += 1;
            }
            *self
                .verdicts
                .entry(format!("{:?}", record.verdict))
                .or_default() += 1;
        }
        Ok(())
    }

    fn snapshot(&mut self, _: &Snapshot) -> std::io::Result<()> {
        Ok(())
    }
}

fn frames(definition: &Definition, recording: &Recording, is_wrong: bool) -> Vec<CapturedFrame> {
    let mut unit = Unit::new(definition, recording, Plan::default(), Vec::new());
    let blank = CapturedFrame::new().picture;
    let mut out = Vec::new();
    for index in 0..FIRST + TIMED {
        if is_wrong && index == FIRST {
            unit.seek(FIRST + LATER);
        }
        let mut picture: Picture = blank.clone();
        unit.next_frame(&mut picture)
            .expect("the scenario is long enough");
        let mut frame = CapturedFrame::new();
        frame.index = index;
        frame.time_s = index as f64 / Plan::default().frames_per_s();
        frame.crc32 = picture.crc32();
        frame.picture = picture;
        out.push(frame);
    }
    out
}

/// Time of a frame, and what the frames were judged to be.
fn a_frame(
    definition: &Definition,
    recording: &Recording,
    frames: &[CapturedFrame],
) -> (Duration, BTreeMap<String, u32>) {
    let drawing = Drawing::new(definition);
    let first = &frames[0].picture;
    let handed_over = std::rc::Rc::new(std::cell::Cell::new(None));
    let mut source = Frames {
        frames,
        info: StreamInfo {
            source: "frames in memory".into(),
            width: first.width(),
            height: first.height(),
            encoding: first.encoding(),
            subsampling: first.subsampling(),
            siting: Some(capture::Siting::Center),
            is_grey: false,
            frame_count: None,
            stated_duration_s: None,
            rate_hz: None,
            matrix_from: Origin::Stream,
            range_from: Origin::Stream,
            times_from: Origin::Stream,
            notes: Vec::new(),
        },
        next: 0,
        handed_over: handed_over.clone(),
    };
    let mut clock = Clock {
        handed_over,
        spent: Duration::ZERO,
        count: 0,
        verdicts: BTreeMap::new(),
    };
    let settings = Settings {
        offset: Offset::Given(0.0),
        place: Place::Usual,
        profile: None,
        stretch: Stretch::First,
        allow_missing: false,
        monitor_off: false,
        beside: None,
    };
    check::check(
        definition,
        Subject::new(definition, &drawing),
        recording,
        &mut source,
        &settings,
        &std::sync::atomic::AtomicBool::new(false),
        &mut clock,
    )
    .expect("the frames can be judged");
    (clock.spent / clock.count.max(1), clock.verdicts)
}

/// The unit of time: mean of a plain sum of absolute differences over pairs of RGB frames that
/// together are larger than the caches.
fn plain_difference(width: usize, height: usize) -> Duration {
    const PAIRS: usize = 12;
    let size = width * height * 3;
    let of = |k: usize| -> Vec<u8> { (0..size).map(|i| (i * 7 + k) as u8).collect() };
    let pairs: Vec<_> = (0..PAIRS).map(|k| (of(k), of(k + 3))).collect();
    let mut best = Duration::MAX;
    for _ in 0..5 {
        let start = Instant::now();
        for (a, b) in &pairs {
            let mut sum = 0u64;
            for (a, b) in a.chunks(1 << 12).zip(b.chunks(1 << 12)) {
                let part: u32 = a
                    .iter()
                    .zip(b)
                    .map(|(a, b)| u32::from(a.abs_diff(*b)))
                    .sum();
                sum += u64::from(part);
            }
            black_box(sum);
        }
        best = best.min(start.elapsed() / PAIRS as u32);
    }
    best
}

/// Keys of lengths, px.
const LENGTHS: [&str; 30] = [
    "advice_position",
    "advice_size",
    "aircraft_span",
    "band_width",
    "center",
    "distance",
    "height",
    "label_radius",
    "length",
    "line_height",
    "line_width",
    "lubber_length",
    "major_half_width",
    "major_length",
    "mark_length",
    "mark_width",
    "minor_half_width",
    "minor_length",
    "pointer_size",
    "position",
    "px_per_deg",
    "px_per_unit",
    "radius",
    "reference",
    "size",
    "tail_radius",
    "tip_radius",
    "travel",
    "visible_px",
    "width",
];

/// The same page, `by` times as large.
fn enlarge(key: &str, value: &mut toml::Value, by: f64) {
    use toml::Value;
    if key == "rect" {
        let sides: Vec<i64> = value
            .as_array()
            .expect("four sides")
            .iter()
            .filter_map(Value::as_integer)
            .collect();
        let [x, y, width, height] = sides[..] else {
            panic!("four whole sides")
        };
        // By its edges, so that regions that touch still do.
        let edge = |v: i64| (v as f64 * by).floor() as i64;
        let (left, top) = (edge(x), edge(y));
        let sides = [left, top, edge(x + width) - left, edge(y + height) - top];
        *value = Value::Array(sides.map(Value::Integer).to_vec());
        return;
    }
    match value {
        Value::Table(table) => {
            for (key, value) in table.iter_mut() {
                enlarge(key, value, by);
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|v| enlarge(key, v, by)),
        Value::Integer(v) if LENGTHS.contains(&key) => *value = Value::Float(*v as f64 * by),
        Value::Float(v) if LENGTHS.contains(&key) => *v *= by,
        _ => {}
    }
}

/// The demo's page at the full height of a canvas.
fn page(width: usize, height: usize) -> String {
    let mut page: toml::Table = DISPLAY.parse().expect("the demo's definition");
    let by = height as f64 / 768.0;
    for (key, value) in page.iter_mut() {
        enlarge(key, value, by);
    }
    let display = page["display"].as_table_mut().expect("a table");
    let canvas = |v: usize| toml::Value::Integer(v as i64);
    display.insert("width".into(), canvas(width));
    display.insert("height".into(), canvas(height));
    page.to_string()
}

fn examine(c: &mut Criterion) {
    // Regions are examined side by side; the figures are for one thread.
    rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build_global()
        .expect("the only pool");
    for (width, height) in [(1024, 768), (1920, 1080)] {
        let text = page(width, height);
        let definition =
            Definition::from_toml(&text, "demo", Path::new(".")).expect("the demo's definition");
        let recording = Recording::from_reader(
            scenario::inputs_csv().as_bytes(),
            "demo",
            &definition,
            MissingColumns::Refuse,
        )
        .expect("the demo's recording");
        let unit = plain_difference(width, height);
        println!("{width}x{height}: U = {:.3} ms", unit.as_secs_f64() * 1e3);
        let mut group = c.benchmark_group(format!("examine_{width}x{height}"));
        group.sample_size(10);
        group.bench_function("plain_difference", |b| {
            b.iter_custom(|n| plain_difference(width, height) * n as u32);
        });
        for (name, is_wrong) in [("clean", false), ("everything_wrong", true)] {
            let frames = frames(&definition, &recording, is_wrong);
            let (spent, verdicts) = a_frame(&definition, &recording, &frames);
            println!(
                "{width}x{height} {name}: {:.2} ms a frame, {:.1} U, {verdicts:?}",
                spent.as_secs_f64() * 1e3,
                spent.as_secs_f64() / unit.as_secs_f64()
            );
            group.bench_function(name, |b| {
                b.iter_custom(|n| a_frame(&definition, &recording, &frames).0 * n as u32);
            });
        }
        group.finish();
    }
}

criterion_group!(benches, examine);
criterion_main!(benches);
