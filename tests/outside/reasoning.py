"""Beliefs, weights, conflict and information against pyAgrum, on random rule sets.

usage: reasoning.py PROGRAM [RULE SETS]
"""

import itertools
import math
import random
import sys

import pyagrum as gum

import trial

# More threads than one wait for each other on problems as small as these.
gum.setNumberOfThreads(1)

SIDES = ["supply", "controller", "pump", "outside"]
LETTERS = "abcd"


class Rules:
    """A random rule set, and what it says as a Bayesian network."""

    def __init__(self, rng):
        self.count = rng.randint(3, 7)
        self.names = [f"s{i}" for i in range(self.count)]
        self.sides = [rng.choice(SIDES) for _ in self.names]
        self.shares = [round(rng.uniform(1, 100), 3) for _ in self.names]
        self.at_once = rng.randint(1, 3)
        self.none = round(rng.uniform(0.01, 0.5), 4)
        self.coincidence = round(rng.uniform(0.01, 1.5), 4)
        pairs = list(itertools.combinations(range(self.count), 2))
        self.links = {p: round(rng.uniform(0.2, 20), 3) for p in rng.sample(pairs, rng.randint(0, 2))}
        self.checks = [self.check(rng, i) for i in range(rng.randint(3, 7))]
        self.complaint = self.noisy_or(rng) if rng.random() < 0.5 else None

    def some(self, rng):
        return rng.sample(range(self.count), rng.randint(1, self.count))

    def noisy_or(self, rng):
        otherwise = round(rng.uniform(0.001, 0.1), 4)
        return otherwise, {s: round(rng.uniform(otherwise, 0.99), 4) for s in self.some(rng)}

    def check(self, rng, number):
        if rng.random() < 0.5:
            return ("measured", *self.noisy_or(rng))
        answers = rng.randint(2, 4)
        healthy = sorted((rng.random() for _ in range(answers)), reverse=True)
        healthy[0] += 3
        healthy = rounded(healthy)
        rows = {}
        for s in self.some(rng):
            # Every cumulative probability is at most the healthy one's.
            cut = sorted(rng.random() for _ in range(answers - 1))
            row, below, reached = [], 0.0, 0.0
            for a in range(answers - 1):
                reached = round(reached + healthy[a], 6)
                upto = round(max(below, cut[a] * reached), 6)
                row.append(round(upto - below, 6))
                below = upto
            row.append(round(1 - below, 6))
            rows[s] = row
        return ("asked", healthy, rows)

    def toml(self):
        text = trial.HEAD + (
            f"faults_at_once = {self.at_once}\nnone = {self.none}\ncoincidence = {self.coincidence}\n"
        )
        text += "".join(trial.POINT.format(i) for i in range(len(self.checks)))
        text += "".join(map(trial.suspect, self.names, self.sides, self.shares))
        for (a, b), times in self.links.items():
            text += f'[[link]]\nfirst = "s{a}"\nsecond = "s{b}"\ntimes = {times}\n'
        for i, check in enumerate(self.checks):
            if check[0] == "asked":
                rows = {self.names[s]: row for s, row in check[2].items()}
                text += trial.asked(f"c{i}", LETTERS[: len(check[1])], check[1], rows)
            else:
                fails = "".join(f"s{s} = {f}\n" for s, f in check[2].items())
                text += (
                    f'[[check]]\nid = "c{i}"\ntitle = "C"\npoint = "p{i}"\nphase = ["off"]\ntake = "last"\n'
                    f'limit = {{ at_least = "5 V" }}\n[check.fails]\notherwise = {check[1]}\n{fails}'
                )
        if self.complaint:
            given = "".join(f"s{s} = {f}\n" for s, f in self.complaint[1].items())
            text += (
                f'[[complaint]]\nid = "moan"\ntitle = "M"\n[complaint.given]\n'
                f"otherwise = {self.complaint[0]}\n{given}"
            )
        return text

    def hypotheses(self):
        total = sum(self.shares)
        sets, weights = [], []
        for size in range(self.at_once + 1):
            for chosen in itertools.combinations(range(self.count), size):
                weight = self.none if size == 0 else self.coincidence ** (size - 1)
                for s in chosen:
                    weight *= self.shares[s] / total
                for pair, times in self.links.items():
                    if set(pair) <= set(chosen):
                        weight *= times
                sets.append(chosen)
                weights.append(weight)
        return sets, [w / sum(weights) for w in weights]

    def network(self):
        """The faults hang on one node of all hypotheses; noisy-OR is the library's own."""
        net = gum.BayesNet()
        sets, prior = self.hypotheses()
        net.add(gum.RangeVariable("H", "", 0, len(sets) - 1))
        net.cpt("H").fillWith(prior)
        for s, name in enumerate(self.names):
            net.add(gum.RangeVariable(name, "", 0, 1))
            net.addArc("H", name)
            net.cpt(name).fillWith([float(x) for chosen in sets for x in (s not in chosen, s in chosen)])
        for i, check in enumerate(self.checks):
            if check[0] == "measured":
                self.noisy_or_node(net, f"c{i}", check[1], check[2])
            else:
                self.noisy_max_node(net, f"c{i}", check[1], check[2])
        if self.complaint:
            self.noisy_or_node(net, "moan", *self.complaint)
        return net, sets

    def noisy_or_node(self, net, name, otherwise, given):
        # "Compound": the weight of a cause is P(shows) with only this cause present, leak included.
        net.addNoisyORCompound(gum.RangeVariable(name, "", 0, 1), otherwise)
        for s, f in given.items():
            net.addWeightedArc(self.names[s], name, f)

    def noisy_max_node(self, net, name, healthy, rows):
        """Each fault draws an answer of its own, and the worst is seen: as many hidden answers."""
        answers = len(healthy)
        below = lambda row, a: sum(row[: a + 1]) if a + 1 < answers else 1.0
        net.add(gum.RangeVariable(name, "", 0, answers - 1))
        hidden = [net.add(gum.RangeVariable(f"{name}leak", "", 0, answers - 1))]
        net.cpt(hidden[0]).fillWith([below(healthy, a) - (below(healthy, a - 1) if a else 0) for a in range(answers)])
        for s, row in rows.items():
            own = net.add(gum.RangeVariable(f"{name}of{s}", "", 0, answers - 1))
            net.addArc(self.names[s], net.variable(own).name())
            ratio = [below(row, a) / below(healthy, a) for a in range(answers)]
            drawn = [r - (ratio[a - 1] if a else 0.0) for a, r in enumerate(ratio)]
            net.cpt(own).fillWith([1.0] + [0.0] * (answers - 1) + drawn)
            hidden.append(own)
        for node in hidden:
            net.addArc(node, net.idFromName(name))
        # The worst of all: the same whichever of the hidden answers comes first.
        rows = itertools.product(range(answers), repeat=len(hidden))
        net.cpt(name).fillWith([float(a == max(values)) for values in rows for a in range(answers)])


