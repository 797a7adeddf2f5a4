//! What the capture chain does to a good picture, as measured, kept as a file.

use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::info::size_problem;
use super::reading_errors::ReadingErrors;
use crate::files::{self, FileContent, Limit};
use crate::picture::{Encoding, Subsampling};
use crate::reference::canvas::{ColorMap, Geometry, Look, Siting};
use crate::reference::placement::TextPlacement;
use crate::reference::shading::Shading;

/// Version of the file. Readers refuse files of a later version; files of an earlier one are read.
pub const PROFILE_VERSION: u32 = 3;

/// How a profile is known by its beginning.
pub const FILE: files::Kind = files::Kind {
    name: "a capture profile",
    mark: "\"profile_version\":",
};

/// Profiles have 1 kB or two.
const LIMIT: Limit = Limit {
    kind: "a capture profile",
    bytes: 1 << 20,
};

/// What the capture chain does to a good picture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// Version of the file.
    pub profile_version: u32,
    /// Width of captured frames, px.
    pub width: usize,
    /// Height of captured frames, px.
    pub height: usize,
    /// Encoding of captured frames.
    pub encoding: Encoding,
    /// Resolution of the colour planes.
    pub subsampling: Subsampling,
    /// Where colour samples lie.
    pub siting: Siting,
    /// Scale of x and y.
    pub scale: [f64; 2],
    /// Shift of x and y, px: captured = scale * display + shift.
    pub shift_px: [f64; 2],
    /// What a pixel of y adds to x, and one of x to y: 0 unless the picture is turned.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub skew: [f64; 2],
    /// Where the display is seen at an angle, captured x and y are divided by 1 + this * display, 1/px.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub perspective: [f64; 2],
    /// Captured levels from the reference's: three rows of weights of Y', Cb, Cr and an offset.
    pub color: [[f64; 4]; 3],
    /// Root mean square noise of flat areas, levels: Y', Cb, Cr.
    pub noise: [f64; 3],
    /// Blur of edges, standard deviation, px; 0 where it was not measured.
    #[serde(default)]
    pub blur_px: f64,
    /// How light falls off over the picture: the same everywhere where it was not measured.
    #[serde(default, skip_serializing_if = "Shading::is_none")]
    pub shading: Shading,
    /// How the unit places its text.
    #[serde(default)]
    pub text: TextPlacement,
    /// How far readings lie off; what is usual where it was not measured.
    #[serde(default)]
    pub reading_errors: ReadingErrors,
    /// Usual staleness of the display, s.
    pub latency_s: f64,
    /// Its standard error, s; absent when nothing moved enough to measure it.
    pub latency_se_s: Option<f64>,
    /// Frames that were measured.
    pub frames: u64,
}

fn is_zero(v: &[f64; 2]) -> bool {
    *v == [0.0; 2]
}

/// What is wrong with a profile file.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// It cannot be read.
    #[error(transparent)]
    File(#[from] files::Error),
    /// It is not a profile.
    #[error(
        "profile \"{path}\", line {line}, column {column}: {what}; write it anew with `framevouch calibrate`"
    )]
    Json {
        /// The file.
        path: String,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What was found.
        what: String,
    },
    /// It holds a value that cannot be.
    #[error("profile \"{path}\": {what}; write it anew with `framevouch calibrate`")]
    Value {
        /// The file.
        path: String,
        /// What was found and allowed.
        what: String,
    },
}

/// Blur from which on references are drawn with it, px: what codecs do of it is less, and the tolerance of edges holds it.
pub const DRAWN_BLUR_PX: f64 = 0.5;

