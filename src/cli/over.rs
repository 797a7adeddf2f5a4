//! `framevouch draw --over`: the reference laid over a captured frame, to bring a definition onto a real picture.

use std::path::Path;

use serde::Serialize;

use super::{CaptureArguments, Failure, InputArguments, results, write_file};
use crate::capture::profile::Profile;
use crate::capture::{Capture, CapturedFrame};
use crate::chain::measure::stated_siting;
use crate::chain::register::FrameReference;
use crate::check::{self, Offset};
use crate::definition::Definition;
use crate::evidence::manifest::stored_path;
use crate::evidence::pictures;
use crate::evidence::records::{rounded, thousandths};
use crate::evidence::run_folder::{Kind, RunFolder};
use crate::examine::comparison::ChainLook;
use crate::examine::overlay::{Placed, overlay};
use crate::examine::place::symbol_in_words;
use crate::examine::subject::Subject;
use crate::picture::{Point, Rect, Rgb};
use crate::reference::canvas::{Canvas, Look, Siting};
use crate::reference::drawing::Drawing;
use crate::reference::painter::{Filter, Painter};
use crate::reference::png;
use crate::reference::scene::{Bounds, Scene};
use crate::reference::text::{Font, FontId};

/// What is laid over what.
pub(super) struct Over<'a> {
    pub input: &'a InputArguments,
    pub capture: CaptureArguments,
    /// Capture time of the frame, s.
    pub at_s: f64,
    /// Recording time = capture time + this, s.
    pub offset_s: f64,
    pub profile: Option<&'a Path>,
    pub out: &'a Path,
    pub force: bool,
}

const PICTURES: [&str; 4] = [
    "capture.png",
    "reference.png",
    "blend.png",
    "difference.png",
];
const TABLE: &str = "regions.json";

const KIND: Kind = Kind {
    command: "draw",
    is_result: |name| name == TABLE || PICTURES.contains(&name),
    folders: &[],
    is_begun: |_| false,
};

/// A region as the table has it.
#[derive(Serialize)]
struct Row {
    region: String,
    /// x and y, px; `null` along an axis without edges across it.
    displacement_px: [Option<f64>; 2],
    agrees: bool,
    missing_px: u32,
    foreign_px: u32,
    color_samples: u32,
    /// Where it disagrees, `[x, y, width, height]`, px of the capture.
    place: Option<[i32; 4]>,
    symbol: Option<String>,
}

