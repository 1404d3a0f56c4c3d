#![allow(clippy::unwrap_used)]
use super::*;

fn numbers(json: &str) -> Vec<(String, f64, f64)> {
    let records = resolve(json, 0.0).unwrap_or_default();
    let value = |r: &Record| r.number().map_or(f64::NAN, |(x, _)| x);
    records
        .iter()
        .map(|r| (r.name.clone(), r.time, value(r)))
        .collect()
}

/// RFC 8428, 5.1.2 and 5.1.3: the current of 1.2 … 1.7 A over five seconds.
#[test]
fn multiple_measurements_of_rfc_8428() {
    let pack = r#"[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
        "n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},
        {"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},
        {"n":"current","v":1.7}]"#;
    let got = numbers(pack);
    let name = |s: &str| format!("urn:dev:ow:10e2073a0108006:{s}");
    assert_eq!(got.len(), 7);
    assert_eq!(got[0], (name("current"), 1_276_020_071.001, 1.2));
    assert_eq!(got[4], (name("current"), 1_276_020_075.001, 1.6));
    assert!(got[5..].contains(&(name("voltage"), 1_276_020_076.001, 120.1)));
    assert!(got[5..].contains(&(name("current"), 1_276_020_076.001, 1.7)));
}

#[test]
fn base_values_and_sums_add_and_relative_times_follow_now() {
    let pack = r#"[{"bn":"a","bv":10,"bs":1},{"u":"V","v":2,"t":-3},{"u":"V","v":1,"s":4}]"#;
    let got = resolve(pack, 1e9).unwrap_or_default();
    assert_eq!(got[0].number(), Some((12.0, Unit::VOLT)));
    assert_eq!((got[0].time, got[0].sum), (1e9 - 3.0, Some(1.0)));
    assert_eq!((got[1].time, got[1].sum), (1e9, Some(5.0)));
}

fn refused(json: &str, word: &str) {
    let error = resolve(json, 0.0).map_err(|e| e.to_string());
    assert!(
        matches!(&error, Err(m) if m.contains(word)),
        "{json}: {error:?}"
    );
}

