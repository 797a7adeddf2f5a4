//! What a word says of how it went, and the colour that a terminal shows it in.
//!
//! Colours carry nothing that the words do not. They are there on a terminal, and wherever `--color always` asks for
//! them; the environment's `NO_COLOR`, `CLICOLOR`, `CLICOLOR_FORCE` and `TERM` are heard by the crate that knows them.

use anstream::ColorChoice;
use clap::ValueEnum;
use clap::builder::styling::{AnsiColor, Style};

use crate::evidence::standing::Standing;

/// How good what a word says is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    /// It says nothing of that.
    Plain,
    /// All that was asked holds.
    Good,
    /// Nobody can say, or somebody should look.
    Open,
    /// Something does not hold.
    Bad,
}

impl Tone {
    pub const fn style(self) -> Style {
        let color = match self {
            Self::Plain => return Style::new(),
            Self::Good => AnsiColor::Green,
            Self::Open => AnsiColor::Yellow,
            Self::Bad => AnsiColor::Red,
        };
        color.on_default().bold()
    }

    /// Of a check, by the word of its summary.
    pub fn of_result(result: &str) -> Self {
        match result {
            "agrees" => Self::Good,
            "faults found" => Self::Bad,
            _ => Self::Open,
        }
    }
}

impl From<Standing> for Tone {
    fn from(standing: Standing) -> Self {
        match standing {
            Standing::Holds => Self::Good,
            Standing::Open => Self::Open,
            Standing::Fails => Self::Bad,
        }
    }
}

/// When words have colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Color {
    // On a terminal, unless the environment says no.
    Auto,
    Always,
    Never,
}

impl Color {
    /// What the words of a command line ask for, before they are parsed: help and errors have colours too.
    pub fn asked(words: impl Iterator<Item = std::ffi::OsString>) -> Self {
        let words: Vec<String> = words
            .filter_map(|w| w.into_string().ok())
            .take_while(|w| w != "--")
            .collect();
        let last = words.iter().enumerate().rev().find_map(|(k, word)| {
            let value = word.strip_prefix("--color")?;
            match value.strip_prefix('=') {
                Some(value) => Some(value),
                None if value.is_empty() => words.get(k + 1).map(String::as_str),
                None => None,
            }
        });
        last.and_then(|value| Self::from_str(value, false).ok())
            .unwrap_or(Self::Auto)
    }

    /// From now on it holds for all that is printed.
    pub fn choose(self) {
        let choice = match self {
            Self::Auto => ColorChoice::Auto,
            Self::Always => ColorChoice::Always,
            Self::Never => ColorChoice::Never,
        };
        choice.write_global();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_command_line_asks_for_is_known_before_it_is_parsed() {
        let asked = |line: &str| Color::asked(line.split(' ').map(Into::into));
        assert_eq!(asked("framevouch lint --color never"), Color::Never);
        assert_eq!(asked("framevouch --color=always lint"), Color::Always);
        assert_eq!(asked("framevouch --color always --color=auto"), Color::Auto);
        assert_eq!(asked("framevouch --color odd"), Color::Auto);
        assert_eq!(asked("framevouch --colors never"), Color::Auto);
        assert_eq!(asked("framevouch lint -- --color never"), Color::Auto);
    }
}
