"""Reads a /metrics exposition with Prometheus' own parser and holds its names to its conventions."""

import sys

from prometheus_client.parser import text_string_to_metric_families

text = sys.stdin.read()
families = {family.name: family for family in text_string_to_metric_families(text)}
assert len(families) > 15, sorted(families)
for name, family in families.items():
    assert name.startswith(("trisect_", "process_")), name
    assert family.documentation, f"{name} has no HELP"
    assert family.type in ("counter", "gauge", "histogram"), (name, family.type)
    # Base units only (prometheus.io, "Metric and label naming").
    for unit in ("milli", "micro", "minute", "hour", "kilo", "mega", "percent", "_ms", "_kb"):
        assert unit not in name, f"{name} is not in base units"
    for sample in family.samples:
        if family.type == "counter":
            assert sample.name.endswith("_total"), sample.name
histogram = families["trisect_call_duration_seconds"]
by_method = {}
for sample in histogram.samples:
    if sample.name.endswith("_bucket"):
        by_method.setdefault(sample.labels["method"], []).append((float(sample.labels["le"]), sample.value))
for method, buckets in by_method.items():
    assert buckets == sorted(buckets), f"{method}: the classes are not in order, or shrink"
    assert buckets[-1][0] == float("inf"), method
assert any(s.value >= 1 for s in families["trisect_calls"].samples)
print(f"metrics: {len(families)} families, read by prometheus_client")
