"""What a rule set has: test points and questions, as `ruleset.show` tells them."""


class Rules:
    def __init__(self, shown):
        points = [one for one in shown["test_points"] if one.get("plausible") and not one.get("minus")]
        self.points = {one["id"]: one for one in points}
        self.asked = [(one["id"], one["answers"]) for one in shown["checks"] if one.get("answers")]
        self.complaints = [one["id"] for one in shown["complaints"]]

    def complaint(self, chance):
        return chance.choice(self.complaints) if self.complaints else None

    def levels(self, profile, chance):
        """About what is read at each point of a machine, in the point's unit."""
        said = {}
        for name, point in self.points.items():
            low, high = point["plausible"]
            # Values travel with nine digits: six of them, behind the point, tell one reading from another.
            low, high = max(low, -900.0), min(high, 900.0)
            said[name] = round(low + (high - low) * chance.uniform(0.1, 0.8), 2)
        said["battery"] = round(chance.uniform(11.0, 13.5), 2)
        if profile == "lift-pump-weak":
            said["battery"], said["pump-inlet-pressure"] = 12.6, round(chance.uniform(1.0, 2.0), 2)
        return said


# A machine whose lift pump is weak, as INTEGRATING.md has it: its verdict becomes `isolated`.
WEAK_LIFT_PUMP = [("bypass-start", "does-not-start"), ("engine-speed-seen", "seen"), ("lift-pump-runs", "runs")]
