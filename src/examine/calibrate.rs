//! Measures the capture chain from frames that agree, and finds the time offset.
//!
//! The order matters: time first (a frame compared with the inputs of another moment teaches nothing of
//! the chain), then geometry, colours and siting, then the display's usual latency from the readings.

use std::sync::Arc;

use rayon::prelude::*;

use super::agreement::Tolerance;
use super::chain_colors::{self, ColorFit, Rule};
use super::comparison::ChainLook;
use super::data_time;
use super::error_model::{self, Residual};
use super::locate::{self, LEAST_NEAR};
use super::optics::{blur_of, drawn_blur, lights, shading};
use super::reader::RECOGNISED;
use super::region::{RegionExaminer, due_time_s};
use super::register::{self, FrameReference, LumaReference};
use super::subject::Subject;
use super::text_rules::text_placement;
use crate::capture::profile::{DRAWN_BLUR_PX, PROFILE_VERSION, Profile};
use crate::capture::reading_errors::ReadingErrors;
use crate::capture::{self, CapturedFrame};
use crate::picture::{Encoding, Picture, Plane, Rect, Subsampling};
use crate::recording::Recording;
use crate::recording::inputs::Inputs;
use crate::reference::canvas::{ColorMap, Geometry, Look, Siting};
use crate::reference::painter::Painter;
use crate::reference::placement::TextPlacement;
use crate::reference::shading::Shading;

/// What is known of a chain before it is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// Where the stream says that its colour samples lie.
    pub siting: Option<capture::Siting>,
    /// Where the display stands in the picture, to within what is looked for.
    pub place: Geometry,
    /// Whether a profile says what it does, so that a few readings tell whether this is the same.
    pub is_profiled: bool,
}

/// What was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// The chain.
    pub profile: Profile,
    /// Share of the regions that agree with it, in the frame that agrees best.
    pub agreeing: f64,
    /// How steep static edges are, where 1 is as due; `None` where they were not found.
    pub sharpness: Option<f64>,
    /// Age of the data shown, s, where it was measured well.
    pub latency_s: Option<f64>,
    /// What the user should know.
    pub notes: Vec<String>,
}

/// Standard error of a latency that is measured well, s.
const GOOD_LATENCY_SE_S: f64 = 0.03;
/// A display cannot show data before they are there; this is measuring, s.
const EARLIEST_S: f64 = -0.05;
/// Share of regions that must agree for a stretch to count as good.
const GOOD_SHARE: f64 = 0.6;
/// Share of their slope that static edges must have for a picture that disagrees to be judged.
const LEAST_SHARPNESS: f64 = 0.3;
/// Noise of luma at which nothing can be told any more, levels: it is no stretch to measure from.
const MOST_NOISE: f64 = 20.0;

impl Measured {
    /// Where nothing of the display is seen, and so nothing of the chain.
    fn nothing(plain: Profile) -> Self {
        Self {
            profile: plain,
            agreeing: 0.0,
            sharpness: None,
            latency_s: None,
            notes: vec![NOT_FOUND.to_owned()],
        }
    }

    /// Whether so little of the display's artwork is seen that nothing was measured: at another moment it is the same.
    #[must_use]
    pub fn is_nothing(&self) -> bool {
        self.profile.frames == 0
    }

    /// Whether the frames show what is due, so that the chain can be measured from them.
    #[must_use]
    pub fn is_good(&self) -> bool {
        self.agreeing >= GOOD_SHARE && self.profile.noise[0] < MOST_NOISE
    }

    /// Whether the display is where it was looked for, and shown so softly or faintly that nothing can be told by it. What
    /// agrees may be faint, as long as it is not soft as well.
    #[must_use]
    pub fn is_too_soft(&self) -> bool {
        let [gain, ..] = self.profile.color[0];
        let due = if self.is_good() { gain.min(1.0) } else { 1.0 };
        self.sharpness
            .is_some_and(|share| share < LEAST_SHARPNESS * due)
    }