impl Profile {
    /// The chain that changes nothing.
    #[must_use]
    pub fn plain(
        size: (usize, usize),
        encoding: Encoding,
        subsampling: Subsampling,
        siting: Siting,
    ) -> Self {
        Self {
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

    /// Reads a profile.
    ///
    /// # Errors
    /// When the file cannot be read, is not a profile, or holds values that cannot be.
    pub fn load(path: &Path) -> Result<Self, Error> {
        Self::read(path).map(|(profile, _)| profile)
    }

    /// Reads a profile, and tells what the file held.
    ///
    /// # Errors
    /// See [`Profile::load`].
    pub fn read(path: &Path) -> Result<(Self, FileContent), Error> {
        let (text, content) = files::read_text(path, LIMIT)?;
        let profile = Self::from_json(&text, &path.display().to_string())?;
        let path = path.to_owned();
        Ok((profile, FileContent { path, content }))
    }

    /// Reads a profile from its text.
    ///
    /// # Errors
    /// See [`Profile::load`].
    pub fn from_json(text: &str, name: &str) -> Result<Self, Error> {
        let profile: Self = serde_json::from_str(text).map_err(|e| Error::Json {
            path: name.to_owned(),
            line: e.line(),
            column: e.column(),
            // The reader says the place once more.
            what: match e.to_string().split_once(" at line ") {
                Some((what, _)) => what.to_owned(),
                None => e.to_string(),
            },
        })?;
        profile.check().map_err(|what| Error::Value {
            path: name.to_owned(),
            what,
        })?;
        Ok(profile)
    }

    fn check(&self) -> Result<(), String> {
        if self.profile_version > PROFILE_VERSION {
            return Err(format!(
                "version {} is later than {PROFILE_VERSION}, the latest that this program reads",
                self.profile_version
            ));
        }
        if let Some(problem) = size_problem(self.width, self.height) {
            return Err(problem);
        }
        let is_good = |v: f64, low: f64, high: f64| v.is_finite() && (low..=high).contains(&v);
        for (name, v) in [("x", self.scale[0]), ("y", self.scale[1])] {
            if !is_good(v, 0.1, 10.0) {
                return Err(format!("scale of {name} is {v}, allowed 0.1 to 10"));
            }
        }
        for v in self.shift_px {
            if !is_good(v, -1e5, 1e5) {
                return Err(format!("shift_px is {v}, allowed -100000 to 100000"));
            }
        }
        for v in self.skew {
            if !is_good(v, -10.0, 10.0) {
                return Err(format!("skew is {v}, allowed -10 to 10"));
            }
        }
        for v in self.perspective {
            if !is_good(v, -0.1, 0.1) {
                return Err(format!("perspective is {v}, allowed -0.1 to 0.1"));
            }
        }
        if self
            .color
            .iter()
            .flatten()
            .any(|v| !is_good(*v, -300.0, 300.0))
        {
            return Err("color holds a value outside -300 to 300".into());
        }
        if self.noise.iter().any(|v| !is_good(*v, 0.0, 128.0)) {
            return Err("noise holds a value outside 0 to 128".into());
        }
        if !is_good(self.blur_px, 0.0, 16.0) {
            return Err(format!("blur_px is {}, allowed 0 to 16", self.blur_px));
        }
        let corners = [0, self.width].map(|x| [0, self.height].map(|y| (x as f64, y as f64)));
        for (x, y) in corners.into_iter().flatten() {
            let gain = self.shading.gain(x, y);
            if !is_good(gain, 0.0, 4.0) {
                return Err(format!(
                    "shading leaves {gain} of the light at {x},{y} px, allowed 0 to 4"
                ));
            }
        }
        self.reading_errors.check()?;
        if !is_good(self.latency_s, -10.0, 10.0) {
            return Err(format!(
                "latency_s is {}, allowed -10 to 10",
                self.latency_s
            ));
        }
        Ok(())
    }

    /// Takes over where the display stands in the picture.
    pub const fn set_geometry(&mut self, geometry: &Geometry) {
        self.scale = [geometry.sx, geometry.sy];
        self.shift_px = [geometry.tx, geometry.ty];
        self.skew = geometry.skew;
        self.perspective = geometry.perspective;
    }

    /// How the reference is brought to this chain.
    #[must_use]
    pub fn look(&self) -> Look {
        Look {
            encoding: self.encoding,
            geometry: Geometry {
                sx: self.scale[0],
                sy: self.scale[1],
                tx: self.shift_px[0],
                ty: self.shift_px[1],
                skew: self.skew,
                perspective: self.perspective,
            },
            color: ColorMap(self.color),
            text: self.text.clone(),
            shading: self.shading,
            blur_px: if self.blur_px < DRAWN_BLUR_PX {
                0.0
            } else {
                self.blur_px
            },
        }
    }

    /// Blur that references are not drawn with, px.
    #[must_use]
    pub fn blur_left_px(&self) -> f64 {
        if self.look().blur_px > 0.0 {
            0.0
        } else {
            self.blur_px
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::picture::{Matrix, Range};

    /// Fractions that decimals hold exactly.
    fn within(limit: i32) -> impl Strategy<Value = f64> {
        (-256 * limit..=256 * limit).prop_map(|v| f64::from(v) / 256.0)
    }

    prop_compose! {
        fn profiles()(
            (width, height) in (1usize..5000, 1usize..5000),
            (is_bt709, is_full) in any::<(bool, bool)>(),
            subsampling in prop_oneof![
                Just(Subsampling::None), Just(Subsampling::Columns), Just(Subsampling::Both)
            ],
            siting in prop_oneof![Just(Siting::Left), Just(Siting::Center)],
            shift_px in [within(64), within(64)],
            skew in [within(10), within(10)],
            perspective in [Just(0.0), Just(0.000_976_562_5)],
            color in proptest::array::uniform3([within(300), within(300), within(300), within(300)]),
            noise in proptest::array::uniform3(within(128).prop_map(f64::abs)),
            latency_s in within(10),
            latency_se_s in proptest::option::of(within(1).prop_map(f64::abs)),
            frames in 0u64..1 << 50,
            text in proptest::sample::select(TextPlacement::all().collect::<Vec<_>>()),
        ) -> Profile {
            Profile {
                profile_version: PROFILE_VERSION,
                width,
                height,
                encoding: Encoding::YCbCr {
                    matrix: if is_bt709 { Matrix::Bt709 } else { Matrix::Bt601 },
                    range: if is_full { Range::Full } else { Range::Limited },
                },
                subsampling,
                siting,
                scale: [1.0, 1.25],
                shift_px,
                skew,
                perspective,
                color,
                noise,
                blur_px: 0.5,
                shading: Shading([0.9, 1e-5, 0.0, 0.0, -1e-9, 0.0]),
                text,
                reading_errors: ReadingErrors::default(),
                latency_s,
                latency_se_s,
                frames,
            }
        }
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(profile in profiles()) {
            let text = serde_json::to_string_pretty(&profile).expect("a profile is plain data");
            prop_assert_eq!(Profile::from_json(&text, "p.json").expect("it was written"), profile);
        }

        #[test]
        fn damage_is_refused_by_name_or_leaves_a_profile_within_its_limits(
            profile in profiles(),
            at in any::<prop::sample::Index>(),
            put in any::<char>(),
            length in 0usize..40,
        ) {
            let text = serde_json::to_string_pretty(&profile).expect("a profile is plain data");
            let places: Vec<usize> = text.char_indices().map(|(k, _)| k).collect();
            let begin = places[at.index(places.len())];
            let end = places.iter().copied().find(|k| *k >= begin + length).unwrap_or(text.len());
            let damaged = format!("{}{put}{}", &text[..begin], &text[end..]);
            match Profile::from_json(&damaged, "p.json") {
                Ok(read) => prop_assert_eq!(read.check(), Ok(())),
                Err(e) => prop_assert!(e.to_string().contains("p.json"), "{}", e),
            }
        }
    }
}
