//! A meter that speaks SCPI, for tests: ours, and what an outside program is
//! compared with.

use std::collections::VecDeque;

/// A meter with one input, set to direct voltage at first.
#[derive(Clone, Debug)]
pub(crate) struct Stub {
    pub identity: String,
    /// Whether it knows `CONF?`.
    pub tells_configuration: bool,
    /// Functions it has, as `CONF?` says them.
    pub functions: &'static [&'static str],
    /// What it reads, one after the other, over and over.
    pub readings: Vec<&'static str>,
    pub function: String,
    /// Every line it was told.
    pub told: Vec<String>,
    next: usize,
    errors: VecDeque<&'static str>,
}

const UNDEFINED_HEADER: &str = "-113,\"Undefined header\"";
/// Of the oldest standard that still has a queue; a full one says so itself.
const LONGEST_QUEUE: usize = 10;

impl Stub {
    pub fn new() -> Stub {
        Stub {
            identity: "Nobody,Bench meter,0042,1.0".to_owned(),
            tells_configuration: true,
            functions: &[
                "VOLT", "VOLT:AC", "CURR", "CURR:AC", "RES", "FRES", "CONT", "DIOD", "CAP", "FREQ",
                "TEMP",
            ],
            readings: vec!["+1.23450000E+01"],
            function: "VOLT".to_owned(),
            told: Vec::new(),
            next: 0,
            errors: VecDeque::new(),
        }
    }

    /// Answers to whole lines.
    pub fn answers(&mut self, lines: &[u8]) -> Vec<u8> {
        let text = String::from_utf8_lossy(lines).into_owned();
        let answers = text.lines().filter_map(|line| self.answer(line.trim()));
        let answers: Vec<String> = answers.collect();
        answers
            .iter()
            .flat_map(|answer| answer.bytes().chain(*b"\r\n"))
            .collect()
    }

    /// The answer to a line, if one comes.
    pub fn answer(&mut self, line: &str) -> Option<String> {
        if line.is_empty() {
            return None;
        }
        self.told.push(line.to_owned());
        match line {
            "*IDN?" => Some(self.identity.clone()),
            "*OPC?" => Some("1".to_owned()),
            "*CLS" => {
                self.errors.clear();
                None
            }
            "SYST:REM" | "SYST:LOC" | "INIT" | "ABORT" | "UNIT:TEMP C" => None,
            "SYST:ERR?" => Some(
                self.errors
                    .pop_front()
                    .unwrap_or("+0,\"No error\"")
                    .to_owned(),
            ),
            "CONF?" if self.tells_configuration => Some(self.configuration()),
            "READ?" | "FETCH?" => Some(self.read()),
            _ => {
                self.configure(line);
                None
            }
        }
    }

    fn configuration(&self) -> String {
        match self.function.as_str() {
            "CONT" | "DIOD" => format!("\"{}\"", self.function),
            "TEMP" => "\"TEMP THER,5000,+1.00000E+00,+1.00000E-01\"".to_owned(),
            function => format!("\"{function} +1.000000E+01,+1.000000E-05\""),
        }
    }

    fn read(&mut self) -> String {
        let reading = self.readings.get(self.next % self.readings.len().max(1));
        self.next += 1;
        reading.copied().unwrap_or_default().to_owned()
    }

    fn configure(&mut self, line: &str) {
        let wanted = line.strip_prefix("CONF:").map(|rest| {
            let function = rest.split(' ').next().unwrap_or_default();
            function.trim_end_matches(":DC").to_owned()
        });
        match wanted {
            Some(function) if self.functions.contains(&function.as_str()) => {
                self.function = function;
            }
            _ if self.errors.len() < LONGEST_QUEUE => self.errors.push_back(UNDEFINED_HEADER),
            _ => {}
        }
    }
}
