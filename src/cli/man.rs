//! `framevouch man`: the manual pages, one for the program and one for each command.

use std::path::PathBuf;

use clap::{Command, CommandFactory};
use clap_mangen::Man;

use super::{Failure, Force, cannot_write};
use crate::files::{self, Kind};

/// Arguments of `man`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Folder for the pages; others that stand there stay.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    #[command(flatten)]
    force: Force,
}

/// How a page is known: by its title, which `man` shows on top.
const PAGE: Kind = Kind {
    name: "a manual page",
    mark: "\n.TH framevouch",
};

/// Runs `man`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let (out, force) = (&arguments.out, arguments.force.force);
    let pages = pages()?;
    for (name, _) in &pages {
        files::refuse_foreign(&out.join(name), PAGE, force)?;
    }
    std::fs::create_dir_all(out).map_err(cannot_write(out))?;
    for (name, page) in &pages {
        files::replace(&out.join(name), page, PAGE, force)?;
    }
    say!("{} pages in {}", pages.len(), out.display());
    Ok(super::EXIT_AGREES)
}

/// The pages with the names of their files.
fn pages() -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let mut program = super::Arguments::command().disable_help_subcommand(true);
    // Gives commands their names in full, and the options that all of them have.
    program.build();
    let page = |command: &Command| -> Result<_, Failure> {
        let man = Man::new(command.clone());
        let mut bytes = Vec::new();
        man.render(&mut bytes)?;
        Ok((man.get_filename(), bytes))
    };
    std::iter::once(&program)
        .chain(program.get_subcommands())
        .map(page)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_command_has_a_page_that_is_known_as_ours() {
        let pages = pages().unwrap();
        let program = crate::cli::Arguments::command();
        assert_eq!(pages.len(), 1 + program.get_subcommands().count());
        for (name, bytes) in pages {
            let text = String::from_utf8(bytes).unwrap();
            assert!(
                name.starts_with("framevouch") && name.ends_with(".1"),
                "{name}"
            );
            // A mark stands early in a file, see `files::Kind`.
            let at = text.find(PAGE.mark).expect("it has a title");
            assert!(at < 500, "{name}: {at}");
            assert!(text.contains("Exit status:"), "{name}");
        }
    }
}
