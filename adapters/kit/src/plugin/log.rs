//! A plugin's standard error, into the log: as much of it as a log can bear.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt as _};
use tokio::time::Instant;

use super::lines::{Lines, ReceivedLine};

/// The longest line that is logged.
const LONGEST: usize = 2048;
/// Lines logged in a window of time; the others are counted.
const MOST: u32 = 100;
const WINDOW: Duration = Duration::from_secs(10);

/// Copies lines to the log until there are no more.
pub(super) async fn copy<R: AsyncRead + Unpin>(mut from: R, plugin: String) {
    let mut lines = Lines::new(LONGEST);
    let mut quota = Quota::new(Instant::now());
    while let Ok(1..) = from.read_buf(lines.buffer()).await {
        while let Some(line) = lines.next() {
            let (may, left_out) = quota.take(Instant::now());
            if left_out > 0 {
                tracing::warn!(
                    plugin,
                    "{left_out} lines of its standard error were left out"
                );
            }
            match line {
                _ if !may => {}
                ReceivedLine::Whole(line) => {
                    tracing::info!(plugin, "{}", String::from_utf8_lossy(&line).trim_end());
                }
                ReceivedLine::TooLong(bytes) => tracing::info!(plugin, "a line of {bytes} bytes"),
            }
        }
    }
}

/// So many lines in a window of time.
struct Quota {
    since: Instant,
    taken: u32,
    left_out: u64,
}

impl Quota {
    fn new(since: Instant) -> Quota {
        Quota {
            since,
            taken: 0,
            left_out: 0,
        }
    }

    /// Whether a line may pass, and how many did not in the window before.
    fn take(&mut self, now: Instant) -> (bool, u64) {
        let mut before = 0;
        if now.duration_since(self.since) >= WINDOW {
            before = self.left_out;
            *self = Quota::new(now);
        }
        let may = self.taken < MOST;
        if may {
            self.taken += 1;
        } else {
            self.left_out += 1;
        }
        (may, before)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_is_counted_and_the_next_window_says_so() {
        let start = Instant::now();
        let mut quota = Quota::new(start);
        let passed = (0..250).filter(|_| quota.take(start).0).count();
        assert_eq!(passed, 100);
        assert_eq!(quota.take(start + WINDOW), (true, 150));
        assert_eq!(quota.take(start + WINDOW), (true, 0));
    }
}
