//! ES51922, ES51962 and ES51986: ranges as their data sheets print them, by the
//! text of the full scale.

use std::collections::BTreeSet;

use crate::tests::generated::Generated;

/// A function: its code, what goes with it, and its ranges in order.
struct Function {
    code: char,
    name: &'static str,
    /// The judge bit.
    judge: bool,
    couplings: &'static [Option<&'static str>],
    may_be_negative: bool,
    full_scales: &'static [&'static str],
}

const PASSIVE: &[Option<&str>] = &[None];
const ELECTRIC: &[Option<&str>] = &[Some("DC"), Some("AC")];

const fn passive(code: char, name: &'static str, full_scales: &'static [&'static str]) -> Function {
    Function {
        code,
        name,
        judge: false,
        couplings: PASSIVE,
        may_be_negative: false,
        full_scales,
    }
}

const fn electric(
    code: char,
    name: &'static str,
    full_scales: &'static [&'static str],
) -> Function {
    Function {
        couplings: ELECTRIC,
        may_be_negative: true,
        ..passive(code, name, full_scales)
    }
}

const fn judged(function: Function) -> Function {
    Function {
        judge: true,
        ..function
    }
}

/// A blank full scale is a code that no range has.
const ES51922: &[Function] = &[
    electric(
        ';',
        "voltage",
        &["2.2000", "22.000", "220.00", "2200.0", "220.00m"],
    ),
    electric('=', "current", &["220.00u", "2200.0u"]),
    electric('?', "current", &["22.000m", "220.00m"]),
    electric('0', "current", &["22.000"]),
    electric(
        '9',
        "current",
        &["2.2000", "22.000", "220.00", "2200.0", "22000"],
    ),
    passive(
        '3',
        "resistance",
        &[
            "220.00", "2.2000k", "22.000k", "220.00k", "2.2000M", "22.000M", "220.00M",
        ],
    ),
    passive('5', "continuity", &["220.00"]),
    passive('1', "diode", &["2.2000"]),
    passive(
        '2',
        "frequency",
        &[
            "220.00", "2200.0", "", "22.000k", "220.00k", "2.2000M", "22.000M", "220.00M",
        ],
    ),
    judged(passive('2', "duty", &["0100.0"])),
    passive(
        '6',
        "capacitance",
        &[
            "22.000n", "220.00n", "2.2000u", "22.000u", "220.00u", "2.2000m", "22.000m", "220.00m",
        ],
    ),
];

const DEGREES: Function = Function {
    may_be_negative: true,
    ..passive('4', "temperature", &["4000"])
};

const ES51962: &[Function] = &[
    electric(
        ';',
        "voltage",
        &["400.0m", "4.000", "40.00", "400.0", "4000"],
    ),
    electric('=', "current", &["400.0u", "4000u"]),
    electric('9', "current", &["40.00m", "400.0m"]),
    electric('?', "current", &["40.00"]),
    passive(
        '3',
        "resistance",
        &["400.0", "4.000k", "40.00k", "400.0k", "4.000M", "40.00M"],
    ),
    passive('5', "continuity", &["400.0"]),
    passive('1', "diode", &["4.000"]),
    passive(
        '2',
        "frequency",
        &["4.000k", "40.00k", "400.0k", "4.000M", "40.00M", "400.0M"],
    ),
    judged(passive(
        '2',
        "rotational-speed",
        &["40.00k", "400.0k", "4.000M", "40.00M", "400.0M", "4000M"],
    )),
    DEGREES,
    judged(DEGREES),
    passive(
        '6',
        "capacitance",
        &[
            "4.000n", "40.00n", "400.0n", "4.000u", "40.00u", "400.0u", "4.000m", "40.00m",
        ],
    ),
];

const ES51986: &[Function] = &[
    electric(
        ';',
        "voltage",
        &["6.000", "60.00", "600.0", "6000", "600.0m"],
    ),
    electric('=', "current", &["600.0u", "6000u"]),
    electric('?', "current", &["60.00m", "600.0m"]),
    electric('0', "current", &["6.000", "60.00"]),
    electric('9', "current", &["60.00"]),
    passive(
        '3',
        "resistance",
        &["600.0", "6.000k", "60.00k", "600.0k", "6.000M", "60.00M"],
    ),
    passive('5', "continuity", &["600.0"]),
    passive('1', "diode", &["6.000"]),
    passive(
        '2',
        "frequency",
        &["6.000k", "60.00k", "600.0k", "6.000M", "60.00M"],
    ),
    DEGREES,
    judged(DEGREES),
    passive(
        '6',
        "capacitance",
        &[
            "6.000n", "60.00n", "600.0n", "6.000u", "60.00u", "600.0u", "6.000m",
        ],
    ),
];

/// Digits where a full scale has them, in base units.
fn value(full_scale: &str, minus: bool, digits: &str) -> f64 {
    let mut digits = digits.chars();
    let mut text = if minus { "-" } else { "" }.to_owned();
    let mut power = "e0";
    for character in full_scale.chars() {
        match character {
            '0'..='9' => text.extend(digits.next()),
            'n' => power = "e-9",
            'u' => power = "e-6",
            'm' => power = "e-3",
            'k' => power = "e3",
            'M' => power = "e6",
            point => text.push(point),
        }
    }
    format!("{text}{power}").parse().unwrap_or(f64::NAN)
}

