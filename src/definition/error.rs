//! What can be wrong with a definition, each with its place.

use std::fmt;
use std::io;
use std::ops::Range;
use std::path::PathBuf;

/// Why a definition could not be used.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The file could not be read.
    #[error("cannot read definition \"{}\"", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's own words.
        source: io::Error,
    },
    /// The file says something that cannot be right.
    #[error("{}", listing(problems))]
    Wrong {
        /// All that was found, in the order of the file; never empty.
        problems: Vec<Problem>,
    },
}

impl Error {
    /// All that is wrong in the file, in its order; empty when the file could not be read.
    #[must_use]
    pub fn problems(&self) -> &[Problem] {
        match self {
            Self::Unreadable { .. } => &[],
            Self::Wrong { problems } => problems,
        }
    }
}

/// Problems that are written out: one mistake may make hundreds.
const MOST_LISTED: usize = 12;

fn listing(problems: &[Problem]) -> String {
    let mut text = problems
        .iter()
        .take(MOST_LISTED)
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("\n");
    if let ([first, ..], true) = (problems, problems.len() > 1) {
        let more = if problems.len() > MOST_LISTED {
            format!(", the first {MOST_LISTED} are shown")
        } else {
            String::new()
        };
        text.push_str(&format!(
            "\n{} problems in {}{more}",
            problems.len(),
            first.origin
        ));
    }
    text
}

/// One thing that is wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Name of the file, as the caller gave it.
    pub origin: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What was found and what was expected: a lower-case fragment without a final stop.
    pub message: String,
    /// The way out, when there is one to name.
    pub help: Option<String>,
    excerpt: String,
    /// Characters before the carets, and the number of carets.
    carets: (usize, usize),
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            origin,
            line,
            column,
            message,
            ..
        } = self;
        let (before, count) = self.carets;
        // Tabs are kept, so that the carets stand under the text however wide a tab is shown.
        let pad: String = self
            .excerpt
            .chars()
            .take(before)
            .map(|c| if c == '\t' { c } else { ' ' })
            .collect();
        let gutter = line.to_string().len();
        writeln!(f, "{origin}:{line}:{column}: {message}")?;
        writeln!(f, " {line} | {}", self.excerpt)?;
        write!(f, " {:gutter$} | {pad}{}", "", "^".repeat(count))?;
        if let Some(help) = &self.help {
            write!(f, "\n {:gutter$} = {help}", "")?;
        }
        Ok(())
    }
}

/// A problem whose place is still a range of bytes.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub span: Range<usize>,
    pub message: String,
    pub help: Option<String>,
}

/// Longest piece of a line that is shown, characters.
const EXCERPT_CHARS: usize = 120;

/// Turns byte ranges of one text into lines and columns.
pub(super) struct Places<'t> {
    text: &'t str,
    origin: &'t str,
    line_starts: Vec<usize>,
}

impl<'t> Places<'t> {
    pub fn new(text: &'t str, origin: &'t str) -> Self {
        let breaks = text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
        let line_starts = std::iter::once(0)
            .chain(breaks.map(|(k, _)| k + 1))
            .collect();
        Self {
            text,
            origin,
            line_starts,
        }
    }

    /// The error that lists `found` in the order of the file.
    pub fn error(&self, mut found: Vec<Found>) -> Error {
        found.sort_by_key(|f| (f.span.start, f.span.end));
        let problems = found.into_iter().map(|f| self.problem(f)).collect();
        Error::Wrong { problems }
    }

    /// The start of the character at `byte`, or the end of the text.
    fn boundary(&self, byte: usize) -> usize {
        (0..=byte.min(self.text.len()))
            .rev()
            .find(|&b| self.text.is_char_boundary(b))
            .unwrap_or(0)
    }

