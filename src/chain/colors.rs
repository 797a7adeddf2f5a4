//! What the capture chain does to colours: by what rule captured levels follow from those of the reference.
//!
//! Flat areas tell which levels are shown for which. The simplest rule that will do is taken: none; a known one, which
//! another matrix or range makes; one gain for all; any affine map. Areas that show something else than what is due, as
//! wrong values or a fault make them, obey none, so rules are fitted and compared by Tukey's biweight (Beaton and
//! Tukey, Technometrics 16, 1974), which leaves them out. A measured rule counts only where it holds for each colour as it
//! is measured from the others.

use std::collections::BTreeMap;

use nalgebra::{Matrix4, Vector4};

use super::register::FrameReference;
use crate::chain::constants::colors::{
    BIWEIGHT, CENTER, COLOR_CONTRAST, FARTHEST, FIT_ROUNDS, FLAT, LEAST_CONTRAST, LEAST_SAMPLES,
    LEAST_SCALE, LUMA_CONTRAST, MOST_COLORS, MOVED, NEAR, PULL, ROUNDING, SETTLED, SIMPLER, UNLIKE,
};
use crate::colour::encode;
use crate::definition::Definition;
use crate::examine::view::View;
use crate::picture::{Encoding, Matrix, Picture, Range, Rect, Rgb, Subsampling};
use crate::reference::canvas::{ColorMap, Look};

/// Calls `each` with the levels of the reference and of the capture (luma, Cb, Cr), of samples where the reference
/// is flat in all planes, outside `unknown` (rectangles of luma, relative to the views).
pub fn flat_samples(
    captured: [View; 3],
    reference: [View; 3],
    subsampling: Subsampling,
    unknown: &[Rect],
    mut each: impl FnMut([u8; 3], [u8; 3]),
) {
    let (fx, fy) = match subsampling {
        Subsampling::None => (1, 1),
        Subsampling::Columns => (2, 1),
        Subsampling::Both => (2, 2),
    };
    let [luma, cb, cr] = reference;
    let mut around: [Extremes; 3] = Default::default();
    for cy in (2..cb.height().saturating_sub(2)).step_by(2) {
        let y = cy * fy;
        if y + 4 >= luma.height() || y < 4 {
            continue;
        }
        around[0].take(luma, y, 3);
        around[1].take(cb, cy, 2);
        around[2].take(cr, cy, 2);
        for cx in (2..cb.width().saturating_sub(2)).step_by(2) {
            let x = cx * fx;
            if x + 4 >= luma.width() || x < 4 {
                continue;
            }
            if unknown.iter().any(|r| r.contains(x as i32, y as i32))
                || !around[0].is_flat(x, 3)
                || !around[1].is_flat(cx, 2)
                || !around[2].is_flat(cx, 2)
            {
                continue;
            }
            let levels = |v: [View; 3]| [v[0].at(x, y), v[1].at(cx, cy), v[2].at(cx, cy)];
            each(levels(reference), levels(captured));
        }
    }
}

/// Of a line and those about it, what stands above each other: the line's levels, lowest and highest.
#[derive(Default)]
struct Extremes {
    here: Vec<u8>,
    low: Vec<u8>,
    high: Vec<u8>,
}

impl Extremes {
    /// Takes line `y` of `view` and `reach` lines to either side.
    fn take(&mut self, view: View, y: usize, reach: usize) {
        let here = view.row(y);
        for list in [&mut self.here, &mut self.low, &mut self.high] {
            list.clear();
            list.extend_from_slice(here);
        }
        for line in y - reach..=y + reach {
            let columns = self.low.iter_mut().zip(&mut self.high).zip(view.row(line));
            for ((low, high), level) in columns {
                *low = (*low).min(*level);
                *high = (*high).max(*level);
            }
        }
    }

    /// Whether all levels up to `reach` to each side are like the one at `x`.
    fn is_flat(&self, x: usize, reach: usize) -> bool {
        let here = self.here[x];
        let columns = x - reach..=x + reach;
        self.low[columns.clone()]
            .iter()
            .all(|v| here.saturating_sub(*v) <= FLAT)
            && self.high[columns]
                .iter()
                .all(|v| v.saturating_sub(here) <= FLAT)
    }
}

/// By what rule the levels of a picture changed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    /// They did not.
    Same,
    /// The known map with this index.
    Known(usize),
    /// One gain, or any affine map.
    Measured(ColorMap),
}

