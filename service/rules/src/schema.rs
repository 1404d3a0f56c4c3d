//! The JSON Schemas of rule sets and cases, so that editors complete and check
//! while somebody types. Written by hand; the tests hold them against the loader,
//! key by key and word by word, both ways.

/// The schema of a rule set (JSON Schema, draft 7).
pub const RULE_SET: &str = include_str!("../schema/ruleset.schema.json");

/// The schema of a case (JSON Schema, draft 7).
pub const CASE: &str = include_str!("../schema/case.schema.json");

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use std::collections::BTreeSet;

    use serde_json::Value;
    use trisect_measure::{Flags, Quantity};

    use super::*;
    use crate::{Defect, DefectKind, Drive, Outcome, Phase, Side, Standing, Take, case, examine};

    /// A key that nothing is like.
    const STRANGE: &str = "zzzzzzzz";

    fn schema(text: &str) -> Value {
        serde_json::from_str(text).unwrap()
    }

    fn rule_set_defects(text: &str) -> Vec<Defect> {
        examine(text).defects
    }

    fn case_defects(text: &str) -> Vec<Defect> {
        case::parse(text).err().unwrap_or_default()
    }

    /// What stands between backticks in a text.
    fn quoted(text: &str) -> BTreeSet<String> {
        let parts = text.split('`').skip(1).step_by(2);
        parts.map(str::to_owned).collect()
    }

    /// The keys that the loader lists when it meets one it does not know.
    fn known(defects: &[Defect]) -> BTreeSet<String> {
        let strange = format!("`{STRANGE}` means nothing here");
        let defect = defects.iter().find(|d| d.message.contains(&strange));
        let defect = defect.unwrap_or_else(|| panic!("{defects:#?}"));
        let list = defect.hint.strip_prefix("use one of ");
        quoted(list.unwrap_or_else(|| panic!("{defect}")))
    }

    /// The keys that the loader misses.
    fn missed(defects: &[Defect]) -> BTreeSet<String> {
        let missing = defects.iter().filter(|d| {
            matches!(
                d.kind,
                DefectKind::MissingKey | DefectKind::MissingTable | DefectKind::LimitMissing
            )
        });
        // Each message ends with the key, and may begin with the table's name.
        let last = |d: &Defect| quoted(&d.message).into_iter().next_back();
        let keys = missing.filter_map(|d| {
            let ends = d.message.rsplit('`').nth(1).map(str::to_owned);
            ends.or_else(|| last(d))
        });
        keys.map(|key| key.trim_matches(['[', ']']).to_owned())
            .collect()
    }

    fn properties(schema: &Value, at: &str) -> BTreeSet<String> {
        let properties = schema.pointer(&format!("{at}/properties"));
        let properties = properties.unwrap_or_else(|| panic!("{at}"));
        assert_eq!(
            schema.pointer(&format!("{at}/additionalProperties")),
            Some(&false.into()),
            "{at}"
        );
        properties.as_object().unwrap().keys().cloned().collect()
    }

    fn required(schema: &Value, at: &str) -> BTreeSet<String> {
        let list = schema.pointer(&format!("{at}/required")).unwrap();
        let list = list.as_array().unwrap().iter();
        list.map(|key| key.as_str().unwrap().to_owned()).collect()
    }

    /// Both ways: what the schema has, the loader knows, and what one requires, the other misses. `before`
    /// leads into a table.
    fn check(at: &str, before: &str, defects: fn(&str) -> Vec<Defect>, schema: &Value) {
        let strange = known(&defects(&format!("{before}\n{STRANGE} = 1\n")));
        assert_eq!(strange, properties(schema, at), "{at}");
        let misses = missed(&defects(before));
        let required = required(schema, at);
        let given = |key: &String| {
            before
                .lines()
                .any(|line| line.starts_with(&format!("{key} =")))
        };
        let expected: BTreeSet<String> = required.into_iter().filter(|key| !given(key)).collect();
        let own: BTreeSet<String> = misses
            .intersection(&properties(schema, at))
            .cloned()
            .collect();
        // The whole document misses keys of its own besides.
        let foreign: BTreeSet<String> = match at {
            "" => BTreeSet::new(),
            _ => missed(&defects("")),
        };
        let own: BTreeSet<String> = own.difference(&foreign).cloned().collect();
        let expected: BTreeSet<String> = expected.difference(&foreign).cloned().collect();
        assert_eq!(own, expected, "{at}");
    }

    #[test]
    fn every_key_of_a_rule_set_is_in_both() {
        let schema = schema(RULE_SET);
        let check = |at: &str, before: &str| {
            let at = match at {
                "" => String::new(),
                definition => format!("/definitions/{definition}"),
            };
            check(&at, before, rule_set_defects, &schema);
        };
        check("", "");
        for table in [
            "test_point",
            "derived",
            "suspect",
            "link",
            "complaint",
            "caution",
            "proof",
        ] {
            check(table, &format!("[[{table}]]"));
        }
        check("measured", "[[check]]\npoint = \"p\"");
        check("asked", "[[check]]\nask = \"p\"");
        let inside = |limit: &str| {
            format!(
                "[[test_point]]\nid = \"p\"\nquantity = \"voltage\"\nunit = \"V\"\n\
                 [[check]]\nid = \"c\"\npoint = \"p\"\ntake = \"last\"\nphase = [\"off\"]\n{limit}"
            )
        };
        let limit = rule_set_defects(&inside("limit = { zzzzzzzz = 1 }"));
        assert_eq!(known(&limit), properties(&schema, "/definitions/limit"));
        let table = rule_set_defects(&inside("limit = { at_least = { zzzzzzzz = 1 } }"));
        let by = "/definitions/limit/properties/at_least/anyOf/1";
        assert_eq!(known(&table), properties(&schema, by));
        assert_eq!(required(&schema, by), properties(&schema, by));
    }

    #[test]
    fn every_key_of_a_case_is_in_both() {
        let schema = schema(CASE);
        let check = |at: &str, before: &str| check(at, before, case_defects, &schema);
        check("", "");
        check("/definitions/event", "[[event]]\nphase = \"off\"");
        for key in ["answer", "outcome"] {
            let inner = case_defects(&format!("[[event]]\n{key} = {{ {STRANGE} = 1 }}\n"));
            let at = format!("/definitions/event/properties/{key}");
            assert_eq!(known(&inner), properties(&schema, &at));
        }
        let expect = case_defects(&format!("[expect]\n{STRANGE} = 1\n"));
        assert_eq!(known(&expect), properties(&schema, "/definitions/expect"));
    }

    #[test]
    fn every_word_is_in_both() {
        let (rules, case) = (schema(RULE_SET), schema(CASE));
        let check = |schema: &Value, at: &str, words: Vec<&str>| {
            let list = schema.pointer(at).unwrap_or_else(|| panic!("{at}"));
            assert_eq!(*list, serde_json::json!(words), "{at}");
        };
        let sides = || Side::ALL.map(Side::word).to_vec();
        let phases = || Phase::ALL.map(Phase::word).to_vec();
        let drives = || Drive::ALL.map(Drive::word).to_vec();
        let of = |table: &str, key: &str| format!("/definitions/{table}/properties/{key}");
        check(&rules, &(of("suspect", "side") + "/enum"), sides());
        check(&rules, &(of("proof", "side") + "/enum"), sides());
        check(&rules, &(of("measured", "phase") + "/items/enum"), phases());
        check(
            &rules,
            &(of("measured", "take") + "/enum"),
            Take::ALL.map(Take::word).to_vec(),
        );
        for how in ["measured", "asked"] {
            check(&rules, &(of(how, "drive") + "/enum"), drives());
        }
        let quantities = Quantity::ALL.map(Quantity::word).to_vec();
        check(
            &rules,
            &(of("test_point", "quantity") + "/enum"),
            quantities,
        );
        check(&case, &(of("event", "phase") + "/enum"), phases());
        check(&case, &(of("event", "drive") + "/enum"), drives());
        check(
            &case,
            &(of("event", "flags") + "/items/enum"),
            Flags::all().words(),
        );
        let outcomes = || Outcome::ALL.map(Outcome::word).to_vec();
        check(
            &case,
            &(of("event", "outcome") + "/properties/is/enum"),
            outcomes(),
        );
        check(
            &case,
            &(of("expect", "outcomes") + "/additionalProperties/enum"),
            outcomes(),
        );
        check(
            &case,
            &(of("expect", "standing") + "/enum"),
            Standing::ALL.map(Standing::word).to_vec(),
        );
        check(&case, &(of("expect", "side") + "/enum"), sides());
        check(&case, &(of("expect", "also") + "/items/enum"), sides());
        let beliefs = case
            .pointer(&(of("expect", "belief") + "/properties"))
            .unwrap();
        let beliefs: BTreeSet<&str> = beliefs
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        assert_eq!(beliefs, sides().into_iter().collect());
    }
}