/// One reading of a function.
struct Reading<'a> {
    function: &'a Function,
    range: usize,
    minus: bool,
    /// None beyond the range.
    digits: Option<&'static str>,
    coupling: Option<&'static str>,
    flags: BTreeSet<&'static str>,
}

/// Every range, coupling, sign and flag of the functions of a chip.
fn readings<'a>(
    functions: &'a [Function],
    digits: &[&'static str],
    flags: &[&'static str],
) -> Vec<Reading<'a>> {
    let manual = BTreeSet::from(["manual-range"]);
    let mut readings = Vec::new();
    for function in functions {
        for (range, full_scale) in function.full_scales.iter().enumerate() {
            for (coupling, minus) in function
                .couplings
                .iter()
                .flat_map(|coupling| [(*coupling, false), (*coupling, true)])
            {
                if full_scale.is_empty() || minus && !function.may_be_negative {
                    continue;
                }
                for digits in digits.iter().map(|digits| Some(*digits)).chain([None]) {
                    // A duty cycle is no more than 100 %.
                    if function.name == "duty" && digits.is_none_or(|d| d > "01000") {
                        continue;
                    }
                    readings.push(Reading {
                        function,
                        range,
                        minus,
                        digits,
                        coupling,
                        flags: manual.clone(),
                    });
                }
            }
        }
    }
    for flag in flags {
        let mut lit = if *flag == "auto" {
            BTreeSet::new()
        } else {
            manual.clone()
        };
        lit.insert(*flag);
        readings.push(Reading {
            function: &functions[0],
            range: 0,
            minus: false,
            digits: Some(digits[1]),
            coupling: Some("DC"),
            flags: lit,
        });
    }
    readings
}

/// Four bits as a character from `0` to `?`.
fn character(bits: &[bool; 4]) -> char {
    let bits = bits.iter().fold(0, |bits, bit| bits << 1 | u8::from(*bit));
    char::from(b'0' + bits)
}

impl Reading<'_> {
    fn lit(&self, flag: &str) -> bool {
        self.flags.contains(flag)
    }

    fn generated(&self, protocol: &'static str, beyond: &str, options: &str) -> Generated {
        let function = self.function;
        let status = character(&[
            function.judge,
            self.minus,
            self.lit("low-battery"),
            self.digits.is_none(),
        ]);
        let digits = self.digits.unwrap_or(beyond);
        let (range, code) = (self.range, function.code);
        let said = self
            .digits
            .map(|digits| value(function.full_scales[self.range], self.minus, digits))
            .map(|value| match (function.name, function.judge) {
                ("temperature", false) => (value - 32.0) / 1.8,
                ("rotational-speed", _) => value * std::f64::consts::TAU / 60.0,
                _ => value,
            });
        Generated {
            protocol,
            frame: format!("{range}{digits}{code}{status}{options}\r\n").into_bytes(),
            function: function.name,
            value: said,
            coupling: self.coupling,
            flags: self.flags.clone(),
        }
    }

    fn dc_ac_auto(&self, last: bool) -> char {
        character(&[
            self.coupling == Some("DC"),
            self.coupling == Some("AC"),
            self.lit("auto"),
            last,
        ])
    }
}

pub(crate) fn es51922() -> Vec<Generated> {
    let digits = ["00000", "12345", "00987", "21999"];
    let flags = [
        "auto",
        "low-battery",
        "maximum",
        "minimum",
        "relative",
        "peak",
        "hold",
    ];
    readings(ES51922, &digits, &flags)
        .iter()
        .map(|reading| {
            let options: String = [
                character(&["maximum", "minimum", "relative", "-"].map(|f| reading.lit(f))),
                character(&[false, reading.lit("peak"), false, false]),
                reading.dc_ac_auto(false),
                character(&[false, false, reading.lit("hold"), false]),
            ]
            .iter()
            .collect();
            reading.generated("es51922", "22580", &options)
        })
        .collect()
}

pub(crate) fn es51962() -> Vec<Generated> {
    let digits = ["0000", "1234", "0098", "3999"];
    readings(ES51962, &digits, &["auto", "low-battery", "peak"])
        .iter()
        .map(|reading| {
            let options: String = [
                character(&[reading.lit("peak"), false, false, false]),
                reading.dc_ac_auto(false),
            ]
            .iter()
            .collect();
            reading.generated("es51962", "4000", &options)
        })
        .collect()
}

pub(crate) fn es51986() -> Vec<Generated> {
    let digits = ["0000", "1234", "0098", "5999"];
    let flags = ["auto", "low-battery", "hold", "maximum", "minimum"];
    readings(ES51986, &digits, &flags)
        .iter()
        .map(|reading| {
            let options: String = [
                character(&["hold", "maximum", "minimum", "-"].map(|f| reading.lit(f))),
                reading.dc_ac_auto(false),
            ]
            .iter()
            .collect();
            reading.generated("es51986", "6000", &options)
        })
        .collect()
}
