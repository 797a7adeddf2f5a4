//! What does the way from the display's memory to our pixels do to a good picture, and does it still?
//!
//! Measured from frames that show what is due ([`measure`]): where the display stands ([`register`], [`locate`]), what
//! becomes of its colours ([`colors`]), what a lens does (`optics`), how the unit places its text (`text_rules`,
//! `hinting`), noise (`noise`), how late the display usually is and how far readings lie off (`latency`,
//! [`error_model`]). It is kept as a [`crate::capture::profile::Profile`]. A check asks whether the chain of a profile is
//! still there when it begins ([`change`]) and in every frame ([`watch`]).
//!
//! What it cannot see: a fault of the display that is there in every frame that is measured from, and is one that a chain could
//! make.

pub mod change;
pub mod colors;
pub mod constants;
pub mod error_model;
mod hinting;
mod latency;
pub mod locate;
pub mod measure;
mod noise;
pub mod offset;
mod optics;
pub mod register;
mod shades;
pub mod stretch;
mod text_rules;
pub mod watch;