    /// Whether the display shows data of the future: the time offset is wrong, not the display.
    #[must_use]
    pub fn is_ahead(&self) -> bool {
        self.latency_s.is_some_and(|s| s < EARLIEST_S)
    }
}

/// How the chain's picture is compared, given its profile.
#[must_use]
pub fn chain_look(profile: &Profile) -> ChainLook {
    let noise = |k: usize| profile.noise[k];
    let tolerance = |sigma: f64, flat: i32| Tolerance {
        flat_energy: (30.0 + 6.0 * sigma * sigma) as f32,
        flat: flat + (3.0 * sigma) as i32,
        contrast_share: 0.25,
    };
    ChainLook {
        look: profile.look(),
        subsampling: profile.subsampling,
        siting: profile.siting,
        luma: tolerance(noise(0), 24),
        chroma: tolerance(noise(1).max(noise(2)), 16),
        blur_px: profile.blur_left_px(),
        reading_errors: Arc::new(profile.reading_errors.clone()),
    }
}

/// Where references have their colour samples for a stream that says where it has its own; `None` when it does not say, or
/// has them where references cannot.
#[must_use]
pub fn stated_siting(siting: Option<capture::Siting>) -> Option<Siting> {
    siting.and_then(|s| match s {
        capture::Siting::Left => Some(Siting::Left),
        capture::Siting::Center => Some(Siting::Center),
        capture::Siting::TopLeft => None,
    })
}

/// The chain that changes nothing.
#[must_use]
pub fn plain_profile(
    size: (usize, usize),
    encoding: Encoding,
    subsampling: Subsampling,
    siting: Siting,
) -> Profile {
    Profile {
        profile_version: PROFILE_VERSION,
        width: size.0,
        height: size.1,
        encoding,
        subsampling,
        siting,
        scale: [1.0; 2],
        shift_px: [0.0; 2],
        skew: [0.0; 2],
        perspective: [0.0; 2],
        color: ColorMap::IDENTITY.0,
        noise: [0.0; 3],
        blur_px: 0.0,
        shading: Shading::NONE,
        text: TextPlacement::EXACT,
        reading_errors: ReadingErrors::default(),
        latency_s: 0.0,
        latency_se_s: None,
        frames: 0,
    }
}

/// Said where the chain is not measured.
const NOT_FOUND: &str =
    "the picture of the display was not found: the chain is taken to change nothing";
/// Colour changes below this are rounding, levels.
const COLOR_CHANGE: f64 = 3.0;
/// Geometry below this is measurement error, px.
const SHIFT_PX: f64 = 0.02;