def rounded(parts):
    shares = [round(p / sum(parts), 4) for p in parts]
    shares[0] = round(1 - sum(shares[1:]), 4)
    return shares


def observe(rules, rng):
    """Evidence as events of a case and as evidence of the network."""
    events, seen = "", {}
    for i, check in enumerate(rules.checks):
        kind = rng.random()
        if kind < 0.3:
            continue
        if check[0] == "asked":
            a = rng.randrange(len(check[1]))
            events += trial.answer(f"c{i}", LETTERS[a])
            seen[f"c{i}"] = [float(a == b) for b in range(len(check[1]))]
        elif kind < 0.6:
            volts, u = round(rng.uniform(4.8, 5.2), 3), 0.1
            events += trial.reading(f"p{i}", f"{volts} V", f"{u} V")
            p = 0.5 * math.erfc((5 - volts) / u / math.sqrt(2))
            seen[f"c{i}"] = [p, 1 - p]
        else:
            fails = rng.random() < 0.5
            events += trial.outcome(f"c{i}", "failed" if fails else "passed")
            seen[f"c{i}"] = [float(not fails), float(fails)]
    head = ""
    if rules.complaint:
        head = 'complaint = "moan"'
        seen["moan"] = [0.0, 1.0]
    return head, events, seen


class Library:
    def __init__(self, rules):
        self.rules = rules
        self.net, self.sets = rules.network()

    def infer(self, seen):
        engine = gum.LazyPropagation(self.net)
        engine.setEvidence(seen)
        engine.addTarget("H")
        engine.makeInference()
        posterior = engine.posterior("H").toarray()
        return posterior, engine.evidenceProbability() if seen else 1.0

    def side(self, posterior, side):
        touched = lambda chosen: any(self.rules.sides[s] == side for s in chosen)
        return sum(p for p, chosen in zip(posterior, self.sets) if touched(chosen))


