//! `framevouch demo`.
use std::path::PathBuf;

use super::Failure;

/// Arguments of `demo`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Folder for everything.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

pub(super) fn run(_arguments: &Arguments) -> Result<u8, Failure> {
    Err("not yet".into())
}