/// Measures the chain from `frames`, given the time offset (recording time = capture time + offset).
#[must_use]
pub fn measure(
    subject: Subject,
    recording: &Recording,
    frames: &[&CapturedFrame],
    given: Given,
    offset_s: f64,
    painter: &mut Painter,
) -> Measured {
    let siting = stated_siting(given.siting);
    let definition = subject.definition();
    let first = &frames[0].picture;
    let size = (first.width(), first.height());
    let mut profile = plain_profile(
        size,
        first.encoding(),
        first.subsampling(),
        siting.unwrap_or(Siting::Left),
    );
    profile.set_geometry(&given.place);
    let mut notes = Vec::new();
    let mut inputs = Inputs::default();
    // Geometry: the median of a few frames, so that one bad frame does not spoil it.
    let mut geometries = Vec::new();
    let mut sharpness: Option<f64> = None;
    let mut picked: Vec<&CapturedFrame> = spread(frames, 5);
    let mut found = Vec::new();
    for f in &picked {
        recording.inputs_at(f.time_s + offset_s, &mut inputs);
        let look = profile.look();
        if let Some(r) = register::register(subject, &inputs, &look, &f.picture, painter) {
            geometries.push(r.geometry);
            sharpness = Some(sharpness.map_or(r.sharpness, |s| s.max(r.sharpness)));
            found.push(*f);
        }
    }
    if geometries.is_empty() {
        let mut is_near = false;
        for f in &picked {
            recording.inputs_at(f.time_s + offset_s, &mut inputs);
            let (luma, look) = (&f.picture.planes()[0], profile.look());
            let edges = locate::edges(subject, &inputs, &look, luma, painter);
            let is_here = register::shown_share(&edges) >= LEAST_NEAR;
            is_near |= is_here || !register::is_enough(&edges);
            let is_there =
                is_here || locate::is_there_softly(subject, &inputs, &look, luma, painter);
            if is_there {
                let here = register::sharpness(&edges);
                sharpness = sharpness.into_iter().chain(here).reduce(f64::max);
            }
        }
        if !is_near {
            return Measured {
                sharpness,
                ..Measured::nothing(profile)
            };
        }
        notes.push(
            "the static artwork was not found well enough to measure where the display stands; that is taken to be where it was said".to_owned(),
        );
    } else {
        let usual = usual_geometry(&geometries, definition.size());
        let moved = usual.corners_from(&given.place, definition.size());
        if moved.iter().any(|p| p.x.abs().max(p.y.abs()) > SHIFT_PX) {
            profile.set_geometry(&usual);
        }
        // Frames without the display's artwork say nothing of colours and noise.
        picked = found;
    }
    // Siting of the colour samples, where the stream does not say.
    if siting.is_none() && profile.subsampling != Subsampling::None {
        let distance = |s: Siting, inputs: &mut Inputs, painter: &mut Painter| -> f64 {
            picked
                .iter()
                .map(|f| {
                    recording.inputs_at(f.time_s + offset_s, inputs);
                    let planes = (profile.subsampling, s);
                    let r = FrameReference::draw(
                        subject,
                        inputs,
                        &profile.look(),
                        planes,
                        size,
                        painter,
                    );
                    chroma_distance(&r.picture(profile.encoding), &f.picture)
                })
                .sum()
        };
        let left = distance(Siting::Left, &mut inputs, painter);
        let center = distance(Siting::Center, &mut inputs, painter);
        profile.siting = if center < left {
            Siting::Center
        } else {
            Siting::Left
        };
    }
    // Colours.
    let mut fit = ColorFit::default();
    for f in &picked {
        recording.inputs_at(f.time_s + offset_s, &mut inputs);
        let planes = (profile.subsampling, profile.siting);
        let look = Look {
            color: ColorMap::IDENTITY,
            ..profile.look()
        };
        let reference = FrameReference::draw(subject, &inputs, &look, planes, size, painter);
        fit.add(&f.picture, &reference);
    }
    let others = chain_colors::other_encodings(profile.encoding);
    let known: Vec<ColorMap> = others
        .iter()
        .map(|other| chain_colors::between(profile.encoding, *other))
        .collect();
    let rule = fit.rule(profile.encoding, &known);
    let map = match rule {
        Rule::Same => ColorMap::IDENTITY,
        Rule::Known(k) => known[k],
        Rule::Measured(map) => map,
    };
    let change = chain_colors::largest_change(&map, definition, profile.encoding);
    if !chain_colors::keeps_contrast(&map, definition, profile.encoding) {
        notes.push(
            "the colours have nothing to do with the display's, or too little of their contrast is left; none of the chain's are taken over"
                .to_owned(),
        );
    } else if change > COLOR_CHANGE {
        profile.color = map.0;
        notes.push(format!(
            "the chain changes the whole picture's colours by up to {change:.0} of 255 levels (matrix, range or gain); this is a fault of the chain, not of an instrument, and is taken out"
        ));
        if let Rule::Known(k) = rule {
            notes.push(format!(
                "the colours fit {} better than what the stream declares or is assumed to have",
                in_words(others[k])
            ));
        }
    }
    // Light falls off where a lens is; by wire it does not.
    let is_by_lens = !profile.look().geometry.is_upright();
    if is_by_lens {
        profile.shading = shading(&picked, subject, recording, &profile, offset_s, painter);
    }
    profile.text = text_placement(&picked, subject, recording, &profile, offset_s, painter);
    (profile.noise, profile.blur_px) =
        residual(&picked, subject, recording, &profile, offset_s, painter);
    if profile.blur_px >= DRAWN_BLUR_PX {
        profile.blur_px = drawn_blur(&picked, subject, recording, &profile, offset_s, painter);
        // Soft edges pull the place of sharp ones, and strokes that are blurred are fainter: once more, with both as soft.
        let look = Look {
            geometry: given.place,
            ..profile.look()
        };
        let again = picked.iter().filter_map(|f| {
            recording.inputs_at(f.time_s + offset_s, &mut inputs);
            register::register(subject, &inputs, &look, &f.picture, painter).map(|r| r.geometry)
        });
        let again: Vec<Geometry> = again.collect();
        if !again.is_empty() {
            profile.set_geometry(&usual_geometry(&again, definition.size()));
        }
        if is_by_lens {
            profile.shading = shading(&picked, subject, recording, &profile, offset_s, painter);
        }
        profile.blur_px = drawn_blur(&picked, subject, recording, &profile, offset_s, painter);
        profile.text = text_placement(&picked, subject, recording, &profile, offset_s, painter);
        (profile.noise, _) = residual(&picked, subject, recording, &profile, offset_s, painter);
        notes.push(format!(
            "the chain blurs the whole picture by {:.2} px (one standard deviation); what is due is blurred as much",
            profile.blur_px
        ));
    }
    if !profile.shading.is_none() {
        let lights = lights(
            &profile.shading,
            &profile.look().geometry,
            definition.size(),
        );
        notes.push(format!(
            "light falls off over the picture, to {:.0} % of the middle's at a corner of the display; what is due falls off as much",
            100.0 * lights.into_iter().fold(1.0, f64::min)
        ));
    }
    // Latency, agreement and errors, from the readings.
    let few = spread(frames, FEW_FRAMES);
    let read = if given.is_profiled { &few } else { frames };
    let found = from_readings(subject, recording, read, &profile, offset_s, painter);
    let (latency, mut agreeing) = (found.latency, found.agreeing);
    profile.reading_errors = found.errors;
    let limit_s = definition.file().display.max_latency_ms / 1000.0;
    let latency = latency.filter(|(_, standard_error_s)| *standard_error_s < GOOD_LATENCY_SE_S);
    if let Some((latency_s, standard_error_s)) = latency {
        if (EARLIEST_S..=limit_s).contains(&latency_s) {
            profile.latency_s = latency_s.max(0.0);
            profile.latency_se_s = Some(standard_error_s);
        } else {
            notes.push(format!(
                    "the first stretch shows data {:.0} ms old, outside the permitted 0 to {:.0} ms; no usual latency is assumed",
                    latency_s * 1000.0,
                    limit_s * 1000.0
                ));
        }
    }
    let is_blind = profile.noise[0] >= MOST_NOISE;
    if is_blind || (geometries.is_empty() && agreeing < GOOD_SHARE) {
        // Colours and noise of another picture than the one that is due say nothing of the chain: taken for it, they
        // would excuse any picture.
        profile = plain_profile(size, profile.encoding, profile.subsampling, profile.siting);
        profile.set_geometry(&given.place);
        agreeing = from_readings(subject, recording, &few, &profile, offset_s, painter).agreeing;
        notes = vec![NOT_FOUND.to_owned()];
    }
    profile.frames = frames.len() as u64;
    Measured {
        profile,
        agreeing,
        sharpness,
        latency_s: latency.map(|(latency_s, _)| latency_s),
        notes,
    }
}

