//! Where in a JSON text a line and column lie, as a path such as `readings[3].unit`.

/// A container the scan is inside of.
enum Inside {
    /// An object, and the key whose value is being read.
    Object { key: Option<String> },
    /// An array, and the index of the element being read.
    Array { index: usize },
}

/// The path of the member or element at a position serde_json reported: line and column from 1.
/// Empty at the top, or if the text is not JSON up to there.
pub fn path_at(text: &str, line: usize, column: usize) -> String {
    // serde_json says a line and a column alone, and a deserialiser that keeps the path would cost every call of every
    // client. So the text is read once more up to the error, where there is one; it is JSON until there.
    let end = offset(text, line, column);
    let mut scan = Scan {
        bytes: &text.as_bytes()[..end],
        at: 0,
        inside: Vec::new(),
        after_colon: false,
    };
    scan.run();
    scan.path()
}

/// The byte offset just past a position; serde_json's columns count bytes.
fn offset(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text
        .split_inclusive('\n')
        .take(line.saturating_sub(1))
        .map(str::len)
        .sum();
    start.saturating_add(column).min(text.len())
}

struct Scan<'t> {
    bytes: &'t [u8],
    at: usize,
    inside: Vec<Inside>,
    after_colon: bool,
}

impl Scan<'_> {
    fn run(&mut self) {
        while let Some(&byte) = self.bytes.get(self.at) {
            self.at += 1;
            match byte {
                b'{' => self.inside.push(Inside::Object { key: None }),
                b'[' => self.inside.push(Inside::Array { index: 0 }),
                // The last bracket is where an object that lacks a member ends: that object is meant.
                b'}' | b']' if self.at == self.bytes.len() => self.closed(),
                b'}' | b']' => drop(self.inside.pop()),
                b',' => self.comma(),
                b':' => self.after_colon = true,
                b'"' => self.string(),
                _ => {}
            }
            if matches!(byte, b'{' | b'[' | b'}' | b']') {
                self.after_colon = false;
            }
        }
    }

    /// The scan ends at a closing bracket: what was inside it no longer matters.
    fn closed(&mut self) {
        if let Some(Inside::Object { key }) = self.inside.last_mut() {
            *key = None;
        }
    }

    fn comma(&mut self) {
        self.after_colon = false;
        match self.inside.last_mut() {
            Some(Inside::Object { key }) => *key = None,
            Some(Inside::Array { index }) => *index += 1,
            None => {}
        }
    }

    /// Reads a string whose opening quote was taken; as a key if no colon came since the last comma.
    fn string(&mut self) {
        let start = self.at;
        while let Some(&byte) = self.bytes.get(self.at) {
            self.at += 1;
            match byte {
                // Whatever is escaped does not end the string, a quote above all.
                b'\\' => self.at += 1,
                b'"' => break,
                _ => {}
            }
        }
        let end = self
            .at
            .saturating_sub(1)
            .clamp(start, self.bytes.len().max(start));
        if let (false, Some(Inside::Object { key })) = (self.after_colon, self.inside.last_mut()) {
            let name = self.bytes.get(start..end).unwrap_or_default();
            *key = Some(String::from_utf8_lossy(name).into_owned());
        }
    }

    fn path(&self) -> String {
        let mut path = String::new();
        for container in &self.inside {
            match container {
                Inside::Object { key: Some(key) } => {
                    if !path.is_empty() {
                        path.push('.');
                    }
                    path.push_str(key);
                }
                Inside::Object { key: None } => {}
                Inside::Array { index } => path.push_str(&format!("[{index}]")),
            }
        }
        path
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The path at the byte where `mark` ends in the text.
    fn check(text: &str, mark: &str, expected: &str) {
        let end = text.find(mark).map_or(0, |start| start + mark.len());
        assert_eq!(path_at(text, 1, end), expected, "{text} at {mark}");
    }

    #[test]
    fn members_and_elements_are_found() {
        let text = r#"{"a": {"b": [10, {"c": "x,y"}, 30]}, "d": 4}"#;
        check(text, "10", "a.b[0]");
        check(text, "x,y", "a.b[1].c");
        check(text, "30", "a.b[2]");
        check(text, "4", "d");
    }

    #[test]
    fn the_end_of_an_object_is_that_object() {
        check(r#"{"a": [{"b": 1}, {"c": 2}], "d": 3}"#, "2}", "a[1]");
        check(r#"{"a": 1}"#, "1}", "");
    }

    #[test]
    fn strings_hide_brackets_and_quotes() {
        check(r#"{"a": "}]\"{", "b": 2}"#, "2", "b");
    }

    #[test]
    fn later_lines_count() {
        assert_eq!(path_at("{\n \"a\": 1,\n \"b\": 22}", 3, 8), "b");
    }

    #[test]
    fn text_that_is_not_json_does_no_harm() {
        for text in ["", "\"", "\"\\", "}}]]", "{\"a\"", "[,,,", ":::", "{\"\\"] {
            let _ = path_at(text, 1, text.len());
            let _ = path_at(text, 9, 99);
        }
    }
}
