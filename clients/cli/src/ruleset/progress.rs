//! A progress bar for long work.

use std::io::{IsTerminal, Write};

/// A bar on standard error, if that is a terminal.
pub struct ProgressBar {
    of: u64,
    what: &'static str,
    shown: bool,
}

/// Characters of the bar.
const WIDTH: u64 = 40;

impl ProgressBar {
    /// For so many of something.
    pub fn of(of: u64, what: &'static str) -> ProgressBar {
        ProgressBar {
            of,
            what,
            shown: std::io::stderr().is_terminal(),
        }
    }

    /// Draws it anew, a few hundred times over the whole.
    pub fn show(&self, done: u64) {
        if self.shown && self.is_due(done) {
            // A bar that cannot be drawn is no reason to stop.
            let _ = write!(std::io::stderr().lock(), "\r{}", self.line(done));
        }
    }

    fn is_due(&self, done: u64) -> bool {
        done.is_multiple_of((self.of / 400).max(1)) || done == self.of
    }

    fn line(&self, done: u64) -> String {
        // No overflow, however many they are.
        let full = u128::from(done) * u128::from(WIDTH) / u128::from(self.of.max(1));
        let full = full.min(u128::from(WIDTH)) as usize;
        let bar = "█".repeat(full) + &"░".repeat(WIDTH as usize - full);
        format!("{bar} {done} of {} {}", self.of, self.what)
    }

    /// Takes it away.
    pub fn clear(&self) {
        if self.shown {
            let _ = write!(std::io::stderr().lock(), "\r\x1b[K");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_fills() {
        let bar = ProgressBar::of(u64::MAX, "machines");
        assert!(bar.line(0).starts_with("░░"));
        assert_eq!(bar.line(u64::MAX / 2).matches('█').count(), 19);
        assert!(bar.line(u64::MAX).starts_with(&"█".repeat(40)));
        let small = ProgressBar::of(3, "cases");
        assert!((1..=3).all(|done| small.is_due(done)));
        assert!(small.line(1).ends_with(" 1 of 3 cases"));
        assert!(!ProgressBar::of(4000, "machines").is_due(7));
    }
}
