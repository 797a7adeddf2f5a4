//! The numeric core of a reading: one Gauss-Newton step on the pixels that move.
//!
//! The reference is drawn a little below and a little above the value; where both differ, the
//! difference is the derivative and the capture against the reference itself is the residual. Only these
//! pixels enter, as a list of samples, so a step costs as much as the symbol has moving edges, not as
//! its area. Words are left out by the caller: they drift with the unit's rounding rules and are
//! judged by themselves.
//!
//! Neither gain nor offset is free: the capture profile has taken them out, and on a symbol with a single
//! edge (a filled bar) an offset of the level and a motion of the edge are the same thing.
//! Once the step is small, samples are weighted by Tukey's biweight so that a label, another
//! symbol's edge or a codec block does not pull the value.

pub use crate::examine::constants::fit::{CELL_PX, MOST};
use crate::examine::constants::fit::{
    LEAST_CELLS, LEAST_INFORMATION, LEAST_SCALE, TUKEY, WEIGHTED_BELOW_PX,
};
use nalgebra::{Cholesky, SMatrix, SVector};

/// Pixels that move, each with its slopes: field by field, so that several are taken at once.
#[derive(Clone, Debug, Default)]
pub struct Samples {
    /// Change of the level for a pixel of motion, by freedom.
    slopes: [Vec<f32>; MOST],
    /// Captured level minus reference level.
    residuals: Vec<f32>,
    /// The cell that each lies in: what is left in one cell hangs together, what is left in two does not.
    cells: Vec<u32>,
}

impl Samples {
    /// Takes all out.
    pub fn clear(&mut self) {
        self.slopes.iter_mut().for_each(Vec::clear);
        self.residuals.clear();
        self.cells.clear();
    }

    /// Adds a pixel of `cell` whose level changes by `slopes` for a pixel of motion of each freedom and which is captured
    /// `residual` levels above the reference. All samples have as many freedoms.
    pub fn push(&mut self, slopes: &[f32], residual: f32, cell: u32) {
        for (all, slope) in self.slopes.iter_mut().zip(slopes) {
            all.push(*slope);
        }
        self.residuals.push(residual);
        self.cells.push(cell);
    }

    /// Number of pixels.
    fn len(&self) -> usize {
        self.residuals.len()
    }

    /// Several at once of each field, the last filled up with pixels that have neither slope nor residual.
    fn filled_up<const N: usize>(&mut self) -> Filled<'_, N> {
        let count = self.len();
        let whole = count.next_multiple_of(LANES);
        self.slopes[..N]
            .iter_mut()
            .for_each(|s| s.resize(whole, 0.0));
        self.residuals.resize(whole, 0.0);
        self.cells.resize(whole, 0);
        Filled {
            count,
            slopes: std::array::from_fn(|k| self.slopes[k].as_chunks().0),
            residuals: self.residuals.as_chunks().0,
            cells: &self.cells,
        }
    }
}

/// Samples that are taken at once.
const LANES: usize = 8;
type Lanes = [f32; LANES];
/// Chunks whose sums are kept in single precision.
const CHUNKS_TOGETHER: usize = 64;

/// Samples, several at once.
struct Filled<'a, const N: usize> {
    /// Pixels without those that fill up.
    count: usize,
    slopes: [&'a [Lanes]; N],
    residuals: &'a [Lanes],
    cells: &'a [u32],
}

impl<const N: usize> Filled<'_, N> {
    /// Pixels that fill up.
    fn added(&self) -> f64 {
        (self.residuals.len() * LANES - self.count) as f64
    }

    /// The slopes of chunk `c`.
    #[inline(always)]
    fn slopes(&self, c: usize) -> [&Lanes; N] {
        std::array::from_fn(|k| &self.slopes[k][c])
    }

    /// What is left of chunk `c` after a motion, levels.
    #[inline(always)]
    fn remaining(&self, c: usize, motion: &[f32; N]) -> Lanes {
        let mut left = self.residuals[c];
        for (slopes, motion) in self.slopes(c).into_iter().zip(motion) {
            for k in 0..LANES {
                left[k] -= slopes[k] * motion;
            }
        }
        left
    }
}

fn add<const N: usize>(sums: &mut [f64; N], lanes: &[Lanes; N]) {
    for (sum, lanes) in sums.iter_mut().zip(lanes) {
        *sum += lanes.iter().map(|v| f64::from(*v)).sum::<f64>();
    }
}

