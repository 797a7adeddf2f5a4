//! The sections of the page, a file each.

pub(super) mod answer;
pub(super) mod campaign;
pub(super) mod cautions;
pub(super) mod compare;
pub(super) mod events;
pub(super) mod manifest;
pub(super) mod readings;
pub(super) mod reproduce;
pub(super) mod requirements;
pub(super) mod timeline;
pub(super) mod tuning;
