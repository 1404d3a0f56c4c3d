"""Published reasoning: car start, three multipliers, probability over cost; and the regret of the advice.

usage: reasoning_published.py PROGRAM [SEED]
"""

import itertools
import math
import random
import sys

import trial

NINE = 5e-10


def near(what, found, wanted, within=NINE):
    if not abs(found - wanted) <= within:
        raise SystemExit(f"{what}: {found} is not {wanted}")


def probability(verdict, suspect):
    return next(s["probability"] for s in verdict["suspects"] if s["id"] == suspect)


def entropy(*parts):
    return -sum(p * math.log2(p) for p in parts if p > 0)


def car_start():
    """Jensen & Nielsen (2007), 2.3: information about each cause, and the value of knowing."""
    fuel, plugs = 0.02 / 0.98, 0.04 / 0.96
    rules = trial.HEAD + (
        f"faults_at_once = 2\nnone = {1 / (fuel + plugs)!r}\ncoincidence = {fuel + plugs!r}\n"
        + trial.POINT.format(0)
        + trial.suspect("no-fuel", "supply", fuel)
        + trial.suspect("dirty-plugs", "controller", plugs)
        + trial.asked("start", ["yes", "no"], [0.99, 0.01], {"no-fuel": [0.0, 1.0], "dirty-plugs": [0.01, 0.99]})
        + trial.asked(
            "meter", ["full", "half", "empty"], [0.39, 0.60, 0.01], {"no-fuel": [0.001, 0.001, 0.998]}
        )
        # Perfect knowledge of each cause, to value it.
        + trial.asked("see-fuel", ["there", "none"], [1.0, 0.0], {"no-fuel": [0.0, 1.0]})
        + trial.asked("see-plugs", ["clean", "dirty"], [1.0, 0.0], {"dirty-plugs": [0.0, 1.0]})
    )
    tests = {
        "meter": ["full", "half", "empty"],
        "see-plugs": ["clean", "dirty"],
        "see-fuel": ["there", "none"],
    }
    names = [(t, a) for t, answers in tests.items() for a in answers]
    stuck = trial.answer("start", "no")
    cases = [("", stuck)] + [("", trial.answer(t, a)) for t, a in names]
    cases += [("", stuck + trial.answer(t, a)) for t, a in names]
    found = trial.verdicts(rules, cases)
    base, alone, both = found[0], found[1 : 1 + len(names)], found[1 + len(names) :]
    # What each answer's probability is, given no start: the means of the beliefs must be the belief.
    belief = lambda v: (probability(v, "no-fuel"), probability(v, "dirty-plugs"))
    near("P(fuel)", 1 - belief(base)[0], 0.706813651)
    near("P(clean plugs)", 1 - belief(base)[1], 0.419373754)
    marginal = {
        ("meter", "full"): 0.98 * 0.39 + 0.02 * 0.001,
        ("meter", "half"): 0.98 * 0.60 + 0.02 * 0.001,
        ("meter", "empty"): 0.98 * 0.01 + 0.02 * 0.998,
        ("see-plugs", "clean"): 0.96,
        ("see-plugs", "dirty"): 0.04,
        ("see-fuel", "there"): 0.98,
        ("see-fuel", "none"): 0.02,
    }
    # P(answer | no start) = P(answer) / 2^conflict: Jensen's measure of the two pieces.
    given = {n: marginal[n] / 2 ** v["conflict"] for n, v in zip(names, both)}
    for test, answers in tests.items():
        near(f"{test}: its answers", sum(given[test, a] for a in answers), 1.0)
    bits = lambda p: entropy(p, 1 - p)
    told = dict(zip(names, both))
    near("entropy of fuel", bits(belief(base)[0]), 0.872801772)
    for cause, wanted in ((0, 0.817696189), (1, 0.385785042)):
        after = sum(given["meter", a] * bits(belief(told["meter", a])[cause]) for a in tests["meter"])
        near("information of the meter", bits(belief(base)[cause]) - after, wanted)

    def cost(verdict):
        no_fuel, dirty = belief(verdict)
        # Refuel 10, plugs 40, both 50; what is not mended costs 200 more.
        return min(10 + 200 * dirty, 40 + 200 * no_fuel, 50, 200)

    for test, wanted in (("meter", 15.394171455), ("see-plugs", 20.235721825), ("see-fuel", 16.450099683)):
        after = sum(given[test, a] * cost(told[test, a]) for a in tests[test])
        near(f"value of {test}", cost(base) - after, wanted, 2e-8)
    # The advice's own number: what the meter tells of which sides are touched.
    joint = lambda v: sides_of_two(v)
    after = sum(given["meter", a] * entropy(*joint(told["meter", a])) for a in tests["meter"])
    advised = next(t for t in base["next"] if t["check"] == "meter")
    near("bits of the meter", advised["bits"], entropy(*joint(base)) - after, 1e-9)
    print("published: car start: beliefs, information and value of information to 9 digits")


