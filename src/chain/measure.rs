//! Measures the capture chain from frames that agree.
//!
//! The order matters: time first (a frame compared with the inputs of another moment teaches nothing of
//! the chain; [`super::offset`]), then geometry, colours and siting, then the display's usual latency from the readings.

use super::colors::{self, ColorFit, Rule};
use super::latency::{FEW_FRAMES, from_readings};
use super::locate::{self, LEAST_NEAR};
use super::noise::residual;
use super::optics::{drawn_blur, lights, shading};
use super::register::{self, FrameReference};
use super::stretch::Stretch;
use super::text_rules::text_placement;
use crate::capture;
use crate::capture::profile::{DRAWN_BLUR_PX, Profile};
use crate::chain::constants::measure::{
    COLOR_CHANGE, EARLIEST_S, GOOD_LATENCY_SE_S, GOOD_SHARE, LEAST_SHARPNESS, MOST_NOISE, SHIFT_PX,
};
use crate::picture::{Encoding, Picture, Subsampling};
use crate::reference::canvas::{ColorMap, Geometry, Look, Siting};

/// What is known of a chain before it is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given<'a> {
    /// Where the stream says that its colour samples lie.
    pub siting: Option<capture::Siting>,
    /// Where the display stands in the picture, to within what is looked for.
    pub place: Geometry,
    /// What it is said to do, so that little tells whether this is the same.
    pub profile: Option<&'a Profile>,
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

/// Said where the chain is not measured.
const NOT_FOUND: &str =
    "the picture of the display was not found: the chain is taken to change nothing";

/// Measures the chain from a stretch that shows what is due.
#[must_use]
pub fn measure(stretch: &Stretch, given: Given) -> Measured {
    let siting = stated_siting(given.siting);
    let subject = stretch.subject;
    let definition = subject.definition();
    let first = &stretch.frames[0].picture;
    let size = stretch.size();
    let mut profile = Profile::plain(
        size,
        first.encoding(),
        first.subsampling(),
        siting.unwrap_or(Siting::Left),
    );
    profile.set_geometry(&given.place);
    let mut notes = Vec::new();
    // Geometry: the median of a few frames, so that one bad frame does not spoil it.
    let mut picked = stretch.spread(5);
    let look = profile.look();
    let registered = picked
        .each(|f, inputs, painter| register::register(subject, inputs, &look, &f.picture, painter));
    let mut sharpness = (registered.iter().flatten().map(|r| r.sharpness)).reduce(f64::max);
    let geometries: Vec<Geometry> = registered.iter().flatten().map(|r| r.geometry).collect();
    if geometries.is_empty() {
        let near = picked.each(|f, inputs, painter| {
            let luma = &f.picture.planes()[0];
            let edges = locate::edges(subject, inputs, &look, luma, painter);
            let is_here = register::shown_share(&edges) >= LEAST_NEAR;
            let is_there =
                is_here || locate::is_there_softly(subject, inputs, &look, luma, painter);
            let sharpness = register::sharpness(&edges).filter(|_| is_there);
            (is_here || !register::is_enough(&edges), sharpness)
        });
        sharpness = near.iter().filter_map(|(_, s)| *s).reduce(f64::max);
        if !near.iter().any(|(is_near, _)| *is_near) {
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
        let found = picked.frames.iter().zip(&registered);
        let found = found.filter(|(_, r)| r.is_some()).map(|(f, _)| *f);
        picked = picked.with(found.collect());
    }
    // Siting of the colour samples, where the stream does not say.
    if siting.is_none() && profile.subsampling != Subsampling::None {
        let distance = |siting: Siting| -> f64 {
            let planes = (profile.subsampling, siting);
            let look = profile.look();
            let each = picked.each(|f, inputs, painter| {
                let r = FrameReference::draw(subject, inputs, &look, planes, size, painter);
                chroma_distance(&r.picture(profile.encoding), &f.picture)
            });
            each.iter().sum()
        };
        let (left, center) = (distance(Siting::Left), distance(Siting::Center));
        profile.siting = if center < left {
            Siting::Center
        } else {
            Siting::Left
        };
    }
    // Colours.
    let mut fit = ColorFit::default();
    let planes = (profile.subsampling, profile.siting);
    let look = Look {
        color: ColorMap::IDENTITY,
        ..profile.look()
    };
    let references = picked.each(|_, inputs, painter| {
        FrameReference::draw(subject, inputs, &look, planes, size, painter)
    });
    for (f, reference) in picked.frames.iter().zip(&references) {
        fit.add(&f.picture, reference);
    }
    let others = colors::other_encodings(profile.encoding);
    let known: Vec<ColorMap> = others
        .iter()
        .map(|other| colors::between(profile.encoding, *other))
        .collect();
    let rule = fit.rule(profile.encoding, &known);
    let map = match rule {
        Rule::Same => ColorMap::IDENTITY,
        Rule::Known(k) => known[k],
        Rule::Measured(map) => map,
    };
    let change = colors::largest_change(&map, definition, profile.encoding);
    if !colors::keeps_contrast(&map, definition, profile.encoding) {
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
        profile.shading = shading(&picked, &profile);
    }
    // How the unit places its text no chain changes: where it is known, it stands.
    let text = |profile: &Profile| {
        let known = given.profile.map(|known| known.text.clone());
        known.unwrap_or_else(|| text_placement(&picked, profile))
    };
    profile.text = text(&profile);
    (profile.noise, profile.blur_px) = residual(&picked, &profile);
    if profile.blur_px >= DRAWN_BLUR_PX {
        profile.blur_px = drawn_blur(&picked, &profile);
        // Soft edges pull the place of sharp ones, and strokes that are blurred are fainter: once more, with both as soft.
        let look = Look {
            geometry: given.place,
            ..profile.look()
        };
        let again = picked.each(|f, inputs, painter| {
            register::register(subject, inputs, &look, &f.picture, painter).map(|r| r.geometry)
        });
        let again: Vec<Geometry> = again.into_iter().flatten().collect();
        if !again.is_empty() {
            profile.set_geometry(&usual_geometry(&again, definition.size()));
        }
        if is_by_lens {
            profile.shading = shading(&picked, &profile);
        }
        profile.blur_px = drawn_blur(&picked, &profile);
        profile.text = text(&profile);
        (profile.noise, _) = residual(&picked, &profile);
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
    let few = stretch.spread(FEW_FRAMES);
    let read = given.profile.map_or(stretch, |_| &few);
    let usual_s = given.profile.map(|known| known.latency_s);
    let found = from_readings(read, &profile, usual_s);
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
        profile = Profile::plain(size, profile.encoding, profile.subsampling, profile.siting);
        profile.set_geometry(&given.place);
        agreeing = from_readings(&few, &profile, usual_s).agreeing;
        notes = vec![NOT_FOUND.to_owned()];
    }
    profile.frames = stretch.frames.len() as u64;
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
