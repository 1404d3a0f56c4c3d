//! The configuration reference in the documents is what the program prints.

use trisect_tests::programs::program;
use trisect_tests::repository::root;

/// Where the reference stands: keys in one document, settings of instruments in the other.
const KEYS: &str = "deploy/OPERATING.md";
const INSTRUMENTS: &str = "deploy/INSTRUMENTS.md";
/// What the reference stands between in the first.
const BEGIN: &str = "<!-- reference: begin -->\n";
const END: &str = "<!-- reference: end -->";
/// What the second part begins with.
const SECOND: &str = "## Settings of instruments\n";

#[test]
fn documents_hold_what_check_config_prints() {
    let printed = std::process::Command::new(program("trisectd"))
        .args(["check-config", "--reference"])
        .output()
        .unwrap();
    assert!(printed.status.success(), "{printed:?}");
    let printed = String::from_utf8(printed.stdout).unwrap();
    let (keys, instruments) = printed.split_once(SECOND).unwrap();
    let instruments = format!("# Settings of instruments\n{instruments}");

    let path = root().join(KEYS);
    let text = std::fs::read_to_string(&path).unwrap();
    let (before, rest) = text.split_once(BEGIN).unwrap();
    let (held, after) = rest.split_once(END).unwrap();
    let beside = root().join(INSTRUMENTS);
    if std::env::var_os("TRISECT_BLESS").is_some() {
        std::fs::write(&path, [before, BEGIN, keys, END, after].concat()).unwrap();
        std::fs::write(&beside, &instruments).unwrap();
        return;
    }
    let hint = "look at the change and run TRISECT_BLESS=1 cargo test -p trisect-tests reference";
    assert!(held == keys, "{KEYS} is not what the program says; {hint}");
    let held = std::fs::read_to_string(&beside).unwrap();
    assert!(
        held == instruments,
        "{INSTRUMENTS} is not what the program says; {hint}"
    );
}
