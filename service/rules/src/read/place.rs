//! Byte offsets to lines and columns.

/// The line and column, both from 1 and the column in characters, of each
/// offset. The offsets must ascend; the text is walked once.
pub(crate) fn places(text: &str, offsets: impl IntoIterator<Item = usize>) -> Vec<(usize, usize)> {
    let mut chars = text.char_indices().peekable();
    // A byte order mark takes no column.
    chars.next_if(|&(_, c)| c == '\u{feff}');
    let (mut line, mut column) = (1, 1);
    let mut walk = |offset| {
        while let Some((_, c)) = chars.next_if(|&(at, _)| at < offset) {
            if c == '\n' {
                (line, column) = (line + 1, 1);
            } else {
                column += 1;
            }
        }
        (line, column)
    };
    offsets.into_iter().map(&mut walk).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_and_lines_count_line_feeds() {
        let text = "\u{feff}a = \"Ω\" #\r\nbé\n";
        let at = |c: char| text.find(c).unwrap_or_default();
        let offsets = [
            at('a'),
            at('#'),
            at('b'),
            at('é'),
            text.len(),
            text.len() + 9,
        ];
        assert_eq!(
            places(text, offsets),
            [(1, 1), (1, 9), (2, 1), (2, 2), (3, 1), (3, 1)]
        );
    }
}