/// What is usual among geometries of a display of `size` px: the median of each number, or of those that see it at an angle,
/// whose numbers hang together, the one whose corners are nearest to all others.
fn usual_geometry(all: &[Geometry], size: (usize, usize)) -> Geometry {
    if all.iter().all(Geometry::is_upright) {
        let median = |pick: fn(&Geometry) -> f64| {
            let mut v: Vec<f64> = all.iter().map(pick).collect();
            v.sort_by(f64::total_cmp);
            v[v.len() / 2]
        };
        return Geometry::upright(
            [median(|g| g.sx), median(|g| g.sy)],
            [median(|g| g.tx), median(|g| g.ty)],
        );
    }
    let from_all = |g: &Geometry| -> f64 {
        let corners = all.iter().flat_map(|other| g.corners_from(other, size));
        corners.map(|p| libm::hypot(p.x, p.y)).sum()
    };
    let nearest = all
        .iter()
        .min_by(|a, b| from_all(a).total_cmp(&from_all(b)));
    *nearest.expect("there is a geometry")
}

/// Up to `count` of the frames, evenly spread.
pub fn spread<'f>(frames: &[&'f CapturedFrame], count: usize) -> Vec<&'f CapturedFrame> {
    let n = frames.len();
    (0..count.min(n))
        .map(|k| frames[k * (n - 1) / (count.min(n) - 1).max(1)])
        .collect()
}

