//! The key of the simulated machine: turned in a round, or as is typed.

use tokio::sync::watch;
use trisect_technician::{Step, engine, runs};

use super::print;
use crate::connection::CallError;
use crate::operator::Operator;

/// Simulated seconds before what the service refused is tried again.
const AGAIN_AFTER: f64 = 1.0;

/// What the engine is to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Task {
    /// Everything, one after the other, over and over.
    Round,
    /// Key off.
    Off,
    /// Key on, engine still.
    KeyOn,
    /// Crank, for as long as it does not start.
    Crank,
    /// Start, and idle.
    Idle,
    /// Start, and run with the pedal down.
    HighIdle,
}

impl Task {
    /// The steps to take, for an engine that runs or does not.
    fn steps(self, runs: bool) -> Vec<Step> {
        match self {
            Task::Round => engine::round(),
            Task::Off => engine::off(),
            Task::KeyOn => engine::on(),
            Task::Crank => engine::crank(),
            Task::Idle => engine::idle(runs),
            Task::HighIdle => engine::high_idle(runs),
        }
    }
}

/// Has the engine do what is wanted, for ever; a task may be given up anywhere, as the next one
/// sets every control that it needs.
pub(super) async fn work(operator: Operator<'_>, mut tasks: watch::Receiver<Task>) {
    loop {
        let task = *tasks.borrow_and_update();
        tokio::select! {
            () = carry_out(operator, task) => {}
            changed = tasks.changed() => if changed.is_err() {
                return;
            },
        }
    }
}

/// Carries a task out: a round ends, and is begun again; all others last until another is wanted.
async fn carry_out(operator: Operator<'_>, task: Task) {
    let running = operator.simulated.wait_until(0.0, runs).await;
    let done = operator.carry_out(&task.steps(running)).await;
    if let Err(error) = done {
        told(&error);
        return operator.simulated.wait(AGAIN_AFTER).await;
    }
    if task != Task::Round {
        std::future::pending().await
    }
}

/// Tells what the service refused, and why.
fn told(error: &CallError) {
    let why = std::error::Error::source(error).map_or(String::new(), |why| format!(": {why}"));
    print(&format!("{error}{why}"));
}
