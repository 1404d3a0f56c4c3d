//! Says of which commit and day a build is, for `--version` of the programs.

use std::path::Path;
use std::process::Command;

fn main() {
    let git = |arguments: &[&str]| is_repository().then(|| git(arguments)).flatten();
    let commit = git(&["rev-parse", "--short=9", "HEAD"]);
    // The day of the commit, not of the build: the same sources give the same program.
    let day = match std::env::var("SOURCE_DATE_EPOCH")
        .ok()
        .and_then(|text| text.parse().ok())
    {
        Some(seconds) => Some(day_of(seconds)),
        None => git(&["show", "--no-patch", "--format=%cs", "HEAD"]),
    };
    let build = match (commit, day) {
        (Some(commit), Some(day)) => format!("commit {commit}, {day}"),
        (None, Some(day)) => format!("of {day}"),
        // Sources that were unpacked, or no git.
        _ => "commit unknown".to_owned(),
    };
    // Not TRISECT_…: cargo hands it on to what it runs, and there that means a setting.
    println!("cargo::rustc-env=BUILT_FROM={build}");
    println!("cargo::rerun-if-env-changed=SOURCE_DATE_EPOCH");
    println!("cargo::rerun-if-changed=build.rs");
    // What moves when another commit is checked out or made; nothing else makes it run again.
    for moved in ["HEAD", "logs/HEAD"] {
        let path = git(&["rev-parse", "--git-path", moved]);
        if let Some(path) = path.filter(|path| Path::new(path).exists()) {
            println!("cargo::rerun-if-changed={path}");
        }
    }
}

/// Whether the repository that git finds here is that of these sources: they may have been unpacked within
/// another one, whose commit says nothing of them.
fn is_repository() -> bool {
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let top = git(&["rev-parse", "--show-toplevel"]);
    top.is_some_and(|top| matches!((here.canonicalize(), Path::new(&top).canonicalize()), (Ok(here), Ok(top)) if here == top))
}

/// What git says, if there is a git and a repository.
fn git(arguments: &[&str]) -> Option<String> {
    let said = Command::new("git").args(arguments).output().ok()?;
    let text = String::from_utf8(said.stdout).ok()?;
    let text = text.trim();
    (said.status.success() && !text.is_empty()).then(|| text.to_owned())
}

/// The day of a moment in seconds since 1970 (civil calendar from days, proleptic Gregorian).
fn day_of(seconds: i64) -> String {
    let days = seconds.div_euclid(86_400) + 719_468;
    let (era, day_of_era) = (days.div_euclid(146_097), days.rem_euclid(146_097));
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    // Years that begin in March have the leap day at their end.
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = (month_from_march + 2) % 12 + 1;
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02}")
}
