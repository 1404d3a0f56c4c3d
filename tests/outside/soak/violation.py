"""What a soak finds, and what it counted."""

from collections import Counter


class Violation(Exception):
    """An invariant that does not hold."""


class Lost(Exception):
    """The connection went with a call on it, when that may be."""


class Tally:
    """What was done and checked; `checked` counts invariants by name."""

    def __init__(self):
        self.calls = Counter()
        self.refused = Counter()
        self.done = Counter()
        self.checked = Counter()
        self.audited = Counter()
        self.readings = 0
        self.peak = 0
        self.longest = Counter()

    def hold(self, name, holds, why):
        """Counts an invariant, and stops the soak where it does not hold."""
        self.checked[name] += 1
        if not holds:
            raise Violation(f"{name}: {why() if callable(why) else why}")

    def at_most(self, name, seconds):
        """The longest of its kind, in seconds."""
        self.longest[name] = max(self.longest[name], round(seconds, 3))

    def told(self):
        return {
            "calls": sum(self.calls.values()),
            "readings": self.readings,
            "done": dict(sorted(self.done.items())),
            "refused": dict(sorted(self.refused.items())),
            "invariants": sum(self.checked.values()),
            "checked": dict(sorted(self.checked.items())),
            "longest_seconds": dict(sorted(self.longest.items())),
            "peak_resident_mib": round(self.peak / 1024),
        }
