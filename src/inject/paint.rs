//! Painting on captured frames in their own planes: copying, filling, resampling, noise.
//!
//! Areas count in pixels of luma; colour planes are painted where their samples' own pixels lie.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

use crate::picture::{Picture, Plane, Rect, Rgb, Subsampling};
use crate::reference::canvas::Look;

/// The part of plane `plane` that belongs to `area`.
#[must_use]
pub fn plane_area(picture: &Picture, plane: usize, area: Rect) -> Rect {
    let all = Rect::new(
        0,
        0,
        picture.planes()[plane].width() as i32,
        picture.planes()[plane].height() as i32,
    );
    let [sx, sy] = steps(picture.subsampling(), plane);
    let (x, y) = (area.x.div_euclid(sx), area.y.div_euclid(sy));
    let (right, bottom) = (
        (area.right() + sx - 1).div_euclid(sx),
        (area.bottom() + sy - 1).div_euclid(sy),
    );
    Rect::new(x, y, right - x, bottom - y).intersection(&all)
}

/// Pixels of luma for a sample of `plane`, along x and y.
#[must_use]
pub const fn steps(subsampling: Subsampling, plane: usize) -> [i32; 2] {
    if plane == 0 {
        [1, 1]
    } else {
        subsampling.steps()
    }
}

/// Copies `area` of `from` to the same place of `to`.
pub fn copy(from: &Picture, to: &mut Picture, area: Rect) {
    for plane in 0..3 {
        let part = plane_area(to, plane, area);
        let (x, right) = (part.x as usize, part.right() as usize);
        for y in part.y as usize..part.bottom() as usize {
            to.planes_mut()[plane].row_mut(y)[x..right]
                .copy_from_slice(&from.planes()[plane].row(y)[x..right]);
        }
    }
}

/// Copies `source` of `from` to `to`, its top left corner to (`x`, `y`). Corners must lie on whole samples of
/// the colour planes, and both areas within their pictures.
pub fn transplant(from: &Picture, source: Rect, to: &mut Picture, [x, y]: [i32; 2]) {
    let target = Rect::new(x, y, source.width, source.height);
    for plane in 0..3 {
        let (part, place) = (
            plane_area(from, plane, source),
            plane_area(to, plane, target),
        );
        let (width, height) = (
            part.width.min(place.width) as usize,
            part.height.min(place.height) as usize,
        );
        for row in 0..height {
            let levels = &from.planes()[plane].row(part.y as usize + row)[part.x as usize..];
            to.planes_mut()[plane].row_mut(place.y as usize + row)[place.x as usize..][..width]
                .copy_from_slice(&levels[..width]);
        }
    }
}

/// Replaces every level of `plane` in `area` by what `change` makes of it.
pub fn map(picture: &mut Picture, plane: usize, area: Rect, change: impl Fn(u8) -> u8) {
    let part = plane_area(picture, plane, area);
    for y in part.y as usize..part.bottom() as usize {
        for level in
            &mut picture.planes_mut()[plane].row_mut(y)[part.x as usize..part.right() as usize]
        {
            *level = change(*level);
        }
    }
}

/// Fills `area` with a colour as the chain shows it.
pub fn fill(picture: &mut Picture, area: Rect, color: Rgb, look: &Look) {
    let levels = look.levels(color);
    for (plane, level) in levels.into_iter().enumerate() {
        let part = plane_area(picture, plane, area);
        for y in part.y as usize..part.bottom() as usize {
            picture.planes_mut()[plane].row_mut(y)[part.x as usize..part.right() as usize]
                .fill(level);
        }
    }
}

/// Draws `area` of `to` anew: the pixel at (x, y), in luma pixels from the outer corner, shows `from`
/// at the place that `source` gives, between pixels linearly; `outside` where that lies outside of
/// `area`.
pub fn resample(
    from: &Picture,
    to: &mut Picture,
    area: Rect,
    outside: [u8; 3],
    source: impl Fn(f64, f64) -> (f64, f64),
) {
    for (plane, outside) in outside.into_iter().enumerate() {
        let part = plane_area(to, plane, area);
        let [sx, sy] = steps(to.subsampling(), plane).map(f64::from);
        for y in part.y..part.bottom() {
            for x in part.x..part.right() {
                let (px, py) = source((f64::from(x) + 0.5) * sx, (f64::from(y) + 0.5) * sy);
                let level = if px < f64::from(area.x)
                    || py < f64::from(area.y)
                    || px >= f64::from(area.right())
                    || py >= f64::from(area.bottom())
                {
                    outside
                } else {
                    between(&from.planes()[plane], part, px / sx - 0.5, py / sy - 0.5)
                };
                to.planes_mut()[plane].row_mut(y as usize)[x as usize] = level;
            }
        }
    }
}

