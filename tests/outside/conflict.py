"""Jensen's conflict measure, log prod P(e_i) / P(e), against pgmpy's numbers, on random rule sets.

usage: conflict.py PROGRAM [RULE SETS]
"""

import itertools
import math
import random
import sys
import warnings

warnings.simplefilter("ignore")

import numpy
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

import trial
from reasoning import Rules, observe


def answers(check):
    """Of a check: P(each result | which of its suspects are present), and these suspects."""
    kind, healthy, rows = check
    if kind == "measured":
        healthy, rows = [1 - healthy, healthy], {s: [1 - f, f] for s, f in rows.items()}
    names = sorted(rows)
    upto = lambda row, a: sum(row[: a + 1]) if a + 1 < len(row) else 1.0
    table = []
    for present in itertools.product([False, True], repeat=len(names)):
        reached = []
        for a in range(len(healthy)):
            base = upto(healthy, a)
            ratios = [upto(rows[s], a) / base for s, there in zip(names, present) if there]
            reached.append(base * math.prod(ratios))
        table.append([r - (reached[a - 1] if a else 0.0) for a, r in enumerate(reached)])
    return numpy.array(table).T, names


def network(rules):
    sets, prior = rules.hypotheses()
    net = DiscreteBayesianNetwork()
    net.add_node("H")
    net.add_cpds(TabularCPD("H", len(sets), [[p] for p in prior]))
    for s, name in enumerate(rules.names):
        net.add_edge("H", name)
        there = [float(s in chosen) for chosen in sets]
        net.add_cpds(TabularCPD(name, 2, [[1 - x for x in there], there], ["H"], [len(sets)]))
    checks = [(f"c{i}", check) for i, check in enumerate(rules.checks)]
    if rules.complaint:
        checks.append(("moan", ("measured", *rules.complaint)))
    for name, check in checks:
        table, suspects = answers(check)
        parents = [rules.names[s] for s in suspects]
        net.add_edges_from((parent, name) for parent in parents)
        net.add_cpds(TabularCPD(name, len(table), table, parents, [2] * len(parents)))
    net.check_model()
    return VariableElimination(net)


def conflict(engine, seen):
    """In bits."""
    names = list(seen)
    joint = engine.query(names, joint=True, show_progress=False)
    together = joint.values
    for name in joint.variables:
        # The axis of what was seen so far is summed away, the next one comes first.
        together = numpy.tensordot(numpy.array(seen[name]), together, axes=(0, 0))
    apart = 0.0
    for name in names:
        alone = engine.query([name], show_progress=False).values
        apart += math.log2(float(numpy.dot(alone, seen[name])))
    return apart - math.log2(float(together))


def main():
    trial.PROGRAM = sys.argv[1]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 25
    rng = random.Random(5)
    worst, ran, conflicts = 0.0, 0, 0
    for _ in range(count):
        rules = Rules(rng)
        cases = [observe(rules, rng) for _ in range(2)]
        engine = network(rules)
        found = trial.verdicts(rules.toml(), [(head, events) for head, events, _ in cases])
        for (_, _, seen), verdict in zip(cases, found):
            if len(seen) < 2:
                continue
            wanted = conflict(engine, seen)
            worst = max(worst, abs(verdict["conflict"] - wanted))
            ran, conflicts = ran + 1, conflicts + (wanted > 0)
    print(f"conflict: {ran} cases against pgmpy, {conflicts} of them in conflict; largest difference {worst:.1e} bits")
    if not (worst < 1e-9 and ran > count and conflicts):
        raise SystemExit("conflict: not within 1e-9 bits")


main()
