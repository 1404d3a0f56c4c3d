#!/usr/bin/env python3
"""Compares what our conversation reads off the SCPI stub with what libsigrok does.

usage: scpi.py STUBS

STUBS is written by the test that serves the stubs: a JSON object a line, with
`function` (as CONF? says it), `address` and `said` (as `trisect decode` prints a
sample). libsigrok configures nothing by itself, so each stub is set already.

What cannot be compared: capacitance, temperature and four-wire resistance, which the model that
libsigrok is told does not have; our error queue, which it never asks for.
"""

import json
import math
import subprocess
import sys

LEFT_OUT = ("CAP", "FRES", "TEMP")
# After the base unit, which libsigrok writes behind a prefix of its own.
UNITS = {"V": "V", "A": "A", "\u2126": "Ohm", "\u03a9": "Ohm", "Hz": "Hz"}


def rows(address, form, count):
    host, port = address.rsplit(":", 1)
    command = ["sigrok-cli", "-d", f"scpi-dmm:conn=tcp-raw/{host}/{port}",
               "--samples", str(count), "-O", form]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    if form == "csv":
        lines = done.stdout.splitlines()
        return [line for line in lines if line[:1] in "+-0123456789in" and line[:1]]
    return [line for line in done.stdout.splitlines() if line.startswith("P1:")]


def differences(said, value, text):
    ours = math.inf if said["overload"] else said["value"]
    found = []
    if not math.isclose(float(value), ours, rel_tol=1e-9):
        found.append(f"value {value}, ours {ours}")
    unit, *signs = text.removeprefix("P1:").split()[1:]
    base = unit if unit in UNITS else unit[1:]
    if UNITS.get(base) != said["unit"]:
        found.append(f"unit {unit}, ours {said['unit']}")
    coupling = [sign for sign in signs if sign in ("AC", "DC")]
    # It always calls the diode test DC.
    if said["function"] != "diode" and coupling != [said["coupling"]] * bool(said["coupling"]):
        found.append(f"coupling {coupling}, ours {said['coupling']}")
    return found


def main():
    with open(sys.argv[1]) as file:
        stubs = [json.loads(line) for line in file]
    compared, wrong = 0, []
    for stub in stubs:
        function, said = stub["function"], stub["said"]
        if function in LEFT_OUT:
            continue
        values, texts = (rows(stub["address"], form, len(said)) for form in ("csv", "analog"))
        if not len(values) == len(texts) == len(said):
            wrong.append(f"{function}: {values} {texts}, ours {said}")
            continue
        for sample, value, text in zip(said, values, texts):
            compared += 1
            wrong += [f"{function}: {what}" for what in differences(sample, value, text)]
    print(f"scpi: {compared} readings compared, {len(wrong)} differ")
    for line in wrong:
        print(f"  {line}")
    sys.exit(1 if wrong or compared == 0 else 0)


if __name__ == "__main__":
    main()
