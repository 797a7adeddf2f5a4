//! The colours of a captured picture against those of its reference: can one rule for all levels explain them?

pub(super) use crate::chain::constants::shades::LEFT_SHARE;
use crate::chain::constants::shades::{
    ANOTHER_COLOR_LEVELS, FAR_LEVELS, LEAST_COLOR, LEAST_REGIONS, LEAST_SAMPLES, LEAST_SPREAD,
    LEFT_OF_EACH, MOST_SAMPLES, MOVED_LEVELS, MOVED_SHARE, STEPS,
};
use crate::reference::canvas::ColorMap;

/// Flat samples of one colour of the reference, as they are shown.
#[derive(Clone)]
struct Shade {
    clean: [f64; 3],
    count: f64,
    /// How often shown minus clean was each number of levels, by plane.
    steps: Vec<[u32; STEPS]>,
}

/// What a change of all levels is to one colour.
enum Share {
    /// It hardly moves it.
    None,
    /// The colour is elsewhere.
    Not,
    /// It explains the colour: squared differences before and after, and how far it moves it.
    Explained {
        before: f64,
        after: f64,
        farthest: f64,
    },
}

impl Shade {
    fn new(clean: [f64; 3]) -> Self {
        Self {
            clean,
            count: 0.0,
            steps: vec![[0; STEPS]; 3],
        }
    }

    fn add(&mut self, shown: [f64; 3]) {
        self.count += 1.0;
        for (k, shown) in shown.into_iter().enumerate() {
            let place = libm::round(shown - self.clean[k]) as i32 + 255;
            self.steps[k][place.clamp(0, STEPS as i32 - 1) as usize] += 1;
        }
    }

    fn steps(&self, k: usize) -> impl Iterator<Item = (f64, u32)> {
        (-255i32..=255)
            .zip(&self.steps[k])
            .filter(|(_, n)| **n > 0)
            .map(|(step, n)| (f64::from(step), *n))
    }

    /// Mean of shown minus clean, by plane.
    fn mean(&self) -> [f64; 3] {
        [0, 1, 2].map(|k| {
            let sum: f64 = self.steps(k).map(|(step, n)| step * f64::from(n)).sum();
            sum / self.count
        })
    }

    /// Share of the samples that are nearer to a level `moved` away in plane `k` than to where they belong. Lines that
    /// are lost move the mean of all, but few of the samples.
    fn share_moved(&self, k: usize, moved: f64) -> f64 {
        let is_nearer = |step: f64| (step - moved).abs() < step.abs();
        let nearer = self.steps(k).filter(|(step, _)| is_nearer(*step));
        f64::from(nearer.map(|(_, n)| n).sum::<u32>()) / self.count
    }

    fn share(&self, change: &ColorMap) -> Share {
        let mapped = change.map(self.clean);
        let moved = [0, 1, 2].map(|k| mapped[k] - self.clean[k]);
        let plane = (0..3).max_by(|a, b| moved[*a].abs().total_cmp(&moved[*b].abs()));
        let plane = plane.unwrap_or(0);
        let farthest = moved[plane].abs();
        if farthest < MOVED_LEVELS {
            return Share::None;
        }
        if self.share_moved(plane, moved[plane]) < MOVED_SHARE {
            return Share::Not;
        }
        let shown = self.mean();
        let squares: f64 = shown.iter().map(|d| d * d).sum();
        let left: f64 = (0..3).map(|k| (shown[k] - moved[k]).powi(2)).sum();
        if left >= LEFT_OF_EACH * squares {
            return Share::Not;
        }
        Share::Explained {
            before: self.count * squares,
            after: self.count * left,
            farthest,
        }
    }
}

/// The colours of a picture, or of a part of it.
#[derive(Default)]
pub(super) struct Shades(Vec<Shade>);

impl Shades {
    /// Adds a sample: levels of the reference, and as they are shown.
    pub fn add(&mut self, clean: [f64; 3], shown: [f64; 3]) {
        self.of(clean).add(shown);
    }

    fn of(&mut self, clean: [f64; 3]) -> &mut Shade {
        // Neighbours have the same colour nearly always, so the colour met last is looked at first.
        let at = self.0.iter().rposition(|s| s.clean == clean);
        let at = at.unwrap_or_else(|| {
            self.0.push(Shade::new(clean));
            self.0.len() - 1
        });
        let last = self.0.len() - 1;
        self.0.swap(at, last);
        &mut self.0[last]
    }

