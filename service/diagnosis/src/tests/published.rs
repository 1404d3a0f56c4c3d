//! Reasoning against what is published.

use super::Job;

/// Jensen & Nielsen, *Bayesian Networks and Decision Graphs* (2007), 2.3, the
/// car-start problem: P(fuel) .98, P(clean plugs) .96. Independent faults of
/// probability p are shares p/(1 − p), `none` = 1/Σ share, `coincidence` = Σ share.
pub(super) const CAR_START: &str = r#"
format = 1
id = "car-start"
version = "1"
title = "Car start"
faults_at_once = 2
none = 16.109589041095890
coincidence = 0.062074829931972789

[[test_point]]
id = "battery"
title = "Battery"
quantity = "voltage"
unit = "V"

[[suspect]]
id = "no-fuel"
side = "supply"
title = "No fuel"
share = 0.020408163265306122

[[suspect]]
id = "dirty-plugs"
side = "controller"
title = "Dirty plugs"
share = 0.041666666666666667

[[check]]
id = "start"
title = "It starts"
ask = "Does it start?"
answers = ["yes", "no"]
minutes = 1
[check.expect]
otherwise = [0.99, 0.01]
no-fuel = [0.0, 1.0]
dirty-plugs = [0.01, 0.99]

[[check]]
id = "meter"
title = "Fuel meter"
ask = "What does the fuel meter say?"
answers = ["full", "half", "empty"]
minutes = 1
[check.expect]
otherwise = [0.39, 0.60, 0.01]
no-fuel = [0.001, 0.001, 0.998]
"#;

/// Exact posteriors: two libraries and brute force agree to nine digits.
#[test]
fn car_start_to_nine_digits() {
    let check = |answers: &[(&str, &str)], fuel: f64, plugs: f64| {
        let mut job = Job::new(CAR_START, None);
        for (check, answer) in answers {
            job.answer(check, answer);
        }
        let (no_fuel, dirty) = (job.suspect("no-fuel"), job.suspect("dirty-plugs"));
        assert!(
            (1.0 - no_fuel - fuel).abs() < 1e-9,
            "{answers:?}: fuel {}",
            1.0 - no_fuel
        );
        assert!(
            (1.0 - dirty - plugs).abs() < 1e-9,
            "{answers:?}: plugs {}",
            1.0 - dirty
        );
    };
    check(&[], 0.98, 0.96);
    check(&[("start", "no")], 0.706_813_651, 0.419_373_754);
    check(
        &[("start", "no"), ("meter", "half")],
        0.999_309_144,
        0.195_650_372,
    );
    check(
        &[("start", "no"), ("meter", "empty")],
        0.023_586_549,
        0.941_959_167,
    );
}
