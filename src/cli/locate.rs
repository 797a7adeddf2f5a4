//! `framevouch locate`: where in a capture the display stands.

use std::path::PathBuf;

use image::{Rgb, RgbImage};
use imageproc::drawing::draw_line_segment_mut;

use super::check::parse_offset;
use super::place::PlaceArgument;
use super::{CaptureArguments, Failure, Force, InputArguments, calibrate};
use crate::capture::{CapturedFrame, ReadAhead};
use crate::chain::locate::edges;
use crate::chain::register::shown_share;
use crate::check::place::{Place, in_words};
use crate::check::{self, Offset};
use crate::definition::Definition;
use crate::evidence::pictures;
use crate::examine::subject::Subject;
use crate::files;
use crate::picture::{Point, Rect};
use crate::reference::canvas::{Geometry, Look};
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;
use crate::reference::png;

/// Arguments of `locate`.
#[derive(clap::Args)]
pub struct Arguments {
    #[command(flatten)]
    input: InputArguments,
    #[command(flatten)]
    capture: CaptureArguments,
    /// Recording time = capture time + SECONDS; `auto` finds it from the material.
    #[arg(long, value_name = "SECONDS|auto", value_parser = parse_offset, allow_hyphen_values = true)]
    offset: Option<Offset>,
    /// File for a picture that shows where it is: the captured frame with the outlines of regions, and the static edges
    /// of the reference, green where the capture has them and magenta where it has not.
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
    /// File for the profile of the chain, with the place in it, as `framevouch calibrate` writes it.
    #[arg(long, value_name = "profile.json")]
    out: Option<PathBuf>,
    #[command(flatten)]
    force: Force,
}

/// How pictures are known by their beginning.
const PICTURE: files::Kind = files::Kind {
    name: "a picture",
    mark: "\u{89}PNG",
};

/// Runs `locate`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let (definition, recording) = arguments.input.load()?;
    let mut inputs = InputArguments::paths(&definition, &recording);
    inputs.push(&arguments.capture.capture);
    let results = arguments.picture.iter().chain(&arguments.out);
    files::refuse_shared(inputs, results.cloned())?;
    let offset = arguments.offset.unwrap_or(Offset::Usual);
    let place = match arguments.capture.place(&definition)? {
        Place::Usual => Place::Auto,
        said => said,
    };
    let drawing = Drawing::new(&definition);
    let subject = Subject::new(&definition, &drawing);
    let mut source = ReadAhead::start(arguments.capture.open()?, 4);
    let (frames, ended) = check::first_stretch(&mut source)?;
    drop(source);
    let Some(frame) = frames.get(frames.len() / 2) else {
        return Err(ended.map_or_else(|| "the capture holds no frames".into(), Failure::from));
    };
    let mut painter = Painter::new();
    let geometry = check::settle_place(subject, &recording, &frames, place, offset, &mut painter)
        .map_err(|e| e.of_capture(&arguments.capture.capture))?;
    let size = definition.size();
    let (own_x, own_y) = (size.0 as f64, size.1 as f64);
    let corners = geometry.corners((own_x, own_y));
    let scales = [(0.0, 0.0), (own_x, own_y)].map(|(x, y)| geometry.scale_at(Point::new(x, y)));
    say!("place         {}", in_words(&geometry, size));
    for (name, p) in ["top left", "top right", "bottom right", "bottom left"]
        .iter()
        .zip(corners)
    {
        say!("{name:13} {:.2}, {:.2} px", p.x, p.y);
    }
    let [[x0, y0], [x1, y1]] = scales;
    if geometry.is_upright() {
        say!("scale         {x0:.5} across, {y0:.5} down");
    } else {
        say!(
            "scale         {x0:.4}, {y0:.4} at the top left, {x1:.4}, {y1:.4} at the bottom right"
        );
    }
    let inputs = recording.inputs(frame.time_s + offset.or_zero());
    let look = Look {
        geometry,
        ..Look::new(frame.picture.encoding())
    };
    let luma = &frame.picture.planes()[0];
    let edges = edges(subject, &inputs, &look, luma, &mut painter);
    say!(
        "edges         {:.1} % of {} px of static edges are there",
        100.0 * shown_share(&edges),
        edges.len()
    );
    if let Some(path) = &arguments.picture {
        let marks = edges.iter().map(|e| ([e.x, e.y], e.is_shown));
        let picture = proof(&definition, frame, &geometry, marks);
        let bytes = png::png_of_rgb(picture.width(), picture.height(), picture.as_raw())?;
        files::replace(path, &bytes, PICTURE, arguments.force.force)?;
    }
    match &arguments.out {
        None => Ok(super::EXIT_AGREES),
        Some(out) => {
            let capture = CaptureArguments {
                place: Some(PlaceArgument::Corners(corners.map(|p| [p.x, p.y]))),
                ..arguments.capture.clone()
            };
            calibrate::calibrate(
                &arguments.input,
                &capture,
                offset,
                out,
                arguments.force.force,
            )
        }
    }
}

const SHOWN: Rgb<u8> = Rgb([70, 220, 120]);
const NOT_SHOWN: Rgb<u8> = Rgb([255, 70, 200]);
const OUTLINE: Rgb<u8> = Rgb([255, 220, 90]);

/// The captured frame, darkened, with the edges that were asked for and the outlines of all regions.
fn proof(
    definition: &Definition,
    frame: &CapturedFrame,
    geometry: &Geometry,
    edges: impl Iterator<Item = ([usize; 2], bool)>,
) -> RgbImage {
    let mut picture = pictures::to_rgb(&frame.picture);
    for level in picture.as_flat_samples_mut().samples.iter_mut() {
        *level /= 2;
    }
    for ([x, y], is_shown) in edges {
        let color = if is_shown { SHOWN } else { NOT_SHOWN };
        picture.put_pixel(x as u32, y as u32, color);
    }
    let (width, height) = definition.size();
    let whole = Rect::new(0, 0, width as i32, height as i32);
    let areas = definition.regions().iter().map(|r| r.area());
    for area in areas.chain([whole]) {
        let corners = [
            (area.x, area.y),
            (area.right(), area.y),
            (area.right(), area.bottom()),
            (area.x, area.bottom()),
        ];
        let corners = corners.map(|(x, y)| {
            let p = geometry.map(Point::new(f64::from(x), f64::from(y)));
            (p.x as f32 - 0.5, p.y as f32 - 0.5)
        });
        for k in 0..4 {
            draw_line_segment_mut(&mut picture, corners[k], corners[(k + 1) % 4], OUTLINE);
        }
    }
    picture
}
