//! How well drawn symbols are read in noise, against the bound of what any reading can reach.

use rand::{Rng, SeedableRng};

use super::*;
use crate::capture::profile::Profile;
use crate::examine::comparison::ChainLook;
use crate::examine::comparison::Comparison;
use crate::picture::{Encoding, Matrix, Plane, Range, Subsampling};
use crate::reference::canvas::Siting;
use crate::reference::drawing::Drawing;
use crate::reference::parts::bench;
use crate::reference::scale::half_period;

/// A symbol of [`bench::READ`], with channels, the values to read them at, and steps between those.
type Symbol = (&'static str, usize, &'static [(&'static str, f64, f64)]);

const SYMBOLS: [Symbol; 5] = [
    (
        "attitude",
        0,
        &[("a", 3.1, 0.41), ("b", -12.0, 2.3), ("c", 0.113, -0.037)],
    ),
    ("dial", 1, &[("a", 37.0, 1.37), ("b", 71.0, 1.9)]),
    ("tape", 2, &[("a", 87.0, 0.77), ("b", 71.3, 1.13)]),
    (
        "rose",
        3,
        &[
            ("a", 87.0, 3.7),
            ("b", 121.3, 2.3),
            ("c", 210.0, 5.1),
            ("d", 12.0, 0.0),
        ],
    ),
    ("bar", 4, &[("a", 33.0, 4.7)]),
];

/// Levels of noise, one standard deviation.
const SIGMA: f64 = 6.0;

/// The whole way: pictures of the symbol are drawn, noise is laid over them, and they are read. The variance of a
/// pixel is that of the noise and of rounding to levels. The bound is the diagonal of the inverse of Fisher's
/// information, sums of products of slopes over that variance (Kay, Fundamentals of Statistical Signal
/// Processing vol. 1, 1993, ch. 3; from memory).
#[test]
fn drawn_symbols_are_read_as_well_as_the_cramer_rao_bound_allows() {
    for symbol in SYMBOLS {
        for (k, read) in read_in_noise(symbol, 0.0).into_iter().enumerate() {
            let (rms, stated) = (read.rms_px / read.bound_px, read.stated_px / read.bound_px);
            let what = format!(
                "{} {k}: RMS {rms:.3}, stated {stated:.3} of the bound",
                symbol.0
            );
            assert!((0.9..1.25).contains(&rms), "{what}");
            assert!((0.9..1.25).contains(&stated), "{what}");
        }
    }
}

#[test]
fn where_a_fit_begins_moves_a_reading_by_less_than_a_hundredth_of_a_pixel() {
    for symbol in SYMBOLS {
        for start_px in [0.08, 0.2, 0.35, 0.5] {
            for (k, read) in read_in_noise(symbol, start_px).into_iter().enumerate() {
                let beyond_px = (read.rms_px.powi(2) - read.bound_px.powi(2))
                    .max(0.0)
                    .sqrt();
                let what = format!("{} {k}, from {start_px} px: {beyond_px:.4} px", symbol.0);
                assert!(beyond_px < 0.01, "{what}");
            }
        }
    }
}

/// How well a freedom was read, root mean squares.
struct InNoise {
    rms_px: f64,
    /// The standard error that was stated, without the share of other rasterisers.
    stated_px: f64,
    bound_px: f64,
}

fn read_in_noise((_, symbol, channels): Symbol, start_px: f64) -> Vec<InNoise> {
    const PLACES: u32 = 8;
    const TIMES: u32 = 40;
    let d = bench::display(bench::READ[symbol]);
    let drawing = Drawing::new(&d);
    let subject = Subject::new(&d, &drawing);
    let (size, planes) = ((200, 200), Subsampling::Both);
    let encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };
    let chain = ChainLook::of(&Profile::plain(size, encoding, planes, Siting::Left));
    let mut painter = Painter::default();
    let mut comparison = Comparison::new(subject, 0, &chain, size, &mut painter);
    let mut reader = Reader::new(subject, 0, &chain, comparison.area(), &mut painter);
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(11);
    let n = reader.freedoms().len();
    let mut sums = vec![[0.0; 3]; n];
    for place in 0..PLACES {
        let values: Vec<(&str, f64)> = channels
            .iter()
            .map(|(name, v, step)| (*name, v + step * f64::from(place)))
            .collect();
        let truth = bench::inputs(&d, &values);
        let shown: Vec<f64> = reader
            .freedoms()
            .iter()
            .map(|f| truth.value(f.channel).number().expect("it was given"))
            .collect();
        let mut drawn = |inputs: &Inputs, painter: &mut Painter| {
            comparison.draw(inputs, painter);
            let view = comparison.reference()[0];
            let rows = (0..view.height()).map(|y| view.row(y).to_vec());
            rows.collect::<Vec<_>>().concat()
        };
        let aside = |k: usize, by_px: f64, reader: &Reader| {
            let channel = reader.freedoms()[k].channel;
            let mut inputs = truth.clone();
            let value = shown[k] + by_px / reader.px_per_unit(k, &truth);
            inputs.values[channel.0] = Value::Number(value);
            inputs
        };
        let slopes: Vec<Vec<f64>> = (0..n)
            .map(|k| {
                let low = drawn(&aside(k, -0.25, &reader), &mut painter);
                let high = drawn(&aside(k, 0.25, &reader), &mut painter);
                let pairs = low.iter().zip(&high);
                pairs
                    .map(|(a, b)| 2.0 * (f64::from(*b) - f64::from(*a)))
                    .collect()
            })
            .collect();
        let clean = drawn(&truth, &mut painter);
        let mut words = Vec::new();
        let whole = Rect::new(0, 0, 200, 200);
        word_boxes(comparison.scene(), subject, &chain, whole, &mut words);
        let is_read = |at: usize| {
            let (x, y) = ((at % 200) as i32, (at / 200) as i32);
            !words.iter().any(|w| w.contains(x, y))
        };
        let variance = SIGMA * SIGMA + 1.0 / 12.0;
        let information = nalgebra::DMatrix::from_fn(n, n, |i, j| {
            let pixels = (0..clean.len()).filter(|at| is_read(*at));
            pixels.map(|at| slopes[i][at] * slopes[j][at]).sum::<f64>() / variance
        });
        let bound = information
            .try_inverse()
            .expect("every freedom moves ink")
            .diagonal();
        let mut start = truth.clone();
        for k in 0..n {
            let channel = reader.freedoms()[k].channel;
            start.values[channel.0].clone_from(&aside(k, start_px, &reader).values[channel.0]);
        }
        for _ in 0..TIMES {
            let mut gauss = || {
                let (u, v): (f64, f64) = (random.random_range(1e-12..1.0), random.random());
                (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
            };
            let levels = clean
                .iter()
                .map(|v| (f64::from(*v) + SIGMA * gauss()).round() as u8);
            let captured = Plane::from_levels(200, 200, levels.collect());
            let mut out = Vec::new();
            let view = View::whole(&captured);
            reader.read(view, (&start, None), &words, false, &mut painter, &mut out);
            for k in 0..n {
                let fitted = out[k].expect("the symbol is read");
                let period = reader.freedoms()[k].period;
                let off = fitted.value - shown[k];
                let error_px = period.map_or(off, |p| half_period(off, p)) * fitted.px_per_unit;
                let stated_px = fitted.told_error * fitted.px_per_unit;
                sums[k][0] += error_px * error_px;
                sums[k][1] += stated_px * stated_px - LEFT_PX * LEFT_PX;
                sums[k][2] += bound[k];
            }
        }
    }
    let mean = |sum: f64| (sum / f64::from(PLACES * TIMES)).sqrt();
    let read = sums.into_iter().map(|[error, stated, bound]| InNoise {
        rms_px: mean(error),
        stated_px: mean(stated),
        bound_px: mean(bound),
    });
    read.collect()
}
