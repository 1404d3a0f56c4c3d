"""Holds what the measurement chain comes to against reference libraries: every unit against pint (PyPI) and
GNU units, the uncertainties of instrument settings and of calibrations against GTC (PyPI).

usage: metrology.py FILE      FILE: what the example `metrology` prints
"""

import json
import subprocess
import sys

import GTC
import pint

# The conversions of psi, inHg and inH2O have the digits that NIST SP 811 prints.
PRINTED = {"psi": 3e-7, "inHg": 3e-7, "inH2O": 3e-7}
EXACT = 1e-12

breaches = []


def hold(what, found, expected, relative, absolute=0.0):
    if abs(found - expected) > relative * abs(expected) + absolute:
        breaches.append(f"{what}: {found!r}, the reference has {expected!r}")


# Ours, pint's, GNU units'; the same in all three where not named.
NAMES = {
    "uV": ("uV", "microvolt"),
    "uA": ("uA", "microampere"),
    "Ohm": ("ohm", "ohm"),
    "mOhm": ("milliohm", "milliohm"),
    "kOhm": ("kiloohm", "kiloohm"),
    "MOhm": ("megaohm", "megaohm"),
    "uF": ("uF", "microfarad"),
    "us": ("us", "microsecond"),
    "rpm": ("rpm", "rpm"),
    "rad/s": ("radian/second", "radian/s"),
    "1": ("dimensionless", "1"),
    "%": ("percent", "percent"),
    "ppm": ("ppm", "ppm"),
    "m3": ("m**3", "m^3"),
    "L": ("liter", "liter"),
    "mL": ("milliliter", "milliliter"),
    "m3/s": ("m**3/s", "m^3/s"),
    "L/min": ("liter/minute", "liter/minute"),
    "gal/h": ("US_liquid_gallon/hour", "usgallon/hour"),
    "h": ("hour", "hour"),
    "min": ("minute", "minute"),
    "degC": ("degC", None),
    "degF": ("degF", None),
    "K": ("kelvin", "K"),
}
SI = {
    "voltage": ("volt", "V"),
    "current": ("ampere", "A"),
    "resistance": ("ohm", "ohm"),
    "pressure": ("pascal", "Pa"),
    "temperature": ("kelvin", "K"),
    "rotational-speed": ("radian/second", "radian/s"),
    "frequency": ("hertz", "Hz"),
    "capacitance": ("farad", "F"),
    "volume": ("m**3", "m^3"),
    "volume-flow": ("m**3/second", "m^3/s"),
    "time": ("second", "s"),
    "ratio": ("dimensionless", "1"),
}
# GNU units has temperatures as functions, and their differences as units.
GNU_TEMPERATURES = {"degC": ("tempC({})", "degC"), "degF": ("tempF({})", "degF"), "K": ("{} K", "K")}


def gnu_units(pairs):
    """Converts (have, want) pairs in one run of the program."""
    asked = "".join(f"{have}\n{want}\n" for have, want in pairs)
    run = subprocess.run(
        ["units", "--quiet", "--terse", "--output-format", "%.16g"],
        input=asked, capture_output=True, text=True, timeout=60, check=True,
    )
    answers = run.stdout.split("\n")[: len(pairs)]
    return [float(answer) for answer in answers]


def check_units(units):
    registry = pint.UnitRegistry()
    gnu = []
    for unit in units:
        symbol, quantity = unit["symbol"], unit["quantity"]
        name, gnu_name = NAMES.get(symbol, (symbol, symbol))
        si, gnu_si = SI[quantity]
        relative = PRINTED.get(symbol, EXACT)
        for x, ours in unit["values"]:
            theirs = registry.Quantity(x, name).to(si).magnitude
            hold(f"pint, {x} {symbol}", ours, theirs, relative, 1e-9 if quantity == "temperature" else 0.0)
            have = GNU_TEMPERATURES[symbol][0].format(x) if quantity == "temperature" else f"{x} {gnu_name}"
            # A temperature below none is no temperature to this program.
            if not (symbol == "K" and x < 0):
                gnu.append((f"GNU units, {x} {symbol}", ours, relative, have, gnu_si))
        for x, ours in unit["spans"]:
            difference = f"delta_{name}" if symbol in ("degC", "degF") else name
            theirs = registry.Quantity(x, difference).to(si).magnitude
            hold(f"pint, a difference of {x} {symbol}", ours, theirs, relative)
            have = GNU_TEMPERATURES[symbol][1] if quantity == "temperature" else gnu_name
            gnu.append((f"GNU units, a difference of {x} {symbol}", ours, relative, f"{x} {have}", gnu_si))
    for (what, ours, relative, _, _), theirs in zip(gnu, gnu_units([(h, w) for *_, h, w in gnu])):
        hold(what, ours, theirs, relative, 1e-9 if "deg" in what else 0.0)
    return len(units)