/// As [`resample`], with places counted from the centre of `area`.
pub fn resample_about_centre(
    from: &Picture,
    to: &mut Picture,
    area: Rect,
    outside: [u8; 3],
    source: impl Fn(f64, f64) -> (f64, f64),
) {
    let (across, down) = (
        f64::from(area.x + area.right()) / 2.0,
        f64::from(area.y + area.bottom()) / 2.0,
    );
    resample(from, to, area, outside, |x, y| {
        let (dx, dy) = source(x - across, y - down);
        (across + dx, down + dy)
    });
}

/// The level at (`x`, `y`), in samples from the centre of the first, within `part`.
fn between(plane: &Plane, part: Rect, x: f64, y: f64) -> u8 {
    let x = x.clamp(f64::from(part.x), f64::from(part.right() - 1));
    let y = y.clamp(f64::from(part.y), f64::from(part.bottom() - 1));
    let (x0, y0) = (libm::floor(x) as usize, libm::floor(y) as usize);
    let (x1, y1) = (
        (x0 + 1).min(part.right() as usize - 1),
        (y0 + 1).min(part.bottom() as usize - 1),
    );
    let (fx, fy) = (x - x0 as f64, y - y0 as f64);
    let at = |x, y| f64::from(plane.at(x, y));
    let upper = at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx;
    let lower = at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx;
    libm::round(upper * (1.0 - fy) + lower * fy) as u8
}

/// Adds Gaussian noise of standard deviation `sigma` (levels, by plane) to `area`.
pub fn add_noise(picture: &mut Picture, area: Rect, sigma: [f64; 3], seed: u64, stream: u64) {
    let mut noise = Noise::new(seed, stream);
    for (plane, sigma) in sigma.into_iter().enumerate() {
        if sigma <= 0.0 {
            continue;
        }
        let part = plane_area(picture, plane, area);
        for y in part.y as usize..part.bottom() as usize {
            for level in
                &mut picture.planes_mut()[plane].row_mut(y)[part.x as usize..part.right() as usize]
            {
                *level = noise.on(f64::from(*level), sigma);
            }
        }
    }
}

/// Gaussian noise from a seed, by the sum of twelve uniform samples: its tails end at 6 standard
/// deviations, which no level of 8 bits can tell from a true one.
pub struct Noise(ChaCha8Rng);

impl Noise {
    /// Noise of its own for each `stream` (a frame, say).
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream);
        Self(rng)
    }

    /// One sample with standard deviation 1.
    pub fn sample(&mut self) -> f64 {
        let mut sum = 0u32;
        for _ in 0..6 {
            let two = self.0.next_u32();
            sum += (two & 0xffff) + (two >> 16);
        }
        f64::from(sum) / 65536.0 - 6.0 + 6.0 / 65536.0
    }

    /// A level with noise of standard deviation `sigma` on it.
    pub fn on(&mut self, level: f64, sigma: f64) -> u8 {
        libm::round(level + sigma * self.sample()).clamp(0.0, 255.0) as u8
    }
}

/// True when both pictures hold the same levels in `area`.
#[must_use]
pub fn is_same(a: &Picture, b: &Picture, area: Rect) -> bool {
    (0..3).all(|plane| {
        let part = plane_area(a, plane, area);
        let (x, right) = (part.x as usize, part.right() as usize);
        (part.y as usize..part.bottom() as usize)
            .all(|y| a.planes()[plane].row(y)[x..right] == b.planes()[plane].row(y)[x..right])
    })
}

/// Luma pixels of `area` that differ by more than `levels`.
#[must_use]
pub fn differing_px(a: &Picture, b: &Picture, area: Rect, levels: u8) -> u64 {
    differing_in(0, a, b, area, levels)
}

/// Samples of luma and colour in `area` that differ by more than `levels`.
#[must_use]
pub fn differing_samples(a: &Picture, b: &Picture, area: Rect, levels: u8) -> u64 {
    (0..3)
        .map(|plane| differing_in(plane, a, b, area, levels))
        .sum()
}

fn differing_in(plane: usize, a: &Picture, b: &Picture, area: Rect, levels: u8) -> u64 {
    let part = plane_area(a, plane, area);
    let (x, right) = (part.x as usize, part.right() as usize);
    (part.y as usize..part.bottom() as usize)
        .map(|y| {
            let [a, b] = [a, b].map(|p| &p.planes()[plane].row(y)[x..right]);
            let differing = a.iter().zip(b).filter(|(a, b)| a.abs_diff(**b) > levels);
            differing.count() as u64
        })
        .sum()
}
