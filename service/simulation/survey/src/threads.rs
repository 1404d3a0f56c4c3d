//! Work on several threads.

use crate::SurveyError;

/// More threads than this are a slip of the keyboard: no more run at once than
/// there are cores, and each takes memory.
pub const MOST_THREADS: usize = 1024;

/// Whether so many threads can be asked for.
pub(crate) fn check(threads: usize) -> Result<(), SurveyError> {
    match threads {
        1..=MOST_THREADS => Ok(()),
        _ => Err(SurveyError::Threads { threads }),
    }
}

/// Runs `worker` on this thread and on others, `threads` together, and gathers
/// what each brings; on no more than there is `work` for, and on those that could
/// be started: a worker takes from what is left until nothing is.
pub(crate) fn gather<T: Send>(
    threads: usize,
    work: u64,
    worker: impl Fn() -> Vec<T> + Sync,
) -> Vec<T> {
    let threads = threads.min(usize::try_from(work).unwrap_or(usize::MAX));
    std::thread::scope(|scope| {
        let start = |_| std::thread::Builder::new().spawn_scoped(scope, &worker);
        let others: Vec<_> = (1..threads).map_while(|n| start(n).ok()).collect();
        let mut found = worker();
        for other in others {
            match other.join() {
                Ok(more) => found.extend(more),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        found
    })
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;
    use std::sync::atomic::{AtomicU64, Ordering};

    use super::*;

    #[test]
    fn no_more_threads_than_work_and_all_of_it_is_done() {
        let next = AtomicU64::new(0);
        let worker = || {
            let mut done = Vec::new();
            loop {
                let one = next.fetch_add(1, Ordering::Relaxed);
                if one >= 3 {
                    // Even one that finds nothing left says which thread it is.
                    done.push((None, std::thread::current().id()));
                    return done;
                }
                done.push((Some(one), std::thread::current().id()));
            }
        };
        let found = gather(MOST_THREADS, 3, worker);
        let threads: HashSet<_> = found.iter().map(|(_, thread)| *thread).collect();
        assert_eq!(threads.len(), 3);
        let mut work: Vec<u64> = found.iter().filter_map(|(one, _)| *one).collect();
        work.sort_unstable();
        assert_eq!(work, [0, 1, 2]);
    }

    #[test]
    fn no_threads_and_too_many_are_refused() {
        assert!(check(1).is_ok() && check(MOST_THREADS).is_ok());
        for threads in [0, MOST_THREADS + 1, usize::MAX] {
            assert_eq!(check(threads), Err(SurveyError::Threads { threads }));
        }
    }
}