def uniform(half):
    return GTC.ureal(0.0, GTC.type_b.uniform(half))


PSI = 6894.757293168361


def settings():
    """The standard uncertainties, from the numbers of each data sheet."""
    u = GTC.uncertainty
    digit = lambda step: uniform(step / 2)
    volts = 14e-6 * 0.928571 + 2e-6 * 1.0
    yield "voltmeter of the GUM", u(uniform(volts))
    yield "hand-held, worked", u(uniform(0.008 * 12.34 + 0.01) + digit(0.01) + uniform(0.001 * 12.34 * 2))
    half = 0.005 * 24.6 + 3 * 0.01
    yield "hand-held, part of its accuracy a kelvin", u(uniform(half) + digit(0.01) + uniform(0.1 * half * 12))
    current = GTC.ureal(12.0, GTC.type_b.uniform(0.0005 * 12.0 + 0.003))
    yield "current loop, worked", u((current - 4) / 16 * 250 + uniform(0.005 * 250))
    yield "fixed half-width", u(uniform(0.05))
    yield "pressure of full scale, warm", u(uniform(0.0025 * 60) + digit(0.1) + uniform(0.0002 * 60 * 10))
    # 0.5 to 4.5 V of a supply of 5 V, u 10 mV, for 0 to 100 psi: at 40 psi the output is 2.1 V.
    supply = GTC.ureal(5.0, 0.01)
    yield "ratiometric with its supply", u((2.1 / supply - 0.1) / 0.8 * 100 + uniform(1.0))
    yield "absolute less the air", u(uniform(0.001 * 19.7 * PSI) + GTC.ureal(0.0, 200.0))
    half = 0.005 * 12.6 + 3 * 0.01
    calibrated = GTC.ureal(0.0, 0.02)
    yield "calibrated", u(uniform(half) + digit(0.01) + calibrated)
    yield "calibration overdue", u(2 * uniform(half) + digit(0.01) + 2 * calibrated)
    yield "thermometer", u(uniform(0.01 * 85 + 1) + digit(0.1))
    yield "ohmmeter", u(uniform(0.01 * 118.3 + 5 * 0.1) + digit(0.1))
    yield "entered by eye", u(digit(0.1))


# psi as SP 811 prints it stands in two of the settings, and as a unit of none of the others.
LOOSE = {"absolute less the air": 1e-7}


def check_uncertainties(ours):
    reference = dict(settings())
    if set(reference) != set(ours):
        breaches.append(f"settings only on one side: {set(reference) ^ set(ours)}")
    for name in set(reference) & set(ours):
        hold(name, ours[name], reference[name], LOOSE.get(name, 1e-9))
    return len(reference)


def check_calibrations(ours):
    references, shown = [0.0, 10.0, 20.0, 30.0, 40.0], [0.21, 10.28, 20.31, 30.42, 40.44]
    corrections = [r - s for r, s in zip(references, shown)]
    fit = GTC.type_a.line_fit(shown, corrections)
    intercept, slope = fit.a_b
    residual = (fit.ssr / (len(shown) - 2)) ** 0.5
    for name, at in (("line", 25.0), ("line, beyond", 60.0)):
        fitted = intercept + slope * at
        hold(f"{name}, value", ours[name]["value"], GTC.value(fitted), 1e-9)
        of_one = (GTC.uncertainty(fitted) ** 2 + residual**2) ** 0.5
        hold(f"{name}, u", ours[name]["u"], of_one, 1e-9)
        hold(f"{name}, residual", ours[name]["residual"], residual, 1e-9)
    mean = GTC.type_a.estimate(corrections)
    scatter = GTC.uncertainty(mean) * len(corrections) ** 0.5
    hold("offset, value", ours["offset"]["value"], GTC.value(mean), 1e-9)
    u = (GTC.uncertainty(mean) ** 2 + scatter**2 + 0.03**2) ** 0.5
    hold("offset, u", ours["offset"]["u"], u, 1e-9)
    return len(ours)


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        ours = json.load(file)
    units = check_units(ours["units"])
    uncertainties = check_uncertainties(ours["uncertainties"])
    calibrations = check_calibrations(ours["calibrations"])
    for breach in breaches[:20]:
        print(breach, file=sys.stderr)
    if breaches:
        sys.exit(f"{len(breaches)} breaches")
    print(
        f"metrology: {units} units agree with pint {pint.__version__} and GNU units, "
        f"{uncertainties} uncertainties and {calibrations} calibrations with GTC {GTC.version}"
    )


if __name__ == "__main__":
    main()
