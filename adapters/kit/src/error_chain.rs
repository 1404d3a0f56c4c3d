//! Errors in one line.

/// An error with everything that was behind it, in one line.
pub fn error_chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(behind) = cause {
        text = format!("{text}: {behind}");
        cause = behind.source();
    }
    text
}
