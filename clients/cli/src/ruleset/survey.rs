//! `trisect ruleset survey`.

use super::source::one;
use crate::args;
use crate::ended::{Ended, Fault};
use crate::io::Io;
use std::io::{IsTerminal, Write};
use std::path::Path;
use trisect_survey::{
    Number, Report, Survey, compare, picture, survey as survey_machines, words, worst_cases,
};

/// Surveys a rule set over simulated machines.
///
/// # Errors
/// A rule set that cannot be read, has defects, or suspects what the machine
/// model does not have; files that cannot be written.
pub fn survey(json: bool, what: &args::Survey, io: &mut Io<'_>) -> Result<Ended, Fault> {
    let model = one(&what.ruleset)?;
    let wanted = Survey {
        machines: what.machines,
        seed: what.seed,
        threads: what.threads.unwrap_or_else(cores),
    };
    let wrong = |error: trisect_survey::SurveyError| Fault::Wrong(error.to_string());
    if let Some(each) = what.numbers {
        let numbers = compare(&model, each, wanted.seed, wanted.threads).map_err(wrong)?;
        return tell_numbers(json, numbers, io);
    }
    let bar = Bar::of(what.machines);
    let report = survey_machines(&model, &wanted, &|done| bar.show(done)).map_err(wrong)?;
    bar.clear();
    if let Some(file) = &what.svg {
        write(file, &picture(&report))?;
    }
    if let Some(directory) = &what.cases {
        std::fs::create_dir_all(directory).map_err(|source| file_fault(directory, source))?;
        for case in worst_cases(&model, &report).map_err(wrong)? {
            write(&directory.join(&case.name), &case.case)?;
            if let Some((name, stream)) = &case.stream {
                write(&directory.join(name), stream)?;
            }
        }
    }
    tell(json, &report, io)?;
    Ok(Ended::AsWished)
}

fn tell(json: bool, report: &Report, io: &mut Io<'_>) -> Result<(), Fault> {
    if json {
        io.json(report)
    } else {
        io.say(&words(report))
    }
}

/// Numbers further apart than this are told to people.
const APART: f64 = 0.05;

fn tell_numbers(json: bool, mut numbers: Vec<Number>, io: &mut Io<'_>) -> Result<Ended, Fault> {
    if json {
        io.json(&numbers)?;
        return Ok(Ended::AsWished);
    }
    numbers.retain(|number| number.apart() > APART);
    numbers.sort_by(|a, b| b.apart().total_cmp(&a.apart()));
    io.say("check                    beside                   rule set  model  (interval)      of  open\n")?;
    for number in &numbers {
        let (share, open) = (number.model, number.open);
        io.say(&format!(
            "{:<24} {:<24} {:>8.2} {:>6.2}  ({:.2} … {:.2}) {:>6}  {:.2}\n",
            number.check,
            number.suspect.as_deref().unwrap_or("nothing"),
            number.ruleset,
            share.share,
            share.low,
            share.high,
            share.of,
            open.share
        ))?;
    }
    Ok(Ended::AsWished)
}

fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

fn write(file: &Path, text: &str) -> Result<(), Fault> {
    std::fs::write(file, text).map_err(|source| file_fault(file, source))
}

fn file_fault(path: &Path, source: std::io::Error) -> Fault {
    Fault::File {
        what: "write",
        path: path.display().to_string(),
        source,
    }
}

/// A bar on standard error, if that is a terminal.
struct Bar {
    machines: u64,
    shown: bool,
}

/// Characters of the bar.
const WIDTH: u64 = 40;

impl Bar {
    fn of(machines: u64) -> Bar {
        Bar {
            machines,
            shown: std::io::stderr().is_terminal(),
        }
    }

    /// Drawn anew a few hundred times over a survey.
    fn show(&self, done: u64) {
        let each = (self.machines / 400).max(1);
        if !self.shown || !(done.is_multiple_of(each) || done == self.machines) {
            return;
        }
        let full = (done * WIDTH / self.machines.max(1)) as usize;
        let bar = format!("{}{}", "█".repeat(full), "░".repeat(WIDTH as usize - full));
        // A bar that cannot be drawn is no reason to stop.
        let _ = write!(
            std::io::stderr().lock(),
            "\r{bar} {done} of {} machines",
            self.machines
        );
    }

    fn clear(&self) {
        if self.shown {
            let _ = write!(std::io::stderr().lock(), "\r\x1b[K");
        }
    }
}
