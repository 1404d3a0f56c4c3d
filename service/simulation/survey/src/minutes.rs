//! Tests and minutes until a job came to a result.

use serde::Serialize;

use crate::stats::{Share, median_interval, quantile};

/// Tests and minutes of one way to work; a job without result counts as endless.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct Minutes {
    pub median_minutes: Option<f64>,
    /// Ends of the interval that holds the median of all such jobs with at least 95 %;
    /// `None` of too few jobs, and an end is `None` where jobs there never came to a result.
    pub median_minutes_interval: Option<[Option<f64>; 2]>,
    pub ninth_decile_minutes: Option<f64>,
    pub median_tests: Option<f64>,
    /// Came to a result.
    pub isolated: Share,
    /// Of these, the result was right.
    pub right: Share,
}

/// Jobs as (came to a result, the right one, tests, minutes).
pub(crate) fn minutes(jobs: impl Iterator<Item = (bool, bool, f64, f64)>) -> Minutes {
    let (mut tests, mut minutes) = (Vec::new(), Vec::new());
    let (mut isolated, mut right) = (0, 0);
    for (came, was_right, job_tests, job_minutes) in jobs {
        isolated += u64::from(came);
        right += u64::from(came && was_right);
        let endless = |value: f64| if came { value } else { f64::INFINITY };
        tests.push(endless(job_tests));
        minutes.push(endless(job_minutes));
    }
    let median_minutes = quantile(&mut minutes, 0.5);
    Minutes {
        isolated: Share::new(isolated, minutes.len() as u64),
        right: Share::new(right, isolated),
        median_minutes,
        median_minutes_interval: median_interval(&mut minutes),
        ninth_decile_minutes: quantile(&mut minutes, 0.9),
        median_tests: quantile(&mut tests, 0.5),
    }
}