/// Measures a map from colours of given weights.
type Measure<'a> = &'a dyn Fn(&[f64]) -> ColorMap;

/// How often each level is shown.
type Counts = [u32; 256];

/// Colours of flat areas: which levels the capture shows for each colour of the reference.
#[derive(Clone, Debug, Default)]
pub struct ColorFit {
    seen: BTreeMap<[u8; 3], Box<[Counts; 3]>>,
}

impl ColorFit {
    /// Adds the flat colour samples of a frame. `reference` is drawn for the same inputs, with the colours that changes
    /// are told from.
    pub fn add(&mut self, captured: &Picture, reference: &FrameReference) {
        let shown = captured.planes().each_ref().map(View::whole);
        let drawn = reference.planes().map(View::whole);
        let (subsampling, unknown) = (reference.subsampling, &reference.luma().unknown);
        flat_samples(shown, drawn, subsampling, unknown, |due, shown| {
            self.add_sample(due, shown);
        });
    }

    fn add_sample(&mut self, due: [u8; 3], shown: [u8; 3]) {
        if (0..3).any(|k| due[k].abs_diff(shown[k]) > FARTHEST) {
            return;
        }
        let counts = self
            .seen
            .entry(due)
            .or_insert_with(|| Box::new([[0; 256]; 3]));
        for (counts, level) in counts.iter_mut().zip(shown) {
            counts[usize::from(level)] += 1;
        }
    }

    /// The simplest rule that explains what was seen nearly as well as any; `known` are maps of levels of `encoding`.
    #[must_use]
    pub fn rule(&self, encoding: Encoding, known: &[ColorMap]) -> Rule {
        let colors = Colors::of(self);
        let gain = |weights: &[f64]| colors.fit(weights, None, |w| colors.gain(w, encoding));
        let affine = |weights: &[f64], is_near_gain: bool| {
            let gain = gain(weights);
            let from = is_near_gain.then_some(&gain);
            colors.fit(weights, from, |w| colors.affine(w, &gain))
        };
        let mut ladder = vec![(Rule::Same, ColorMap::IDENTITY)];
        ladder.extend(
            known
                .iter()
                .enumerate()
                .map(|(k, map)| (Rule::Known(k), *map)),
        );
        let measures: [Measure; 3] = [&gain, &|w| affine(w, false), &|w| affine(w, true)];
        for measure in measures {
            let map = measure(&colors.weights);
            if colors.confirm(&map, measure) {
                ladder.push((Rule::Measured(map), map));
            }
        }
        let scale = ladder
            .iter()
            .map(|(_, map)| colors.scale(&colors.squared_left(map)))
            .fold(f64::INFINITY, f64::min);
        let left: Vec<f64> = ladder
            .iter()
            .map(|(_, map)| colors.cost(map, scale))
            .collect();
        let least = left.iter().copied().fold(f64::INFINITY, f64::min);
        let rounding = colors.weights.iter().sum::<f64>() * biweight_cost(ROUNDING, scale);
        let enough = SIMPLER * least + rounding;
        // Among known ones the best is meant: two of them may be near to each other.
        let mut order: Vec<usize> = (0..ladder.len()).collect();
        order[1..=known.len()].sort_by(|a, b| left[*a].total_cmp(&left[*b]));
        order
            .into_iter()
            .find(|k| left[*k] <= enough)
            .map_or(Rule::Same, |k| ladder[k].0)
    }
}

/// The level that most samples show, with codecs' and chains' noise averaged out: mean of what is near to the median, on
/// the scale of the median distance from it. Outlasts two fifths of samples that show something else.
fn center(counts: &Counts) -> f64 {
    let half = counts.iter().sum::<u32>().div_ceil(2);
    let median_of = |counts: &Counts| {
        let mut below = 0;
        let found = (0usize..).zip(counts).find(|(_, count)| {
            below += **count;
            below >= half
        });
        found.map_or(0, |(level, _)| level)
    };
    let median = median_of(counts);
    let mut distances = [0; 256];
    for (level, count) in counts.iter().enumerate() {
        distances[level.abs_diff(median)] += count;
    }
    let near = NEAR * median_of(&distances).max(1);
    let (mut sum, mut total) = (0.0, 0.0);
    for (level, count) in counts.iter().enumerate() {
        if level.abs_diff(median) <= near {
            sum += level as f64 * f64::from(*count);
            total += f64::from(*count);
        }
    }
    sum / total
}

