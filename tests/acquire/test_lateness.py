"""How late scans began, counted and told."""

import numpy as np

from acquire.lateness import HeldUp, Lateness

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


def test_what_held_scans_up_is_told_for_ten_seconds() -> None:
    held_up = HeldUp()
    assert held_up.words(0) == ""
    assert not held_up.note(20_000 * MS, 499 * MS)
    assert held_up.words(20_000 * MS) == ""
    assert held_up.note(20_000 * MS, 3_100 * MS)
    assert held_up.words(20_200 * MS) == ("; but scans were held up for 3.1 s until 0.2 s before")
    assert not held_up.note(25_000 * MS, 0)
    assert held_up.words(30_000 * MS)
    assert not held_up.words(30_001 * MS)
