//! Text of others, as it is shown to people: nothing in it moves what stands around it.

use std::borrow::Cow;
use std::fmt::Write;

/// The text with line ends, control characters and what changes the direction of writing escaped as Rust writes
/// them: `\n`, `\u{1b}`, `\u{202e}`. For one field, or one line: the line end after it is not its own.
pub fn escape(text: &str) -> Cow<'_, str> {
    if !text.chars().any(steers) {
        return Cow::Borrowed(text);
    }
    let mut escaped = String::with_capacity(text.len() + 8);
    for character in text.chars() {
        match character {
            '\n' => escaped.push_str("\\n"),
            '\r' => escaped.push_str("\\r"),
            '\t' => escaped.push_str("\\t"),
            other if steers(other) => {
                // Writing to a String cannot fail.
                let _ = write!(escaped, "\\u{{{:x}}}", u32::from(other));
            }
            plain => escaped.push(plain),
        }
    }
    Cow::Owned(escaped)
}

/// Whether a character does something to those around it: C0, DEL and C1 controls, separators of lines and
/// paragraphs, and the marks, embeddings, overrides and isolates of the Unicode Bidirectional Algorithm (UAX #9).
fn steers(character: char) -> bool {
    character.is_control()
        || matches!(
            character,
            '\u{2028}' | '\u{2029}' | '\u{61c}' | '\u{200e}' | '\u{200f}'
                | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
        )
}

/// The first so many characters, and a sign that there were more.
pub fn cut(mut text: String, most: usize) -> String {
    if let Some((end, _)) = text.char_indices().nth(most) {
        text.truncate(end);
        text.push('\u{2026}');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_is_escaped_and_nothing_else() {
        for (text, shown) in [
            ("", ""),
            ("Unit 14, Größe 3 €, 深", "Unit 14, Größe 3 €, 深"),
            ("a\\nb", "a\\nb"),
            ("a\nb\r\nc\td", "a\\nb\\r\\nc\\td"),
            ("\u{0}\u{7}\u{8}\u{1b}[2J", "\\u{0}\\u{7}\\u{8}\\u{1b}[2J"),
            ("\u{7f}\u{80}\u{85}\u{9b}", "\\u{7f}\\u{80}\\u{85}\\u{9b}"),
            ("\u{2028}\u{2029}", "\\u{2028}\\u{2029}"),
            ("\u{61c}\u{200e}\u{200f}", "\\u{61c}\\u{200e}\\u{200f}"),
            ("\u{202a}x\u{202e}", "\\u{202a}x\\u{202e}"),
            ("\u{2066}x\u{2069}", "\\u{2066}x\\u{2069}"),
            // Beside them: joiners that scripts need, quotes, spaces.
            (
                "\u{200d}\u{2019}\u{a0}\u{2030}\u{2065}",
                "\u{200d}\u{2019}\u{a0}\u{2030}\u{2065}",
            ),
        ] {
            assert_eq!(escape(text), shown);
        }
    }

    #[test]
    fn a_text_is_cut_between_characters() {
        assert_eq!(cut("€€€".to_owned(), 2), "€€…");
        assert_eq!(cut("€€".to_owned(), 2), "€€");
    }
}
