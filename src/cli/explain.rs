//! `framevouch explain`: what an event of a check rests on, in words.

use std::path::PathBuf;

use super::print::say_pieces;
use super::tone::Tone;
use super::{EXIT_AGREES, EXIT_FAULTS, Failure};
use crate::evidence::explain::explain;
use crate::evidence::records::CAUTION;
use crate::evidence::results_folder::{NOT_VERIFIED, Trust};

/// Arguments of `explain`.
#[derive(clap::Args)]
pub struct Arguments {
    /// Number of the event in events.json, from 0 (the page calls it E0), or id of a region, to hear what is said of it.
    #[arg(value_name = "EVENT")]
    event: String,
    /// Result folder of `framevouch check`.
    #[arg(long, value_name = "DIR")]
    from: PathBuf,
    /// Take results that are not as they were written, and mark all that is told as not verified (exit 1).
    #[arg(long)]
    unverified: bool,
}

/// Longest line, characters.
const LINE: usize = 110;

/// Runs `explain`: exit 0 when all that is told was held against the manifest, 1 when it is marked as not verified.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let trust = Trust::asked(arguments.unverified);
    let told = explain(&arguments.from, &arguments.event, trust)?;
    let is_marked = !told.differing.is_empty();
    let mark = if is_marked {
        format!("{NOT_VERIFIED}: ")
    } else {
        String::new()
    };
    let tone = match told.verdict {
        Some(v) if v.is_faulty() => Tone::Bad,
        _ => Tone::Plain,
    };
    say_pieces(&[(Tone::Bad, mark.clone()), (tone, told.title.clone())]);
    for paragraph in &told.paragraphs {
        say!("");
        say_pieces(&[
            (Tone::Bad, mark.clone()),
            (Tone::Plain, paragraph.heading.into()),
        ]);
        for line in &paragraph.lines {
            for (n, part) in wrapped(line, LINE - 4).iter().enumerate() {
                say!("{}{part}", if n == 0 { "  " } else { "    " });
            }
        }
    }
    say!("");
    for change in &told.differing {
        say_pieces(&[
            (Tone::Bad, NOT_VERIFIED.into()),
            (Tone::Plain, format!(": {change}")),
        ]);
    }
    wrapped(CAUTION, LINE)
        .iter()
        .for_each(|line| say!("{line}"));
    Ok(if is_marked { EXIT_FAULTS } else { EXIT_AGREES })
}

/// `text` in lines of at most `width` characters, broken between words; a longer word has a line of its own.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last_mut().expect("there is one");
        let length = last.chars().count();
        if length > 0 && length + 1 + word.chars().count() > width {
            lines.push(word.to_owned());
        } else {
            if length > 0 {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("", 7), [""]);
        assert_eq!(wrapped("verylongword a", 4), ["verylongword", "a"]);
    }
}
