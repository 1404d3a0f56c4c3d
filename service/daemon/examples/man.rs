//! Writes the man pages of `trisectd` into a folder: `cargo run -p trisectd --example man -- DIR`. An example, so
//! that the program itself is built without what makes them.

#[allow(
    dead_code,
    reason = "the command line is read here, and not carried out"
)]
#[path = "../src/command.rs"]
mod command;
#[allow(dead_code, reason = "as above")]
#[path = "../src/token_command.rs"]
mod token_command;

use std::process::ExitCode;

use clap::CommandFactory as _;

fn main() -> ExitCode {
    let Some(directory) = std::env::args_os().nth(1) else {
        eprintln!("man: name the folder to write into");
        return ExitCode::from(2);
    };
    let pages = clap_mangen::Man::new(command::CommandLine::command()).section("8");
    let written = pages.generate_to(&directory);
    let below = command::CommandLine::command();
    let name = below.get_name().to_owned();
    let each = below.get_subcommands().map(|one| {
        // clap keeps names for as long as the program runs, and there are a handful.
        let title: &'static str = format!("{name}-{}", one.get_name()).leak();
        let page = clap_mangen::Man::new(one.clone().name(title)).section("8");
        page.generate_to(&directory).map(drop)
    });
    match written.map(drop).and_then(|()| each.collect()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("man: cannot write into {}: {error}", directory.display());
            ExitCode::FAILURE
        }
    }
}