/// What the samples say.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Motion that explains the residuals, px, by freedom.
    pub motion_px: Vec<f64>,
    /// Standard error of the motion, px, by freedom; infinite when the samples do not bear on it.
    pub standard_error_px: Vec<f64>,
    /// By freedom: root mean square of what remains where it moves ink, over that of a pixel of
    /// motion; below about 0.3 the symbol was recognised.
    pub misfit: Vec<f64>,
    /// By freedom: how many times larger the variance of its motion is since others move the same pixels alike: 1 where none
    /// does.
    pub entangled: Vec<f64>,
}

/// What a cell adds to the equations of each freedom.
#[derive(Clone, Copy, Debug, Default)]
pub struct CellSums {
    /// What is left of it, times the slopes.
    left: [f32; MOST],
    /// Squares of the slopes.
    information: [f32; MOST],
}

/// Sums by cell, kept from step to step.
pub type Scratch = Vec<CellSums>;

/// Solves for the motion of `freedoms` freedoms; `None` when the samples determine nothing.
#[must_use]
pub fn solve(samples: &mut Samples, freedoms: usize, scratch: &mut Scratch) -> Option<Step> {
    // Lengths that are known beforehand let the compiler keep the sums in registers.
    match freedoms {
        1 => solve_for::<1>(samples, scratch),
        2 => solve_for::<2>(samples, scratch),
        3 => solve_for::<3>(samples, scratch),
        4 => solve_for::<4>(samples, scratch),
        5 => solve_for::<5>(samples, scratch),
        _ => solve_for::<MOST>(samples, scratch),
    }
}

fn solve_for<const N: usize>(samples: &mut Samples, scratch: &mut Scratch) -> Option<Step> {
    if samples.len() < 4 * N {
        return None;
    }
    let samples = &samples.filled_up::<N>();
    let mut weight = Weight::all();
    let mut found = weighted::<N>(samples, &weight)?;
    let largest = found.motion.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    if largest < WEIGHTED_BELOW_PX {
        for _ in 0..2 {
            let scale = deviation(samples, &found.motion).max(LEAST_SCALE);
            let next = Weight::beyond(&found.motion, TUKEY * scale);
            match weighted::<N>(samples, &next) {
                Some(again) => (found, weight) = (again, next),
                None => break,
            }
        }
    }
    let left = Left::of(samples, &weight, &found, scratch);
    let variance: [f64; N] = std::array::from_fn(|k| match left.clustered_variance[k] {
        Some(clustered) if found.variance[k].is_finite() => clustered,
        _ => found.variance[k],
    });
    Some(Step {
        motion_px: found.motion.to_vec(),
        standard_error_px: variance.iter().map(|v| v.sqrt()).collect(),
        misfit: left.misfit.to_vec(),
        entangled: found.entangled.to_vec(),
    })
}

/// How much a sample counts: Tukey's biweight of what an earlier solution leaves of it.
struct Weight<const N: usize> {
    motion: [f32; N],
    /// One over the levels at which a sample no longer counts.
    per_limit: f32,
}

impl<const N: usize> Weight<N> {
    /// All the same.
    const fn all() -> Self {
        Self {
            motion: [0.0; N],
            per_limit: 0.0,
        }
    }

    /// By what `motion` leaves of them, none from `limit` levels on.
    fn beyond(motion: &[f64; N], limit: f64) -> Self {
        Self {
            motion: motion.map(|v| v as f32),
            per_limit: (1.0 / limit) as f32,
        }
    }

    /// Squares of the distances in units of the limit, at most 1.
    #[inline(always)]
    fn squares(&self, samples: &Filled<N>, c: usize) -> Lanes {
        samples.remaining(c, &self.motion).map(|left| {
            let u = left * self.per_limit;
            (u * u).min(1.0)
        })
    }

    fn of(square: f32) -> f32 {
        (1.0 - square) * (1.0 - square)
    }

    /// How much more the sample would pull if it were off by more: the slope of what [`Self::of`] makes of its distance.
    fn slope(square: f32) -> f32 {
        (1.0 - square) * (1.0 - 5.0 * square)
    }
}

