//! `framevouch completions`: what lets a shell complete commands and options.

use clap::CommandFactory;
use clap_complete::Shell;

use super::Failure;

/// Arguments of `completions`.
#[derive(clap::Args)]
pub struct Arguments {
    /// The shell.
    #[arg(value_name = "SHELL")]
    shell: Shell,
}

/// Runs `completions`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let mut program = super::Arguments::command();
    let name = program.get_name().to_owned();
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut program, name, &mut script);
    say!("{}", String::from_utf8(script)?.trim_end());
    Ok(super::EXIT_AGREES)
}
