//! What is typed while the practice bay runs.

use std::io::BufRead as _;

use tokio::sync::{mpsc, watch};
use trisect_simulated::bay::SimulatedBay;

use super::engine::Task;
use super::print;

/// What can be typed.
pub(super) const HELP: &str =
    "round, off, on, crank, idle, high-idle; see CHECK; unplug or plug INSTRUMENT; help; quit";

/// Carries out what is typed, until `quit` is. Standard input that ends leaves the bay as it is.
pub(super) async fn listen(simulated: &SimulatedBay, tasks: &watch::Sender<Task>) {
    let (typed, mut lines) = mpsc::channel::<String>(16);
    // A thread of its own: the run time would wait for its end, which only another line brings.
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if typed.blocking_send(line).is_err() {
                return;
            }
        }
    });
    while let Some(line) = lines.recv().await {
        let mut words = line.split_whitespace();
        match (words.next(), words.next()) {
            (None, _) => {}
            (Some("quit"), _) => return,
            (Some(word), what) => print(&carry_out(simulated, tasks, word, what).await),
        }
    }
    std::future::pending().await
}

/// Carries one line out; what is said to it.
async fn carry_out(
    simulated: &SimulatedBay,
    tasks: &watch::Sender<Task>,
    word: &str,
    what: Option<&str>,
) -> String {
    let turn = |to: Task, said: &str| {
        tasks.send_replace(to);
        said.to_owned()
    };
    let done = |outcome: Result<(), String>, said: String| outcome.err().unwrap_or(said);
    match (word, what) {
        ("round", None) => turn(
            Task::Round,
            "off, on, cranking, idle, high idle, over and over",
        ),
        ("off", None) => turn(Task::Off, "the key is turned off"),
        ("on", None) => turn(Task::KeyOn, "the key is turned on"),
        ("crank", None) => turn(Task::Crank, "it is cranked until it starts, 30 s at most"),
        ("idle", None) => turn(Task::Idle, "it is started, and idles if it starts"),
        ("high-idle", None) => turn(Task::HighIdle, "it is started, and the pedal pressed"),
        ("see", Some(check)) => match simulated.observe(check).await {
            Ok(answer) => format!("{check}: {answer}"),
            Err(error) => error.to_string(),
        },
        ("unplug", Some(name)) => done(
            simulated.unplug(name).map_err(|error| error.to_string()),
            format!("{name} is unplugged"),
        ),
        ("plug", Some(name)) => done(
            simulated.replug(name).map_err(|error| error.to_string()),
            format!("{name} is plugged in"),
        ),
        ("help", _) => HELP.to_owned(),
        _ => format!("not understood: write {HELP}"),
    }
}
