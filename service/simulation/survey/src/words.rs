//! A report in words.

use std::fmt::Write;

use crate::bins::Bins;
use crate::minutes::Minutes;
use crate::report::Report;
use crate::stats::Share;

/// So many reasons are told.
const REASONS: usize = 8;

/// The report as lines for people.
pub fn words(report: &Report) -> String {
    let mut text = String::new();
    head(&mut text, report);
    shares(&mut text, report);
    times(&mut text, report);
    calibration(&mut text, report);
    confusion(&mut text, report);
    line(&mut text, "");
    line(&mut text, "the worst jobs");
    for worst in &report.worst {
        let faults = match worst.faults.as_str() {
            "" => "nothing wrong",
            faults => faults,
        };
        line(
            &mut text,
            &format!(
                "  {:>6}  {}: {faults}; {}",
                worst.machine,
                worst.because,
                worst.told()
            ),
        );
    }
    text
}

fn line(text: &mut String, what: &str) {
    text.push_str(what);
    text.push('\n');
}

fn head(text: &mut String, report: &Report) {
    let [id, version, digest] = &report.ruleset;
    // Writing to a String cannot fail.
    let _ = writeln!(text, "{id} {version} ({digest})");
    let _ = writeln!(
        text,
        "{} machines, seed {}: {} with a fault, {} of them with two, {} with nothing wrong; {} complained of vaguely\n",
        report.machines,
        report.seed,
        report.faulty,
        report.double,
        report.machines - report.faulty,
        report.vague
    );
}

fn share(text: &mut String, what: &str, share: Share) {
    let _ = writeln!(
        text,
        "{what:<52} {:>7.2} %  ({:.2} … {:.2})  {} of {}",
        share.share * 100.0,
        share.low * 100.0,
        share.high * 100.0,
        share.count,
        share.of
    );
}

fn shares(text: &mut String, report: &Report) {
    let told = [
        ("isolated, of those with a fault", report.isolated),
        ("isolated at the end, of the same", report.isolated_at_end),
        ("isolated, of those with none", report.isolated_healthy),
        ("right side first, of the isolated", report.right_side),
        (
            "right side at the end, of those isolated then",
            report.right_side_at_end,
        ),
        (
            "likeliest suspect is present, of the isolated",
            report.right_suspect,
        ),
        ("a suspect named, of the isolated", report.named),
        ("named suspect is present, of the named", report.named_right),
        (
            "pump condemned though good, by any verdict",
            report.pump_condemned_good,
        ),
        (
            "pump condemned though good, by the last verdict",
            report.pump_condemned_good_at_end,
        ),
        (
            "pump condemned, supply bad, by any verdict",
            report.pump_condemned_supply_bad,
        ),
        (
            "pump condemned though good, supply bad, by any",
            report.pump_condemned_good_supply_bad,
        ),
        ("isolated, and not that side at the end", report.recanted),
        (
            "  another side isolated at the end",
            report.recanted_to_other_side,
        ),
        ("  no side isolated at the end", report.recanted_to_open),
    ];
    for (what, of) in told {
        share(text, what, of);
    }
    line(text, "\nnot isolated, and why");
    for reason in report.not_isolated.iter().take(REASONS) {
        let _ = writeln!(text, "  {:>6}  {}", reason.count, reason.why);
    }
}

fn way(text: &mut String, what: &str, minutes: &Minutes) {
    let told = |value: Option<f64>| value.map_or("never".to_owned(), |v| format!("{v:.0}"));
    let interval = match minutes.median_minutes_interval {
        Some([low, high]) => format!("({} … {})", told(low), told(high)),
        None => "(too few)".to_owned(),
    };
    let _ = writeln!(
        text,
        "  {what:<22} {:>7} {interval:>15} {:>8} {:>7} {:>10.1} % {:>9.1} %",
        told(minutes.median_minutes),
        told(minutes.ninth_decile_minutes),
        told(minutes.median_tests),
        minutes.isolated.share * 100.0,
        minutes.right.share * 100.0
    );
}

fn times(text: &mut String, report: &Report) {
    line(
        text,
        "\nuntil isolated          minutes, median (95 %)   9 in 10   tests     isolated       right",
    );
    way(text, "by the advice", &report.advised);
    way(text, "by the checklist", &report.checklist);
    way(text, "parts exchanged first", &report.substitution);
    if let Some(below) = report.minutes_below_checklist {
        let _ = writeln!(
            text,
            "  the median is {:.0} % below the checklist's; exchanging parts first, {:.0} % get a pump whose own was good",
            below * 100.0,
            report.substitution_good_pump.share * 100.0
        );
    }
    line(
        text,
        "  the checklist too stops when this reasoning isolates a side: it is a baseline for the order of the tests only",
    );
}

fn calibration(text: &mut String, report: &Report) {
    let _ = writeln!(
        text,
        "\nbelief against truth: expected calibration error {:.4} (leading side {:.4}, after every test {:.4})",
        report.expected_calibration_error,
        report.expected_calibration_error_leading,
        report.expected_calibration_error_along
    );
    line(text, "  belief          count   mean belief   was true");
    for (place, bin) in report.calibration.0.iter().enumerate() {
        let mean = |sum: f64| sum / bin.count.max(1) as f64;
        let width = 1.0 / Bins::default().0.len() as f64;
        let _ = writeln!(
            text,
            "  {:.1} … {:.1} {:>10} {:>13.3} {:>10.3}",
            place as f64 * width,
            (place + 1) as f64 * width,
            bin.count,
            mean(bin.belief),
            mean(bin.true_count as f64)
        );
    }
}

fn confusion(text: &mut String, report: &Report) {
    line(
        text,
        "\nwhat it was            machines  right side  not isolated  likeliest at the end; why not isolated",
    );
    for row in &report.confusion {
        let said: Vec<String> = row
            .said
            .iter()
            .take(3)
            .map(|said| format!("{} {}", said.count, said.suspect))
            .collect();
        let why = match row.why.first() {
            Some(first) if row.not_isolated > 0 => format!("; {} {}", first.count, first.why),
            _ => String::new(),
        };
        let part = |n: u64| 100.0 * n as f64 / row.machines.max(1) as f64;
        let _ = writeln!(
            text,
            "  {:<22} {:>6} {:>9.1} % {:>11.1} %  {}{why}",
            row.suspect,
            row.machines,
            part(row.right_side),
            part(row.not_isolated),
            said.join(", "),
        );
    }
}
