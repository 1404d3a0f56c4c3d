#![allow(clippy::unwrap_used)]
use super::*;

/// Loads a file whose programs of this machine may call, unless it says who may.
fn load(file: &str, environment: &[(&str, &str)], flags: &Flags) -> Result<Settings, ConfigError> {
    let flags = Flags {
        loopback: Some("manage".to_owned()),
        ..flags.clone()
    };
    load_as_it_is(file, environment, &flags)
}

fn load_as_it_is(
    file: &str,
    environment: &[(&str, &str)],
    flags: &Flags,
) -> Result<Settings, ConfigError> {
    let pairs = environment
        .iter()
        .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()));
    let environment = Environment::with_prefix("TRISECT").source(Some(pairs.collect()));
    let settings = from_sources(flags, Some(file.to_owned()), environment)?;
    settings.check()?;
    Ok(settings)
}

fn refused(file: &str, expected: &str) {
    let message = load(file, &[], &Flags::default()).unwrap_err().to_string();
    assert!(message.contains(expected), "{message}");
}

#[test]
fn flags_override_environment_overrides_file_overrides_default() {
    let file = "listen = '127.0.0.1:1'\njournal = 'file.db'\n[log]\nlevel = 'debug'";
    let flags = Flags {
        listen: Some("127.0.0.1:3".to_owned()),
        ..Flags::default()
    };
    let environment = [
        ("TRISECT_LISTEN", "127.0.0.1:2"),
        ("TRISECT_LOG__LEVEL", "trace"),
        ("OTHER", "x"),
    ];
    let settings = load(file, &environment, &flags).unwrap();
    assert_eq!(settings.listen.port(), 3);
    assert_eq!(settings.log.level, "trace");
    assert_eq!(settings.journal, PathBuf::from("file.db"));
    assert_eq!(settings.bays[0].bay, "bay-1");
}

#[test]
fn an_unknown_key_is_refused_with_the_nearest_known_one() {
    refused(
        "lisen = '127.0.0.1:1'",
        "unknown key `lisen` in the configuration: did you mean `listen`?",
    );
    refused("[[bays]]\nbay = 'a'\ntitel = 'A'", "did you mean `title`?");
    refused("[log]\nlevle = 'info'", "did you mean `level`?");
    let environment = [("TRISECT_JOURNEL", "x.db")];
    let error = load("", &environment, &Flags::default())
        .unwrap_err()
        .to_string();
    assert!(error.contains("did you mean `journal`?"), "{error}");
}

#[test]
fn an_origin_that_no_page_has_is_refused() {
    assert!(
        load(
            "origins = ['http://localhost:5173']",
            &[],
            &Flags::default()
        )
        .is_ok()
    );
    let file = "origins = ['https://board.example', 'board.example']";
    refused(file, "`origins[1]` in the configuration: `board.example`: ");
}

#[test]
fn other_addresses_than_loopback_are_refused() {
    refused(
        "listen = '0.0.0.0:7474'",
        "refusing to listen on 0.0.0.0:7474 without a token file",
    );
    refused("listen = '[::]:7474'", "refusing to listen");
    refused("token_file = 't'\nlisten = '0.0.0.0:1'", "without TLS");
    refused(
        "[tls]\nlisten = '0.0.0.0:1'\ncertificate = 'c'\nkey = 'k'",
        "without a token file",
    );
    let behind = "token_file = 't'\nlisten = '0.0.0.0:1'\n[access]\nplain = true";
    assert!(load(behind, &[], &Flags::default()).is_ok());
    assert!(load("listen = '[::1]:7474'", &[], &Flags::default()).is_ok());
}

#[test]
fn values_that_do_not_fit_say_why() {
    refused("listen = 'here'", "socket address");
    refused("bays = []", "there is no bay");
    refused(
        "[[bays]]\nbay = 'a'\n[[bays]]\nbay = 'a'",
        "`a` is there twice",
    );
    refused("[[bays]]\nbay = 'A b'", "is no name");
    refused("listen = ", "cannot be read");
    refused("[log]\nformat = 'xml'", "xml");
}

#[test]
fn an_instrument_has_settings_of_its_own() {
    let file = r#"
        [[bays]]
        bay = "north"
        [[bays.instruments]]
        instrument = "meter"
        adapter = "multimeter"
        settings = { port = "/dev/meter", protocol = "fs9922" }
    "#;
    let settings = load(file, &[], &Flags::default()).unwrap();
    assert_eq!(
        settings.bays[0].instruments[0].settings["protocol"],
        "fs9922"
    );
}

