"""How late scans began, counted."""

import numpy as np

from acquire.lateness import Lateness

MS = 1_000_000


def test_quantiles_are_those_of_the_list_to_a_step() -> None:
    rng = np.random.default_rng(5)
    late = (rng.exponential(4.0, 5000) * MS).astype(int)
    lateness = Lateness()
    for ns in late:
        lateness.add(int(ns), 0)
    facts = lateness.facts()
    assert facts["scans"] == 5000
    for name, share in (("p50_ms", 0.5), ("p99_ms", 0.99)):
        exact = np.quantile(late, share, method="inverted_cdf") / MS
        assert exact <= facts[name] <= exact + 0.1
    assert facts["most_ms"] == late.max() / MS


def test_what_is_later_than_the_last_step_is_told_by_the_latest() -> None:
    lateness = Lateness()
    lateness.add(5_000 * MS, 24)
    assert lateness.quantile_ns(0.99) == 5_000 * MS
    assert lateness.missed == 24


def test_without_a_scan_there_is_nothing() -> None:
    assert Lateness().facts()["p99_ms"] == 0.0
