#!/usr/bin/env python3
"""Compares what our codecs say of generated frames with what libsigrok says.

usage: sigrok.py MODEM_LIBRARY FRAMES

MODEM_LIBRARY is modem.c, compiled; FRAMES has a JSON object a line, with
`protocol`, `hex` and `said` (as `trisect decode` prints it). Each frame goes to
two sigrok-cli, one that prints values with all their digits (CSV) and one that
prints units and signs (its text, which loses digits).

What cannot be compared, since libsigrok does not say it:
- a low battery, a lit bar graph, peak, and that the range is chosen by hand;
- the value of a continuity test, which it shows as yes or no;
- the coupling of a diode test, which it always calls DC;
- whether the range of an ES519xx current is automatic: it says so of all but one;
- on which side of zero an overload is;
- temperatures of ES51962 and ES51986: it finds the function, but no range of it;
- the amperes of ES51986's fixed range: it leaves the point away;
- Hz, MHz and mF of the 14-byte ASCII meters: it knows kHz and up to uF alone.
"""

import collections
import json
import math
import os
import pty
import re
import select
import subprocess
import sys
import threading
import time
import tty

import names

# By protocol: the digest of the driver's name (see names.py); the line, with eight
# bits, for a pseudo-terminal has no parity; how often a frame is sent (of the
# 11-byte ones it takes two that are alike); and whether it asks for each frame.
READERS = {
    "fs9721": ("c182ed66365d9c52", "2400/8n1", 1, False),
    "fs9922": ("2ba44709ab2a0640", "2400/8n1", 1, False),
    "es51922": ("47d08fe1ec94f00b", "19200/8n1", 1, False),
    "es51962": ("6c3acd6a45cb4d57", "2400/8n1", 2, False),
    "es51986": ("52f19cbaab7017a8", "19200/8n1", 2, False),
    "dtm0660": ("3a56ef45c22e515c", "2400/8n1", 1, False),
    "ascii14": ("5c733a6b6ca816f3", "600/8n2", 1, True),
}

# Found before any of them runs: one gives up that hears nothing while others are looked for.
DRIVERS = dict(zip(READERS, names.drivers([reader[0] for reader in READERS.values()])))

UNITS = {"V": "V", "A": "A", "\u2126": "Ohm", "\u03a9": "Ohm", "F": "F", "Hz": "Hz", "%": "%",
         "\u00b0C": "Cel", "\u00b0F": "degF", "RPM": "rpm", "": "", "TRUE": "", "FALSE": ""}
SIGNS = {"AUTO": "auto", "HOLD": "hold", "MIN": "minimum", "MAX": "maximum", "REL": "relative"}
PATIENCE = 5


class Reader:
    """A sigrok-cli on a pseudo-terminal."""

    def __init__(self, protocol, form, library):
        _, line, self.copies, self.polled = READERS[protocol]
        self.port, inner = pty.openpty()
        tty.setraw(self.port)
        tty.setraw(inner)
        self.output, out = pty.openpty()
        tty.setraw(self.output)
        command = ["sigrok-cli", "-d", f"{DRIVERS[protocol]}:conn={os.ttyname(inner)}:serialcomm={line}",
                   "--samples", "1000000", "-O", form]
        self.process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=out,
                                        stderr=subprocess.DEVNULL,
                                        env=dict(os.environ, LD_PRELOAD=library, LC_ALL="C.UTF-8"))
        os.close(out)
        self.inner = inner
        self.pending = b""
        self.form = form

    def close(self):
        self.process.kill()
        self.process.wait()
        for descriptor in (self.port, self.inner, self.output):
            os.close(descriptor)

    def rows(self, wait):
        """The rows that are printed together, if they come within `wait` seconds."""
        found = []
        while select.select([self.output], [], [], wait)[0]:
            try:
                self.pending += os.read(self.output, 65536)
            except OSError:
                break
            *lines, self.pending = self.pending.split(b"\n")
            texts = [line.decode("utf-8", "replace").strip() for line in lines]
            found += [text for text in texts if is_row(self.form, text)]
            if found:
                break
        return found

    def send(self, frame):
        """Sends a frame, when it is asked for where it has to be."""
        if self.process.poll() is not None:
            raise RuntimeError(f"sigrok-cli ended: {self.process.args}")
        if self.polled:
            if not select.select([self.port], [], [], PATIENCE)[0]:
                return
            os.read(self.port, 64)
        os.write(self.port, frame * self.copies)

    def say(self, frame):
        """What it prints for a frame; None if it takes none."""
        for _ in range(3):
            self.send(frame)
            rows = self.rows(0.5)
            while rows and self.copies > 1:
                more = self.rows(0.02)
                if not more:
                    break
                rows += more
            if rows:
                if len(set(rows)) > 1:
                    raise RuntimeError(f"one frame, two readings: {rows}")
                return rows[0]
        return None

    def start(self, frame):
        """Sends a frame until the meter is found and read."""
        end = time.monotonic() + 4 * PATIENCE
        while time.monotonic() < end:
            self.send(frame)
            if self.rows(0.2):
                while self.rows(0.3):
                    pass
                return
        raise RuntimeError(f"sigrok-cli finds no meter: {self.process.args}")