    pub fn problem(&self, found: Found) -> Problem {
        let start = self.boundary(found.span.start);
        let end = self.boundary(found.span.end).max(start);
        let line = self.line_starts.partition_point(|&s| s <= start) - 1;
        let line_start = self.line_starts[line];
        let whole = self.text[line_start..].split('\n').next().unwrap_or("");
        let whole = whole.strip_suffix('\r').unwrap_or(whole);
        let column = self.text[line_start..start].chars().count();
        let marked = whole
            .get(start - line_start..)
            .map_or(0, |rest| rest.len().min(end - start));
        let marked = whole
            .get(start - line_start..start - line_start + marked)
            .map_or(0, |m| m.chars().count());
        let skip = column.saturating_sub(EXCERPT_CHARS / 2);
        let excerpt: String = whole
            .chars()
            .skip(skip)
            .take(EXCERPT_CHARS)
            .map(|c| {
                if c.is_control() && c != '\t' {
                    '\u{fffd}'
                } else {
                    c
                }
            })
            .collect();
        let before = column - skip;
        let room = excerpt.chars().count().saturating_sub(before);
        Problem {
            origin: self.origin.to_owned(),
            line: line + 1,
            column: column + 1,
            message: found.message,
            help: found.help,
            excerpt,
            carets: (before, marked.min(room).max(1)),
        }
    }
}

/// The nearest of `names` to `wrong`, when one is near enough to be meant.
///
/// Near enough: at most a third of the letters (and at least one) are wrong, missing, extra or
/// swapped (Damerau-Levenshtein distance), letter case aside; or one name begins with the other.
pub(super) fn nearest<'n>(
    wrong: &str,
    names: impl IntoIterator<Item = &'n str>,
) -> Option<&'n str> {
    // A longer word is no slip of the pen, and the distance takes time quadratic in length.
    if wrong.chars().count() > 64 {
        return None;
    }
    let small = wrong.to_lowercase();
    let allowed = (small.chars().count() / 3).max(1);
    names
        .into_iter()
        .map(|name| (name, name.to_lowercase()))
        .filter_map(|(name, lower)| {
            let is_stem = small.len() >= 3
                && lower.len() >= 3
                && (lower.starts_with(&small) || small.starts_with(&lower));
            let distance = strsim::damerau_levenshtein(&small, &lower);
            (distance <= allowed || is_stem).then_some((distance, name))
        })
        .min()
        .map(|(_, name)| name)
}

/// What to say after an unknown name: the nearest one, or all there are when they are few.
pub(crate) fn suggestion<'n>(
    wrong: &str,
    names: impl IntoIterator<Item = &'n str>,
) -> Option<String> {
    const LISTED: usize = 16;
    let names: Vec<&str> = names.into_iter().collect();
    if let Some(name) = nearest(wrong, names.iter().copied()) {
        return Some(format!("did you mean \"{name}\"?"));
    }
    match names.len() {
        0 => None,
        1..=LISTED => Some(format!("there is: {}", names.join(", "))),
        n => Some(format!(
            "there is: {} and {} more",
            names[..LISTED].join(", "),
            n - LISTED
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str, span: Range<usize>) -> String {
        let found = Found {
            span,
            message: "not so".into(),
            help: Some("do so".into()),
        };
        Places::new(text, "panel.toml")
            .error(vec![found])
            .to_string()
    }

    #[test]
    fn carets_stand_under_the_text() {
        assert_eq!(
            shown("a = 1\n\tsize = \u{fc}x\r\n", 14..17),
            "panel.toml:2:9: not so\n 2 | \tsize = \u{fc}x\n   | \t       ^^\n   = do so"
        );
    }

    #[test]
    fn range_over_several_lines_is_marked_in_the_first() {
        assert_eq!(
            shown("ab\ncd", 1..5),
            "panel.toml:1:2: not so\n 1 | ab\n   |  ^\n   = do so"
        );
    }

    #[test]
    fn place_past_the_end_is_the_end() {
        assert_eq!(
            shown("ab", 7..9),
            "panel.toml:1:3: not so\n 1 | ab\n   |   ^\n   = do so"
        );
        assert!(shown("", 0..0).starts_with("panel.toml:1:1: not so\n 1 | \n   | ^"));
    }

    #[test]
    fn nearest_name_is_found() {
        let names = ["airspeed", "altitude", "heading"];
        assert_eq!(nearest("airpseed", names), Some("airspeed"));
        assert_eq!(nearest("Heading", names), Some("heading"));
        assert_eq!(nearest("alt", names), Some("altitude"));
        assert_eq!(nearest("torque", names), None);
    }
}