/// What is known of an instrument is written as its data sheet and its certificate
/// have it, so keys keep their case, spaces and points.
#[tokio::test]
async fn the_measurement_chain_of_an_instrument_is_read_from_the_file() {
    let file = r#"
        [[bays]]
        bay = "north"
        barometer = { value = "1003 hPa", uncertainty = "10 hPa" }
        [[bays.instruments]]
        instrument = "meter"
        adapter = "multimeter"
        [bays.instruments.settings]
        port = "/dev/meter"
        protocol = "fs9922"
        accuracy = { "voltage AC" = { "0.4 V" = "1 % rdg", otherwise = "2 % rdg" }, resistance = "1 %  rdg" }
        [bays.instruments.settings.calibration.voltage]
        kind = "line"
        points = [["0 V", "0.01 V"], ["10 V", "10.02 V"], ["20 V", "20.02 V"]]
        due = "2027-03-01"
    "#;
    let settings = load(file, &[], &Flags::default()).unwrap();
    let bay = &settings.bays[0];
    assert_eq!(bay.barometer.as_ref().unwrap().value, "1003 hPa");
    let meter = &bay.instruments[0].settings;
    assert_eq!(meter["accuracy"]["voltage AC"]["0.4 V"], "1 % rdg");
    let plugins = trisect_bay::instruments::Plugins::default();
    let request = crate::runtime::attach_request(&bay.bay, &bay.instruments[0]);
    let attaching = trisect_bay::Attaching::prepare(request, &plugins)
        .await
        .unwrap();
    assert_eq!(attaching.calibrations(), 1);
}

#[test]
fn a_file_that_says_nothing_lets_nobody_in_and_is_refused() {
    let check = |file: &str, expected: Option<&str>| {
        let loaded = load_as_it_is(file, &[], &Flags::default());
        let said = loaded.err().map(|error| error.to_string());
        let fits = match (&said, expected) {
            (None, None) => true,
            (Some(said), Some(expected)) => said.contains(expected),
            _ => false,
        };
        assert!(fits, "{file}: {said:?}");
    };
    check("", Some("nobody could call"));
    check("[access]\nplain = true", Some("nobody could call"));
    check("[unix]\npath = 's'", Some("nobody could call"));
    check("[unix]\npath = 's'\nrole = 'manage'", None);
    check("[access]\nloopback = 'read'", None);
    check("token_file = 'tokens.toml'", None);
}

#[test]
fn check_config_finds_every_mistake_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bays.toml");
    let rules = folder.path().join("rules.toml");
    std::fs::write(&rules, "format = 1\nid = 'x'\n").unwrap();
    let text = format!(
        r#"listen = "127.0.0.1:0"
journal = "/nowhere/at/all/journal.db"
token_file = "/nowhere/tokens.toml"
rulesets = ["{}"]
colour = "red"

[unix]
path = "socket"
mode = "rw"

[limits]
connections = 0

[log]
level = "trisectd=shout"

[[bays]]
bay = "North"
barometer = {{ value = "30 psi", uncertainty = "1 psi" }}

[[bays.instruments]]
instrument = "meter"
adapter = "multimetre"

[[bays.instruments]]
instrument = "gauge"
adapter = "transducer"
settings = {{ port = "/dev/x", device = "one" }}
"#,
        rules.display()
    );
    let said = |text: &str| {
        std::fs::write(&file, text).unwrap();
        let flags = Flags {
            file: Some(file.clone()),
            ..Flags::default()
        };
        let found = check::mistakes(&flags);
        let found: Vec<String> = found.iter().map(ToString::to_string).collect();
        found.join("\n")
    };
    // What the text says wrongly comes first, all of it.
    let first = said(&text.replace("connections = 0", "connections = 'many'"));
    for expected in [
        "line 5: `colour`: unknown key: known: ",
        "line 12: `limits.connections`: this is to be of the type integer, and is of the type string",
    ] {
        assert!(
            first.contains(expected),
            "{expected}\nis missing in\n{first}"
        );
    }
    // Then what it means, all of it.
    let then = said(&text.replace("colour = \"red\"", ""));
    for expected in [
        "`unix.mode`: `rw` is no file mode",
        "`limits.connections`: this leaves nothing",
        "`token_file`: cannot read the token file /nowhere/tokens.toml",
        "`journal`: ",
        "`log.level`: ",
        "`rulesets`: ",
        "`bays.bay`: `North` is no name",
        "`bays[0].barometer`: 30 psi is no pressure of the air",
        "`bays[0].instruments[0].adapter`: there is no adapter `multimetre`; did you mean `multimeter`?",
        "`bays[0].instruments[1].settings",
    ] {
        assert!(then.contains(expected), "{expected}\nis missing in\n{then}");
    }
    assert!(!folder.path().join("socket").exists());
}