/// Runs `draw --over`.
pub(super) fn run(over: &Over) -> Result<u8, Failure> {
    let (definition, recording) = over.input.load()?;
    let profile = over.profile.map(Profile::read).transpose()?;
    let place = over.capture.place(&definition)?;
    let mut capture = over.capture.open()?;
    let frame = frame_at(&mut capture, over.at_s)?;
    let drawing = Drawing::new(&definition);
    let subject = Subject::new(&definition, &drawing);
    let mut painter = Painter::new();
    let (profile, profile_file) = match profile {
        Some((profile, file)) => (profile, Some(file)),
        None => {
            let p = &frame.picture;
            let siting = stated_siting(capture.info().siting).unwrap_or(Siting::Left);
            let size = (p.width(), p.height());
            let (frames, offset) = (std::slice::from_ref(&frame), Offset::Given(over.offset_s));
            let place =
                check::settle_place(subject, &recording, frames, place, offset, &mut painter)
                    .map_err(|e| e.of_capture(&over.capture.capture))?;
            let mut profile = Profile::plain(size, p.encoding(), p.subsampling(), siting);
            profile.set_geometry(&place);
            (profile, None)
        }
    };
    if (profile.width, profile.height) != (frame.picture.width(), frame.picture.height()) {
        return Err(format!(
            "the profile is for frames of {}x{}, the capture has {}x{}; calibrate this chain anew",
            profile.width,
            profile.height,
            frame.picture.width(),
            frame.picture.height()
        )
        .into());
    }
    let mut paths = InputArguments::paths(&definition, &recording);
    paths.push(&over.capture.capture);
    let folder = RunFolder::claim(over.out, KIND, paths, over.force)?;
    let chain = ChainLook::of(&profile);
    let time_s = frame.time_s + over.offset_s;
    let (age_s, placed) = overlay(subject, &recording, &frame, time_s, &chain, &mut painter);

    let inputs = recording.inputs(time_s - age_s);
    let planes = (profile.subsampling, profile.siting);
    let size = (profile.width, profile.height);
    let reference = FrameReference::draw(
        subject,
        &inputs,
        &profile.look(),
        planes,
        size,
        &mut painter,
    );
    let captured = pictures::to_rgb(&frame.picture);
    let reference = pictures::to_rgb(&reference.picture(profile.encoding));
    let blend = mixed(&captured, &reference, |a, b| a.midpoint(b));
    let difference = mixed(&captured, &reference, |a, b| {
        a.abs_diff(b).saturating_mul(2)
    });
    let new = folder.new_results();
    let marked = marked(&blend, &definition, &placed, &mut painter);
    let whole = |p: &image::RgbImage| png::png_of_rgb(p.width(), p.height(), p.as_raw());
    let files = [
        whole(&captured)?,
        whole(&reference)?,
        png::png(&marked)?,
        whole(&difference)?,
    ];
    for (name, bytes) in PICTURES.iter().zip(files) {
        write_file(&new.join(name), &bytes)?;
    }
    let rows: Vec<Row> = placed.iter().map(|p| row(&definition, p)).collect();
    let text = serde_json::to_string_pretty(&rows)? + "\n";
    write_file(&new.join(TABLE), text.as_bytes())?;

    let mut read = InputArguments::read(&definition, &recording)?;
    read.add_fonts(&definition)?;
    if let Some(file) = &profile_file {
        read.add_file("profile", file)?;
    }
    read.add("capture", &over.capture.capture, &capture.contents()?)?;
    read.see(capture.program()?.as_slice())?;
    results::write_manifest(&new, over.out, KIND.command, normalised(over), &read)?;
    folder.finish()?;
    say!(
        "frame {} at {} s, recording time {} s, data {:.0} ms old agree best",
        frame.index,
        thousandths(frame.time_s),
        thousandths(time_s),
        age_s * 1000.0
    );
    say!("region                displaced by x, y   disagreement");
    for (placed, row) in placed.iter().zip(&rows) {
        let by = |v: Option<f64>| v.map_or("-".to_owned(), |v| format!("{v:+.2}"));
        let [x, y] = row.displacement_px.map(by);
        let place = placed.place.map_or("agrees".to_owned(), |r| {
            format!(
                "{} px missing, {} px foreign, {} colour samples at [{}, {}, {}, {}], {}",
                row.missing_px,
                row.foreign_px,
                row.color_samples,
                r.x,
                r.y,
                r.width,
                r.height,
                row.symbol.as_deref().unwrap_or("no symbol reaches there")
            )
        });
        say!("{:20} {x:>8}, {y:>8} px  {place}", row.region);
    }
    say!("pictures and table in {}", over.out.display());
    Ok(super::EXIT_AGREES)
}

/// The frame that stands there at `time_s`: the last one that is not after it.
fn frame_at(capture: &mut Capture, time_s: f64) -> Result<CapturedFrame, Failure> {
    let mut shown = CapturedFrame::new();
    let mut next = CapturedFrame::new();
    let mut is_any = false;
    while capture.next_into(&mut next)? {
        if next.time_s > time_s + 1e-6 {
            let from_s = thousandths(next.time_s);
            return if is_any {
                Ok(shown)
            } else {
                Err(format!(
                    "no frame stands there at {time_s} s: the capture begins at {from_s} s"
                )
                .into())
            };
        }
        std::mem::swap(&mut shown, &mut next);
        is_any = true;
    }
    let last_s = thousandths(shown.time_s);
    // The last one stands for as long as a moving picture holds a frame.
    if is_any && time_s <= shown.time_s + 1.0 {
        return Ok(shown);
    }
    Err(format!("no frame stands there at {time_s} s: the capture ends at {last_s} s").into())
}