    /// All parts as one.
    pub fn of_all(parts: &[Self]) -> Self {
        let mut all = Self::default();
        for shade in parts.iter().flat_map(|p| &p.0) {
            let sum = all.of(shade.clean);
            sum.count += shade.count;
            for (sum, steps) in sum.steps.iter_mut().zip(&shade.steps) {
                for (sum, n) in sum.iter_mut().zip(steps) {
                    *sum += n;
                }
            }
        }
        all
    }

    fn seen_well(&self) -> impl Iterator<Item = &Shade> {
        self.0.iter().filter(|s| s.count >= LEAST_SAMPLES)
    }

    /// Share of the differences, squared, that `change` leaves in the colours that it moves, by their means: codecs
    /// and noise average out. 1 when it cannot be told from a wrong colour of one thing: every colour
    /// must go along, and there must be two of them, or one that moves far.
    pub fn left(&self, change: &ColorMap) -> f64 {
        let (mut all_before, mut all_after) = (0.0, 0.0);
        let mut first: Option<[f64; 3]> = None;
        let mut is_plain = false;
        for shade in self.seen_well() {
            match shade.share(change) {
                Share::None => {}
                Share::Not => return 1.0,
                Share::Explained {
                    before,
                    after,
                    farthest,
                } => {
                    all_before += before;
                    all_after += after;
                    let is_another = first.is_some_and(|f| {
                        (0..3).any(|k| (f[k] - shade.clean[k]).abs() >= ANOTHER_COLOR_LEVELS)
                    });
                    first.get_or_insert(shade.clean);
                    is_plain |= is_another || farthest >= FAR_LEVELS;
                }
            }
        }
        if is_plain {
            all_after / all_before
        } else {
            1.0
        }
    }

    /// Gain and offset of luma and gain of colour by least squares, as a map of levels; `None` where the colours are too
    /// much alike.
    fn gain(&self) -> Option<ColorMap> {
        // Sums of 1, x, y, x², xy: luma as is, colour about its centre.
        let (mut luma, mut color) = ([0.0; 5], [0.0; 5]);
        for shade in self.seen_well() {
            let weight = shade.count.min(MOST_SAMPLES);
            let moved = shade.mean();
            let add = |sums: &mut [f64; 5], x: f64, moved: f64| {
                let y = x + moved;
                for (sum, v) in sums.iter_mut().zip([1.0, x, y, x * x, x * y]) {
                    *sum += weight * v;
                }
            };
            add(&mut luma, shade.clean[0], moved[0]);
            add(&mut color, shade.clean[1] - 128.0, moved[1]);
            add(&mut color, shade.clean[2] - 128.0, moved[2]);
        }
        let [n, x, y, xx, xy] = luma;
        let spread = n * xx - x * x;
        if n <= 0.0 || spread < (LEAST_SPREAD * n).powi(2) {
            return None;
        }
        let gain = (n * xy - x * y) / spread;
        let offset = (y - gain * x) / n;
        let [n, _, _, xx, xy] = color;
        let of_color = if xx < n * LEAST_COLOR * LEAST_COLOR {
            gain
        } else {
            xy / xx
        };
        let row = |k: usize| {
            let mut row = [0.0, 0.0, 0.0, 128.0 * (1.0 - of_color)];
            row[k] = of_color;
            row
        };
        Some(ColorMap([[gain, 0.0, 0.0, offset], row(1), row(2)]))
    }
}

