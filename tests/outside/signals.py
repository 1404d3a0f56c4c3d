"""Ripple and spectrum against numpy and scipy, through a case's stream.

usage: signals.py PROGRAM
"""

import json
import sys

import numpy
from scipy import signal

import trial

RULES = (
    trial.HEAD
    + """[[test_point]]
id = "pressure"
title = "P"
quantity = "pressure"
unit = "kPa"
[[check]]
id = "ripple"
title = "R"
point = "pressure"
phase = ["off"]
take = "ripple"
over = "1 s"
limit = { at_most = 0.02 }
[check.fails]
otherwise = 0.01
bad = 0.9
[[check]]
id = "peaks"
title = "P"
point = "pressure"
phase = ["off"]
take = "peak-to-peak"
limit = { at_most = "1 kPa" }
[check.fails]
otherwise = 0.01
bad = 0.9
"""
    + trial.suspect("bad", "supply", 1.0)
)


def near(what, found, wanted, within):
    if not abs(found - wanted) <= within:
        raise SystemExit(f"{what}: {found} is not {wanted}")


def taken(values, rate):
    records = [{"n": "pressure", "u": "Pa", "t": i / rate, "v": 1000 * float(x)} for i, x in enumerate(values)]
    (verdict,) = trial.verdicts(
        RULES, [('stream = "stream.json"', "")], {"stream.json": json.dumps(records)}
    )
    return {e["check"]: e for e in verdict["evidence"]}


def sliding(values, width):
    windows = numpy.lib.stride_tricks.sliding_window_view(values, width)
    return float(numpy.max(numpy.ptp(windows, axis=1) / numpy.mean(windows, axis=1)))


def main():
    trial.PROGRAM = sys.argv[1]
    # The signal of the reference: lines of 3.000 at 50 Hz and 0.700 at 120 Hz on 250.
    t = numpy.arange(1000) / 1000
    x = 250 + 3 * numpy.sin(2 * numpy.pi * 50 * t + 0.3) + 0.7 * numpy.sin(2 * numpy.pi * 120 * t - 1.1)
    found = taken(x, 1000)
    near("peak-to-peak", found["peaks"]["value"], 7.330239053, 5e-9)
    near("ripple", found["ripple"]["value"], 7.330239053 / 250, 5e-11)
    line = found["ripple"]["line"]
    frequencies, spectrum = signal.periodogram(x, 1000, window="boxcar", detrend="constant", scaling="spectrum")
    top = int(numpy.argmax(spectrum))
    near("strongest line", line["frequency"], frequencies[top], 1e-9)
    near("its amplitude", line["amplitude"], numpy.sqrt(2 * spectrum[top]), 1e-5)
    near("its amplitude, published", line["amplitude"], 3.000, 1e-5)
    # Noise, drift and a line, over many sliding windows.
    rng = numpy.random.default_rng(3)
    for rate, seconds in ((50, 8), (200, 5), (1000, 3)):
        t = numpy.arange(rate * seconds) / rate
        values = 100 + 2 * t + 5 * numpy.sin(2 * numpy.pi * 7 * t) + rng.normal(0, 1, t.size)
        values = numpy.round(values, 6)
        found = taken(values, rate)["ripple"]
        near(f"sliding windows at {rate} a second", found["value"], sliding(values, rate), 1e-12)
        f, spectrum = signal.periodogram(values[-rate:], rate, window="boxcar", detrend="constant", scaling="spectrum")
        near("line", found["line"]["frequency"], f[int(numpy.argmax(spectrum))], 1e-9)
    print("signals: ripple and its strongest line agree with numpy and scipy.signal")


main()
