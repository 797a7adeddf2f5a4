//! The program: arguments to library calls, and an exit status.

use std::process::ExitCode;

fn main() -> ExitCode {
    framevouch::cli::main()
}
