//! What is printed: a line at a time, to a reader who may be gone, without what a terminal would obey.
//!
//! Names in files and names of files are others' words. A terminal takes some characters for commands (its title, its
//! colours, what stands on it already), and some turn the order of letters; so each is shown by its number instead.

use std::fmt::Arguments;
use std::io::Write;

use anstream::{AutoStream, ColorChoice};

use super::tone::Tone;

/// Prints a line to standard output. A reader that has seen enough, `head` say, ends no command halfway.
macro_rules! say {
    ($($words:tt)*) => { $crate::cli::print::line(&mut std::io::stdout(), format_args!($($words)*)) };
}

/// Prints a line to standard error. Where nobody can read it, the exit status says the same.
macro_rules! warn {
    ($($words:tt)*) => { $crate::cli::print::line(&mut std::io::stderr(), format_args!($($words)*)) };
}

/// Prints a line of pieces to standard output, each in the colour of its tone where there are colours.
pub(super) fn say_pieces(pieces: &[(Tone, String)]) {
    let mut out = std::io::stdout();
    let has_colors = has_colors(AutoStream::choice(&out));
    line_of(&mut out, pieces, has_colors);
}

/// As [`say_pieces`], to standard error.
pub(super) fn warn_pieces(pieces: &[(Tone, String)]) {
    let mut out = std::io::stderr();
    let has_colors = has_colors(AutoStream::choice(&out));
    line_of(&mut out, pieces, has_colors);
}

fn has_colors(choice: ColorChoice) -> bool {
    choice != ColorChoice::Never
}

/// Writes a line of pieces. What they say is shown as all else is; only what stands round them is for the terminal.
fn line_of(out: &mut dyn Write, pieces: &[(Tone, String)], has_colors: bool) {
    let mut text = String::new();
    for (tone, words) in pieces {
        let words = shown(words);
        if has_colors && *tone != Tone::Plain {
            let style = tone.style();
            text += &format!("{style}{words}{style:#}");
        } else {
            text += &words;
        }
    }
    let _ = out.write_all((text + "\n").as_bytes());
}

/// Writes a line.
pub(super) fn line(out: &mut dyn Write, words: Arguments) {
    // In one piece, so that lines of two threads do not mix.
    let _ = out.write_all((shown(&words.to_string()) + "\n").as_bytes());
}

/// `text` with every character that a terminal would obey shown by its number; line ends and tabs stay.
pub(super) fn shown(text: &str) -> String {
    if !text.chars().any(is_obeyed) {
        return text.to_owned();
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if is_obeyed(c) {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    out
}

/// Control characters (C0 and C1), and marks that turn the order of what follows (Unicode Standard Annex 9, 2).
fn is_obeyed(c: char) -> bool {
    (c.is_control() && c != '\n' && c != '\t')
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_terminal_would_obey_is_shown_by_its_number() {
        assert_eq!(shown("a\u{1b}[31mb\u{9b}0m"), "a\\u{1b}[31mb\\u{9b}0m");
        assert_eq!(
            shown("title\u{7}\u{7f}\u{202e}"),
            "title\\u{7}\\u{7f}\\u{202e}"
        );
        assert_eq!(shown("over\rwritten"), "over\\rwritten");
        assert_eq!(
            shown("two\n\tlines, 3 × 4 °, 表示"),
            "two\n\tlines, 3 × 4 °, 表示"
        );
    }

    #[test]
    fn colours_stand_round_words_and_never_come_from_them() {
        let pieces = [
            (Tone::Plain, "a: ".to_owned()),
            (Tone::Bad, "faults \u{1b}[0m".to_owned()),
            (Tone::Plain, " found".to_owned()),
        ];
        let written = |has_colors| {
            let mut out = Vec::new();
            line_of(&mut out, &pieces, has_colors);
            String::from_utf8(out).unwrap()
        };
        assert_eq!(written(false), "a: faults \\u{1b}[0m found\n");
        // ECMA-48, 8.3.117, select graphic rendition: 1 is bold, 31 is red, 0 ends both (from memory).
        assert_eq!(
            written(true),
            "a: \u{1b}[1m\u{1b}[31mfaults \\u{1b}[0m\u{1b}[0m found\n"
        );
    }

    #[test]
    fn a_reader_who_is_gone_is_no_panic() {
        struct Gone;
        impl Write for Gone {
            fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
                Err(std::io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> std::io::Result<()> {
                Ok(())
            }
        }
        line(&mut Gone, format_args!("{}", 1));
    }
}