/// The colours that were seen well, as they are due and as they are shown, with what each counts: the root of its samples,
/// since most of a display is grey, and another matrix leaves greys alone.
struct Colors {
    due: Vec<[f64; 3]>,
    shown: Vec<[f64; 3]>,
    weights: Vec<f64>,
}

impl Colors {
    fn of(fit: &ColorFit) -> Self {
        let mut colors = Self {
            due: Vec::new(),
            shown: Vec::new(),
            weights: Vec::new(),
        };
        let samples = |counts: &[Counts; 3]| counts[0].iter().sum::<u32>();
        let mut seen: Vec<_> = fit
            .seen
            .iter()
            .filter(|(_, counts)| samples(counts) >= LEAST_SAMPLES)
            .collect();
        seen.sort_by_key(|(_, counts)| std::cmp::Reverse(samples(counts)));
        for (due, counts) in seen.into_iter().take(MOST_COLORS) {
            colors.due.push(due.map(f64::from));
            colors.shown.push(counts.each_ref().map(center));
            colors.weights.push(f64::from(samples(counts)).sqrt());
        }
        colors
    }

    /// The map that `solve` finds for given weights, by repeated fits that leave out what the last one left far off.
    /// The first goes by the map `from`, or takes all colours as they are. `base` is what they weigh.
    fn fit(
        &self,
        base: &[f64],
        from: Option<&ColorMap>,
        solve: impl Fn(&[f64]) -> Option<ColorMap>,
    ) -> ColorMap {
        let mut map = *from.unwrap_or(&ColorMap::IDENTITY);
        let mut weights = match from {
            Some(map) => self.biweights(base, map),
            None => base.to_vec(),
        };
        for _ in 0..FIT_ROUNDS {
            let Some(next) = solve(&weights) else { break };
            let changes = map.0.iter().flatten().zip(next.0.iter().flatten());
            let step = changes.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            map = next;
            if step < SETTLED {
                break;
            }
            weights = self.biweights(base, &map);
        }
        map
    }

    /// Least squares, gain and offset of levels: one gain of luma and one of colour about its centre, or one of all
    /// three where they are R'G'B'. `None` where the levels are too much alike.
    fn gain(&self, weights: &[f64], encoding: Encoding) -> Option<ColorMap> {
        let line = |planes: &[usize]| {
            // Sums of 1, x, y, x², xy.
            let mut sums = [0.0; 5];
            for ((due, shown), weight) in self.due.iter().zip(&self.shown).zip(weights) {
                for k in planes {
                    let (x, y) = (due[*k], shown[*k]);
                    for (sum, v) in sums.iter_mut().zip([1.0, x, y, x * x, x * y]) {
                        *sum += weight * v;
                    }
                }
            }
            let [n, x, y, xx, xy] = sums;
            let spread = n * xx - x * x;
            if spread <= n * n {
                return None;
            }
            let gain = (n * xy - x * y) / spread;
            Some((gain, (y - gain * x) / n))
        };
        if encoding == Encoding::Rgb {
            let (gain, offset) = line(&[0, 1, 2])?;
            return Some(diagonal([(gain, offset); 3]));
        }
        let luma = line(&[0])?;
        let (mut squares, mut products) = (0.0, 0.0);
        for ((due, shown), weight) in self.due.iter().zip(&self.shown).zip(weights) {
            for k in [1, 2] {
                let x = due[k] - CENTER;
                squares += weight * x * x;
                products += weight * x * (shown[k] - CENTER);
            }
        }
        let total: f64 = weights.iter().sum();
        let of_color = if squares > total {
            products / squares
        } else {
            luma.0
        };
        let color = (of_color, CENTER * (1.0 - of_color));
        Some(diagonal([luma, color, color]))
    }

    /// Least squares, any affine map. A weak pull to `prior` decides what the colours leave open.
    fn affine(&self, weights: &[f64], prior: &ColorMap) -> Option<ColorMap> {
        // The offset counts in steps of 64 levels, so that all columns are of like size.
        let unit = 64.0;
        let mut normal = Matrix4::<f64>::zeros();
        let mut right = [Vector4::<f64>::zeros(); 3];
        for ((due, shown), weight) in self.due.iter().zip(&self.shown).zip(weights) {
            let row = Vector4::new(due[0], due[1], due[2], unit);
            normal += row * row.transpose() * *weight;
            for (right, level) in right.iter_mut().zip(shown) {
                *right += row * (weight * level);
            }
        }
        let pull = PULL * weights.iter().sum::<f64>() * unit * unit;
        let cholesky = (normal + Matrix4::identity() * pull).cholesky()?;
        Some(ColorMap([0, 1, 2].map(|k| {
            let [a, b, c, offset] = prior.0[k];
            let found = cholesky.solve(&(right[k] + Vector4::new(a, b, c, offset / unit) * pull));
            [found[0], found[1], found[2], found[3] * unit]
        })))
    }