#[test]
fn breaches_are_refused_with_the_record_and_the_way_out() {
    refused("{", "JSON");
    refused("{}", "array");
    refused(
        r#"[{"n":"a","u":"V","v":1},{"n":"a","mandatory_":1,"v":1}]"#,
        "record 2: `mandatory_`",
    );
    refused(r#"[{"n":"a","u":"V","v":1,"bver":27}]"#, "`bver` 27");
    refused(
        r#"[{"n":"a","u":"V","v":1,"vs":"x"}]"#,
        "more than one value",
    );
    refused(r#"[{"n":"a","u":"V"}]"#, "no value");
    refused(r#"[{"n":"_a","u":"V","v":1}]"#, "is no name");
    refused(r#"[{"u":"V","v":1}]"#, "is no name");
    refused(r#"[{"n":"a","u":"V","v":"1"}]"#, "`v` is a number");
}

#[test]
fn psi_is_no_senml_unit_and_millivolts_need_the_feature() {
    refused(r#"[{"n":"a","u":"psi","v":1}]"#, "unknown unit `psi`");
    refused(r#"[{"n":"a","u":"mV","v":1}]"#, "unknown unit `mV`");
    let got = resolve(r#"[{"bver":26,"n":"a","u":"mV","v":1500}]"#, 0.0).unwrap_or_default();
    assert_eq!(got[0].number().map(|(x, u)| u.to_si(x)), Some(1.5));
}

/// The JSON examples of RFC 8428, 5.1, with how many records each resolves to.
const EXAMPLES: [(&str, &str, usize); 9] = [
    (
        "5.1.1 single data point",
        r#"[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]"#,
        1,
    ),
    (
        "5.1.2 multiple data points",
        r#"[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
            {"n":"current","u":"A","v":1.2}]"#,
        2,
    ),
    (
        "5.1.2 with times",
        r#"[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
            "n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},
            {"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},
            {"n":"current","v":1.7}]"#,
        7,
    ),
    ("5.1.3 multiple measurements", MOBILE, 13),
    ("5.1.4 resolved data", MOBILE_RESOLVED, 13),
    (
        "5.1.5 multiple data types",
        r#"[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
            {"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]"#,
        4,
    ),
    (
        "5.1.6 collection of resources",
        r#"[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
            {"n":"humidity","u":"%RH","v":30},
            {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},{"n":"humidity","u":"%RH","v":67}]"#,
        4,
    ),
    (
        "5.1.7 setting an actuator",
        r#"[{"bn":"urn:dev:ow:10e2073a01080063:"},{"n":"temp","u":"Cel","v":23.1},
            {"n":"heat","u":"/","v":1},{"n":"fan","u":"/","v":0}]"#,
        3,
    ),
    (
        "5.1.7 two lights, in time",
        r#"[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},{"n":"2001:db8::4","v":0.5},
            {"n":"2001:db8::3","t":0.1,"v":0},{"n":"2001:db8::4","t":0.1,"v":0}]"#,
        4,
    ),
];

const MOBILE: &str = r#"[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
    {"u":"lon","v":24.30621},{"u":"lat","v":60.07965},{"t":60,"v":20.3},{"u":"lon","t":60,"v":24.30622},
    {"u":"lat","t":60,"v":60.07965},{"t":120,"v":20.7},{"u":"lon","t":120,"v":24.30623},
    {"u":"lat","t":120,"v":60.07966},{"u":"%EL","t":150,"v":98},{"t":180,"v":21.2},
    {"u":"lon","t":180,"v":24.30628},{"u":"lat","t":180,"v":60.07967}]"#;

const MOBILE_RESOLVED: &str = r#"[
    {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
    {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
    {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
    {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
    {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
    {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}]"#;

fn written_and_read(records: &[Record], now: f64) -> Vec<Record> {
    let pack = write(records).unwrap();
    let pack = Json::Array(pack.into_iter().map(Json::Object).collect());
    // Through the text, as it goes over the wire.
    resolve(&pack.to_string(), now).unwrap()
}

#[test]
fn every_example_of_rfc_8428_is_read_and_written_again() {
    for (section, pack, count) in EXAMPLES {
        let records = resolve(pack, 1.7e9).unwrap();
        assert_eq!(records.len(), count, "{section}");
        assert_eq!(written_and_read(&records, 1.7e9), records, "{section}");
    }
}

/// RFC 8428, 5.1.3 and 5.1.4 are the same data, with base fields and resolved.
#[test]
fn the_resolved_example_is_what_the_other_resolves_to() {
    let with_base_fields = resolve(MOBILE, 0.0).unwrap();
    assert_eq!(with_base_fields, resolve(MOBILE_RESOLVED, 0.0).unwrap());
}

#[test]
fn base_fields_take_what_records_share() {
    let pack = write(&resolve(MOBILE_RESOLVED, 0.0).unwrap()).unwrap();
    let text = |index: usize| Json::Object(pack[index].clone()).to_string();
    assert_eq!(
        text(0),
        r#"{"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH","v":20}"#
    );
    assert_eq!(text(4), r#"{"t":60,"u":"lon","v":24.30622}"#);
    assert_eq!(write(&[]).unwrap().len(), 0);
}

fn record(name: &str, unit: Option<&str>, value: f64) -> Record {
    Record {
        name: name.to_owned(),
        unit: unit.map(str::to_owned),
        value: Some(Value::Number(value)),
        sum: None,
        time: 1e9,
    }
}

#[test]
fn secondary_units_are_written_with_their_version() {
    let pack = write(&[record("a", Some("mV"), 1.5)]).unwrap();
    assert_eq!(pack[0]["bver"], 26);
    assert_eq!(
        written_and_read(&[record("a", Some("mV"), 1.5)], 0.0)[0].number(),
        Some((1.5, Unit::MILLIVOLT))
    );
}

#[test]
fn what_senml_cannot_say_is_not_written() {
    let check = |record: Record, part: &str| {
        let error = write(&[record]).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    };
    check(record("a", Some("psi"), 1.0), "unknown unit `psi`");
    check(record("_a", Some("V"), 1.0), "is no name");
    check(record("a", Some("V"), f64::NAN), "no finite number");
    let empty = Record {
        value: None,
        ..record("a", Some("V"), 1.0)
    };
    check(empty, "neither value nor sum");
}

/// Every quantity has a unit in SenML, and it is ours.
#[test]
fn every_quantity_can_be_written() {
    for quantity in crate::Quantity::ALL {
        let (code, unit) = unit_of(quantity);
        assert!(PRIMARY.contains(&code), "{code}");
        assert_eq!(Unit::parse(code), Ok(unit));
        assert_eq!(unit.quantity(), quantity);
    }
}

mod properties {
    use super::*;
    use proptest::prelude::*;

    fn value() -> impl Strategy<Value = Option<Value>> {
        prop_oneof![
            any::<f64>()
                .prop_filter("finite", |x| x.is_finite())
                .prop_map(|x| Some(Value::Number(x))),
            "\\PC{0,8}".prop_map(|text| Some(Value::Text(text))),
            any::<bool>().prop_map(|truth| Some(Value::Bool(truth))),
            "[A-Za-z0-9_-]{0,8}".prop_map(|data| Some(Value::Data(data))),
        ]
    }

    fn records() -> impl Strategy<Value = Vec<Record>> {
        let unit = prop::option::of(prop::sample::select(vec![
            "V", "Pa", "Cel", "1/min", "mV", "%RH",
        ]));
        let sum = prop::option::of(-1e9..1e9f64);
        let one = (
            "(engine|battery)[-:./_a-z0-9]{0,6}",
            unit,
            value(),
            sum,
            RELATIVE_BELOW..4e9f64,
        );
        let one = one.prop_map(|(name, unit, value, sum, time)| Record {
            name,
            unit: unit.map(str::to_owned),
            value,
            sum,
            time,
        });
        prop::collection::vec(one, 0..12)
    }

    proptest! {
        #[test]
        fn a_pack_resolves_to_what_was_written(mut records in records(), now in 0.0..4e9f64) {
            let read = written_and_read(&records, now);
            records.sort_by(|a, b| a.time.total_cmp(&b.time));
            prop_assert_eq!(read, records);
        }

        #[test]
        fn no_text_panics(text in "\\PC*") {
            let _ = resolve(&text, 0.0);
        }
    }
}