def sides_of_two(verdict):
    """P(neither), P(supply only), P(controller only), P(both), with no start: neither of the two starts
    only by its own one per cent, so the part of neither follows from the tables."""
    supply, controller = verdict["sides"]["supply"], verdict["sides"]["controller"]
    none = 1 - touched(verdict)
    both = supply + controller - (1 - none)
    return none, supply - both, controller - both, both


def touched(verdict):
    # P(no start | neither) P(neither) / P(no start), and the meter's part, by hand.
    seen = {e["check"]: e.get("answer") for e in verdict["evidence"]}
    tables = {"full": (0.39, 0.001), "half": (0.60, 0.001), "empty": (0.01, 0.998), None: (1.0, 1.0)}
    healthy, no_fuel = tables[seen.get("meter")]
    weights = [0.98 * 0.96 * 0.01 * healthy, 0.02 * 0.96 * no_fuel, 0.98 * 0.04 * 0.99 * healthy, 0.02 * 0.04 * no_fuel]
    return 1 - weights[0] / sum(weights)


def multipliers():
    """de Kleer & Williams (1987): F = 10 where 12 was expected, G = 12 as expected.

    A noisy-OR has no fault that hides another's: that G is right clears M2, M3 and A2, so {M2, M3} and
    {M2, A2} are not among the diagnoses. M1 and A1 lead equally, and X is the next place to probe."""
    share = 0.01 / 0.99
    parts = {"M1": "supply", "M2": "controller", "M3": "controller", "A1": "pump", "A2": "outside"}
    bad = {"good": [1.0, 0.0], "bad": [0.0, 1.0]}
    probe = lambda name, through: trial.asked(name, ["right", "wrong"], bad["good"], {p: bad["bad"] for p in through})
    rules = trial.HEAD + f"faults_at_once = 3\nnone = {1 / (5 * share)!r}\ncoincidence = {5 * share!r}\n"
    rules += trial.POINT.format(0) + "".join(trial.suspect(n, s, share) for n, s in parts.items())
    rules += probe("F", ["M1", "M2", "A1"]) + probe("G", ["M2", "M3", "A2"])
    rules += probe("X", ["M1"]) + probe("Y", ["M2"]) + probe("Z", ["M3"])
    seen = trial.answer("F", "wrong") + trial.answer("G", "right")
    (verdict,) = trial.verdicts(rules, [("", seen)])
    found = {s["id"]: s["probability"] for s in verdict["suspects"]}
    near("M1 and A1", found["M1"], found["A1"], 1e-12)
    # By hand: each alone p(1 − p), both p²; P(M1) = p / (2p − p²).
    near("M1", found["M1"], 0.01 / (0.02 - 0.0001), 1e-9)
    if max(found["M2"], found["M3"], found["A2"]) > 1e-12:
        raise SystemExit(f"G is right: {found}")
    if verdict["next"][0]["check"] != "X":
        raise SystemExit(f"the next probe is {verdict['next'][0]}")
    print(f"published: three multipliers: M1 = A1 = {found['M1']:.4f}, next probe X")


def follow(verdict_of, seen, tests):
    """The next advised test that has not been done."""
    return next(t["check"] for t in verdict_of[frozenset(seen.items())]["next"])


def probability_over_cost():
    """Kadane & Simon (1977): looking for one thing in four places, by p/c: 3, 1, 4, 2, expected cost 10.3.

    By information alone place 4 would come before place 1; it is the second step that puts it right."""
    chances, costs = [0.4, 0.3, 0.2, 0.1], [5, 15, 1, 2]
    sides = ["supply", "controller", "pump", "outside"]
    rules = trial.HEAD + "faults_at_once = 1\nnone = 1e-9\nisolate_at = 0.999999\n" + trial.POINT.format(0)
    for i, chance in enumerate(chances):
        rules += trial.suspect(f"at{i + 1}", sides[i], chance)
    for i, minutes in enumerate(costs):
        rules += trial.asked(f"look{i + 1}", ["no", "there"], [1.0, 0.0], {f"at{i + 1}": [0.0, 1.0]}, minutes)
    order = []
    for _ in range(4):
        events = "".join(trial.answer(f"look{i}", "no") for i in order)
        (verdict,) = trial.verdicts(rules, [("", events)])
        # The last place is known by elimination; it still has to be looked at.
        order.append(int(verdict["next"][0]["check"][4:]))
    spent, expected = 0, 0.0
    for place in order:
        spent += costs[place - 1]
        expected += chances[place - 1] * spent
    if order != [3, 1, 4, 2]:
        raise SystemExit(f"probability over cost: {order}, {expected}")
    near("expected cost", expected, 10.3, 1e-12)
    print(f"published: probability over cost: order {order}, expected cost {expected:.1f}")


