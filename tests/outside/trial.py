"""Rule sets and cases run through the public interface: `trisect ruleset trial --json`."""

import json
import pathlib
import subprocess
import tempfile

PROGRAM = None  # set by whoever imports it


def verdicts(rules, cases, streams=None):
    """The verdicts on cases of one rule set, given as TOML; a case is the TOML of its events."""
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        (folder / "rules.toml").write_text(rules)
        for name, text in (streams or {}).items():
            (folder / name).write_text(text)
        files = []
        for number, (head, events) in enumerate(cases):
            file = folder / f"case-{number:05}.toml"
            file.write_text(
                f'format = 1\ntitle = "{number}"\nsource = "generated"\nruleset = "rules.toml"\n{head}\n'
                f"{events}\n[expect]\n"
            )
            files.append(str(file))
        ran = subprocess.run(
            [PROGRAM, "ruleset", "trial", str(folder / "rules.toml"), *files, "--json"],
            capture_output=True,
            text=True,
        )
        if ran.returncode not in (0, 1):
            raise SystemExit(f"trial failed: {ran.stderr}\n{rules}")
        return [case["verdict"] for case in json.loads(ran.stdout)["cases"]]


def answer(check, text, at=0):
    return f'[[event]]\nat = "{at} s"\nanswer = {{ check = "{check}", is = "{text}" }}\n'


def outcome(check, text, at=0):
    return f'[[event]]\nat = "{at} s"\noutcome = {{ check = "{check}", is = "{text}" }}\n'


def reading(point, value, uncertainty, at=0):
    return (
        f'[[event]]\nat = "{at} s"\npoint = "{point}"\nvalue = "{value}"\nuncertainty = "{uncertainty}"\n'
    )


HEAD = """format = 1
id = "generated"
version = "1"
title = "Generated"
"""
POINT = """[[test_point]]
id = "p{0}"
title = "P"
quantity = "voltage"
unit = "V"
"""


def suspect(name, side, share):
    return f'[[suspect]]\nid = "{name}"\nside = "{side}"\ntitle = "{name}"\nshare = {share!r}\n'


def asked(name, answers, otherwise, expect, minutes=1):
    rows = "".join(f"{suspect} = {row!r}\n" for suspect, row in expect.items())
    words = "[" + ", ".join(f'"{a}"' for a in answers) + "]"
    return (
        f'[[check]]\nid = "{name}"\ntitle = "{name}"\nask = "?"\nanswers = {words}\nminutes = {minutes!r}\n'
        f"[check.expect]\notherwise = {otherwise!r}\n{rows}"
    )
