//! A report as a picture: the calibration curve, and who was taken for whom.

use std::fmt::Write;

use crate::bins::{BINS, Bin};
use crate::report::Report;
use crate::stats::Share;

/// Ink, and the one hue that data are drawn in.
const INK: &str = "#22303a";
const PALE: &str = "#c9d1d6";
const HUE: &str = "#1f6f8b";
/// Side of a cell of the confusion, and of the calibration's square.
const CELL: f64 = 17.0;
const SQUARE: f64 = 380.0;
const LEFT: f64 = 70.0;
const TOP: f64 = 96.0;
/// Room for the suspects' names.
const NAMES: f64 = 178.0;

/// The picture, SVG 1.1.
pub fn picture(report: &Report) -> String {
    let count = report.confusion.len() as f64;
    let (wide, high) = (
        LEFT + SQUARE + 60.0 + NAMES + CELL * (count + 1.0) + 40.0,
        (TOP + NAMES + CELL * count).max(TOP + SQUARE + 200.0),
    );
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{wide:.0}\" height=\"{high:.0}\" viewBox=\"0 0 {wide:.0} {high:.0}\" \
         font-family=\"sans-serif\" font-size=\"12\" fill=\"{INK}\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n"
    );
    let [id, version, _] = &report.ruleset;
    words(
        &mut svg,
        LEFT,
        34.0,
        18.0,
        &format!(
            "{id} {version}: {} simulated machines, seed {}",
            report.machines, report.seed
        ),
    );
    words(&mut svg, LEFT, 56.0, 12.0, &summary(report));
    calibration(&mut svg, report);
    confusion(&mut svg, report, LEFT + SQUARE + 60.0);
    svg.push_str("</svg>\n");
    svg
}

fn summary(report: &Report) -> String {
    let percent = |share: Share| format!("{:.1} %", share.share * 100.0);
    format!(
        "isolated {}, right side {}, pump condemned though good {} in {}",
        percent(report.isolated),
        percent(report.right_side),
        report.pump_condemned_good.count,
        report.machines
    )
}

/// Text is of ids and numbers, but ids come from a rule set.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

fn words(svg: &mut String, x: f64, y: f64, size: f64, text: &str) {
    // Writing to a String cannot fail.
    let _ = writeln!(
        svg,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\">{}</text>",
        escaped(text)
    );
}

fn anchored(svg: &mut String, x: f64, y: f64, anchor: &str, text: &str) {
    let _ = writeln!(
        svg,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{}</text>",
        escaped(text)
    );
}

fn segment(svg: &mut String, from: (f64, f64), to: (f64, f64), colour: &str, width: f64) {
    let _ = writeln!(
        svg,
        "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"{colour}\" stroke-width=\"{width}\"/>",
        from.0, from.1, to.0, to.1
    );
}

fn calibration(svg: &mut String, report: &Report) {
    let at = |x: f64, y: f64| (LEFT + SQUARE * x, TOP + SQUARE * (1.0 - y));
    for tenth in 0..=10 {
        let v = f64::from(tenth) / 10.0;
        segment(svg, at(v, 0.0), at(v, 1.0), PALE, 0.5);
        segment(svg, at(0.0, v), at(1.0, v), PALE, 0.5);
        if tenth % 2 == 0 {
            let (x, y) = at(v, 0.0);
            anchored(svg, x, y + 18.0, "middle", &format!("{v:.1}"));
            let (x, y) = at(0.0, v);
            anchored(svg, x - 8.0, y + 4.0, "end", &format!("{v:.1}"));
        }
    }
    segment(svg, at(0.0, 0.0), at(1.0, 1.0), INK, 1.0);
    let bins = &report.calibration.0;
    let filled: Vec<&Bin> = bins.iter().filter(|bin| bin.count > 0).collect();
    let place = |bin: &Bin| {
        let n = bin.count as f64;
        (bin.belief / n, bin.true_count as f64 / n)
    };
    let path: Vec<String> = filled
        .iter()
        .map(|bin| {
            let (belief, truth) = place(bin);
            let (x, y) = at(belief, truth);
            format!("{x:.1},{y:.1}")
        })
        .collect();
    let _ = writeln!(
        svg,
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{HUE}\" stroke-width=\"2\"/>",
        path.join(" ")
    );
    for bin in &filled {
        let (belief, _) = place(bin);
        let share = Share::new(bin.true_count, bin.count);
        segment(svg, at(belief, share.low), at(belief, share.high), HUE, 1.5);
        let (x, y) = at(belief, share.share);
        let _ = writeln!(
            svg,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"{HUE}\"/>"
        );
    }
    let (x, y) = at(0.5, 0.0);
    anchored(
        svg,
        x,
        y + 40.0,
        "middle",
        "belief that a side has a fault, when the job was decided",
    );
    words(
        svg,
        LEFT,
        TOP - 14.0,
        13.0,
        &format!(
            "How often it had one, of all beliefs (expected calibration error {:.3})",
            report.expected_calibration_error
        ),
    );
    histogram(svg, bins);
}

