//! The results of a trial as JUnit XML.

use std::fmt::Write;

/// One case as a test.
pub struct Test<'a> {
    /// Its file.
    pub file: String,
    /// Its title.
    pub title: &'a str,
    /// What differed, one a line; empty if nothing did.
    pub differences: String,
}

/// One test suite with a test for each case.
pub fn junit(suite: &str, tests: &[Test<'_>]) -> String {
    let failures = tests
        .iter()
        .filter(|test| !test.differences.is_empty())
        .count();
    let mut xml = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let counts = format!(
        "tests=\"{}\" failures=\"{failures}\" errors=\"0\"",
        tests.len()
    );
    // Writing to a String cannot fail.
    let _ = writeln!(
        xml,
        "<testsuites {counts}>\n  <testsuite name=\"{}\" {counts}>",
        escaped(suite)
    );
    for test in tests {
        let (file, title) = (escaped(&test.file), escaped(test.title));
        let _ = write!(
            xml,
            "    <testcase classname=\"{file}\" name=\"{title}\" file=\"{file}\""
        );
        if test.differences.is_empty() {
            xml.push_str("/>\n");
            continue;
        }
        let first = escaped(test.differences.lines().next().unwrap_or_default());
        let all = escaped(&test.differences);
        let _ = writeln!(
            xml,
            ">\n      <failure message=\"{first}\">{all}</failure>\n    </testcase>"
        );
    }
    xml.push_str("  </testsuite>\n</testsuites>\n");
    xml
}

/// Text as it may stand in an attribute or an element. Characters XML 1.0 has no place for become U+FFFD.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&apos;"),
            '\n' => escaped.push_str("&#10;"),
            '\t' => escaped.push_str("&#9;"),
            '\u{fffe}' | '\u{ffff}' => escaped.push('\u{fffd}'),
            other if other.is_control() && u32::from(other) < 0x20 => escaped.push('\u{fffd}'),
            other => escaped.push(other),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn failures_are_counted_and_text_is_escaped() {
        let tests = [
            Test {
                file: "a.toml".to_owned(),
                title: "Weak <pump> & \"co\"",
                differences: String::new(),
            },
            Test {
                file: "b.toml".to_owned(),
                title: "B\u{1}",
                differences: "standing: <open>\nnext: x".to_owned(),
            },
        ];
        let expected = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
            <testsuites tests=\"2\" failures=\"1\" errors=\"0\">\n  \
              <testsuite name=\"s\" tests=\"2\" failures=\"1\" errors=\"0\">\n    \
                <testcase classname=\"a.toml\" name=\"Weak &lt;pump&gt; &amp; &quot;co&quot;\" file=\"a.toml\"/>\n    \
                <testcase classname=\"b.toml\" name=\"B\u{fffd}\" file=\"b.toml\">\n      \
                  <failure message=\"standing: &lt;open&gt;\">standing: &lt;open&gt;&#10;next: x</failure>\n    \
                </testcase>\n  \
              </testsuite>\n\
            </testsuites>\n";
        assert_eq!(junit("s", &tests), expected);
    }
}
