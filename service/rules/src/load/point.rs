//! `[[test_point]]` and `[[derived]]`.

use trisect_measure::{Quantity, Unit};

use crate::read::{Findings, Names, Scale, Section, amount, duration};
use crate::{DefectKind, Derived, TestPoint};

/// What the readings of a point are.
#[derive(Clone, Copy, Debug)]
pub(super) struct Yield {
    pub quantity: Quantity,
    /// Differences know no offset.
    pub difference: bool,
}

impl Yield {
    pub const fn scale(self) -> Scale {
        if self.difference {
            Scale::Difference(self.quantity)
        } else {
            Scale::Absolute(self.quantity)
        }
    }
}

pub(super) fn read_all(sections: &[Section<'_>], found: &mut Findings) -> Vec<Option<TestPoint>> {
    sections
        .iter()
        .map(|section| read(section, found))
        .collect()
}

fn read(section: &Section<'_>, found: &mut Findings) -> Option<TestPoint> {
    section.knows(&["id", "title", "quantity", "unit", "plausible"], found);
    let id = section.id();
    let title = section.words("title", found);
    let quantity = section.required_word::<Quantity>("quantity", found);
    let unit = unit(section, quantity, found);
    let quantity = quantity?;
    let plausible = plausible(section, quantity, found);
    let id = id?;
    Some(TestPoint {
        title: title.unwrap_or_else(|| id.clone()),
        id,
        quantity,
        unit: unit?,
        plausible: plausible?,
    })
}

fn unit(section: &Section<'_>, quantity: Option<Quantity>, found: &mut Findings) -> Option<Unit> {
    let text = section.required_text("unit", found)?;
    let unit = match Unit::parse(text.get_ref()) {
        Ok(unit) => unit,
        Err(error) => {
            let hint = match quantity {
                Some(quantity) => format!("write a unit of {quantity}: {}", units_of(quantity)),
                None => "write a unit such as `V`, `psi` or `rpm`".to_owned(),
            };
            let message = format!("{}: `unit`: unknown unit `{}`", section.name, error.text);
            found.error(&text.span(), DefectKind::UnknownUnit, message, hint);
            return None;
        }
    };
    match quantity {
        Some(quantity) if unit.quantity() != quantity => {
            found.error(
                &text.span(),
                DefectKind::QuantityMismatch,
                format!(
                    "{}: `{unit}` is a unit of {}, not of {quantity}",
                    section.name,
                    unit.quantity()
                ),
                format!("write a unit of {quantity}: {}", units_of(quantity)),
            );
            None
        }
        _ => Some(unit),
    }
}

fn units_of(quantity: Quantity) -> String {
    let units = Unit::ALL.iter().filter(|unit| unit.quantity() == quantity);
    units
        .map(|unit| format!("`{unit}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

/// The range that can be believed; `None` if it is defective.
fn plausible(
    section: &Section<'_>,
    quantity: Quantity,
    found: &mut Findings,
) -> Option<Option<(f64, f64)>> {
    let Some(item) = section.item("plausible") else {
        return Some(None);
    };
    let place = format!("{}: `plausible`", section.name);
    let ends = section.list("plausible", found);
    let [low, high] = ends else {
        // A value that is no list has been noted already.
        if item.get_ref().is_array() {
            found.error(
                &item.span(),
                DefectKind::WrongType,
                format!("{place} has {} entries", ends.len()),
                "write the lowest and the highest value that can be believed",
            );
        }
        return None;
    };
    let low = amount(low, Scale::Absolute(quantity), &place, found);
    let high = amount(high, Scale::Absolute(quantity), &place, found);
    let (low, high) = (low?, high?);
    if low >= high {
        found.error(
            &item.span(),
            DefectKind::LimitReversed,
            format!("{place}: the lowest is not below the highest"),
            "write the lowest first",
        );
        return None;
    }
    Some(Some((low, high)))
}

pub(super) fn read_derived(
    sections: &[Section<'_>],
    points: &Names<'_>,
    quantities: &[Option<Quantity>],
    found: &mut Findings,
) -> Vec<Option<Derived>> {
    sections
        .iter()
        .map(|section| difference(section, points, quantities, found))
        .collect()
}

fn difference(
    section: &Section<'_>,
    points: &Names<'_>,
    quantities: &[Option<Quantity>],
    found: &mut Findings,
) -> Option<Derived> {
    section.knows(&["id", "title", "minus", "within"], found);
    let id = section.id();
    let title = section.words("title", found);
    let within = section.required("within", found);
    let place = format!("{}: `within`", section.name);
    let within = within.and_then(|item| duration(item, &place, found));
    let (minuend, subtrahend) = pair(section, points, quantities, found)?;
    let id = id?;
    Some(Derived {
        title: title.unwrap_or_else(|| id.clone()),
        id,
        minuend,
        subtrahend,
        within: within?,
    })
}

fn pair(
    section: &Section<'_>,
    points: &Names<'_>,
    quantities: &[Option<Quantity>],
    found: &mut Findings,
) -> Option<(usize, usize)> {
    let item = section.required("minus", found)?;
    let place = format!("{}: `minus`", section.name);
    let list = section.list("minus", found);
    let texts = section.texts("minus", found);
    if list.len() != 2 && item.get_ref().is_array() {
        found.error(
            &item.span(),
            DefectKind::WrongType,
            format!("{place} has {} entries", list.len()),
            "write two test points: the one that is taken from, then the one taken away",
        );
    }
    let [first, second] = texts.as_slice() else {
        return None;
    };
    let minuend = points.find(first, &place, found);
    let subtrahend = points.find(second, &place, found);
    let (minuend, subtrahend) = (minuend?, subtrahend?);
    if minuend == subtrahend {
        found.error(
            &second.span(),
            DefectKind::SelfReference,
            format!("{place} takes `{}` from itself", second.get_ref()),
            "name two different test points",
        );
        return None;
    }
    let quantity = |point: usize| quantities.get(point).copied().flatten();
    let (of_first, of_second) = (quantity(minuend)?, quantity(subtrahend)?);
    if of_first != of_second {
        found.error(
            &item.span(),
            DefectKind::QuantityMismatch,
            format!("{place} takes a {of_second} from a {of_first}"),
            "name two test points of one quantity",
        );
        return None;
    }
    Some((minuend, subtrahend))
}

/// What each test point measures, whatever else is wrong with its table, so
/// that what refers to it is looked at all the same.
pub(super) fn quantities(sections: &[Section<'_>]) -> Vec<Option<Quantity>> {
    let quantity = |section: &Section<'_>| {
        section
            .item("quantity")?
            .get_ref()
            .as_str()?
            .parse::<Quantity>()
            .ok()
    };
    sections.iter().map(quantity).collect()
}

/// What each point yields, test points first.
pub(super) fn yields(
    quantities: &[Option<Quantity>],
    derived: &[Option<Derived>],
) -> Vec<Option<Yield>> {
    let of = |quantity: Option<Quantity>, difference| {
        quantity.map(|quantity| Yield {
            quantity,
            difference,
        })
    };
    let direct = quantities.iter().map(|quantity| of(*quantity, false));
    let differences = derived.iter().map(|derived| {
        of(
            quantities.get(derived.as_ref()?.minuend).copied().flatten(),
            true,
        )
    });
    direct.chain(differences).collect()
}
