//! Names that people gave, made harmless for a line of a mail.

/// Longest name that a mail shows, in characters.
const LONGEST_NAME: usize = 80;

/// A name on one line: no line breaks or control characters, nothing that turns the
/// text round it, not endless. A name in a script that runs from right to left
/// stands apart from what is beside it (Unicode's first strong isolate).
pub fn plain(name: &str) -> String {
    let turns =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    let shown: String =
        name.chars().filter(|c| !turns(*c)).map(|c| if breaks(c) { ' ' } else { c }).collect();
    let mut shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    if shown.chars().count() > LONGEST_NAME {
        shown = shown.chars().take(LONGEST_NAME - 1).chain(['…']).collect();
    }
    if shown.is_empty() {
        shown.push('?');
    }
    if shown.chars().any(runs_left) { format!("\u{2068}{shown}\u{2069}") } else { shown }
}

/// Blocks of Hebrew, Arabic, Syriac, Thaana, N'Ko and their forms.
fn runs_left(c: char) -> bool {
    matches!(c, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{fefc}' | '\u{10800}'..='\u{10fff}' | '\u{1e800}'..='\u{1efff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_one_line_that_changes_nothing_round_it() {
        assert_eq!(plain("North Bench"), "North Bench");
        assert_eq!(plain("a\r\nBcc: all@quernstone.example"), "a Bcc: all@quernstone.example");
        assert_eq!(plain("\u{202e}hcneB\u{2028}"), "hcneB");
        assert_eq!(plain("כרם צפון"), "\u{2068}כרם צפון\u{2069}");
        assert_eq!(plain(&"x".repeat(1_000)).chars().count(), LONGEST_NAME);
        assert_eq!(plain("\r\n"), "?");
    }
}