/// What a solution leaves.
struct Left<const N: usize> {
    /// Variances of motions whose samples hang together within a cell: the sandwich of what the cells leave (Liang and Zeger,
    /// Biometrika 73 (1986) 13-22, from memory). Few cells fit themselves: they count as many as would, evenly, bear the same on the
    /// freedom, less one (after Bell and McCaffrey, Survey Methodology 28 (2002) 169-181, from memory). The bread of a robust
    /// estimate is the slope of its weights (Huber, Robust Statistics, 1981, ch. 7; from memory). `None` where cells are too few.
    clustered_variance: [Option<f64>; N],
    /// By freedom: root mean square of what remains over that of a pixel of motion. A pixel speaks for the freedoms by how
    /// much they move it.
    misfit: [f64; N],
}

impl<const N: usize> Left<N> {
    fn of(
        samples: &Filled<N>,
        weight: &Weight<N>,
        found: &Solution<N>,
        scratch: &mut Scratch,
    ) -> Self {
        scratch.clear();
        let cells = samples.cells.iter().copied().max();
        scratch.resize(cells.map_or(0, |c| c as usize + 1), CellSums::default());
        let motion = found.motion.map(|v| v as f32);
        let (mut weights, mut weight_slopes) = ([0.0f64], [0.0f64]);
        let (mut left, mut unit) = ([0.0f64; N], [0.0f64; N]);
        for (c, cells) in samples.cells.as_chunks::<LANES>().0.iter().enumerate() {
            let squares = weight.squares(samples, c);
            let w = squares.map(Weight::<N>::of);
            add(&mut weights, &[w]);
            add(&mut weight_slopes, &[squares.map(Weight::<N>::slope)]);
            let (slopes, remaining) = (samples.slopes(c), samples.remaining(c, &motion));
            let pulls: [Lanes; N] =
                std::array::from_fn(|f| std::array::from_fn(|k| w[k] * slopes[f][k]));
            for (k, cell) in cells.iter().enumerate() {
                let sums = &mut scratch[*cell as usize];
                for f in 0..N {
                    sums.left[f] += pulls[f][k] * remaining[k];
                    sums.information[f] += pulls[f][k] * slopes[f][k];
                }
            }
            let mut all = [1e-9; LANES];
            for slopes in slopes {
                for k in 0..LANES {
                    all[k] += slopes[k] * slopes[k];
                }
            }
            let each: Lanes = std::array::from_fn(|k| remaining[k] * remaining[k] / all[k]);
            let of_unit: [Lanes; N] =
                std::array::from_fn(|f| std::array::from_fn(|k| slopes[f][k] * slopes[f][k]));
            add(&mut unit, &of_unit);
            let of_left = of_unit.map(|unit| std::array::from_fn(|k| each[k] * unit[k]));
            add(&mut left, &of_left);
        }
        let added = samples.added();
        let (weights, weight_slopes) = (weights[0] - added, weight_slopes[0] - added);
        let mut variance = [0.0; N];
        let (mut information, mut squares) = ([0.0; N], [0.0; N]);
        for sums in scratch.iter() {
            let pull = found.inverse * SVector::<f64, N>::from_fn(|k, _| f64::from(sums.left[k]));
            for k in 0..N {
                let of_cell = f64::from(sums.information[k]);
                variance[k] += pull[k] * pull[k];
                information[k] += of_cell;
                squares[k] += of_cell * of_cell;
            }
        }
        let robust = weights / f64::max(weight_slopes, 0.5 * weights);
        Self {
            clustered_variance: std::array::from_fn(|k| {
                let count = information[k] * information[k] / squares[k].max(1e-9);
                let few = count / (count - 1.0);
                (count >= LEAST_CELLS).then(|| variance[k] * few * robust * robust)
            }),
            misfit: std::array::from_fn(|k| (left[k] / unit[k].max(1e-9)).sqrt()),
        }
    }
}

/// Robust deviation of the residuals: 1.4826 times the median of their sizes (of a fixed sub-sample).
fn deviation<const N: usize>(samples: &Filled<N>, solution: &[f64; N]) -> f64 {
    let motion = solution.map(|v| v as f32);
    let stride = (samples.count / 512).max(1);
    let residuals = &samples.residuals.as_flattened()[..samples.count];
    let slopes = samples.slopes.map(|s| &s.as_flattened()[..samples.count]);
    let sizes = (0..samples.count).step_by(stride).map(|at| {
        let explained: f32 = (0..N).map(|f| slopes[f][at] * motion[f]).sum();
        (residuals[at] - explained).abs()
    });
    let mut sizes: Vec<f32> = sizes.collect();
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f32::total_cmp);
    1.4826 * f64::from(*median)
}

