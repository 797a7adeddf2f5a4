//! How fast scenes become pixels. A monitor has 16.7 ms a frame at 60 Hz; drawing should take
//! less than 0.3 ms of it at 1024 x 768, beside a memset of the same planes.
//!
//! `cargo bench --bench rasterise`

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use framevouch::picture::{Encoding, Matrix, Point, Range, Rect, Rgb};
use framevouch::reference::canvas::{Canvas, Look};
use framevouch::reference::painter::{Filter, Painter};
use framevouch::reference::region_canvas::RegionCanvas;
use framevouch::reference::scene::{Bounds, Layer, Scene, on_clock};
use framevouch::reference::text::{Font, FontId};

const FRAME: Rect = Rect::new(0, 0, 1024, 768);
const WHITE: Rgb = Rgb([255; 3]);
const SKY: Rgb = Rgb([0, 90, 200]);
const GROUND: Rgb = Rgb([110, 70, 20]);

fn fonts() -> Vec<(String, Font)> {
    vec![(
        "b612".into(),
        Font::built_in("B612 Regular").expect("it is part of the tool"),
    )]
}

fn look() -> Look {
    Look::new(Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    })
}

fn words(scene: &mut Scene, at: Point, direction: (f64, f64), text: &str) {
    scene.words_at(
        WHITE,
        FontId(0),
        18.0,
        at,
        direction,
        11.0 * text.len() as f64,
        text,
    );
}

/// About what a whole flight display moves: a horizon of 400 x 400 px with a ladder, six
/// pointers, two tapes of ten labels, a turning card of twelve labels, fifteen readouts.
fn moving(scene: &mut Scene, step: u32) {
    let t = f64::from(step);
    scene.clear();
    scene.set_layer(Layer::Moving);
    let view = Bounds {
        left: 300.0,
        top: 60.0,
        right: 700.0,
        bottom: 460.0,
    };
    scene.set_clip(Some(view));
    let bank = libm::sin(t / 40.0) * 0.4;
    let (c, s) = (libm::cos(bank), libm::sin(bank));
    let at = |x: f64, y: f64| Point::new(500.0 + x * c - y * s, 260.0 + x * s + y * c);
    scene.polygon(
        SKY,
        &[
            at(-600.0, -600.0),
            at(600.0, -600.0),
            at(600.0, 5.0),
            at(-600.0, 5.0),
        ],
    );
    scene.polygon(
        GROUND,
        &[
            at(-600.0, 5.0),
            at(600.0, 5.0),
            at(600.0, 600.0),
            at(-600.0, 600.0),
        ],
    );
    for k in -4..=4 {
        let y = 5.0 + 40.0 * f64::from(k);
        scene.line(WHITE, at(-50.0, y), at(50.0, y), 2.0);
        words(scene, at(-80.0, y + 6.0), (c, s), "10");
    }
    scene.set_clip(None);
    for k in 0..6 {
        let center = Point::new(100.0 + 160.0 * f64::from(k), 640.0);
        scene.line(
            WHITE,
            center,
            on_clock(center, 60.0, t * 1.3 + 50.0 * f64::from(k)),
            4.0,
        );
    }
    for x in [220.0, 720.0] {
        scene.set_clip(Some(Bounds {
            left: x,
            top: 60.0,
            right: x + 70.0,
            bottom: 460.0,
        }));
        for k in 0..11 {
            let y = 40.0 * f64::from(k) + (t * 0.7) % 40.0 + 50.0;
            scene.line(WHITE, Point::new(x + 55.0, y), Point::new(x + 70.0, y), 2.0);
            words(scene, Point::new(x + 10.0, y + 6.0), (1.0, 0.0), "120");
        }
    }
    scene.set_clip(None);
    let center = Point::new(500.0, 560.0);
    for k in 0..36 {
        let angle = f64::from(k) * 10.0 + t * 0.3;
        scene.line(
            WHITE,
            on_clock(center, 70.0, angle),
            on_clock(center, 78.0, angle),
            1.5,
        );
        if k % 3 == 0 {
            let turn = angle.to_radians();
            words(
                scene,
                on_clock(center, 52.0, angle),
                (libm::cos(turn), libm::sin(turn)),
                "33",
            );
        }
    }
    for k in 0..15 {
        let at = Point::new(830.0, 80.0 + 24.0 * f64::from(k));
        words(scene, at, (1.0, 0.0), &format!("{:05}", step * 7 + k));
    }
    scene.set_layer(Layer::Foreground);
    scene.line(
        WHITE,
        Point::new(440.0, 260.0),
        Point::new(560.0, 260.0),
        5.0,
    );
}

fn rasterise(c: &mut Criterion) {
    let fonts = fonts();
    let mut painter = Painter::new();
    let mut group = c.benchmark_group("rasterise");
    group.throughput(Throughput::Elements(1));
    let levels = look().levels(SKY);
    for planes in [1, 3] {
        let mut canvas = Canvas::new(FRAME, planes, [16, 128, 128]);
        group.bench_function(format!("fill 1024x768, {planes} planes, memset"), |b| {
            b.iter(|| black_box(&mut canvas).fill(FRAME, levels));
        });
        let mut sky = Scene::default();
        let p = Point::new;
        sky.polygon(
            SKY,
            &[
                p(-99.0, -99.0),
                p(1200.0, -99.0),
                p(1200.0, 360.0),
                p(-99.0, 410.0),
            ],
        );
        sky.polygon(
            GROUND,
            &[
                p(-99.0, 410.0),
                p(1200.0, 360.0),
                p(1200.0, 900.0),
                p(-99.0, 900.0),
            ],
        );
        group.bench_function(format!("sky and ground 1024x768, {planes} planes"), |b| {
            b.iter(|| {
                painter.draw(
                    &sky,
                    &fonts,
                    &look(),
                    black_box(&mut canvas),
                    Filter::ALL,
                    FRAME,
                )
            });
        });
        let mut scenes = vec![Scene::default(); 64];
        for (scene, step) in scenes.iter_mut().zip(0..) {
            moving(scene, step);
        }
        let mut k = 0;
        group.bench_function(format!("all that moves 1024x768, {planes} planes"), |b| {
            b.iter(|| {
                k = (k + 1) % scenes.len();
                painter.draw(
                    &scenes[k],
                    &fonts,
                    &look(),
                    black_box(&mut canvas),
                    Filter::ALL,
                    FRAME,
                );
            });
        });
        let mut region = RegionCanvas::new(FRAME, planes, look(), Rgb([0; 3]));
        group.bench_function(format!("update 1024x768, {planes} planes"), |b| {
            b.iter(|| {
                k = (k + 1) % scenes.len();
                black_box(region.update(&mut painter, &fonts, &scenes[k]).len())
            });
        });
    }
    let mut small = Scene::default();
    let center = Point::new(32.3, 31.8);
    small.line(WHITE, center, on_clock(center, 60.0, 33.0), 4.0);
    let area = Rect::new(0, 0, 64, 64);
    let mut canvas = Canvas::new(area, 1, [0; 3]);
    group.bench_function("one pointer of 60 px, 1 plane", |b| {
        b.iter(|| {
            painter.draw(
                &small,
                &fonts,
                &look(),
                black_box(&mut canvas),
                Filter::ALL,
                area,
            )
        });
    });
    group.finish();
}

criterion_group!(benches, rasterise);
criterion_main!(benches);