fn row(definition: &Definition, placed: &Placed) -> Row {
    let difference = &placed.difference;
    Row {
        region: definition.regions()[placed.region].id.clone(),
        displacement_px: placed.displacement_px.map(|v| v.map(rounded)),
        agrees: placed.place.is_none(),
        missing_px: difference.luma.missing_px,
        foreign_px: difference.luma.foreign_px,
        color_samples: difference.chroma.px(),
        place: placed.place.map(|r| [r.x, r.y, r.width, r.height]),
        symbol: placed
            .symbol
            .map(|k| symbol_in_words(definition, placed.region, k)),
    }
}

fn mixed(a: &image::RgbImage, b: &image::RgbImage, mix: impl Fn(u8, u8) -> u8) -> image::RgbImage {
    let mut out = a.clone();
    for (to, from) in out.as_flat_samples_mut().samples.iter_mut().zip(b.as_raw()) {
        *to = mix(*to, *from);
    }
    out
}

const AGREES: Rgb = Rgb([70, 220, 120]);
const DISAGREES: Rgb = Rgb([255, 70, 200]);
const PLATE: Rgb = Rgb([0, 0, 0]);
const LABEL: Rgb = Rgb([255, 255, 255]);
const LABEL_PX: f64 = 11.0;

/// The picture with the outline of each region, its id, and a box round what disagrees.
fn marked(
    picture: &image::RgbImage,
    definition: &Definition,
    placed: &[Placed],
    painter: &mut Painter,
) -> Canvas {
    let area = Rect::new(0, 0, picture.width() as i32, picture.height() as i32);
    let mut canvas = Canvas::new(area, 3, [0; 3]);
    for y in 0..picture.height() {
        for (k, row) in canvas.rows_mut(y as i32).enumerate() {
            for (x, level) in (0..).zip(row) {
                *level = picture.get_pixel(x, y).0[k];
            }
        }
    }
    let face = "B612 Bold";
    let fonts = [(
        face.to_owned(),
        Font::built_in(face).expect("it is built in"),
    )];
    let mut scene = Scene::default();
    let bounds = |r: Rect| Bounds::from_rect([r.x, r.y, r.width, r.height]);
    for p in placed {
        let color = if p.place.is_some() { DISAGREES } else { AGREES };
        scene.frame(color, bounds(p.area), 1.0);
        if let Some(place) = p.place {
            scene.frame(DISAGREES, bounds(place.grown(3).intersection(&area)), 2.0);
        }
        let id = &definition.regions()[p.region].id;
        let width = LABEL_PX * fonts[0].1.line_advance(id);
        let (left, top) = (f64::from(p.area.x) + 1.0, f64::from(p.area.y) + 1.0);
        let plate = Bounds {
            left,
            top,
            right: left + width + 4.0,
            bottom: top + LABEL_PX + 3.0,
        };
        scene.rectangle(PLATE, plate);
        let origin = Point::new(left + 2.0, top + LABEL_PX);
        scene.words_at(LABEL, FontId(0), LABEL_PX, origin, (1.0, 0.0), width, id);
    }
    painter.draw(&scene, &fonts, &Look::rgb(), &mut canvas, Filter::ALL, area);
    canvas
}

/// The arguments in a fixed order, paths as a manifest in the folder stores them.
fn normalised(over: &Over) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut say = |name: &str, value: String| words.extend([name.to_owned(), value]);
    over.input.say(over.out, &mut say);
    say("--over", stored_path(&over.capture.capture, over.out));
    say("--at", over.at_s.to_string());
    over.capture.say(&mut say);
    if over.offset_s != 0.0 {
        say("--offset", over.offset_s.to_string());
    }
    if let Some(path) = over.profile {
        say("--profile", stored_path(path, over.out));
    }
    if over.input.allow_missing {
        words.push("--allow-missing".into());
    }
    words
}