class Game:
    """A small rule set of asked checks, played to a budget of minutes."""

    def __init__(self, rng, tests, minutes):
        self.sides = rng.sample(["supply", "controller", "pump", "outside"], 3) + [rng.choice(["supply", "pump"])]
        self.shares = [round(rng.uniform(1, 10), 2) for _ in self.sides]
        self.none = 0.05
        self.tests = []
        for _ in range(tests):
            otherwise = round(rng.uniform(0.01, 0.1), 3)
            fails = {s: round(rng.choice([0.4, 0.8, 0.95]), 3) for s in rng.sample(range(4), rng.randint(1, 3))}
            self.tests.append((otherwise, fails, minutes(rng)))
        total = sum(self.shares)
        weights = [self.none] + [s / total for s in self.shares]
        self.prior = [w / sum(weights) for w in weights]
        self.masks = [""] + self.sides

    def toml(self):
        text = trial.HEAD + f"faults_at_once = 1\nnone = {self.none}\nisolate_at = 0.9999999\n" + trial.POINT.format(0)
        for i, (side, share) in enumerate(zip(self.sides, self.shares)):
            text += trial.suspect(f"s{i}", side, share)
        for i, (otherwise, fails, minutes) in enumerate(self.tests):
            rows = {f"s{s}": [1 - f, f] for s, f in fails.items()}
            text += trial.asked(f"t{i}", ["good", "bad"], [1 - otherwise, otherwise], rows, minutes)
        return text

    def weights(self, seen):
        found = list(self.prior)
        for test, bad in seen:
            otherwise, fails, _ = self.tests[test]
            for h in range(len(found)):
                f = otherwise if h == 0 else fails.get(h - 1, otherwise)
                found[h] *= f if bad else 1 - f
        return found

    def uncertainty(self, seen):
        """P(seen) times the entropy over the sides then."""
        sums = {}
        for w, mask in zip(self.weights(seen), self.masks):
            sums[mask] = sums.get(mask, 0.0) + w
        total = sum(sums.values())
        return total * entropy(*(w / total for w in sums.values()))

    def open(self, seen, budget):
        done = {test for test, _ in seen}
        return [t for t, (_, _, minutes) in enumerate(self.tests) if t not in done and minutes <= budget]

    def play(self, choose, seen=frozenset(), budget=0):
        """The expected uncertainty left under a policy."""
        tests = self.open(seen, budget)
        test = choose(seen, tests) if tests else None
        if test is None:
            return self.uncertainty(seen)
        left = budget - self.tests[test][2]
        return sum(self.play(choose, seen | {(test, bad)}, left) for bad in (False, True))

    def best(self, seen=frozenset(), budget=0, kept=None):
        """Expectimax, by brute force."""
        kept = {} if kept is None else kept
        key = (seen, budget)
        if key not in kept:
            options = [self.uncertainty(seen)]
            for test in self.open(seen, budget):
                left = budget - self.tests[test][2]
                options.append(sum(self.best(seen | {(test, bad)}, left, kept) for bad in (False, True)))
            kept[key] = min(options)
        return kept[key]


def regret(name, rng, count, tests, budget, minutes):
    """How much more uncertain the advice leaves one than the best policy would, in bits."""
    advised, one_step, ideal, start, worst = 0.0, 0.0, 0.0, 0.0, 0.0
    for _ in range(count):
        game = Game(rng, tests, minutes)
        prefixes = []
        for state in itertools.product([None, False, True], repeat=tests):
            prefixes.append(frozenset((t, bad) for t, bad in enumerate(state) if bad is not None))
        word = lambda bad: "bad" if bad else "good"
        cases = [("", "".join(trial.answer(f"t{t}", word(b)) for t, b in sorted(p))) for p in prefixes]
        ranked = {}
        for prefix, verdict in zip(prefixes, trial.verdicts(game.toml(), cases)):
            ranked[prefix] = [(int(t["check"][1:]), t["bits_per_minute"]) for t in verdict["next"]]
        first = lambda seen, tests: next(t for t, _ in ranked[seen] if t in tests)
        rate = lambda seen, tests: max((r for r in ranked[seen] if r[0] in tests), key=lambda r: r[1])[0]
        best = game.best(budget=budget)
        own = game.play(first, budget=budget)
        worst = max(worst, own - best)
        advised, ideal, start = advised + own, ideal + best, start + game.uncertainty(frozenset())
        one_step += game.play(rate, budget=budget)
    told = (start - ideal) / count
    regret, greedy = (advised - ideal) / count, (one_step - ideal) / count
    print(
        f"published: next test, {name}: of {told:.3f} bits that the best policy tells, the advice misses "
        f"{regret:.4f} on average, {worst:.4f} at worst; one step alone {greedy:.4f}"
    )
    if regret > 0.03 * told or worst > 0.3 * told or regret > greedy + 0.002:
        raise SystemExit("published: the advice misses too much")


def main():
    trial.PROGRAM = sys.argv[1]
    car_start()
    multipliers()
    probability_over_cost()
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 7)
    regret("three tests of a minute each", rng, 25, 5, 3, lambda rng: 1)
    regret("twelve minutes, tests of one to eight", rng, 25, 5, 12, lambda rng: rng.randint(1, 8))


main()