fn chroma_distance(a: &Picture, b: &Picture) -> f64 {
    let mut sum = 0u64;
    for k in 1..3 {
        for (x, y) in a.planes()[k].levels().iter().zip(b.planes()[k].levels()) {
            sum += u64::from(x.abs_diff(*y).min(64));
        }
    }
    sum as f64
}

/// An encoding by its names.
#[must_use]
pub const fn in_words(encoding: Encoding) -> &'static str {
    use crate::picture::{Matrix, Range};
    match encoding {
        Encoding::Rgb => "R'G'B'",
        Encoding::YCbCr {
            matrix: Matrix::Bt601,
            range: Range::Limited,
        } => "BT.601, limited range,",
        Encoding::YCbCr {
            matrix: Matrix::Bt601,
            range: Range::Full,
        } => "BT.601, full range,",
        Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Limited,
        } => "BT.709, limited range,",
        Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Full,
        } => "BT.709, full range,",
    }
}

/// Robust noise of flat areas by plane, and blur of static edges, px: medians over the frames, so that
/// one bad frame does not make the check blind.
fn residual(
    frames: &[&CapturedFrame],
    subject: Subject,
    recording: &Recording,
    profile: &Profile,
    offset_s: f64,
    painter: &mut Painter,
) -> ([f64; 3], f64) {
    let size = (profile.width, profile.height);
    let mut inputs = Inputs::default();
    let mut found: [Vec<f64>; 3] = Default::default();
    let mut blurs = Vec::new();
    for f in frames {
        recording.inputs_at(f.time_s + offset_s, &mut inputs);
        let planes = (profile.subsampling, profile.siting);
        let reference =
            FrameReference::draw(subject, &inputs, &profile.look(), planes, size, painter);
        blurs.push(reference.luma().blur_variance_px2(&f.picture));
        let drawn = reference.picture(profile.encoding);
        let planes = f.picture.planes().iter().zip(drawn.planes());
        let luma = &f.picture.planes()[0];
        for (list, (captured, drawn)) in found.iter_mut().zip(planes) {
            list.push(noise_of(captured, drawn, luma, reference.luma().outside()));
        }
    }
    let median = |mut list: Vec<f64>| {
        list.sort_by(f64::total_cmp);
        list.get(list.len() / 2).copied().unwrap_or(0.0)
    };
    (found.map(median), blur_of(median(blurs)))
}

/// Noise of a plane outside of `left_out`, pixels of luma in rectangles that share none.
fn noise_of(captured: &Plane, drawn: &Plane, luma: &Plane, left_out: &[Rect]) -> f64 {
    let mut counts = [0u64; 256];
    let mut count = |rect: Rect, sign: i64| {
        for y in rect.y as usize..rect.bottom() as usize {
            let columns = rect.x as usize..rect.right() as usize;
            let pairs = captured.row(y)[columns.clone()]
                .iter()
                .zip(&drawn.row(y)[columns]);
            for (a, b) in pairs {
                let count = &mut counts[usize::from(a.abs_diff(*b))];
                *count = count.wrapping_add_signed(sign);
            }
        }
    };
    let whole = Rect::new(0, 0, captured.width() as i32, captured.height() as i32);
    count(whole, 1);
    // Colour planes have a sample for one or two columns and rows of luma.
    let columns = luma.width().div_ceil(captured.width().max(1)) as i32;
    let rows = luma.height().div_ceil(captured.height().max(1)) as i32;
    for r in left_out {
        // A sample that is partly inside counts as inside, so that rectangles beside each other share none.
        let up = |v: i32, step: i32| (v + step - 1) / step;
        let (left, top) = (up(r.x, columns), up(r.y, rows));
        let (right, bottom) = (r.right() / columns, r.bottom() / rows);
        count(
            Rect::new(left, top, right - left, bottom - top).intersection(&whole),
            -1,
        );
    }
    let total: u64 = counts.iter().sum();
    // The median of whole levels is too coarse for small noise: the mean of the lower nine tenths
    // of the sizes, which is 0.626 sigma for a Gaussian.
    let (mut seen, mut sum) = (0u64, 0u64);
    for (level, count) in (0u64..).zip(counts) {
        let take = count.min((total * 9 / 10).saturating_sub(seen));
        seen += take;
        sum += take * level;
    }
    (sum as f64 / seen.max(1) as f64) / 0.626
}

