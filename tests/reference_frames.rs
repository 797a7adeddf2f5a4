//! Golden frames: what the renderer draws today is what `reference_frames/` holds. The README
//! there says what that proves and how frames are made anew.

#[path = "reference_frames/gallery.rs"]
mod gallery;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use framevouch::definition::Definition;
use framevouch::demo;
use framevouch::picture::{Plane, Point, Rect, Rgb};
use framevouch::recording::{MissingColumns, Recording};
use framevouch::reference::canvas::{Canvas, Look};
use framevouch::reference::drawing::Drawing;
use framevouch::reference::painter::{Filter, Painter};
use framevouch::reference::png::{png, png_of_rgb};
use framevouch::reference::scene::{Bounds, Scene};
use framevouch::reference::text::{Font, FontId};
use serde::Deserialize;

/// Names the cases to make anew: stems as in `derived/raster/diagonal`, parted by commas.
const REGENERATE: &str = "REGENERATE";

/// The inputs of a golden frame.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    /// The one thing that the frame shows.
    #[expect(dead_code, reason = "written for the reader of the case")]
    shows: String,
    /// Largest permitted difference of a level; not 0 only with a reason beside it.
    #[serde(default)]
    tolerance: u8,
    reason: Option<String>,
    /// Canvas of a case that lists primitives.
    #[serde(default)]
    width: i32,
    #[serde(default)]
    height: i32,
    #[serde(default)]
    background: String,
    /// A display definition, in the place of primitives.
    display: Option<String>,
    /// A bundled display, in the place of primitives, shown at a moment of the demo's scenario.
    page: Option<Page>,
    #[serde(default)]
    scenario_s: f64,
    /// What `display` shows: values by column.
    #[serde(default)]
    inputs: BTreeMap<String, f64>,
    #[serde(default)]
    draw: Vec<Primitive>,
    /// Pixels worked out by hand.
    #[serde(default)]
    pixel: Vec<Pixel>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Page {
    Demo,
    EngineStrip,
    Reversionary,
}

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Primitive {
    Polygon {
        color: String,
        points: Vec<[f64; 2]>,
        clip: Option<[f64; 4]>,
    },
    Ring {
        color: String,
        center: [f64; 2],
        radii: [f64; 2],
        from_deg: f64,
        to_deg: f64,
    },
    Words {
        color: String,
        font: String,
        size: f64,
        origin: [f64; 2],
        turn_deg: f64,
        text: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pixel {
    at: [i32; 2],
    rgb: [u8; 3],
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reference_frames")
}

fn color(hex: &str) -> Rgb {
    let v = u32::from_str_radix(hex.trim_start_matches('#'), 16).expect("colours are #rrggbb");
    let [_, r, g, b] = v.to_be_bytes();
    Rgb([r, g, b])
}

fn drawn(case: &Case) -> Result<Canvas, String> {
    if let Some(text) = &case.display {
        let (columns, values): (Vec<&str>, Vec<String>) = case
            .inputs
            .iter()
            .map(|(column, v)| (column.as_str(), v.to_string()))
            .unzip();
        let csv = format!("t_s,{}\n0,{}\n", columns.join(","), values.join(","));
        return shown(text, &csv, 0.0);
    }
    if let Some(page) = case.page {
        let text = match page {
            Page::Demo => demo::DISPLAY,
            Page::EngineStrip => demo::ENGINE_STRIP,
            Page::Reversionary => demo::REVERSIONARY,
        };
        return shown(text, &demo::scenario::inputs_csv(), case.scenario_s);
    }
    Ok(primitives(case))
}

/// What the display `text` must show at recording time `time_s`.
fn shown(text: &str, csv: &str, time_s: f64) -> Result<Canvas, String> {
    let definition =
        Definition::from_toml(text, "case", Path::new("")).map_err(|e| e.to_string())?;
    let refuse = MissingColumns::Refuse;
    let recording = Recording::from_reader(csv.as_bytes(), "inputs", &definition, refuse)
        .map_err(|e| e.to_string())?;
    let inputs = recording.inputs(time_s);
    let drawing = Drawing::new(&definition);
    Ok(drawing.frame(&definition, &inputs, &mut Painter::new()))
}

fn primitives(case: &Case) -> Canvas {
    let mut scene = Scene::default();
    let fonts: Vec<(String, Font)> = Font::built_in_names()
        .map(|n| {
            (
                n.to_string(),
                Font::built_in(n).expect("listed faces are there"),
            )
        })
        .collect();
    let at = |p: [f64; 2]| Point::new(p[0], p[1]);
    for primitive in &case.draw {
        scene.set_clip(None);
        match primitive {
            Primitive::Polygon {
                color: c,
                points,
                clip,
            } => {
                scene.set_clip(clip.map(|[left, top, right, bottom]| Bounds {
                    left,
                    top,
                    right,
                    bottom,
                }));
                let points: Vec<Point> = points.iter().map(|&p| at(p)).collect();
                scene.polygon(color(c), &points);
            }
            Primitive::Ring {
                color: c,
                center,
                radii,
                from_deg,
                to_deg,
            } => {
                scene.arc_band(color(c), at(*center), *radii, *from_deg, *to_deg);
            }
            Primitive::Words {
                color: c,
                font,
                size,
                origin,
                turn_deg,
                text,
            } => {
                let font = fonts
                    .iter()
                    .position(|(n, _)| n == font)
                    .expect("the face is built in");
                let width = fonts[font].1.line_advance(text) * size;
                let turn = turn_deg.to_radians();
                let direction = (libm::cos(turn), libm::sin(turn));
                scene.words_at(
                    color(c),
                    FontId(font),
                    *size,
                    at(*origin),
                    direction,
                    width,
                    text,
                );
            }
        }
    }
    let area = Rect::new(0, 0, case.width, case.height);
    let look = Look::rgb();
    let mut canvas = Canvas::new(area, 3, look.levels(color(&case.background)));
    Painter::new().draw(&scene, &fonts, &look, &mut canvas, Filter::ALL, area);
    canvas
}

/// Stems under `folder`, each with whether there are inputs and a frame.
fn walk(folder: &Path, out: &mut BTreeMap<String, (bool, bool)>) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for path in entries.map(|e| e.expect("the folder can be read").path()) {
        if path.is_dir() {
            walk(&path, out);
            continue;
        }
        let stem = path.with_extension("");
        let stem = stem.strip_prefix(root()).expect("it lies below the root");
        let found = out
            .entry(stem.to_string_lossy().replace('\\', "/"))
            .or_default();
        match path.extension().and_then(|e| e.to_str()) {
            Some("toml") => found.0 = true,
            Some("png") => found.1 = true,
            _ => panic!("{} is neither inputs nor a frame", path.display()),
        }
    }
}

fn crc32(rgb: &[u8]) -> String {
    format!("{:08x}", crc32fast::hash(rgb))
}

/// The CRC-32 of each frame's levels, by stem: a second witness, readable in a review.
fn crc_list() -> BTreeMap<String, String> {
    let text = fs::read_to_string(root().join("CRC32.txt")).unwrap_or_default();
    text.lines()
        .filter_map(|l| l.split_once("  "))
        .map(|(crc, stem)| (stem.into(), crc.into()))
        .collect()
}

fn golden(stem: &str) -> Result<Canvas, String> {
    let path = root().join(stem).with_extension("png");
    let bytes = fs::read(&path).map_err(|e| format!("{stem}: cannot open the frame: {e}"))?;
    let picture = image::load_from_memory(&bytes)
        .map_err(|e| format!("{stem}: {e}"))?
        .into_rgb8();
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let listed = crc_list();
    if listed.get(stem).map(String::as_str) != Some(&crc32(picture.as_raw())) {
        return Err(format!(
            "{stem}: the frame's CRC-32 is not the one listed in CRC32.txt"
        ));
    }
    let mut canvas = Canvas::new(Rect::new(0, 0, width as i32, height as i32), 3, [0; 3]);
    let planes: [Plane; 3] = std::array::from_fn(|k| {
        let levels = picture
            .as_raw()
            .iter()
            .skip(k)
            .step_by(3)
            .copied()
            .collect();
        Plane::from_levels(width, height, levels)
    });
    for y in 0..height {
        for x in 0..width {
            let pixel = Rect::new(x as i32, y as i32, 1, 1);
            canvas.fill(pixel, std::array::from_fn(|k| planes[k].at(x, y)));
        }
    }
    Ok(canvas)
}

/// Compares a drawn frame with its golden frame; on a mismatch leaves
/// reference | difference | drawn in the build directory and says where.
fn compare(stem: &str, golden: &Canvas, drawn: &Canvas, tolerance: u8) -> Result<(), String> {
    let (a, b) = (golden.interleaved(), drawn.interleaved());
    if golden.area() != drawn.area() {
        let (g, d) = (golden.area(), drawn.area());
        return Err(format!(
            "{stem}: frame is {}x{}, drawn {}x{}",
            g.width, g.height, d.width, d.height
        ));
    }
    let change = |k: usize| {
        (0..3)
            .map(|c| a[3 * k + c].abs_diff(b[3 * k + c]))
            .max()
            .unwrap_or(0)
    };
    let width = golden.area().width as usize;
    let pixels = a.len() / 3;
    let changed: Vec<usize> = (0..pixels).filter(|&k| change(k) > tolerance).collect();
    let Some(first) = changed.first() else {
        return Ok(());
    };
    let largest = changed.iter().map(|&k| change(k)).max().unwrap_or(0);
    let mut panels = Vec::with_capacity(9 * pixels);
    for row in 0..golden.area().height as usize {
        let line = 3 * row * width..3 * (row + 1) * width;
        panels.extend_from_slice(&a[line.clone()]);
        // Black where nothing changed; small changes are lifted so that they can be seen.
        panels.extend(line.clone().map(|k| match a[k].abs_diff(b[k]) {
            0 => 0,
            d => d.saturating_mul(4).max(64),
        }));
        panels.extend_from_slice(&b[line]);
    }
    let out =
        Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{}.png", stem.replace('/', "-")));
    let file = png_of_rgb(3 * width as u32, golden.area().height as u32, &panels);
    fs::write(&out, file.map_err(|e| e.to_string())?).map_err(|e| e.to_string())?;
    Err(format!(
        "{stem}: {} pixels changed, by up to {largest} levels, first at ({}, {}); see {}",
        changed.len(),
        first % width,
        first / width,
        out.display()
    ))
}

fn check(
    stem: &str,
    (has_inputs, has_frame): (bool, bool),
    is_made_anew: bool,
) -> Result<(), String> {
    if !has_inputs {
        return Err(format!("{stem}: a frame without inputs"));
    }
    let path = root().join(stem).with_extension("toml");
    let text = fs::read_to_string(path).map_err(|e| format!("{stem}: {e}"))?;
    let case: Case = toml::from_str(&text).map_err(|e| format!("{stem}: {e}"))?;
    if case.tolerance > 0 && case.reason.is_none() {
        return Err(format!("{stem}: a tolerance needs a reason"));
    }
    let canvas = drawn(&case).map_err(|e| format!("{stem}: {e}"))?;
    for pixel in &case.pixel {
        let got = canvas.at(pixel.at[0], pixel.at[1]);
        if got != pixel.rgb {
            return Err(format!(
                "{stem}: pixel {:?} is {got:?}, worked out {:?}",
                pixel.at, pixel.rgb
            ));
        }
    }
    if is_made_anew {
        let file = png(&canvas).map_err(|e| e.to_string())?;
        fs::write(root().join(stem).with_extension("png"), file).map_err(|e| e.to_string())?;
        let mut list = crc_list();
        list.insert(stem.into(), crc32(&canvas.interleaved()));
        let text: String = list
            .iter()
            .map(|(stem, crc)| format!("{crc}  {stem}\n"))
            .collect();
        fs::write(root().join("CRC32.txt"), text).map_err(|e| e.to_string())?;
        return Err(format!(
            "{stem}: made anew; look at it, then run again without {REGENERATE}"
        ));
    }
    if !has_frame {
        return Err(format!("{stem}: inputs without a frame"));
    }
    compare(stem, &golden(stem)?, &canvas, case.tolerance)
}

#[test]
fn drawn_frames_are_the_golden_frames() {
    let wanted = std::env::var(REGENERATE).unwrap_or_default();
    let wanted: Vec<&str> = wanted.split(',').filter(|s| !s.is_empty()).collect();
    let mut cases = BTreeMap::new();
    walk(&root().join("derived"), &mut cases);
    walk(&root().join("drawn"), &mut cases);
    assert!(!cases.is_empty(), "reference_frames holds cases");
    let mut complaints: Vec<String> = cases
        .iter()
        .filter_map(|(stem, found)| check(stem, *found, wanted.contains(&stem.as_str())).err())
        .collect();
    let strays = wanted.iter().copied();
    let strays = strays.filter(|w| !cases.contains_key(*w) && *w != gallery::GALLERY);
    complaints.extend(strays.map(|w| format!("{w}: no such case")));
    let listed = crc_list();
    let gone = listed.keys().filter(|stem| !cases.contains_key(*stem));
    complaints
        .extend(gone.map(|stem| format!("{stem}: listed in CRC32.txt, but there is no such case")));
    assert!(complaints.is_empty(), "\n{}", complaints.join("\n"));
}

#[test]
fn a_changed_pixel_is_found_and_shown() {
    let golden = Canvas::new(Rect::new(0, 0, 4, 3), 3, [10, 20, 30]);
    let mut drawn = golden.clone();
    assert_eq!(compare("self-test", &golden, &drawn, 0), Ok(()));
    drawn.fill(Rect::new(2, 1, 2, 1), [10, 23, 30]);
    assert_eq!(compare("self-test", &golden, &drawn, 3), Ok(()));
    let complaint = compare("self-test", &golden, &drawn, 2).expect_err("two pixels differ by 3");
    assert!(
        complaint.contains("2 pixels changed, by up to 3 levels, first at (2, 1)"),
        "{complaint}"
    );
    let panels = Path::new(env!("CARGO_TARGET_TMPDIR")).join("self-test.png");
    let panels = image::open(panels)
        .expect("the panels were written")
        .into_rgb8();
    assert_eq!(panels.dimensions(), (12, 3));
    assert_eq!(panels.get_pixel(4 + 2, 1).0, [0, 64, 0]);
}
