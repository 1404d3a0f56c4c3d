//! `trisect ruleset survey`.

use super::output_files::{try_directory, try_file, write};
use super::progress::ProgressBar;
use super::source::one;
use crate::args;
use crate::exit::{CliError, Ending};
use crate::io::Io;
use std::path::Path;
use std::sync::Arc;
use trisect_diagnosis::Model;
use trisect_survey::{
    MOST_THREADS, Number, Report, Survey, SurveyError, compare, compared, picture,
    survey as survey_machines, words, worst_cases,
};

/// Surveys a rule set over simulated machines.
///
/// # Errors
/// A rule set that cannot be read, has defects, or suspects what the machine model does not have; a
/// number of machines or threads that cannot be; files that cannot be written, which is tried before
/// the survey, and does not keep its report from being told if it fails after all.
pub fn survey(json: bool, what: &args::Survey, io: &mut Io<'_>) -> Result<Ending, CliError> {
    let model = one(&what.ruleset)?;
    let mut wanted = Survey {
        machines: what.machines,
        seed: what.seed,
        threads: what.threads.unwrap_or_else(cores),
    };
    if let Some(each) = what.numbers {
        wanted.machines = each;
        let bar = ProgressBar::of(compared(model.rules(), each), "machines");
        let numbers = compare(&model, &wanted, &|done| bar.show(done));
        bar.clear();
        return tell_numbers(json, numbers.map_err(wrong)?, io);
    }
    // The directory first: the picture may go into it.
    if let Some(directory) = &what.cases {
        try_directory(directory)?;
    }
    if let Some(file) = &what.svg {
        try_file(file)?;
    }
    let bar = ProgressBar::of(what.machines, "machines");
    let report = survey_machines(&model, &wanted, &|done| bar.show(done));
    bar.clear();
    let report = report.map_err(wrong)?;
    // The report first: it is what took long, and a file that fails must not cost it.
    let told = tell(json, &report, io);
    let drawn = what
        .svg
        .as_deref()
        .map_or(Ok(()), |file| write(file, &picture(&report)));
    let kept = what
        .cases
        .as_deref()
        .map_or(Ok(()), |directory| keep(&model, &report, directory));
    both(drawn, kept)?;
    told?;
    Ok(Ending::AsWished)
}

fn wrong(error: SurveyError) -> CliError {
    CliError::Wrong(error.to_string())
}

/// Writes the worst jobs as cases.
fn keep(model: &Arc<Model>, report: &Report, directory: &Path) -> Result<(), CliError> {
    let bar = ProgressBar::of(report.worst.len() as u64, "cases");
    let cases = worst_cases(model, report, &|done| bar.show(done));
    bar.clear();
    for case in cases.map_err(wrong)? {
        write(&directory.join(&case.name), &case.case)?;
        if let Some((name, stream)) = &case.stream {
            write(&directory.join(name), stream)?;
        }
    }
    Ok(())
}

/// Neither fault hides the other.
fn both(first: Result<(), CliError>, second: Result<(), CliError>) -> Result<(), CliError> {
    match (first, second) {
        (Err(first), Err(second)) => Err(CliError::Wrong(format!("{first}; {second}"))),
        (first, second) => first.and(second),
    }
}

fn tell(json: bool, report: &Report, io: &mut Io<'_>) -> Result<(), CliError> {
    if json {
        io.json(report)
    } else {
        io.say(&words(report))
    }
}

/// Numbers further apart than this are told to people.
const APART: f64 = 0.05;

fn tell_numbers(json: bool, mut numbers: Vec<Number>, io: &mut Io<'_>) -> Result<Ending, CliError> {
    if json {
        io.json(&numbers)?;
        return Ok(Ending::AsWished);
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
    Ok(Ending::AsWished)
}

fn cores() -> usize {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    cores.min(MOST_THREADS)
}