/// What the readings of all regions tell of a chain.
struct FromReadings {
    /// Age of what is shown, and its standard error, s.
    latency: Option<(f64, f64)>,
    /// The largest share of regions that agree in one frame.
    agreeing: f64,
    /// How far the readings lie off.
    errors: ReadingErrors,
}

/// Frames from which the latency is told to within what remains small: all of a stretch then tell it, and the errors.
const FEW_FRAMES: usize = 12;
/// How far back the speed of what is shown is asked for, s.
const BACK_S: f64 = 0.02;
/// A reading that is further off is of something else, px.
const FARTHEST_PX: f64 = 40.0;
/// Part of a stretch, from its begin, that tells nothing of errors: the first picture of a stream is its best, and what codecs
/// do comes after it.
const BEST_PART: usize = 3;
/// Standard error that a reading is taken to have when the latency is asked for, px: errors of a symbol hang together
/// from frame to frame.
const READING_PX: f64 = 0.2;

/// A latency from which readings find what is shown, s: 0 unless so much moves within the permitted ages that they would
/// find the next label; then that whose pictures are most like what was captured.
fn near_latency_s(
    subject: Subject,
    recording: &Recording,
    frames: &[&CapturedFrame],
    profile: &Profile,
    offset_s: f64,
    painter: &mut Painter,
) -> f64 {
    let definition = subject.definition();
    let oldest_s = definition.file().display.max_latency_ms / 1000.0;
    let picked = spread(frames, 6);
    let mut inputs = Inputs::default();
    let mut starts = 1;
    for f in &picked {
        let time_s = f.time_s + offset_s;
        recording.inputs_at(time_s, &mut inputs);
        for region in 0..definition.regions().len() {
            let freedoms = subject.drawing().freedoms(definition, region);
            let px_per_unit = |k: usize| {
                let f = &freedoms[k];
                subject
                    .drawing()
                    .px_per_unit(definition, region, f, &inputs)
            };
            let within_s = [time_s - oldest_s, time_s];
            let here = data_time::starts(&freedoms, px_per_unit, recording, within_s);
            starts = here.max(starts);
        }
    }
    if starts == 1 {
        return 0.0;
    }
    let look = profile.look();
    let size = (profile.width, profile.height);
    let mut distance = |latency_s: f64| -> f64 {
        let each = picked.iter().map(|f| {
            recording.inputs_at(f.time_s + offset_s - latency_s, &mut inputs);
            LumaReference::draw(subject, &inputs, &look, size, painter).distance(&f.picture, 3)
        });
        each.sum()
    };
    let ages = (0..=starts).map(|k| oldest_s * k as f64 / starts as f64);
    let far = ages.map(|age_s| (distance(age_s), age_s));
    let nearest = far.min_by(|a, b| a.0.total_cmp(&b.0));
    nearest.map_or(0.0, |(_, age_s)| age_s)
}

/// What is read in a region.
struct RegionRead {
    names: Vec<String>,
    /// Readings count from 0.
    residuals: Vec<Residual>,
    /// By frame: whether it agrees; `None` where it is not on the page that is due.
    agrees: Vec<Option<bool>>,
}

