"""The plan of a soak: what is done to the service and when, and what each bay does. A pure function of the seed: whatever
comes of a step, the next one is the same."""

import hashlib
import json
from random import Random

BAYS = [f"bay-{number}" for number in range(1, 9)]
# Bays with a meter that streams readings by itself.
METERED = ["bay-7", "bay-8"]
# The bay that a reload takes away and gives back.
REMOVED = "bay-6"

# What is done to the service, and how often beside the others.
DISTURBANCES = {
    "kill": 6,
    "kill-at-start": 2,
    "terminate": 3,
    "reload": 5,
    "reload-front": 3,
    "reload-refused": 3,
    "reload-bay": 2,
    "disk-full": 4,
    "disk-full-kill": 2,
    "disk-full-terminate": 1,
    "disk-full-start": 1,
    "reload-kill": 2,
    "file-limit": 2,
    "clock": 4,
    "subscribers": 4,
    "bad-requests": 5,
    "heavy": 4,
    "prove": 2,
    "backup": 2,
    "unplug": 2,
    "install": 1,
}

# What a bay does, and how often beside the others.
ACTIONS = {
    "submit": 40,
    "submit-senml": 6,
    "submit-timed": 4,
    "enter": 8,
    "answer": 8,
    "phase": 8,
    "again": 6,
    "again-at-once": 6,
    "burst": 5,
    "without-key": 4,
    "abandon": 4,
    "refused": 6,
    "key-reused": 2,
    "history": 2,
    "history-whole": 0.5,
    "show": 3,
    "verdict": 4,
    "verify": 1,
    "replay": 0.5,
    "report": 0.5,
    "export": 0.3,
    "closed": 1.5,
    "probe": 1,
}


def pick(chance, weighed):
    return chance.choices(list(weighed), weights=list(weighed.values()))[0]


def disturbances(seed, seconds):
    """What is done to the service: a list of moments, kinds and details. Each kind comes once, in an order of the seed's,
    before any comes again."""
    chance = Random(f"{seed}/disturbances")
    first = list(DISTURBANCES)
    chance.shuffle(first)
    planned, at = [], 1.5
    while at < seconds:
        kind = first.pop() if first else pick(chance, DISTURBANCES)
        planned.append({"at": round(at, 2), "kind": kind, **details(kind, chance)})
        at += chance.uniform(0.3, 1.5) if first else chance.uniform(1.0, 9.0)
        # Now and then nothing happens for long, so that memory and files may grow.
        at += chance.uniform(20.0, 80.0) if not first and chance.random() < 0.04 else 0.0
    return planned


def details(kind, chance):
    if kind == "kill-at-start":
        return {"after": round(chance.uniform(0.0, 0.15), 3)}
    if kind == "reload-kill":
        return {"variant": chance.randrange(1 << 16), "after": round(chance.uniform(0.0, 0.1), 3)}
    if kind.startswith("disk-full") or kind == "file-limit":
        return {"seconds": round(chance.uniform(0.5, 3.0), 2)}
    if kind == "clock":
        return {"offset": chance.choice([0, 3600, -3600, 86_400, -86_400, 7, -7])}
    if kind == "subscribers":
        return {"dead": chance.randint(2, 12), "slow": chance.randint(1, 4), "seconds": round(chance.uniform(4, 15), 2)}
    if kind in ("bad-requests", "heavy"):
        return {"count": chance.randint(8, 30), "seed": chance.randrange(1 << 32)}
    if kind == "prove":
        return {"count": chance.randint(1, 4)}
    if kind == "install":
        return {"version": f"2.{chance.randrange(1 << 16)}.0"}
    if kind in ("reload", "reload-front", "reload-refused", "reload-bay"):
        return {"variant": chance.randrange(1 << 16)}
    if kind == "unplug":
        return {"bay": chance.choice(METERED), "seconds": round(chance.uniform(0.5, 4), 2)}
    return {}


def job(seed, bay, number):
    """What a bay's job is like: how many actions it has, and what machine it shows."""
    chance = Random(f"{seed}/{bay}/job {number}")
    return {
        "machine": f"Unit {bay}-{number}",
        "actions": chance.randint(40, 400),
        "profile": pick(chance, {"lift-pump-weak": 4, "any": 6}),
        "complaint": chance.random() < 0.5,
        "levels": chance.randrange(1 << 32),
    }


def action(seed, bay, number):
    """The `number`th thing that a bay does."""
    chance = Random(f"{seed}/{bay}/{number}")
    kind = pick(chance, ACTIONS)
    size = 1 if chance.random() < 0.3 else chance.randint(2, 30)
    if chance.random() < 0.02:
        size = 1500
    return {"kind": kind, "size": size, "pause": chance.expovariate(1.0), "choice": chance.randrange(1 << 32)}


def digest(seed, seconds):
    """What a plan may be told from another by: all disturbances, and each bay's first jobs and actions."""
    shown = [disturbances(seed, seconds)]
    shown += [[job(seed, bay, number) for number in range(10)] for bay in BAYS]
    shown += [[action(seed, bay, number) for number in range(200)] for bay in BAYS]
    return hashlib.sha256(json.dumps(shown, sort_keys=True).encode()).hexdigest()[:16]
