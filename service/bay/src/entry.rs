//! A reading that a person took, written as people write them.

use std::sync::Arc;

use crate::error::{BayError, ErrorKind};
use trisect_journal::{
    Appended, EventRow, Happened, Reading, ReadingFilter, StoredEvent, SubmissionKey,
};
use trisect_measure::{
    Amount, EntryError, Flags, Function, Quantity, Sample, parse_entry, parse_span,
};
use trisect_rules::{Phase, RuleSet, TestPoint};

use super::record::refusal;
use super::state::Bay;
use super::submission::submission_key;
use crate::instruments::{ChainError, Link, Shown, function_of};
use crate::replay::rule_set;
use crate::request::EnterRequest;

/// A reading that was entered, as it was stored.
#[derive(Clone, Debug)]
pub struct EnteredReading {
    /// Its event in the journal.
    pub event: StoredEvent,
    /// The rule set of its job.
    pub rules: Arc<RuleSet>,
    /// The key was known: it had been stored before, and was not stored again.
    pub repeated: bool,
}

impl Bay {
    /// Stores a reading that a person took.
    ///
    /// # Errors
    /// A value that cannot be read or cannot be true at its point, no open job, or a journal that does not
    /// store it.
    pub async fn enter(&mut self, params: EnterRequest) -> Result<EnteredReading, BayError> {
        if params.by.trim().is_empty() || params.by.len() > 200 {
            return Err(ErrorKind::InvalidRequest
                .because("a reading is signed by 1 to 200 characters")
                .at("by")
                .hint("write who took it"));
        }
        let key = entry_key(&params)?;
        let read = match self.moment() {
            Ok((rules, at)) => self.read(&rules, &params).map(|read| (read, rules, at)),
            Err(refused) => Err(refused),
        };
        let (entered, rules, at) = match read {
            Ok(read) => read,
            Err(refused) => {
                let (Appended::Repeated { first, .. } | Appended::Stored { first, .. }) =
                    self.stored_before(key, refused).await?;
                return self.entered_before(first).await;
            }
        };
        let wall = self.wall_of(at);
        let by: Option<Arc<str>> = Some(Arc::from(params.by.as_str()));
        let now = self.open_job()?.diagnosis.phase();
        let row = |what| EventRow {
            at,
            wall,
            by: by.clone(),
            what,
        };
        let mut rows = vec![row(Happened::Reading(entered))];
        // Said with its phase, it is about the whole of it; a phase that the engine
        // has left since is come back from.
        let then = params.phase;
        if let Some(then) = then {
            rows.insert(0, row(Happened::Phase(then)));
            if then != now {
                rows.push(row(Happened::Phase(now)));
            }
        }
        let place = usize::from(then.is_some());
        let stored = rows[place].clone();
        let first = match self.record(rows, key).await? {
            Appended::Stored { first, .. } => first,
            Appended::Repeated { first, .. } => return self.entered_before(first).await,
        };
        let event = StoredEvent {
            seq: first + place as i64,
            job: self.job.as_ref().map(|open| Arc::clone(&open.id)),
            bay: Arc::from(self.name.as_str()),
            row: stored,
        };
        Ok(EnteredReading {
            event,
            rules,
            repeated: false,
        })
    }

    /// The reading of an entry whose first row is at a place in the journal. It may be of a job
    /// before this one.
    async fn entered_before(&self, first: i64) -> Result<EnteredReading, BayError> {
        let lost = || ErrorKind::Internal.because("the journal has lost an entry whose key it has");
        let of_bay = ReadingFilter {
            bay: Some(self.name.clone()),
            ..ReadingFilter::default()
        };
        // The next reading from there on: the entry's first row may be the phase that was said with it.
        let found = self.journal.readings(of_bay, first - 1, 1).await;
        let found = found.map_err(|error| refusal(&error))?;
        let event = found.into_iter().next().ok_or_else(lost)?;
        let job = self.journal.job(event.job.as_deref().unwrap_or_default());
        let job = job.await.map_err(|error| refusal(&error))?;
        let digest = job.ok_or_else(lost)?.opened.rule_set;
        let rules = rule_set(&*self.journal, &self.catalog, &digest).await?;
        Ok(EnteredReading {
            event,
            rules: Arc::clone(rules.model.rules()),
            repeated: true,
        })
    }
}

/// The key of an entry with all that was said under it.
fn entry_key(params: &EnterRequest) -> Result<Option<SubmissionKey>, BayError> {
    let said = (
        (&params.point, &params.value, &params.uncertainty),
        (
            params.phase.map(Phase::word),
            &params.by,
            &params.instrument,
        ),
    );
    submission_key(params.key.as_deref(), &said)
}