impl RegionRead {
    /// Of region `k` in each frame, by what is due in it, is shown in it, and was [`BACK_S`] before.
    fn of(
        k: usize,
        subject: Subject,
        chain: &ChainLook,
        frames: &[&CapturedFrame],
        inputs: &[[Inputs; 3]],
    ) -> Self {
        let painter = &mut Painter::new();
        let picture = &frames[0].picture;
        let size = (picture.width(), picture.height());
        let mut examiner = RegionExaminer::new(subject, k, chain, size, painter);
        let mut out = Self {
            names: examiner.reading_names(),
            residuals: Vec::new(),
            agrees: Vec::with_capacity(frames.len()),
        };
        for (frame, (f, [due, shown, before])) in frames.iter().zip(inputs).enumerate() {
            if !subject.definition().pages_of(k).contains(due.page) {
                out.agrees.push(None);
                continue;
            }
            let (readings, agrees) = examiner.readings_only(&f.picture, due, painter);
            out.agrees.push(Some(agrees));
            for (reading, (freedom, fitted)) in
                examiner.freedoms().iter().zip(&readings).enumerate()
            {
                let Some(fitted) = fitted.filter(|f| f.misfit <= RECOGNISED) else {
                    continue;
                };
                let (Some(v), Some(u)) = (
                    shown.value(freedom.channel).number(),
                    before.value(freedom.channel).number(),
                ) else {
                    continue;
                };
                let px = |d: f64| d * fitted.px_per_unit;
                let (v_shown, u_shown) = (freedom.shown_value(v), freedom.shown_value(u));
                out.residuals.push(Residual {
                    frame,
                    reading,
                    error_px: px(freedom.error(fitted.value, v)),
                    told_px: fitted.told_error * fitted.px_per_unit,
                    speed_px_s: px(freedom.difference(v_shown, u_shown)) / BACK_S,
                });
            }
        }
        out
    }
}

/// Reads all regions with the latency that fits the readings best.
fn from_readings(
    subject: Subject,
    recording: &Recording,
    frames: &[&CapturedFrame],
    profile: &Profile,
    offset_s: f64,
    painter: &mut Painter,
) -> FromReadings {
    let definition = subject.definition();
    let chain = chain_look(profile);
    let count = definition.regions().len();
    let mut latency_s = near_latency_s(subject, recording, frames, profile, offset_s, painter);
    let mut found = FromReadings {
        latency: None,
        agreeing: 0.0,
        errors: ReadingErrors::default(),
    };
    let all = frames;
    let few = spread(all, FEW_FRAMES);
    let mut frames = few.as_slice();
    for _ in 0..3 {
        // What is due in each frame, is shown in it, and was just before.
        let at = |time_s: f64| {
            let mut inputs = Inputs::default();
            recording.inputs_at(time_s, &mut inputs);
            inputs
        };
        let inputs: Vec<[Inputs; 3]> = frames
            .iter()
            .map(|f| {
                let (time_s, shown_s) = (f.time_s + offset_s, f.time_s + offset_s - latency_s);
                let due_s = due_time_s(recording, time_s, latency_s);
                [at(due_s), at(shown_s), at(shown_s - BACK_S)]
            })
            .collect();
        let read: Vec<RegionRead> = (0..count)
            .into_par_iter()
            .map(|k| RegionRead::of(k, subject, &chain, frames, &inputs))
            .collect();
        let (mut names, mut residuals) = (Vec::new(), Vec::new());
        let mut shares = vec![(0usize, 0usize); frames.len()];
        for region in read {
            let first = names.len();
            names.extend(region.names);
            residuals.extend(region.residuals.into_iter().map(|r| Residual {
                reading: first + r.reading,
                ..r
            }));
            for (share, agrees) in shares.iter_mut().zip(region.agrees) {
                share.0 += usize::from(agrees == Some(true));
                share.1 += usize::from(agrees.is_some());
            }
        }
        residuals.retain(|r| r.error_px.abs() <= FARTHEST_PX);
        found.agreeing = shares
            .iter()
            .map(|(a, n)| *a as f64 / (*n).max(1) as f64)
            .fold(found.agreeing, f64::max);
        let squares: f64 = residuals.iter().map(|r| r.speed_px_s.powi(2)).sum();
        let information = squares / (READING_PX * READING_PX);
        let ends = if information < 1.0 {
            true
        } else {
            let along: f64 = residuals.iter().map(|r| -r.speed_px_s * r.error_px).sum();
            let step_s = along / squares;
            latency_s += step_s;
            found.latency = Some((latency_s, 1.0 / information.sqrt()));
            for r in &mut residuals {
                r.error_px += r.speed_px_s * step_s;
            }
            step_s.abs() < 0.002
        };
        let usual: Vec<Residual> = (residuals.iter().copied())
            .filter(|r| r.frame >= frames.len() / BEST_PART)
            .collect();
        found.errors = error_model::measure(&usual, &names);
        if ends && frames.len() == all.len() {
            break;
        }
        frames = all;
    }
    found
}