def log_odds(p):
    return 10 * (math.log10(p) - math.log10(1 - p)) if 0 < p < 1 else math.nan


def compare(rules, cases, verdicts, worst):
    library = Library(rules)
    for (_, _, seen), verdict in zip(cases, verdicts):
        posterior, together = library.infer(seen)
        for suspect in verdict["suspects"]:
            number = int(suspect["id"][1:])
            p = sum(q for q, chosen in zip(posterior, library.sets) if number in chosen)
            note(worst, "suspects", suspect["probability"] - p)
        sides = {side: library.side(posterior, side) for side in SIDES}
        for side in SIDES:
            note(worst, "sides", verdict["sides"][side] - sides[side])
        apart = sum(math.log2(library.infer({name: seen[name]})[1]) for name in seen)
        note(worst, "conflict (bits)", verdict["conflict"] - (apart - math.log2(together)))
        for piece in verdict["evidence"]:
            rest = {name: seen[name] for name in seen if name != piece["check"]}
            without, _ = library.infer(rest)
            for side in SIDES:
                weight = log_odds(sides[side]) - log_odds(library.side(without, side))
                if math.isfinite(weight):
                    note(worst, "weight (dB)", piece["decibans"][side] - weight)
        if not seen or set(seen) == {"moan"}:
            information(library, seen, verdict, worst)


def information(library, seen, verdict, worst):
    """What each test would tell of which sides are touched: mutual information."""
    masks = [frozenset(library.rules.sides[s] for s in chosen) for chosen in library.sets]
    for test in verdict["next"]:
        engine = gum.LazyPropagation(library.net)
        engine.setEvidence(seen)
        engine.addJointTarget({"H", test["check"]})
        engine.makeInference()
        joint = engine.jointPosterior({"H", test["check"]})
        results = library.net.variable(test["check"]).domainSize()
        cells = {}
        for h, mask in enumerate(masks):
            for a in range(results):
                p = joint[{"H": h, test["check"]: a}]
                cells[mask, a] = cells.get((mask, a), 0.0) + p
        rows, columns = {}, {}
        for (mask, a), p in cells.items():
            rows[mask] = rows.get(mask, 0.0) + p
            columns[a] = columns.get(a, 0.0) + p
        bits = sum(p * math.log2(p / rows[m] / columns[a]) for (m, a), p in cells.items() if p > 0)
        note(worst, "information (bits)", test["bits"] - bits)


def note(worst, what, difference):
    worst[what] = max(worst.get(what, 0.0), abs(difference))


def main():
    trial.PROGRAM = sys.argv[1]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    rng = random.Random(1)
    worst, ran = {}, 0
    for _ in range(count):
        rules = Rules(rng)
        cases = [("", "", {})] if not rules.complaint else [('complaint = "moan"', "", {"moan": [0.0, 1.0]})]
        cases += [observe(rules, rng) for _ in range(3)]
        found = trial.verdicts(rules.toml(), [(head, events) for head, events, _ in cases])
        compare(rules, cases, found, worst)
        ran += len(cases)
    print(f"reasoning: {count} random rule sets, {ran} cases against pyAgrum; largest differences:")
    for what, difference in sorted(worst.items()):
        print(f"  {what:<20} {difference:.1e}")
    limits = {"weight (dB)": 1e-7}
    bad = [what for what, difference in worst.items() if not difference < limits.get(what, 1e-9)]
    if bad:
        raise SystemExit(f"reasoning: not within 1e-9 (weights 1e-7 dB): {bad}")


if __name__ == "__main__":
    main()