impl Bay {
    /// What a person wrote, as a reading. An instrument that the bay knows lends
    /// its accuracy, its calibration and what its pressures count from.
    fn read(&self, rules: &RuleSet, params: &EnterRequest) -> Result<Reading, BayError> {
        let point = test_point(rules, &params.point, "point")?;
        let entry = parse_entry(&params.value).map_err(|error| mistake(&error, "value"))?;
        let end = point.plausible.map(|(_, high)| high);
        let (amount, step) = entry
            .absolute()
            .to_si(&params.value, point.quantity, end)
            .map_err(|error| mistake(&error, "value"))?;
        let given = params.uncertainty.as_deref();
        let given = given.map(|text| parse_span(text, point.quantity));
        let given = given.transpose();
        let given = given.map_err(|error| mistake(&error, "uncertainty"))?;
        let known = params.instrument.as_deref();
        let known = known.and_then(|name| self.instruments.get(name));
        let channel = known.and_then(|one| one.channel_of(point.quantity));
        let sample = written(point.quantity, amount, step, channel);
        let unknown = Link::default();
        let link = known.zip(channel).map(|(one, c)| one.chain.channel(c));
        let now = self.clock.now();
        let shown = Shown {
            sample: &sample,
            given,
            reference: entry.reference,
            today: self.clock.date(now),
            air: self.air(),
        };
        let measured = link.unwrap_or(&unknown).measure(&shown);
        let measured = measured.map_err(|error| unmeasured(&error))?;
        check_plausible(
            point,
            measured.amount,
            measured.uncertainty,
            &params.value,
            "value",
        )?;
        Ok(Reading {
            entered: true,
            instrument: params.instrument.as_deref().map(Arc::from),
            channel,
            // It was read when it was written, as far as anybody knows.
            latency: None,
            ..measured.at(&Arc::from(point.id.as_str()))
        })
    }
}

/// What a person read off, as a sample. A stopwatch is the one thing to be read
/// that no instrument here is a function of: nothing is known of its accuracy, so
/// any function of one scale does.
fn written(quantity: Quantity, amount: Amount, step: Option<f64>, channel: Option<u16>) -> Sample {
    Sample {
        channel: channel.unwrap_or(0),
        function: function_of(quantity).unwrap_or(Function::Duty),
        amount,
        digit: step,
        span: None,
        coupling: None,
        flags: Flags::empty(),
    }
}

/// Why what was written cannot become a reading, in the words of the bay.
pub(super) fn unmeasured(error: &ChainError) -> BayError {
    match error {
        ChainError::NoBarometer => ErrorKind::NoBarometer
            .because(error.to_string())
            .at("value")
            .hint("say the station pressure with barometer.say, then enter it again"),
        ChainError::Accuracy(_) | ChainError::Range(_) => ErrorKind::InvalidValue
            .because(error.to_string())
            .at("instrument")
            .hint("give `uncertainty`, or complete the instrument's settings"),
    }
}

/// The test point of an id; a derived one cannot be measured.
pub(super) fn test_point<'a>(
    rules: &'a RuleSet,
    id: &str,
    field: &str,
) -> Result<&'a TestPoint, BayError> {
    if let Some(point) = rules.test_points.iter().find(|p| p.id == id) {
        return Ok(point);
    }
    if let Some(derived) = rules.derived.iter().find(|d| d.id == id) {
        let ids = [derived.minuend, derived.subtrahend].map(|p| rules.point_id(p));
        return Err(ErrorKind::UnknownPoint
            .because(format!("`{id}` is computed, and cannot be measured"))
            .at(field)
            .hint(format!(
                "measure `{}` and `{}` at the same time",
                ids[0], ids[1]
            )));
    }
    Err(ErrorKind::UnknownPoint
        .because(format!("there is no test point `{id}`"))
        .at(field)
        .hint_nearest(id, rules.test_points.iter().map(|p| p.id.as_str())))
}

/// Refuses what cannot be true at a point.
pub(super) fn check_plausible(
    point: &TestPoint,
    amount: Amount,
    u: f64,
    written: &str,
    field: &str,
) -> Result<(), BayError> {
    if !point.implausible(amount, u) {
        return Ok(());
    }
    let (low, high) = point
        .plausible
        .unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    let (low, high) = (point.unit.from_si(low), point.unit.from_si(high));
    Err(ErrorKind::ImplausibleValue
        .because(format!("{written} cannot be true at `{}`", point.id))
        .at(field)
        .hint(format!(
            "it lies between {low} and {high} {}: check unit and sign",
            point.unit
        )))
}

/// What is wrong with a value, in the words of the bay.
pub(super) fn mistake(error: &EntryError, field: &str) -> BayError {
    let kind = match error {
        EntryError::Unit(_) | EntryError::NoUnit { .. } => ErrorKind::UnknownUnit,
        EntryError::Quantity { .. } | EntryError::Absolute(_) => ErrorKind::WrongQuantity,
        _ => ErrorKind::InvalidValue,
    };
    let hint = match error {
        EntryError::NoUnit { .. } | EntryError::Unit(_) => "write a number and a unit: `12.4 psi`",
        EntryError::Quantity { .. } => "give the value in a unit of the point's quantity",
        _ => "write a number and a unit, such as `12.4 psi`, or `OL`",
    };
    kind.because(error.to_string()).at(field).hint(hint)
}

/// A unit of another quantity than the point's.
pub(super) fn wrong_quantity(
    point: &TestPoint,
    unit: &str,
    got: Quantity,
    field: &str,
) -> BayError {
    ErrorKind::WrongQuantity
        .because(format!(
            "`{}` is a {}, but {unit} measures {got}",
            point.id, point.quantity
        ))
        .at(field)
        .hint(format!("give it in {}", point.unit))
}
