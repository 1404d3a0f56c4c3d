#![allow(clippy::unwrap_used)]
use super::*;
use proptest::prelude::*;

fn points(pairs: &[(f64, f64)]) -> Vec<AsFound> {
    pairs
        .iter()
        .map(|&(reference, shown)| AsFound { reference, shown })
        .collect()
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected}");
}

/// GUM (JCGM 100:2008) H.3, the calibration of a thermometer (data from memory,
/// recomputed): corrections b against indications t give b(30 °C) = −0.1494 °C
/// and u(b) = 0.0041 °C from the fit alone, with s = 0.0035 °C.
#[test]
fn thermometer_of_the_gum() {
    let table = [
        (21.521, -0.171),
        (22.012, -0.169),
        (22.512, -0.166),
        (23.003, -0.159),
        (23.507, -0.164),
        (23.999, -0.165),
        (24.513, -0.156),
        (25.002, -0.157),
        (25.503, -0.159),
        (26.010, -0.161),
        (26.511, -0.160),
    ];
    let found = points(&table.map(|(t, b)| (t + b, t)));
    let calibration = Calibration::fit(CalibrationKind::Line, &found, None).unwrap();
    let (s, freedom) = calibration.residual();
    near(s, 0.0035, 0.00005);
    assert_eq!(freedom, 9);
    let (b, u) = calibration.fit.at(30.0);
    near(b, -0.1494, 0.00005);
    near(u, 0.0041, 0.00005);
    // At t0 = 20 °C the fit is y1 = −0.1712 °C, s(y1) = 0.0029 °C.
    let (b, u) = calibration.fit.at(20.0);
    near(b, -0.1712, 0.00005);
    near(u, 0.0029, 0.00005);
    // One reading scatters about the line as well.
    near(
        calibration.correction(30.0).u,
        0.0041386f64.hypot(0.0034976),
        1e-6,
    );
}

#[test]
fn an_offset_is_the_mean_and_keeps_its_scatter() {
    let found = points(&[(0.0, 0.2), (10.0, 10.4), (20.0, 20.3)]);
    let calibration = Calibration::fit(CalibrationKind::Offset, &found, Some(0.3)).unwrap();
    let correction = calibration.correction(5.0);
    near(correction.value, -0.3, 1e-12);
    // s = 0.1 over three points, and the reference's own 0.3.
    near(correction.u, (0.01 + 0.01 / 3.0 + 0.09f64).sqrt(), 1e-12);
    assert_eq!(calibration.range(), (0.2, 20.3));
}

#[test]
fn a_table_goes_through_its_points_and_holds_its_ends() {
    let found = points(&[
        (0.0, 0.0),
        (0.0, 0.2),
        (10.0, 10.5),
        (10.0, 10.5),
        (20.0, 20.1),
    ]);
    let calibration = Calibration::fit(CalibrationKind::Table, &found, None).unwrap();
    near(calibration.correction(0.1).value, -0.1, 1e-12);
    near(calibration.correction(10.5).value, -0.5, 1e-12);
    near(calibration.correction(5.3).value, -0.3, 1e-12);
    near(calibration.correction(30.1).value, -0.1, 1e-12);
    // Two repeated points: s² = 0.02/2, on one point at the end of the table.
    let s = 0.1f64;
    near(calibration.residual().0, s, 1e-12);
    near(calibration.correction(20.1).u, s.hypot(s), 1e-12);
    // Ten beyond the end, where the last stretch rose by 0.4 in 9.6.
    let unknown = 10.0 * 0.4 / 9.6 / 3f64.sqrt();
    near(
        calibration.correction(30.1).u,
        s.hypot(s).hypot(unknown),
        1e-12,
    );
}

#[test]
fn without_a_residual_the_given_uncertainty_stands_for_it() {
    let one = points(&[(0.0, 0.2)]);
    let refused = Calibration::fit(CalibrationKind::Offset, &one, None);
    assert!(matches!(
        refused,
        Err(CalibrationError::NoResidual { have: 1, .. })
    ));
    let taken = Calibration::fit(CalibrationKind::Offset, &one, Some(0.1)).unwrap();
    near(taken.correction(9.0).u, 0.1 * 2f64.sqrt(), 1e-12);
    let two = points(&[(0.0, 0.2), (10.0, 10.2)]);
    let line = Calibration::fit(CalibrationKind::Line, &two, Some(0.1)).unwrap();
    // At an end of two points the fit is as sure as that point.
    near(line.correction(0.2).u, 0.1 * 2f64.sqrt(), 1e-12);
    near(line.correction(0.2).value, -0.2, 1e-12);
}

#[test]
fn what_cannot_be_fitted_says_why() {
    let check = |kind, pairs: &[(f64, f64)], part: &str| {
        let error = Calibration::fit(kind, &points(pairs), None).unwrap_err();
        assert!(error.to_string().contains(part), "{error}");
    };
    check(CalibrationKind::Offset, &[], "needs 1");
    check(
        CalibrationKind::Line,
        &[(1.0, 1.0), (1.0, 1.1)],
        "needs 2 different points, and there are 1",
    );
    check(CalibrationKind::Table, &[(1.0, 1.0)], "needs 2");
    check(
        CalibrationKind::Table,
        &[(1.0, 2.0), (2.0, 1.0)],
        "reference first",
    );
    check(
        CalibrationKind::Line,
        &[(1.0, 1.0), (2.0, 1.0)],
        "reference first",
    );
    check(CalibrationKind::Line, &[(1.0, f64::NAN)], "finite");
    assert!("curve".parse::<CalibrationKind>().is_err());
}

proptest! {
    /// Exact points of a line leave nothing over, and are found again.
    #[test]
    fn a_line_is_found_again(
        offset in -10.0..10.0f64,
        gain in 0.5..2.0f64,
        shown in prop::collection::vec(-1e3..1e3f64, 3..20),
    ) {
        prop_assume!(shown.iter().any(|x| (x - shown[0]).abs() > 1.0));
        let found: Vec<AsFound> = shown
            .iter()
            .map(|&x| AsFound { reference: offset + gain * x, shown: x })
            .collect();
        let calibration = Calibration::fit(CalibrationKind::Line, &found, None).unwrap();
        let corrected = 7.0 + calibration.correction(7.0).value;
        prop_assert!((corrected - (offset + gain * 7.0)).abs() < 1e-8);
        prop_assert!(calibration.residual().0 < 1e-9);
    }

    /// No points make a number out of nothing.
    #[test]
    fn every_correction_is_finite_or_refused(
        pairs in prop::collection::vec((-1e6..1e6f64, -1e6..1e6f64), 0..6),
        u in prop::option::of(0.0..10.0f64),
        at in -1e7..1e7f64,
    ) {
        for kind in [CalibrationKind::Offset, CalibrationKind::Line, CalibrationKind::Table] {
            if let Ok(calibration) = Calibration::fit(kind, &points(&pairs), u) {
                let correction = calibration.correction(at);
                prop_assert!(correction.value.is_finite() && correction.u.is_finite());
                prop_assert!(correction.u >= 0.0);
            }
        }
    }
}