/// The gain and offset that all parts of a picture went through, as a map of levels; `None` where there is none that
/// explains several parts and contradicts none. `all` is all parts as one.
pub(super) fn common_gain(parts: &[Shades], all: &Shades) -> Option<ColorMap> {
    let map = all.gain()?;
    let mut moved = 0;
    for part in parts {
        let shares = part.seen_well().map(|s| s.share(&map));
        let mut is_moved = false;
        for share in shares {
            match share {
                Share::None => {}
                Share::Not => return None,
                Share::Explained { .. } => is_moved = true,
            }
        }
        moved += usize::from(is_moved);
    }
    (moved >= LEAST_REGIONS && all.left(&map) < LEFT_SHARE).then_some(map)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chain::colors::between;
    use crate::colour::encode_unit;
    use crate::picture::{Encoding, Matrix, Range};

    const BT709: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };
    const BT601: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt601,
        range: Range::Limited,
    };

    fn encode(rgb: [f64; 3]) -> [f64; 3] {
        encode_unit(rgb, BT709)
    }

    #[test]
    fn a_change_of_one_colour_alone_is_not_explained_by_another_matrix() {
        let map = between(BT709, BT601);
        let (green, red) = (encode([0.1, 0.8, 0.2]), encode([0.8, 0.1, 0.1]));
        let left = |shown: [[f64; 3]; 2]| {
            let mut shades = Shades::default();
            for _ in 0..LEAST_SAMPLES as u32 {
                for (clean, shown) in [green, red].into_iter().zip(shown) {
                    shades.add(clean, shown);
                }
            }
            shades.left(&map)
        };
        // Levels are whole, so a little is left.
        assert!(left([map.map(green), map.map(red)]) < 0.01);
        assert!(left([map.map(green), red]) > LEFT_SHARE);
        assert!(left([green, red]) > 1.0 - 1e-9);
    }

    #[test]
    fn small_shifts_of_two_colors_tell_another_matrix_and_of_one_do_not() {
        // BT.709-6 and BT.601-7, coefficients of luma: a blue and a brown move by no more than 3 levels.
        let map = between(BT709, BT601);
        let (blue, brown) = (encode([0.17, 0.43, 0.66]), encode([0.44, 0.3, 0.17]));
        let left = |colors: &[[f64; 3]], off: f64| {
            let mut shades = Shades::default();
            for k in 0..2 * LEAST_SAMPLES as u32 {
                for clean in colors {
                    // Noise of a level up and down.
                    let noise = if k % 2 == 0 { 1.0 } else { -1.0 };
                    shades.add(*clean, map.map(*clean).map(|v| v + noise + off));
                }
            }
            shades.left(&map)
        };
        assert!(left(&[blue, brown], 0.3) < LEFT_SHARE);
        assert!(left(&[blue], 0.3) > 1.0 - 1e-9);
        // Levels that are off by as much, but in another direction.
        assert!(left(&[blue, brown], 3.0) > LEFT_SHARE);
    }

    #[test]
    fn noise_on_some_lines_is_no_squeezed_range() {
        // Every tenth line shows noise: the mean of dark and bright colours moves towards the middle.
        let full = Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Full,
        };
        let squeezed = between(full, BT709);
        let left = |lost: bool| {
            let mut shades = Shades::default();
            for k in 0..2000u32 {
                for clean in [[20.0, 128.0, 128.0], [230.0, 128.0, 128.0]] {
                    let shown = match lost {
                        true if k % 10 == 0 => [f64::from(k * 7 % 256), 128.0, 128.0],
                        true => clean,
                        false => squeezed.map(clean),
                    };
                    shades.add(clean, shown);
                }
            }
            shades.left(&squeezed)
        };
        assert!(left(false) < 0.01);
        assert!(left(true) > 1.0 - 1e-9);
    }

    /// Parts of a picture with these colours, shown by a gain about black.
    fn parts(gains: &[f64]) -> Vec<Shades> {
        let colors = [[0.05, 0.06, 0.08], [0.17, 0.43, 0.66], [0.6, 0.6, 0.5]].map(encode);
        let part = |gain: &f64| {
            let mut shades = Shades::default();
            for k in 0..2 * LEAST_SAMPLES as u32 {
                for clean in colors {
                    let noise = if k % 2 == 0 { 1.0 } else { -1.0 };
                    let black = [16.0, 128.0, 128.0];
                    let shown = [0, 1, 2].map(|p| black[p] + (clean[p] - black[p]) * gain + noise);
                    shades.add(clean, shown);
                }
            }
            shades
        };
        gains.iter().map(part).collect()
    }

    fn gain_of(gains: &[f64]) -> Option<ColorMap> {
        let parts = parts(gains);
        common_gain(&parts, &Shades::of_all(&parts))
    }

    #[test]
    fn a_gain_of_all_parts_is_measured_and_one_of_some_is_none() {
        let ColorMap(map) = gain_of(&[0.9; 4]).expect("all are darker");
        for (k, row) in map.iter().enumerate() {
            assert!((row[k] - 0.9).abs() < 0.01, "{map:?}");
        }
        assert!((map[0][3] - 1.6).abs() < 0.3, "{map:?}");
        assert!(gain_of(&[0.9, 0.9, 0.9, 1.0]).is_none());
        assert!(gain_of(&[0.9, 1.0, 1.0, 1.0]).is_none());
        assert!(gain_of(&[0.9, 0.9]).is_none());
        // Rounding is no gain: nothing moves far enough to count.
        assert!(gain_of(&[1.0; 4]).is_none());
    }
}
