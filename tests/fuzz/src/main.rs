//! One program for all fuzz targets: `FUZZ_TARGET` names the one to run; without it, their names are printed.
//! What is asserted is in the targets; that nothing panics, hangs or overflows is asserted by itself.

#![no_main]

mod instruments;
mod targets;
mod texts;

use std::sync::OnceLock;

use targets::Target;

static TARGET: OnceLock<Target> = OnceLock::new();

fn choose() {
    let targets = targets::all();
    let name = std::env::var("FUZZ_TARGET").unwrap_or_default();
    let names: Vec<String> = targets.iter().map(|target| target.name.clone()).collect();
    match targets.into_iter().find(|target| target.name == name) {
        Some(target) => drop(TARGET.set(target)),
        None => {
            println!("{}", names.join("\n"));
            std::process::exit(i32::from(!name.is_empty()));
        }
    }
}

libfuzzer_sys::fuzz_target!(init: choose(), |data: &[u8]| {
    if let Some(target) = TARGET.get() {
        (target.run)(data);
    }
});