/// What weighted least squares say.
struct Solution<const N: usize> {
    motion: [f64; N],
    inverse: SMatrix<f64, N, N>,
    /// As of samples that are independent; infinite where they do not bear on it.
    variance: [f64; N],
    entangled: [f64; N],
}

fn weighted<const N: usize>(samples: &Filled<N>, weight: &Weight<N>) -> Option<Solution<N>> {
    let mut normal = [[0.0f64; N]; N];
    let mut right = [0.0f64; N];
    let (mut squares, mut total) = ([0.0f64], [0.0f64]);
    let chunks = samples.residuals.len();
    for first in (0..chunks).step_by(CHUNKS_TOGETHER) {
        let mut normals = [[[0.0f32; LANES]; N]; N];
        let mut rights = [[0.0f32; LANES]; N];
        let (mut square, mut weights) = ([0.0f32; LANES], [0.0f32; LANES]);
        for c in first..(first + CHUNKS_TOGETHER).min(chunks) {
            let w = weight.squares(samples, c).map(Weight::<N>::of);
            let (slopes, r) = (samples.slopes(c), &samples.residuals[c]);
            for i in 0..N {
                let pull: Lanes = std::array::from_fn(|k| w[k] * slopes[i][k]);
                for k in 0..LANES {
                    rights[i][k] += pull[k] * r[k];
                }
                for j in 0..=i {
                    for k in 0..LANES {
                        normals[i][j][k] += pull[k] * slopes[j][k];
                    }
                }
            }
            for k in 0..LANES {
                square[k] += w[k] * r[k] * r[k];
                weights[k] += w[k];
            }
        }
        for (sums, lanes) in normal.iter_mut().zip(&normals) {
            add(sums, lanes);
        }
        add(&mut right, &rights);
        add(&mut squares, &[square]);
        add(&mut total, &[weights]);
    }
    let (squares, total) = (squares[0], total[0] - samples.added());
    // A freedom whose ink does not move here must not keep the others from being solved.
    let bears: [bool; N] = std::array::from_fn(|k| normal[k][k] >= LEAST_INFORMATION);
    if !bears.contains(&true) {
        return None;
    }
    let matrix = SMatrix::<f64, N, N>::from_fn(|i, j| {
        let entry = if j <= i { normal[i][j] } else { normal[j][i] };
        if i == j { entry + 1.0 } else { entry }
    });
    let vector = SVector::<f64, N>::from(right);
    let inverse = Cholesky::new(matrix)?.inverse();
    let solution = inverse * vector;
    let left = (squares - solution.dot(&vector)).max(0.0);
    // Rounding to codes alone leaves a variance of 1/12 on each side.
    let sigma2 = (left / (total - N as f64).max(1.0)).max(1.0 / 6.0);
    let variance = std::array::from_fn(|k| {
        if bears[k] {
            inverse[(k, k)].max(0.0) * sigma2
        } else {
            f64::INFINITY
        }
    });
    Some(Solution {
        motion: solution.into(),
        inverse,
        variance,
        entangled: std::array::from_fn(|k| inverse[(k, k)] * matrix[(k, k)]),
    })
}

#[cfg(test)]
mod tests {
    use super::{MOST, Samples, Scratch, Step};
    use rand::{Rng, SeedableRng};

    #[derive(Clone, Copy, Default)]
    struct Sample {
        slope: [f32; MOST],
        residual: f32,
        cell: u32,
    }

    fn solve(list: &[Sample], freedoms: usize) -> Option<Step> {
        let mut samples = Samples::default();
        for s in list {
            samples.push(&s.slope[..freedoms], s.residual, s.cell);
        }
        super::solve(&mut samples, freedoms, &mut Scratch::new())
    }

    /// Edges of contrast 100 over two pixels, moved by `motion`, with Gaussian noise.
    fn samples(motion: f64, sigma: f64, seed: u64, count: usize) -> Vec<Sample> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let mut gauss = || {
            let (u, v): (f64, f64) = (random.random_range(1e-12..1.0), random.random());
            (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
        };
        (0..count)
            .map(|k| {
                let mut slope = [0.0; MOST];
                slope[0] = if k % 2 == 0 { 50.0 } else { -50.0 };
                Sample {
                    slope,
                    residual: (f64::from(slope[0]) * motion + sigma * gauss()) as f32,
                    cell: k as u32 / 10,
                }
            })
            .collect()
    }

