//! Words of a text file with the line they stand in.

use super::error::{LoadError, Place};

/// A word from a file as it can be quoted in a message: printable, 32 characters at most.
pub(super) fn quoted(word: &[u8]) -> String {
    let text = String::from_utf8_lossy(&word[..word.len().min(160)]);
    format!("`{}`", printable(&text, 32))
}

/// Words that may hold what stands in a file, as they can be shown: at most so many characters, and none that a
/// terminal would obey.
pub(crate) fn printable(words: &str, most: usize) -> String {
    let shown = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    let mut out: String = words.chars().take(most).map(shown).collect();
    if words.chars().nth(most).is_some() {
        out.push('…');
    }
    out
}

/// A number of a text file; `line` is for the error.
///
/// # Errors
/// The word is no number.
pub(super) fn number(word: &[u8], line: usize) -> Result<f64, LoadError> {
    if let Some(value) = std::str::from_utf8(word).ok().and_then(|w| w.parse::<f64>().ok()) {
        return Ok(value);
    }
    let hint = if word.contains(&b',') { " (a decimal comma?)" } else { "" };
    Err(LoadError::Malformed {
        place: Place::Line(line),
        problem: format!("{} is no number{hint}", quoted(word)),
    })
}

/// Whether `word` is `keyword`, capitals or not.
pub(super) fn is(word: &[u8], keyword: &str) -> bool {
    word.eq_ignore_ascii_case(keyword.as_bytes())
}

/// The words of a text, one after another, with the line of the last one taken.
pub(super) struct Words<'a> {
    rest: &'a [u8],
    /// Line of the word taken last, counted from 1.
    pub line: usize,
}

impl<'a> Words<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Words<'a> {
        Words { rest: without_mark(bytes), line: 1 }
    }

    /// The next word.
    pub(super) fn next(&mut self) -> Option<&'a [u8]> {
        let mut start = 0;
        while let Some(b) = self.rest.get(start) {
            if !is_blank(*b) {
                break;
            }
            self.line += usize::from(*b == b'\n');
            start += 1;
        }
        let from = self.rest.get(start..).unwrap_or_default();
        let length = from.iter().position(|b| is_blank(*b)).unwrap_or(from.len());
        let (word, rest) = from.split_at(length);
        self.rest = rest;
        (length > 0).then_some(word)
    }

    /// Leaves out what stands on the rest of the line.
    pub(super) fn skip_line(&mut self) {
        let end = self.rest.iter().position(|b| *b == b'\n').unwrap_or(self.rest.len());
        self.rest = self.rest.get(end..).unwrap_or_default();
    }
}

/// Blanks between words: the ASCII ones and the vertical tab.
pub(super) fn is_blank(b: u8) -> bool {
    b.is_ascii_whitespace() || b == 0x0b
}

/// The text behind a byte-order mark, where there is one.
pub(super) fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_know_their_line() {
        let mut words = Words::new(b"\xef\xbb\xbf  solid A b\r\n\r\nfacet");
        assert_eq!((words.next(), words.line), (Some(&b"solid"[..]), 1));
        words.skip_line();
        assert_eq!((words.next(), words.line), (Some(&b"facet"[..]), 3));
        assert_eq!(words.next(), None);
    }

    #[test]
    fn a_word_that_is_no_number_is_quoted_short_and_a_comma_is_named() {
        let text = number(b"1,25", 7).unwrap_err().to_string();
        assert!(text.starts_with("line 7: `1,25` is no number (a decimal comma?)"), "{text}");
        assert!(number(&[b'x'; 100_000], 1).unwrap_err().to_string().len() < 160);
        assert_eq!(number(b"-1.5e-3", 1), Ok(-0.0015));
    }
}