    /// Squared distance of each colour's captured levels from those that `map` makes of the reference's.
    fn squared_left(&self, map: &ColorMap) -> Vec<f64> {
        let left = |(due, shown): (&[f64; 3], &[f64; 3])| {
            let mapped = map.map(*due);
            (0..3).map(|k| (shown[k] - mapped[k]).powi(2)).sum()
        };
        self.due.iter().zip(&self.shown).map(left).collect()
    }

    /// Scale of what is left, from its median: one standard deviation of a plane, levels.
    fn scale(&self, squared_left: &[f64]) -> f64 {
        let mut order: Vec<usize> = (0..squared_left.len()).collect();
        order.sort_by(|a, b| squared_left[*a].total_cmp(&squared_left[*b]));
        let half = self.weights.iter().sum::<f64>() / 2.0;
        let mut below = 0.0;
        let median = order.into_iter().find(|k| {
            below += self.weights[*k];
            below >= half
        });
        // The length of a vector of three normal deviates has the median 1.538.
        (median.map_or(0.0, |k| squared_left[k].sqrt()) / 1.538).max(LEAST_SCALE)
    }

    /// Whether the colours confirm each other: what `map` explains of one is what `measure` makes of it from all that
    /// are unlike it. One thing in a wrong colour is explained by a map of its own, and confirmed by nothing.
    fn confirm(&self, map: &ColorMap, measure: Measure) -> bool {
        let apart = |a: &[f64; 3], b: &[f64; 3]| -> f64 {
            (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
        };
        let weights = self.biweights(&self.weights, map);
        self.due.iter().zip(&self.shown).all(|(due, shown)| {
            let moved = apart(&map.map(*due), due);
            let is_explained = apart(&map.map(*due), shown) < 0.5 * moved;
            if moved < MOVED || !is_explained {
                return true;
            }
            let unlike = |(other, weight): (&[f64; 3], &f64)| {
                let is_like = (0..3).all(|k| (other[k] - due[k]).abs() < UNLIKE);
                if is_like { 0.0 } else { *weight }
            };
            let others: Vec<f64> = self.due.iter().zip(&weights).map(unlike).collect();
            apart(&measure(&others).map(*due), shown) < (0.5 * moved).max(MOVED)
        })
    }

    /// The weights, less the more `map` leaves.
    fn biweights(&self, base: &[f64], map: &ColorMap) -> Vec<f64> {
        let left = self.squared_left(map);
        let limit = (BIWEIGHT * self.scale(&left)).powi(2);
        left.iter()
            .zip(base)
            .map(|(squared, weight)| weight * (1.0 - squared / limit).max(0.0).powi(2))
            .collect()
    }

    /// What `map` leaves of all, each colour by Tukey's biweight.
    fn cost(&self, map: &ColorMap, scale: f64) -> f64 {
        self.squared_left(map)
            .iter()
            .zip(&self.weights)
            .map(|(squared, weight)| weight * biweight_cost(*squared, scale))
            .sum()
    }
}

/// Tukey's biweight of a squared distance: from 0 to 1, where the colour is left out.
fn biweight_cost(squared: f64, scale: f64) -> f64 {
    let limit = (BIWEIGHT * scale).powi(2);
    1.0 - (1.0 - squared / limit).max(0.0).powi(3)
}

fn diagonal(lines: [(f64, f64); 3]) -> ColorMap {
    ColorMap([0, 1, 2].map(|k| {
        let mut row = [0.0, 0.0, 0.0, lines[k].1];
        row[k] = lines[k].0;
        row
    }))
}

/// The map from levels of one encoding to those of another.
#[must_use]
pub fn between(from: Encoding, to: Encoding) -> ColorMap {
    // An affine map is given by four points.
    let points = [
        Rgb([0; 3]),
        Rgb([255, 0, 0]),
        Rgb([0, 255, 0]),
        Rgb([0, 0, 255]),
    ];
    let rows = Matrix4::from_fn(|i, j| match j {
        3 => 1.0,
        _ => encode(points[i], from)[j],
    });
    let Some(inverse) = rows.try_inverse() else {
        return ColorMap::IDENTITY;
    };
    ColorMap(std::array::from_fn(|plane| {
        std::array::from_fn(|j| {
            (0..4)
                .map(|i| inverse[(j, i)] * encode(points[i], to)[plane])
                .sum()
        })
    }))
}

/// The other matrices and ranges that levels of luma and colour may have; none for R'G'B'.
#[must_use]
pub fn other_encodings(encoding: Encoding) -> Vec<Encoding> {
    if encoding == Encoding::Rgb {
        return Vec::new();
    }
    [Matrix::Bt601, Matrix::Bt709]
        .into_iter()
        .flat_map(|matrix| {
            [Range::Limited, Range::Full].map(|range| Encoding::YCbCr { matrix, range })
        })
        .filter(|other| *other != encoding)
        .collect()
}

/// Whether `map` leaves the display's colours their contrast, and which is more and which less. Where it does not, it is no
/// chain's doing: a dark picture "fits" a map that makes everything black.
#[must_use]
pub fn keeps_contrast(map: &ColorMap, definition: &Definition, encoding: Encoding) -> bool {
    let plain = Look::new(encoding);
    let colors = definition.file().colors.keys();
    let due: Vec<[f64; 3]> = colors
        .map(|name| plain.levels(definition.color(name)).map(f64::from))
        .collect();
    (0..3).all(|k| {
        let by_level = |a: &&[f64; 3], b: &&[f64; 3]| a[k].total_cmp(&b[k]);
        let (Some(low), Some(high)) = (due.iter().min_by(by_level), due.iter().max_by(by_level))
        else {
            return true;
        };
        let contrast = high[k] - low[k];
        let left = map.map(*high)[k] - map.map(*low)[k];
        let is_color = k > 0 && encoding != Encoding::Rgb;
        let limits = if is_color {
            COLOR_CONTRAST
        } else {
            LUMA_CONTRAST
        };
        contrast < LEAST_CONTRAST || limits.contains(&(left / contrast))
    })
}

/// Largest difference that a colour map makes on the colours of a definition, levels.
#[must_use]
pub fn largest_change(map: &ColorMap, definition: &Definition, encoding: Encoding) -> f64 {
    let plain = Look::new(encoding);
    let mapped = Look {
        color: *map,
        ..plain.clone()
    };
    let mut largest = 0.0f64;
    for color in definition.file().colors.keys() {
        let rgb = definition.color(color);
        let (a, b) = (plain.levels(rgb), mapped.levels(rgb));
        for k in 0..3 {
            largest = largest.max(f64::from(a[k].abs_diff(b[k])));
        }
    }
    largest
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn encoding(matrix: Matrix, range: Range) -> Encoding {
        Encoding::YCbCr { matrix, range }
    }
    const BT601: Encoding = encoding(Matrix::Bt601, Range::Limited);

    /// Levels of a display's colours: black, ground, sky, white, green, amber, red, cyan, grey.
    const SHADES: [[u8; 3]; 9] = [
        [16, 128, 128],
        [60, 110, 150],
        [90, 170, 100],
        [235, 128, 128],
        [145, 54, 34],
        [160, 40, 160],
        [82, 90, 240],
        [170, 166, 16],
        [50, 128, 128],
    ];

    /// Samples of a chain that makes `chain` of the levels, give or take two levels; `wrong(shade, sample)` names the
    /// shade that stands in the place of the one that is due.
    fn seen(chain: &ColorMap, wrong: impl Fn(usize, usize) -> Option<usize>) -> ColorFit {
        let mut fit = ColorFit::default();
        for (k, due) in SHADES.iter().enumerate() {
            for n in 0..1000 {
                let shown = SHADES[wrong(k, n).unwrap_or(k)];
                let mapped = chain.map(shown.map(f64::from));
                let noise = [n % 5, n / 5 % 5, n / 25 % 5].map(|v| v as f64 - 2.0);
                let level = |i: usize| (mapped[i] + noise[i]).round().clamp(0.0, 255.0) as u8;
                fit.add_sample(*due, [level(0), level(1), level(2)]);
            }
        }
        fit
    }

    /// All of the ground shows the sky, and four tenths of the sky the ground; all that is cyan shows the ground, as a
    /// bar does whose value is wrong.
    fn wrong_values(shade: usize, n: usize) -> Option<usize> {
        match shade {
            1 => Some(2),
            2 if n % 10 < 4 => Some(1),
            7 => Some(0),
            _ => None,
        }
    }

    const GAIN: ColorMap = ColorMap([
        [0.9, 0.0, 0.0, 8.0],
        [0.0, 0.95, 0.0, 6.4],
        [0.0, 0.0, 0.95, 6.4],
    ]);
    /// Less red, as of a camera.
    const TINT: ColorMap = ColorMap([
        [0.97, 0.0, -0.05, 6.0],
        [0.0, 1.0, 0.04, -4.0],
        [0.0, 0.0, 0.9, 10.0],
    ]);

    /// Largest difference of two maps on the shades, levels.
    fn apart(a: &ColorMap, b: &ColorMap) -> f64 {
        SHADES
            .iter()
            .flat_map(|s| {
                let s = s.map(f64::from);
                let (a, b) = (a.map(s), b.map(s));
                [0, 1, 2].map(|k| (a[k] - b[k]).abs())
            })
            .fold(0.0, f64::max)
    }

    fn known() -> Vec<ColorMap> {
        other_encodings(BT601)
            .into_iter()
            .map(|other| between(BT601, other))
            .collect()
    }

    #[test]
    fn what_a_chain_does_to_colors_is_found_though_values_are_wrong() {
        for is_wrong in [false, true] {
            let rule = |chain: &ColorMap| {
                seen(chain, |shade, n| {
                    is_wrong.then(|| wrong_values(shade, n)).flatten()
                })
                .rule(BT601, &known())
            };
            assert_eq!(rule(&ColorMap::IDENTITY), Rule::Same);
            for (k, map) in known().iter().enumerate() {
                assert_eq!(rule(map), Rule::Known(k));
            }
            for chain in [GAIN, TINT] {
                let Rule::Measured(found) = rule(&chain) else {
                    panic!("{is_wrong} {chain:?} is measured");
                };
                assert!(apart(&found, &chain) < 1.5, "{is_wrong} {found:?}");
            }
        }
    }

    #[test]
    fn a_gain_is_one_of_all_colors() {
        // The display's reds, ambers and cyans are not seen, and go along.
        let mut fit = seen(&GAIN, |_, _| None);
        fit.seen
            .retain(|due, _| due[1..] == [128, 128] || due[2] == 100);
        let Rule::Measured(found) = fit.rule(BT601, &known()) else {
            panic!("a gain is measured");
        };
        assert!(apart(&found, &GAIN) < 1.0, "{found:?}");
    }

    #[test]
    fn one_thing_in_a_wrong_color_is_no_rule_on_a_display_of_few_colors() {
        // Greys, sky and ground leave an affine map open enough for any other sky and ground.
        let few = |chain: &ColorMap, wrong: &[([u8; 3], [u8; 3])]| {
            let mut fit = seen(chain, |_, _| None);
            fit.seen
                .retain(|due, _| due[1..] == [128, 128] || due[0] == 60 || due[0] == 90);
            for (due, shown) in wrong {
                fit.seen.remove(due);
                (0..1000).for_each(|_| fit.add_sample(*due, *shown));
            }
            fit.rule(BT601, &known())
        };
        let (ground, sky) = (SHADES[1], SHADES[2]);
        for wrong in [
            &[(sky, [100, 150, 120])][..],
            &[(ground, sky)],
            &[(ground, sky), (sky, ground)],
            &[(ground, [75, 100, 160]), (sky, [100, 150, 120])],
        ] {
            assert_eq!(few(&ColorMap::IDENTITY, wrong), Rule::Same, "{wrong:?}");
            let Rule::Measured(found) = few(&GAIN, &wrong[..1]) else {
                panic!("a gain is measured: {wrong:?}");
            };
            assert!(apart(&found, &GAIN) < 6.0, "{wrong:?}: {found:?}");
        }
    }

    #[test]
    fn another_matrix_is_found_on_a_display_that_is_nearly_all_grey() {
        for (k, map) in known().iter().enumerate() {
            let mut fit = seen(map, |_, _| None);
            for (due, counts) in &mut fit.seen {
                if due[1..] == [128, 128] {
                    counts.iter_mut().flatten().for_each(|n| *n *= 100);
                }
            }
            assert_eq!(fit.rule(BT601, &known()), Rule::Known(k));
        }
    }

    #[test]
    fn a_picture_with_nothing_flat_says_nothing_of_colors() {
        assert_eq!(ColorFit::default().rule(BT601, &known()), Rule::Same);
    }
}
