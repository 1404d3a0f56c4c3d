//! The Prometheus text format, version 0.0.4.

use std::fmt::Write as _;

/// What kind of metric a family is.
#[derive(Clone, Copy)]
pub(super) enum Kind {
    Counter,
    Gauge,
    Histogram,
}

/// A text that families are written to, one after the other.
#[derive(Default)]
pub(super) struct Exposition {
    text: String,
}

impl Exposition {
    /// Begins a family; its samples follow.
    pub(super) fn family(&mut self, name: &'static str, kind: Kind, help: &str) {
        let kind = match kind {
            Kind::Counter => "counter",
            Kind::Gauge => "gauge",
            Kind::Histogram => "histogram",
        };
        // Writing to a text cannot fail.
        let _ = writeln!(self.text, "# HELP {name} {help}\n# TYPE {name} {kind}");
    }

    /// One sample.
    pub(super) fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: f64) {
        self.text.push_str(name);
        for (place, (label, text)) in labels.iter().enumerate() {
            self.text.push(if place == 0 { '{' } else { ',' });
            let _ = write!(self.text, "{label}=\"{}\"", escaped(text));
        }
        if !labels.is_empty() {
            self.text.push('}');
        }
        let _ = writeln!(self.text, " {value}");
    }

    /// A family of one sample.
    pub(super) fn one(&mut self, name: &'static str, kind: Kind, help: &str, value: f64) {
        self.family(name, kind, help);
        self.sample(name, &[], value);
    }

    pub(super) fn finish(self) -> String {
        self.text
    }
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
}
