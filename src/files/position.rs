//! Where in a text something stands, as people count it.

/// Line and column of the byte `at` of `text`, both from 1; columns count characters. Beyond the end it is the end.
#[must_use]
pub fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let before = &text.as_bytes()[..at.min(text.len())];
    let newline = before.iter().rposition(|b| *b == b'\n');
    let line_begin = newline.map_or(0, |k| k + 1);
    let line = before.iter().filter(|b| **b == b'\n').count() + 1;
    let in_line = String::from_utf8_lossy(&before[line_begin..]);
    (line, in_line.chars().count() + 1)
}

#[cfg(test)]
mod tests {
    use super::line_and_column;

    #[test]
    fn lines_and_characters_are_counted_from_one() {
        let text = "a\nüb\n";
        assert_eq!(line_and_column(text, 0), (1, 1));
        assert_eq!(line_and_column(text, 2), (2, 1));
        assert_eq!(line_and_column(text, 4), (2, 2));
        assert_eq!(line_and_column(text, 99), (3, 1));
    }
}