    /// The bound is the inverse of Fisher's information: sigma^2 / sum of slope^2
    /// (Kay, Fundamentals of Statistical Signal Processing vol. 1, 1993, ch. 3; from memory).
    #[test]
    fn reaches_the_cramer_rao_bound() {
        let (sigma, count, runs) = (5.0, 400, 400);
        let bound = sigma / (count as f64 * 2500.0).sqrt();
        let mut squares = 0.0;
        for seed in 0..runs {
            let step = solve(&samples(0.2, sigma, seed, count), 1).expect("determined");
            squares += (step.motion_px[0] - 0.2).powi(2);
        }
        let ratio = (squares / runs as f64).sqrt() / bound;
        assert!(
            (0.85..1.1).contains(&ratio),
            "RMS is {ratio} times the bound"
        );
    }

    #[test]
    fn states_its_own_error() {
        let bound = 5.0 / (400.0f64 * 2500.0).sqrt();
        let stated = |seed| {
            let list = samples(-0.3, 5.0, seed, 400);
            let step = solve(&list, 1).expect("determined");
            step.standard_error_px[0].powi(2)
        };
        let rms = ((0..50).map(stated).sum::<f64>() / 50.0).sqrt();
        assert!((rms / bound - 1.0).abs() < 0.1, "{rms} of {bound}");
    }

    /// What is left in a cell hangs together: as if there were a sample a cell.
    #[test]
    fn cells_that_hang_together_count_as_one_sample() {
        let mut squares = [0.0; 2];
        for seed in 0..200 {
            let white = samples(0.0, 5.0, seed, 100);
            let cells = (0..1000).map(|k| Sample {
                slope: [50.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                residual: white[k / 10].residual,
                cell: k as u32 / 10,
            });
            let list: Vec<Sample> = cells.collect();
            let step = solve(&list, 1).expect("determined");
            squares[0] += step.motion_px[0].powi(2);
            squares[1] += step.standard_error_px[0].powi(2);
        }
        let pull = (squares[0] / squares[1]).sqrt();
        assert!((0.8..1.25).contains(&pull), "{pull}");
    }

    #[test]
    fn outliers_do_not_pull_the_value() {
        let mut list = samples(0.1, 2.0, 7, 400);
        for s in list.iter_mut().step_by(12) {
            s.residual += 120.0;
        }
        let step = solve(&list, 1).expect("determined");
        assert!((step.motion_px[0] - 0.1).abs() < 0.02, "{step:?}");
    }

    #[test]
    fn nothing_moves_nothing_is_read() {
        assert_eq!(solve(&[], 1), None);
        assert_eq!(solve(&[Sample::default(); 50], 1), None);
    }

    #[test]
    fn a_small_symbol_that_is_lost_is_seen_beside_a_large_one_that_is_not() {
        let mut list = samples(0.1, 1.0, 3, 4000);
        for k in 0..60 {
            let mut slope = [0.0; MOST];
            slope[1] = if k % 2 == 0 { 50.0 } else { -50.0 };
            list.push(Sample {
                slope,
                residual: 60.0,
                cell: 0,
            });
        }
        let step = solve(&list, 2).expect("determined");
        assert!(step.misfit[0] < 0.1 && step.misfit[1] > 0.5, "{step:?}");
    }

    /// Two edges of one freedom, and two of another of which one is the same: the sums of products of slopes are 2, 2 and 1,
    /// the correlation is a half, and the variance grows by 1 / (1 - 1/4).
    #[test]
    fn freedoms_that_share_pixels_are_entangled() {
        let sample = |slopes: [f32; 2]| {
            let mut slope = [0.0; MOST];
            slope[..2].copy_from_slice(&slopes);
            Sample {
                slope,
                residual: 0.0,
                cell: 0,
            }
        };
        let edges = [
            sample([50.0, 0.0]),
            sample([50.0, 50.0]),
            sample([0.0, 50.0]),
        ];
        let list = edges.repeat(40);
        let step = solve(&list, 2).expect("determined");
        for entangled in &step.entangled {
            assert!((entangled - 4.0 / 3.0).abs() < 1e-3, "{entangled}");
        }
        let step = solve(&samples(0.1, 1.0, 3, 400), 1).expect("determined");
        assert!((step.entangled[0] - 1.0).abs() < 1e-9);
    }
}
