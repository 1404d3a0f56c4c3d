#!/usr/bin/env python3
"""A plugin in Python's standard library alone: a gauge that writes its pressure into a file.

The contract stands in adapters/kit/PLUGINS.md; `trisect adapter check` holds this program against it.
"""
import json
import os
import select
import sys
import time

DESCRIPTION = {
    "contract": 1,
    "name": "boost-gauge",
    "version": "1.0.0",
    "title": "Boost gauge that writes into a file",
    "channels": [{"channel": 0, "title": "boost", "function": "pressure"}],
    "settings": {
        "type": "object",
        "required": ["file"],
        "additionalProperties": False,
        "properties": {
            "file": {"type": "string", "description": "The file that holds the pressure, such as `14.2`."},
            "unit": {"enum": ["psi", "kPa", "bar"]},
            "rate": {"type": "number", "minimum": 0.1, "maximum": 1000, "description": "Readings a second."},
        },
    },
}


def say(message):
    sys.stdout.write(json.dumps({"jsonrpc": "2.0", **message}) + "\n")
    sys.stdout.flush()


def answer(request, settings):
    """Answers a request; gives the settings it runs on, or None before it was started."""
    method, reply = request.get("method"), {"id": request.get("id"), "result": None}
    if method == "describe":
        reply["result"] = DESCRIPTION
    elif method == "start":
        settings = request["params"]["settings"]
    elif method != "stop":
        reply = {"id": request.get("id"), "error": {"code": -32601, "message": f"there is no method {method}"}}
    say(reply)
    if method == "stop":
        sys.exit(0)
    return settings


def measure(settings):
    try:
        with open(settings["file"]) as file:
            value = float(file.read())
    except (OSError, ValueError) as error:
        return say({"method": "state", "params": {"state": "silent", "why": f"{error}: is the gauge on?"}})
    sample = {"channel": 0, "function": "pressure", "value": value, "unit": settings.get("unit", "psi")}
    say({"method": "samples", "params": {"samples": [sample]}})


settings, asked, due = None, b"", 0.0
while True:
    wait = None if settings is None else max(0.0, due - time.monotonic())
    if select.select([0], [], [], wait)[0]:
        more = os.read(0, 65536)
        if not more:  # the service is gone
            sys.exit(0)
        *lines, asked = (asked + more).split(b"\n")
        for line in lines:
            try:
                request = json.loads(line)
            except ValueError:
                continue
            if "id" in request and "method" in request:
                settings = answer(request, settings)
    if settings is not None and time.monotonic() >= due:
        due = time.monotonic() + 1 / settings.get("rate", 10)
        measure(settings)