def is_row(form, text):
    if form == "analog":
        return text.startswith("P1:")
    return re.fullmatch(r"[-+0-9.eE]+|-?inf|nan", text) is not None


def read(text):
    """Unit and signs of a row such as `P1: -500.0 mV DC HOLD`."""
    words = text.removeprefix("P1:").split()
    value, *rest = words
    unit = value if value in ("TRUE", "FALSE") else ""
    if rest and rest[0].lstrip("pn\u00b5\u03bcumkMG") in UNITS and rest[0] not in SIGNS:
        unit = rest.pop(0)
    base = unit if unit in UNITS else unit[1:]
    return UNITS.get(base, f"unknown unit {unit}"), set(rest)


def is_fixed_amperes(protocol, frame):
    """The clamp ranges of ES51922, the only range of ES51986's dial position A."""
    functions = {"es51922": 6, "es51986": 5}
    return protocol in functions and frame[functions[protocol]] == ord("9")


def expected(protocol, frame, said):
    """What libsigrok should say: value or None, unit, signs; None for any."""
    function, value, unit = said["function"], said["value"], said["unit"]
    signs = {word for word, ours in SIGNS.items() if ours in said["flags"]}
    if said["coupling"]:
        signs.add(said["coupling"])
    if function == "diode":
        signs |= {"DC", "DIODE"}
    if protocol.startswith("es519") and function == "current":
        if is_fixed_amperes(protocol, frame):
            signs.discard("AUTO")
        else:
            signs.add("AUTO")
    if function == "continuity":
        return None, "", signs
    if said["overload"]:
        value = math.inf
    if function == "rotational-speed":
        unit, value = "rpm", value * 60 / math.tau
    return value, unit, signs


def differences(protocol, frame, said, values, texts):
    """How libsigrok's rows differ from what we say, in words."""
    if values is None or texts is None:
        return ["libsigrok refuses it"]
    value, unit, signs = expected(protocol, frame, said)
    their_value = float(values)
    their_unit, their_signs = read(texts)
    if their_unit == "degF":
        their_unit, their_value = "Cel", (their_value - 32) / 1.8
    found = []
    if value is not None and not math.isclose(their_value, value, rel_tol=2e-6, abs_tol=1e-15):
        if not (math.isinf(value) and math.isinf(their_value)):
            found.append(f"value {their_value}, ours {value}")
    if their_unit != unit:
        found.append(f"unit {their_unit}, ours {unit}")
    if their_signs != signs:
        found.append(f"signs {sorted(their_signs)}, ours {sorted(signs)}")
    return found


def comparable(row):
    """Whether libsigrok can say anything of it."""
    protocol, function, frame = row["protocol"], row["said"]["function"], bytes.fromhex(row["hex"])
    if protocol in ("es51962", "es51986") and function == "temperature":
        return False
    if protocol == "ascii14" and frame[9:13].strip() in (b"Hz", b"MHz", b"mF"):
        return False
    return not (protocol == "es51986" and is_fixed_amperes(protocol, frame))


def compare(protocol, rows, library, results):
    """Lets libsigrok read the frames of a protocol, one after the other."""
    readers = [Reader(protocol, form, library) for form in ("csv", "analog")]
    compared, wrong, seen = 0, [], set()
    try:
        frames = [bytes.fromhex(row["hex"]) for row in rows]
        for reader in readers:
            reader.start(frames[0])
        for row, frame in zip(rows, frames):
            if frame in seen:
                continue
            seen.add(frame)
            values, texts = (reader.say(frame) for reader in readers)
            found = differences(protocol, frame, row["said"], values, texts)
            compared += 1
            if found:
                wrong.append(f"{row['hex']}: {', '.join(found)} ({texts})")
    finally:
        for reader in readers:
            reader.close()
    results[protocol] = (compared, wrong)


def main():
    library, path = sys.argv[1:]
    rows = collections.defaultdict(list)
    left_out = collections.Counter()
    with open(path) as file:
        for row in map(json.loads, file):
            if comparable(row):
                rows[row["protocol"]].append(row)
            else:
                left_out[row["protocol"]] += 1
    results = {}
    threads = [threading.Thread(target=compare, args=(protocol, rows[protocol], library, results))
               for protocol in READERS]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    failed = False
    for protocol in READERS:
        if protocol not in results:
            print(f"{protocol}: not compared, see above")
            failed = True
            continue
        compared, wrong = results[protocol]
        print(f"{protocol}: {compared} frames compared, {left_out[protocol]} cannot be,"
              f" {len(wrong)} differ")
        for line in wrong[:10]:
            print(f"  {line}")
        failed = failed or bool(wrong) or compared == 0
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
