//! The nearest known name to one that is not known.

/// More names than this are not listed in a hint.
const LISTED: usize = 12;

/// What is longer than this is no slip of a name; comparing takes time by the product of both lengths.
const LONGEST: usize = 200;

/// The known name that differs from `given` by the fewest edits, if it is near enough to be a slip:
/// at most a third of the letters, and at least one edit allowed.
pub fn name<'a>(given: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if given.len() > LONGEST {
        return None;
    }
    let allowed = (given.chars().count() / 3).max(1);
    known
        .into_iter()
        .map(|name| (strsim::damerau_levenshtein(given, name), name))
        .filter(|(edits, _)| *edits <= allowed)
        .min()
        .map(|(_, name)| name)
}

/// Advice for an unknown name: the nearest known one, else the list of a few; `None` if nothing is known.
pub fn advice<'a>(given: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let known: Vec<&str> = known.into_iter().collect();
    if let Some(near) = name(given, known.iter().copied()) {
        return Some(format!("did you mean `{near}`?"));
    }
    match known.len() {
        0 => None,
        count if count > LISTED => Some(format!(
            "known are {} and {} more",
            known[..LISTED].join(", "),
            count - LISTED
        )),
        _ => Some(format!("known are {}", known.join(", "))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_finds_its_name() {
        assert_eq!(name("ppoint", ["bay", "point"]), Some("point"));
        assert_eq!(name("bya", ["bay", "by"]), Some("bay"));
        assert_eq!(name("pressure", ["bay", "point"]), None);
        assert_eq!(name("", ["bay"]), None);
    }

    #[test]
    fn advice_lists_what_is_known() {
        assert_eq!(
            advice("volts", ["psi", "V"]).as_deref(),
            Some("known are psi, V")
        );
        assert_eq!(
            advice("psy", ["psi", "V"]).as_deref(),
            Some("did you mean `psi`?")
        );
        assert_eq!(advice("x", []), None);
        let many: Vec<String> = (10..30).map(|n| format!("point-{n}")).collect();
        let text = advice("zzz", many.iter().map(String::as_str)).unwrap_or_default();
        assert!(text.ends_with("point-21 and 8 more"), "{text}");
    }
}