/// How many beliefs fell into each bin, below the curve, on a logarithmic scale.
fn histogram(svg: &mut String, bins: &[Bin; BINS]) {
    let (base, tall) = (TOP + SQUARE + 150.0, 80.0);
    let most = bins.iter().map(|bin| bin.count).max().unwrap_or(1).max(10) as f64;
    let width = SQUARE / BINS as f64;
    for (place, bin) in bins.iter().enumerate() {
        let part = (1.0 + bin.count as f64).log10() / (1.0 + most).log10();
        let x = LEFT + place as f64 * width;
        let _ = writeln!(
            svg,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{PALE}\"/>",
            x + 1.0,
            base - tall * part,
            width - 2.0,
            tall * part
        );
        anchored(
            svg,
            x + width / 2.0,
            base + 14.0,
            "middle",
            &bin.count.to_string(),
        );
    }
    anchored(
        svg,
        LEFT + SQUARE / 2.0,
        base + 32.0,
        "middle",
        "how many beliefs (bars logarithmic)",
    );
}

fn confusion(svg: &mut String, report: &Report, left: f64) {
    let (x0, y0) = (left + NAMES, TOP + NAMES - 60.0);
    words(
        svg,
        left,
        TOP - 14.0,
        13.0,
        "One fault in the machine (row): the likeliest suspect at the end (column)",
    );
    let columns: Vec<&str> = report
        .confusion
        .iter()
        .map(|row| row.suspect.as_str())
        .chain(["not isolated"])
        .collect();
    for (column, name) in columns.iter().enumerate() {
        let x = x0 + CELL * (column as f64 + 0.7);
        let _ = writeln!(
            svg,
            "<text transform=\"translate({x:.1},{:.1}) rotate(-60)\" font-size=\"10\">{}</text>",
            y0 - 6.0,
            escaped(name)
        );
    }
    words(
        svg,
        left,
        y0 + CELL * report.confusion.len() as f64 + 20.0,
        11.0,
        "Percent of the machines of the row, from 1 on. Not isolated: no side was proven.",
    );
    for (row, of) in report.confusion.iter().enumerate() {
        let y = y0 + CELL * row as f64;
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\" font-size=\"10\">{}</text>",
            x0 - 6.0,
            y + CELL * 0.7,
            escaped(&of.suspect)
        );
        for (column, name) in columns.iter().enumerate() {
            let said = of.said.iter().find(|said| said.suspect == *name);
            let count = match said {
                Some(said) => said.count,
                None if *name == "not isolated" => of.not_isolated,
                None => 0,
            };
            let part = count as f64 / of.machines.max(1) as f64;
            cell(svg, x0 + CELL * column as f64, y, part);
        }
    }
}

/// A cell as dark as its share; the share of the fault's machines in percent, where there is one.
fn cell(svg: &mut String, x: f64, y: f64, part: f64) {
    let _ = writeln!(
        svg,
        "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{CELL}\" height=\"{CELL}\" fill=\"{HUE}\" fill-opacity=\"{:.3}\" stroke=\"{PALE}\" stroke-width=\"0.5\"/>",
        part.sqrt()
    );
    if part >= 0.01 {
        let colour = if part > 0.3 { "#ffffff" } else { INK };
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"8\" fill=\"{colour}\">{:.0}</text>",
            x + CELL / 2.0,
            y + CELL * 0.66,
            part * 100.0
        );
    }
}
