//! What can be wrong with a definition, each with its place.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::io;
use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;

use super::tree::shifted;

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
        /// All that was found, in the order of the file, then of those that it includes; never empty.
        problems: Vec<Problem>,
    },
}

impl Error {
    /// All that is wrong in the file and those that it includes, in their order; empty when the file could not be read.
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
    if problems.len() > 1 {
        let more = if problems.len() > MOST_LISTED {
            format!(", the first {MOST_LISTED} are shown")
        } else {
            String::new()
        };
        let files: BTreeSet<&str> = problems.iter().map(|p| p.origin.as_str()).collect();
        let files = files.into_iter().collect::<Vec<_>>().join(", ");
        text.push_str(&format!("\n{} problems in {files}{more}", problems.len()));
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
    /// Where the file is included in which this stands, and as what: one for each place where the same is wrong.
    pub included: Vec<String>,
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
        for more in self.help.iter().chain(&self.included) {
            write!(f, "\n {:gutter$} = {more}", "")?;
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

impl Found {
    /// The same in a text whose bytes begin at `begin`.
    pub fn after(self, begin: usize) -> Self {
        Self {
            span: shifted(self.span, begin),
            ..self
        }
    }
}

/// Longest piece of a line that is shown, characters.
const EXCERPT_CHARS: usize = 120;

/// The texts that a definition was read from, one after the other: turns ranges of their bytes into lines and columns.
///
/// A file that is included twice is there twice, so that each byte says which of its places it belongs to.
#[derive(Clone, Debug)]
pub(super) struct Places {
    texts: Vec<Text>,
}

/// One text.
#[derive(Clone, Debug)]
struct Text {
    /// What messages call its file.
    origin: Arc<str>,
    text: Arc<str>,
    /// Where its bytes begin among those of all.
    begin: usize,
    line_starts: Arc<[usize]>,
    included: Option<Inclusion>,
}

/// Where a file is included, and as what.
#[derive(Clone, Debug)]
pub(super) struct Inclusion {
    pub span: Range<usize>,
    /// What stands before the names of its regions, if anything.
    pub id: String,
}

impl Places {
    pub fn new(text: &str, origin: &str) -> Self {
        let mut places = Self { texts: Vec::new() };
        places.add(text.into(), origin.into(), None);
        places
    }

    /// Adds a text, and says where its bytes begin.
    pub fn add(&mut self, text: Arc<str>, origin: Arc<str>, included: Option<Inclusion>) -> usize {
        // A byte between two texts is the end of the first.
        let begin = self.texts.last().map_or(0, |t| t.begin + t.text.len() + 1);
        let breaks = text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
        let line_starts = std::iter::once(0).chain(breaks.map(|(k, _)| k + 1));
        let line_starts = line_starts.collect();
        self.texts.push(Text {
            origin,
            text,
            begin,
            line_starts,
            included,
        });
        begin
    }

    /// The error that lists `found` in the order of the texts. What is wrong in the same way at the same place of a file
    /// that is included twice is listed once.
    pub fn error(&self, mut found: Vec<Found>) -> Error {
        found.sort_by_key(|f| (f.span.start, f.span.end));
        let mut problems: Vec<Problem> = Vec::new();
        let mut known = BTreeMap::new();
        for problem in found.into_iter().map(|f| self.problem(f)) {
            if !problem.included.is_empty() {
                // Regions are counted on from place to place.
                let but_numbers = problem.message.replace(|c: char| c.is_ascii_digit(), "");
                let Problem { line, column, .. } = problem;
                let what = (problem.origin.clone(), line, column, but_numbers);
                if let Some(&before) = known.get(&what) {
                    let before: &mut Problem = &mut problems[before];
                    if !before.included.contains(&problem.included[0]) {
                        before.included.extend(problem.included);
                        continue;
                    }
                }
                known.insert(what, problems.len());
            }
            problems.push(problem);
        }
        Error::Wrong { problems }
    }

    /// The text that `byte` stands in.
    fn text_at(&self, byte: usize) -> &Text {
        let after = self.texts.partition_point(|t| t.begin <= byte);
        &self.texts[after - 1]
    }

    /// What stands in `span`; nothing when it does not lie in one text.
    pub fn written(&self, span: Range<usize>) -> Option<&str> {
        let t = self.text_at(span.start);
        t.text
            .get(span.start - t.begin..span.end.checked_sub(t.begin)?)
    }

    /// The files, each once, and their texts.
    pub fn files(&self) -> Vec<(&str, &str)> {
        let mut files: Vec<(&str, &str)> = Vec::new();
        for t in &self.texts {
            if files.iter().all(|(origin, _)| *origin != &*t.origin) {
                files.push((&t.origin, &t.text));
            }
        }
        files
    }

    /// The file that `byte` stands in, and in which of all texts, those of files that are included twice counted twice.
    pub fn file_at(&self, byte: usize) -> (&str, usize) {
        (&self.text_at(byte).origin, self.text_at(byte).begin)
    }

    /// Whether `byte` stands in a file that another one includes.
    pub fn is_included(&self, byte: usize) -> bool {
        self.text_at(byte).included.is_some()
    }

    /// Whether two bytes are the same one of the same file, perhaps included twice.
    pub fn are_one(&self, a: usize, b: usize) -> bool {
        let of = |byte| {
            let t = self.text_at(byte);
            (&t.origin, byte - t.begin)
        };
        of(a) == of(b)
    }

    /// File, line and column of `byte`.
    pub fn named(&self, byte: usize) -> String {
        let t = self.text_at(byte);
        let (line, column) = t.line_and_column(byte - t.begin);
        format!("{}:{line}:{column}", t.origin)
    }

    pub fn problem(&self, found: Found) -> Problem {
        let Found {
            span,
            message,
            help,
        } = found;
        let t = self.text_at(span.start);
        let within = span.start - t.begin..span.end.saturating_sub(t.begin);
        let mut problem = t.problem(Found {
            span: within,
            message,
            help,
        });
        let mut chain = Vec::new();
        let mut outer = t.included.as_ref();
        while let Some(Inclusion { span, id }) = outer {
            let part = match id.as_str() {
                "" => String::new(),
                id => format!("as \"{id}\" "),
            };
            chain.push(format!("included {part}at {}", self.named(span.start)));
            outer = self.text_at(span.start).included.as_ref();
        }
        problem.included = chain
            .into_iter()
            .reduce(|a, b| format!("{a}, {b}"))
            .into_iter()
            .collect();
        problem
    }
}

impl Text {
    /// The start of the character at `byte`, or the end of the text.
    fn boundary(&self, byte: usize) -> usize {
        (0..=byte.min(self.text.len()))
            .rev()
            .find(|&b| self.text.is_char_boundary(b))
            .unwrap_or(0)
    }

    /// Line and column of the byte `start` of this text, from 1.
    fn line_and_column(&self, start: usize) -> (usize, usize) {
        let start = self.boundary(start);
        let line = self.line_starts.partition_point(|&s| s <= start);
        let column = self.text[self.line_starts[line - 1]..start].chars().count();
        (line, column + 1)
    }

    /// `found` with a range of bytes of this text.
    fn problem(&self, found: Found) -> Problem {
        let start = self.boundary(found.span.start);
        let end = self.boundary(found.span.end).max(start);
        let (line, column) = self.line_and_column(start);
        let line_start = self.line_starts[line - 1];
        let whole = self.text[line_start..].split('\n').next().unwrap_or("");
        let whole = whole.strip_suffix('\r').unwrap_or(whole);
        let marked = whole
            .get(start - line_start..)
            .map_or(0, |rest| rest.len().min(end - start));
        let marked = whole
            .get(start - line_start..start - line_start + marked)
            .map_or(0, |m| m.chars().count());
        let skip = (column - 1).saturating_sub(EXCERPT_CHARS / 2);
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
        let before = column - 1 - skip;
        let room = excerpt.chars().count().saturating_sub(before);
        Problem {
            origin: self.origin.to_string(),
            line,
            column,
            message: found.message,
            help: found.help,
            included: Vec::new(),
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
