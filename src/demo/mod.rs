//! The bundled demo: a display unit that is not the reference renderer, with seeded faults.
//!
//! A checker that is shown its own renderer's pictures proves nothing. The demo's pictures
//! are therefore drawn by a stand-in for the display under test: the same scene (what the
//! display must show), but another rasteriser (tiny-skia, sub-sampled anti-aliasing) and another
//! text engine (fontdue, whole-pixel glyph positions), sent through a simulated capture chain
//! (4:2:0, limited range, noise). Faults are applied to what the unit is given ([`faults`]) and
//! to what it draws, never to the reference.
//!
//! - [`scenario`]: the inputs, as the bench would have logged them;
//! - [`standin`]: the display unit;
//! - [`chain`]: from the unit's output to captured levels;
//! - [`faults`]: what goes wrong, where and when, and the truth beside the capture;
//! - [`mod@unit`]: all of it, frame by frame.
//!
//! What it cannot show: codec artefacts, registration errors, real timing jitter. Those are
//! met on real captures and by the tests that run other rasterisers and codecs.

pub mod chain;
pub mod faults;
pub mod scenario;
pub mod standin;
pub mod unit;
pub mod whole;

#[cfg(test)]
mod tests;

/// The demo display: a light helicopter that samples mountain lakes, 1024 x 768.
pub const DISPLAY: &str = include_str!("display.toml");

/// A strip of engine instruments, 480 x 272, on a light ground.
pub const ENGINE_STRIP: &str = include_str!("engine_strip.toml");

/// A portrait page for a standby screen, 600 x 800.
pub const REVERSIONARY: &str = include_str!("reversionary.toml");
