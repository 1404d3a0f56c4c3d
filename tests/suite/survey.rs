//! `trisect ruleset survey`, as it is run.

use std::path::{Path, PathBuf};

use serde_json::Value;
use trisect_tests::programs::{Ended, trisect};

const RULES: &str = "distributor-pump-12v";

/// So few that a test can wait for them, and with some that no test sets right.
const MACHINES: &str = "60";

fn survey(more: &[&str]) -> Ended {
    let all = [
        &["ruleset", "survey", RULES, "--machines", MACHINES],
        &["--seed", "5"][..],
        more,
    ];
    trisect(&all.concat(), "")
}

/// What a refused survey said; nothing of a report.
fn refused(more: &[&str]) -> String {
    let ended = survey(more);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{ended:?}");
    ended.err
}

fn path(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[test]
fn the_report_is_the_same_to_the_byte_on_any_number_of_threads() {
    let one = survey(&["--json", "--threads", "1"]);
    assert_eq!((one.code, one.err.as_str()), (0, ""), "{one:?}");
    let report: Value = serde_json::from_str(&one.out).unwrap();
    assert_eq!(report["ruleset"][0], RULES);
    assert_eq!(
        (&report["machines"], &report["seed"]),
        (&60.into(), &5.into())
    );
    assert_eq!(report["pump_condemned_good"]["of"], 60);
    let median = report["advised"]["median_minutes"].as_f64().unwrap();
    let ends = &report["advised"]["median_minutes_interval"];
    let [low, high] = [&ends[0], &ends[1]].map(|end| end.as_f64().unwrap());
    assert!(low <= median && median <= high, "{low} {median} {high}");
    let two = survey(&["--json", "--threads", "2"]);
    assert_eq!((two.code, &two.out), (0, &one.out));
    // For people it is the same survey.
    let told = survey(&[]);
    assert!(told.out.contains("60 machines, seed 5"), "{told:?}");
    assert!(
        told.out
            .contains("baseline for the order of the tests only")
    );
}

#[test]
fn picture_and_cases_are_written_and_the_cases_pass_with_their_mistakes() {
    let folder = tempfile::tempdir().unwrap();
    let (svg, cases) = (folder.path().join("a.svg"), folder.path().join("cases"));
    std::fs::write(&svg, "an older and longer picture").unwrap();
    let ended = survey(&["--svg", path(&svg), "--cases", path(&cases), "--json"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{ended:?}");
    let report: Value = serde_json::from_str(&ended.out).unwrap();

    let picture = std::fs::read_to_string(&svg).unwrap();
    let texts = texts(&picture);
    let version = report["ruleset"][1].as_str().unwrap();
    let title = format!("{RULES} {version}: 60 simulated machines, seed 5");
    assert!(texts.contains(&title), "{texts:?}");

    let mut written: Vec<PathBuf> = std::fs::read_dir(&cases)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|file| file.extension().is_some_and(|end| end == "toml"))
        .collect();
    written.sort();
    assert!((1..=20).contains(&written.len()), "{written:?}");
    let files = written.iter().map(|file| path(file));
    let all: Vec<&str> = ["ruleset", "trial", "--json", RULES]
        .into_iter()
        .chain(files)
        .collect();
    let tried = trisect(&all, "");
    assert_eq!(tried.code, 0, "{tried:?}");
    let tried: Value = serde_json::from_str(&tried.out).unwrap();
    // Each comes to what its title says: the mistake is in it.
    let worst = report["worst"].as_array().unwrap();
    for (case, worst) in tried["cases"].as_array().unwrap().iter().zip(worst) {
        let (title, said) = (
            case["title"].as_str().unwrap(),
            worst["said"].as_str().unwrap(),
        );
        assert!(title.contains(said), "{title}: {said}");
        let isolated = case["verdict"]["standing"] == "isolated";
        let side = case["verdict"]["side"].as_str().unwrap_or_default();
        assert_eq!(
            isolated,
            said == format!("isolated: {side}"),
            "{title}: {case}"
        );
    }
}

#[test]
fn what_cannot_be_is_refused_before_anything_is_surveyed() {
    let folder = tempfile::tempdir().unwrap();
    let nowhere = folder.path().join("none/a.svg");
    let file = folder.path().join("file");
    std::fs::write(&file, "kept").unwrap();
    // So many would take years: whoever tries the places afterwards never comes to it.
    let many = ["ruleset", "survey", RULES, "--machines", "1000000000000"];
    for bad in [
        ["--svg", path(&nowhere)],
        ["--svg", path(folder.path())],
        ["--cases", path(&file)],
    ] {
        let ended = trisect(&[&many[..], &bad].concat(), "");
        assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{ended:?}");
        assert!(
            ended.err.contains(&format!("cannot write {}", bad[1])),
            "{ended:?}"
        );
    }
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "kept");
    assert!(refused(&["--threads", "0"]).contains("from 1 to 1024"));
    assert!(refused(&["--threads", "4000000"]).contains("from 1 to 1024"));
    for (flag, value, said) in [
        ("--seed", "-1", "a whole number from 0"),
        ("--machines", "-5", "a whole number from 1"),
    ] {
        let ended = trisect(&["ruleset", "survey", RULES, flag, value], "");
        assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{ended:?}");
        assert!(ended.err.contains(said), "{ended:?}");
    }
}

/// A disk that fills up meanwhile does not cost the report.
#[test]
fn a_report_is_told_though_its_picture_fails() {
    let ended = survey(&["--svg", "/dev/full", "--json"]);
    assert_eq!(ended.code, 2, "{ended:?}");
    assert!(ended.err.contains("cannot write /dev/full"), "{ended:?}");
    let report: Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(report["machines"], 60);
}

/// The text of every element of well-formed XML, such as it is drawn: elements with attributes,
/// no comments, no declarations. Panics where it is not well-formed.
fn texts(xml: &str) -> Vec<String> {
    let (mut open, mut found, mut rest) = (Vec::new(), Vec::new(), xml);
    let mut roots = 0;
    while let Some(at) = rest.find('<') {
        let (text, tag) = rest.split_at(at);
        let end = tag.find('>').expect("a tag that ends");
        check_text(text);
        if open.is_empty() {
            assert!(text.trim().is_empty(), "text beside the root: {text}");
        } else if !text.trim().is_empty() {
            found.push(unescaped(text));
        }
        let inner = &tag[1..end];
        rest = &tag[end + 1..];
        if let Some(name) = inner.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name), "closed in its order");
            continue;
        }
        let (inner, empty) = match inner.strip_suffix('/') {
            Some(inner) => (inner, true),
            None => (inner, false),
        };
        let (name, attributes) = inner.split_once(' ').unwrap_or((inner, ""));
        assert!(name.chars().all(|c| c.is_ascii_alphanumeric()), "{name}");
        check_attributes(attributes);
        roots += usize::from(open.is_empty());
        if !empty {
            open.push(name);
        }
    }
    assert!(rest.trim().is_empty() && open.is_empty(), "{open:?} {rest}");
    assert_eq!(roots, 1, "one root");
    found
}

fn check_attributes(text: &str) {
    let (mut rest, mut names) = (text.trim(), Vec::new());
    while !rest.is_empty() {
        let (name, value) = rest.split_once("=\"").expect("name=\"value\"");
        let (value, more) = value.split_once('"').expect("an end of the value");
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
        assert!(!name.is_empty() && name.chars().all(plain), "{name}");
        assert!(!names.contains(&name), "{name} is there twice: {text}");
        assert!(more.is_empty() || more.starts_with(char::is_whitespace));
        check_text(value);
        names.push(name);
        rest = more.trim_start();
    }
}

/// No sign that has to be escaped stands by itself.
fn check_text(text: &str) {
    assert!(!text.contains('<') && !text.contains("]]>"), "{text}");
    let known = ["&amp;", "&lt;", "&gt;", "&quot;", "&apos;"];
    for (at, _) in text.match_indices('&') {
        assert!(
            known.iter().any(|one| text[at..].starts_with(one)),
            "{text}"
        );
    }
}

fn unescaped(text: &str) -> String {
    let plain = text.replace("&lt;", "<").replace("&gt;", ">");
    plain.replace("&amp;", "&")
}
