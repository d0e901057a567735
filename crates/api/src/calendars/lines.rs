//! Content lines of an iCalendar file (RFC 5545, 3.1).
//!
//! Written here, since of the libraries at hand `icalendar` 0.17 leaves 76 octets on
//! some folded lines, a CR as it is, and a NAME without escapes.

use model::time::Instant;

/// Most octets of a line, its end aside.
const LONGEST: usize = 75;

/// A file that is being written.
#[derive(Debug, Default)]
pub(super) struct Lines(String);

impl Lines {
    /// A line with a value that needs no escapes.
    pub(super) fn plain(&mut self, name: &str, value: &str) {
        let mut room = LONGEST;
        for letter in name.chars().chain([':']).chain(value.chars()) {
            if letter.len_utf8() > room {
                // The space that marks the fold is the first octet of its line.
                self.0.push_str("\r\n ");
                room = LONGEST - 1;
            }
            self.0.push(letter);
            room -= letter.len_utf8();
        }
        self.0.push_str("\r\n");
    }

    /// A line with a text (3.3.11): line ends of every kind are written as `\n`, other
    /// control characters are left out.
    pub(super) fn text(&mut self, name: &str, text: &str) {
        let mut written = String::with_capacity(text.len());
        for letter in text.replace("\r\n", "\n").chars() {
            match letter {
                '\\' | ',' | ';' => written.extend(['\\', letter]),
                letter if ends_line(letter) => written.push_str("\\n"),
                letter if letter.is_control() => {}
                letter => written.push(letter),
            }
        }
        self.plain(name, &written);
    }

    /// The same of a text that is shown on one line.
    pub(super) fn short_text(&mut self, name: &str, text: &str) {
        self.text(name, &text.replace("\r\n", " ").replace(ends_line, " "));
    }

    /// A line with a moment in UTC (3.3.5, form 2).
    pub(super) fn moment(&mut self, name: &str, at: Instant) {
        self.plain(name, &at.utc().format("%Y%m%dT%H%M%SZ").to_string());
    }

    /// The file.
    pub(super) fn done(self) -> String {
        self.0
    }
}

/// What some reader or other takes for the end of a line.
fn ends_line(letter: char) -> bool {
    matches!(letter, '\n' | '\r' | '\u{85}' | '\u{2028}' | '\u{2029}')
}

#[cfg(test)]
mod tests {
    use super::*;

    /// No line is longer than it may be, none is shorter than it must, and undone the
    /// folds give what was written. That it is UTF-8 says that no character was cut.
    #[test]
    fn lines_fold_between_characters() {
        for letter in ["x", "é", "ش", "果", "🍎"] {
            for octets in 0..400 {
                let value = format!("{}{}", "y".repeat(octets % 5), letter.repeat(octets / letter.len()));
                let mut lines = Lines::default();
                lines.plain("SUMMARY", &value);
                let text = lines.done();
                let folded: Vec<&str> = text.strip_suffix("\r\n").unwrap().split("\r\n").collect();
                let (last, full) = folded.split_last().unwrap();
                assert!(last.len() <= LONGEST, "{text}");
                for line in full {
                    assert!(line.len() <= LONGEST && line.len() + letter.len() > LONGEST, "{text}");
                }
                assert!(folded[1..].iter().all(|line| line.starts_with(' ')), "{text}");
                assert_eq!(text.replace("\r\n ", ""), format!("SUMMARY:{value}\r\n"));
            }
        }
    }

    #[test]
    fn texts_are_escaped_and_end_no_line() {
        let written = |text: &str| {
            let mut lines = Lines::default();
            lines.text("X", text);
            lines.short_text("Y", text);
            lines.done()
        };
        // The example of RFC 5545, 3.3.11.
        let party = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.";
        let expected = "X:Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.\r\n";
        assert_eq!(written(party).replace("\r\n ", "").split_once("Y:").unwrap().0, expected);
        assert_eq!(written(r"a,b;c\n"), "X:a\\,b\\;c\\\\n\r\nY:a\\,b\\;c\\\\n\r\n");
        assert_eq!(written("a\r\nb\rc\u{85}d\u{2028}e\u{7}"), "X:a\\nb\\nc\\nd\\ne\r\nY:a b c d e\r\n");
    }
}