/// A time offset that was found, and how clearly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundOffset {
    /// Recording time = capture time + offset, s.
    pub offset_s: f64,
    /// Mean difference of luma at the best offset, levels.
    pub distance: f64,
    /// The same at the best offset elsewhere (more than a second away); infinite when the recording is
    /// not longer.
    pub runner_up: f64,
}

/// Most offsets that are tried in the first pass.
const MOST_OFFSETS: usize = 4000;

/// Finds the offset at which the frames agree with the recording best.
#[must_use]
pub fn find_offset(
    subject: Subject,
    recording: &Recording,
    frames: &[&CapturedFrame],
    place: &Geometry,
    painter: &mut Painter,
) -> FoundOffset {
    let first = &frames[0].picture;
    let size = (first.width(), first.height());
    let look = Look {
        geometry: *place,
        ..Look::new(first.encoding())
    };
    let (begin_s, end_s) = recording.span_s();
    let picked = spread(frames, 6);
    let low = begin_s - picked[0].time_s;
    let high = (end_s - picked[picked.len() - 1].time_s).max(low);
    let step_s = ((high - low) / MOST_OFFSETS as f64).max(0.1);
    let mut inputs = Inputs::default();
    let mut score = |offset_s: f64, list: &[&CapturedFrame], painter: &mut Painter| -> f64 {
        list.iter()
            .map(|f| {
                recording.inputs_at(f.time_s + offset_s, &mut inputs);
                LumaReference::draw(subject, &inputs, &look, size, painter).distance(&f.picture, 3)
            })
            .sum::<f64>()
            / list.len() as f64
    };
    let count = ((high - low) / step_s) as usize;
    let mut coarse: Vec<(f64, f64)> = (0..=count)
        .map(|k| {
            let offset_s = low + step_s * k as f64;
            (score(offset_s, &picked[..1], painter), offset_s)
        })
        .collect();
    coarse.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    coarse.truncate(24);
    let mut fine: Vec<(f64, f64)> = Vec::new();
    for (_, around) in coarse {
        let mut best = (f64::INFINITY, around);
        for k in -10..=10 {
            let offset_s = around + step_s * f64::from(k) / 10.0;
            let s = score(offset_s, &picked, painter);
            if s < best.0 {
                best = (s, offset_s);
            }
        }
        fine.push(best);
    }
    fine.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let (mut distance, mut offset_s) = fine[0];
    let mut reach_s = step_s / 10.0;
    while reach_s > 0.001 {
        for o in [
            offset_s - reach_s,
            offset_s + reach_s,
            offset_s - reach_s / 2.0,
            offset_s + reach_s / 2.0,
        ] {
            let s = score(o, &picked, painter);
            if s < distance {
                (distance, offset_s) = (s, o);
            }
        }
        reach_s /= 2.0;
    }
    let runner_up = fine
        .iter()
        .filter(|(_, o)| (o - offset_s).abs() > 1.0)
        .map(|(s, _)| *s)
        .fold(f64::INFINITY, f64::min);
    FoundOffset {
        offset_s,
        distance,
        runner_up,
    }
}
