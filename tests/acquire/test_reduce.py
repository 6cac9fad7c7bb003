"""The command `reduce`: what it prints, what it refuses, and that it never prints nonsense."""

import json
import math
import os
import subprocess
import sys
import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from acquire.commands import app
from acquire.reducing import template
from tests.published.readings import Tables, reduced, refused, run, single, toml

EXAMPLE: Tables = tomllib.loads(template())
SINGLE = single((100e3, 6600, 400), (400, 4.5, 320), (264, 15.15152, 1750))
THREE: Tables = SINGLE | {
    "rating": SINGLE["rating"] | {"power_va": 300e3, "phases": 3},
    "no_load": {"voltage_v": 400, "current_a": 7.8, "power_w": 960},
    "load": {"voltage_v": 264, "current_a": 26.24, "power_w": 5250},
}
# Names of `pair_mean` in `rehearse --json` that issue and rehearsal promise.
PAIR_MEAN = {
    "no_load_loss_w",
    "no_load_current_a",
    "no_load_current_percent",
    "no_load_power_factor",
    "core_loss_current_a",
    "magnetizing_current_a",
    "core_loss_resistance_ohm",
    "magnetizing_reactance_ohm",
    "wave_shape_percent",
    "load_loss_w",
    "equivalent_resistance_ohm",
    "equivalent_impedance_ohm",
    "equivalent_reactance_ohm",
    "impedance_percent",
    "impedance_at_rated_voltage_ohm",
    "impedance_at_rated_voltage_percent",
    "winding_temperature_c",
    "load_loss_reference_w",
    "impedance_reference_percent",
    "reference_temperature_c",
    "efficiency",
    "regulation_percent",
}


def changed(tables: Tables, **changes: Any) -> Tables:
    """Return tables with values changed: no_load__power_w = 1; None takes the key out."""
    found = deepcopy(tables)
    for name, value in changes.items():
        *path, key = name.split("__")
        table = found
        for part in path:
            table = table.setdefault(part, {})
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
    return found


class TestJson:
    def test_the_example_is_within_its_limits(self, tmp_path: Path) -> None:
        """What `--template` prints can be reduced as it stands."""
        result = CliRunner().invoke(app, ["reduce", "--template"])
        (tmp_path / "mine.toml").write_text(result.stdout, encoding="utf-8")
        result = CliRunner().invoke(app, ["reduce", str(tmp_path / "mine.toml"), "--json"])
        assert result.exit_code == 0
        assert json.loads(result.stdout)["verdict"] == "within"

    def test_names_are_those_of_the_rehearsal(self, tmp_path: Path) -> None:
        """`pair_mean` has every name that `rehearse --json` has, and the referred values."""
        found = reduced(tmp_path, EXAMPLE)
        mean = found["pair_mean"]
        assert mean.keys() >= PAIR_MEAN
        n = 6600 / 400
        for name in ("resistance", "impedance", "reactance"):
            ratio = mean[f"equivalent_{name}_ohm"] / mean[f"equivalent_{name}_lv_ohm"]
            assert ratio == pytest.approx(n**2)
        for name in ("core_loss_resistance", "magnetizing_reactance"):
            ratio = mean[f"{name}_hv_ohm"] / mean[f"{name}_ohm"]
            assert ratio == pytest.approx(n**2)

    def test_one_transformer_is_called_so(self, tmp_path: Path) -> None:
        """`units = 1` gives `transformer`, without verdict or uncertainty where none can be."""
        found = reduced(tmp_path, SINGLE)
        assert "pair_mean" not in found
        assert found["method"] == "short circuit"
        assert (found["verdict"], found["uncertainty"], found["decision_rule"]) == (None,) * 3
        assert found["transformer"]["load_loss_reference_w"] is None

    def test_every_reported_value_has_its_uncertainty(self, tmp_path: Path) -> None:
        """With instruments each measured quantity has standard, expanded and factor."""
        found = reduced(tmp_path, EXAMPLE)
        fixed = {"winding_temperature_c", "reference_temperature_c", "all_day_efficiency"}
        fixed |= {"impedance_at_rated_voltage_ohm", "impedance_at_rated_voltage_percent"}
        for name, value in found["pair_mean"].items():
            names = {name}
            if isinstance(value, list):
                names = {f"{name}({at['load']:g}, {at['power_factor']:g})" for at in value}
            elif name in fixed:
                continue
            for one in names:
                known = found["uncertainty"][one]
                assert known["expanded"] == pytest.approx(known["factor"] * known["standard"])

    def test_the_side_read_on_may_be_the_other(self, tmp_path: Path) -> None:
        """No load from HV and short circuit from LV give the same transformer."""
        n = 6600 / 400
        turned = changed(
            SINGLE,
            no_load={"voltage_v": 6600, "current_a": 4.5 / n, "power_w": 320, "side": "hv"},
            load={"voltage_v": 16, "current_a": 15.15152 * n, "power_w": 1750, "side": "lv"},
        )
        expected, got = (reduced(tmp_path, t)["transformer"] for t in (SINGLE, turned))
        for name in ("core_loss_resistance_ohm", "equivalent_reactance_ohm", "load_loss_w"):
            assert got[name] == pytest.approx(expected[name], rel=1e-12)

    def test_a_negative_lv_power_is_accepted(self, tmp_path: Path) -> None:
        """The loop may feed the LV supply: the balance keeps the sign."""
        shifted = changed(EXAMPLE, load__lv_power_w=-60.0, load__power_w=929.0)
        found = reduced(tmp_path, shifted)
        split = found["plain_split"]
        assert split["exchanged_power_w"] == pytest.approx(-701.0)
        assert split["no_load_loss_w"] == pytest.approx(-30.0)
        plain = reduced(tmp_path, EXAMPLE)["pair_mean"]["load_loss_w"]
        assert found["pair_mean"]["load_loss_w"] == pytest.approx(plain, rel=1e-3)

    def test_drawing_agrees_with_the_budgets(self, tmp_path: Path) -> None:
        """A Monte Carlo beside the budgets finds the same standard uncertainties."""
        found = reduced(tmp_path, EXAMPLE, "--monte-carlo", "20000")
        assert found["monte_carlo"]["draws"] == 20000
        for name, drawn in found["monte_carlo"]["quantities"].items():
            # 20 000 draws know a standard deviation to 0.5 %; four of that.
            known = found["uncertainty"][name]
            assert drawn["standard"] == pytest.approx(known["standard"], rel=0.02), name
            assert drawn["lower"] < drawn["mean"] < drawn["upper"]


class TestVerdict:
    def test_outside_is_exit_code_4(self, tmp_path: Path) -> None:
        """A guarantee that isn't kept is found wrong."""
        tight = changed(EXAMPLE, guarantee__load_loss_w=1500)
        assert run(tmp_path, tight).exit_code == 4
        assert "OUTSIDE" in run(tmp_path, tight).stdout

    def test_the_guarded_rule_counts_the_uncertainty(self, tmp_path: Path) -> None:
        """4.39 % against 4.4 % is within simply, and outside with its uncertainty."""
        near = changed(EXAMPLE, guarantee__impedance_percent=3.72)
        simple, guarded = (reduced(tmp_path, near, "--rule", r) for r in ("simple", "guarded"))
        assert (simple["verdict"], guarded["verdict"]) == ("within", "outside")
        assert (simple["decision_rule"], guarded["decision_rule"]) == ("simple", "guarded")
        row = next(r for r in guarded["limits"] if r["quantity"] == "impedance_reference_percent")
        assert row["guard"] == guarded["uncertainty"]["impedance_reference_percent"]["expanded"]

    def test_the_rule_stands_beside_the_verdict(self, tmp_path: Path) -> None:
        """The terminal says by which rule, the file's own where no option is given."""
        own = changed(EXAMPLE, guarantee__rule="guarded")
        assert "Verdict by the guarded rule: within limits" in run(tmp_path, own).stdout
        assert "Verdict by the simple rule" in run(tmp_path, own, "--rule", "simple").stdout

    def test_no_verdict_without_temperature(self, tmp_path: Path) -> None:
        """Nothing stands at reference temperature: no verdict, its reason, and code 4."""
        found = run(tmp_path, changed(EXAMPLE, temperature=None))
        assert found.exit_code == 4
        assert "none; no winding temperature" in found.stdout

    def test_no_guarded_verdict_on_an_unknown_exchange(self, tmp_path: Path) -> None:
        """What the budget can't hold can't guard: a blind plain split has no such verdict."""
        blind = changed(EXAMPLE, load__lv_voltage_v=None, load__lv_power_w=None)
        blind = changed(blind, no_load__series_voltage_v=None)
        assert reduced(tmp_path, blind)["verdict"] == "within"
        guarded = reduced(tmp_path, blind, "--rule", "guarded")
        assert guarded["verdict"] is None
        assert "isn't known" in guarded["verdict_reason"]

    def test_a_guarded_rule_needs_instruments(self, tmp_path: Path) -> None:
        """Nothing can be guarded by an uncertainty that nobody stated."""
        bare = changed(EXAMPLE, instruments=None)
        assert "needs its uncertainty" in refused(tmp_path, bare, "--rule", "guarded")


class TestTerminal:
    def test_the_table_has_values_uncertainties_and_verdicts(self, tmp_path: Path) -> None:
        """A line has value, expanded uncertainty with its factor, guarantee, limit and word."""
        rows = [" ".join(line.split()) for line in run(tmp_path, EXAMPLE).stdout.splitlines()]
        assert "P0 no-load loss 320.5 W 1.9 (1.9) 320 ≤ 368 within" in rows
        assert "Results of the pair's mean" in rows
        assert any(row.startswith("peak efficiency index 98.5") for row in rows)

    def test_eighty_columns_hold_it(self, tmp_path: Path) -> None:
        """Nothing is wider than a terminal, and no verdict is cut."""
        lines = run(tmp_path, EXAMPLE).stdout.splitlines()
        assert max(len(line) for line in lines) <= 80
        assert any(line.rstrip().endswith("Verdict") for line in lines)

    def test_a_plain_split_is_warned_of(self, tmp_path: Path) -> None:
        """Without the second wattmeter, and worse without the gap's voltage."""
        split = changed(EXAMPLE, load__lv_voltage_v=None, load__lv_power_w=None)
        assert "half the mismatch" in " ".join(run(tmp_path, split).stdout.split())
        blind = changed(split, no_load__series_voltage_v=None)
        assert "in no uncertainty" in " ".join(run(tmp_path, blind).stdout.split())

    def test_a_budget_is_a_table(self, tmp_path: Path) -> None:
        """Source, value, distribution, sensitivity, share; and what the factor rests on."""
        text = run(tmp_path, EXAMPLE, "--budget", "load_loss_w").stdout
        head = text.splitlines()[0].split()
        assert head == [
            "Source",
            "Value",
            "±",
            "limit",
            "Distribution",
            "Sensitivity",
            "Share,",
            "%",
        ]
        assert "hv.ct, displacement" in text
        ends = [line.split()[-1] for line in text.splitlines()[2:] if " ± " in line]
        shares = [float(end) for end in ends if end[-1].isdigit()]
        assert sum(shares) == pytest.approx(100, abs=0.5)
        assert "95 %" in text

    def test_a_budget_as_json(self, tmp_path: Path) -> None:
        """The same for a program."""
        found = json.loads(run(tmp_path, EXAMPLE, "--budget", "load_loss_w", "--json").stdout)
        assert sum(row["share"] for row in found["rows"]) == pytest.approx(1.0)
        assert found["rows"][0].keys() >= {
            "source",
            "value",
            "distribution",
            "sensitivity",
            "share",
        }

    @pytest.mark.parametrize("suffix", ["svg", "png", "pdf"])
    def test_a_figure(self, tmp_path: Path, suffix: str) -> None:
        """Each kind of file is written, and says what it is in its first bytes."""
        file = tmp_path / f"figure.{suffix}"
        assert run(tmp_path, EXAMPLE, "--figure", str(file)).exit_code == 0
        begin = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[suffix]
        assert file.read_bytes().startswith(begin)

    def test_a_figure_shows_curves_and_circuit_values(self, tmp_path: Path) -> None:
        """As text in the drawing: titles, units, the four elements on both sides."""
        file = tmp_path / "figure.svg"
        run(tmp_path, EXAMPLE, "--figure", str(file))
        text = file.read_text(encoding="utf-8")
        for words in ("Efficiency, %", "Regulation, %", "cos φ 0.8 lagging", "499.2 Ω", "135.9 kΩ"):
            assert words in text, words
        again = tmp_path / "again.svg"
        run(tmp_path, EXAMPLE, "--figure", str(again))
        assert again.read_bytes() == file.read_bytes()


DIRECT = changed(EXAMPLE, instruments=None, load__current_a=15.16, load__power_w=3056.0)
# Every reading of the files, a thousand times too large and too small.
READ: list[tuple[str, Tables, str, str]] = [
    (kind, tables, table, key)
    for kind, tables in (
        ("pair", DIRECT),
        ("single", changed(SINGLE, temperature={"winding_c": 75.0})),
        ("three", THREE),
    )
    for table in ("no_load", "load", "temperature")
    for key in tables.get(table, {})
    if key.endswith(("_v", "_a", "_w", "_ohm"))
]


class TestRefused:
    @pytest.mark.parametrize(("kind", "tables", "table", "key"), READ)
    @pytest.mark.parametrize("factor", [1000.0, 0.001])
    def test_a_forgotten_unit_is_told(
        self, tmp_path: Path, kind: str, tables: Tables, table: str, key: str, factor: float
    ) -> None:
        """kV for V, mA for A, kW for W, mΩ for Ω: refused with name and a hint, of any reading."""
        wrong = changed(tables, **{f"{table}__{key}": tables[table][key] * factor})
        words = refused(tmp_path, wrong)
        assert "forgotten" in words, kind
        assert f"{table}." in words

    @pytest.mark.parametrize("key", ["power_va", "lv_voltage_v", "hv_voltage_v"])
    @pytest.mark.parametrize("factor", [1000.0, 0.001])
    def test_a_unit_forgotten_in_the_rating(self, tmp_path: Path, key: str, factor: float) -> None:
        """Readings that don't suit a rating may be right and the rating wrong."""
        wrong = changed(EXAMPLE, **{f"rating__{key}": EXAMPLE["rating"][key] * factor})
        words = refused(tmp_path, wrong)
        assert "forgotten" in words or "2000000" in words

    @pytest.mark.parametrize(
        ("tables", "changes", "words"),
        [
            (SINGLE, {"no_load__power_w": 1801}, "no_load.power_w = 1801, no_load.voltage_v = 400"),
            (SINGLE, {"load__power_w": 4001}, "power above U·I"),
            (SINGLE, {"load__power_w": -1750}, "load.power_w = -1750: must be a finite number"),
            (SINGLE, {"load__power_w": None}, "load.power_w = missing: a stage needs its power"),
            (SINGLE, {"load__lv_voltage_v": 400, "load__lv_power_w": 9}, "no second supply"),
            (SINGLE, {"no_load__series_voltage_v": 6.6}, "one transformer has no gap"),
            (SINGLE, {"temperature__winding_c": 20.0}, "temperature.lv_ohm = missing"),
            (SINGLE, {"temperature__reference_c": 75.0}, "give either winding_c or"),
            (SINGLE, {"lv_branch_ohm": 0.05}, "the load loss would not be above zero"),
            (EXAMPLE, {"load__lv_power_w": None}, "load.lv_power_w = missing"),
            (EXAMPLE, {"no_load__series_voltage_v": -6.6}, "never below zero"),
            (EXAMPLE, {"no_load__series_voltage_v": 13200.0}, "not in opposition"),
            (EXAMPLE, {"load__power_w": 9.0}, "the load loss would not be above zero"),
            (EXAMPLE, {"instruments__lv_ammeter__range": 5}, "above the meter's range"),
            (
                EXAMPLE,
                {"instruments__hv_ammeter__transformer_class": "0.3"},
                "no CT of class '0.3'",
            ),
            (EXAMPLE, {"temperature__hv_hot_ohm": 2.9}, "give either winding_c or"),
        ],
    )
    def test_by_name_value_and_reason(
        self, tmp_path: Path, tables: Tables, changes: dict[str, Any], words: str
    ) -> None:
        """What is missing or what physics forbids is one line with file, name, value, reason."""
        line = refused(tmp_path, changed(tables, **changes))
        assert words in line
        assert "readings.toml" in line

    def test_a_resistance_that_falls_on_heating(self, tmp_path: Path) -> None:
        """2.82 Ohm cold and 2.80 Ohm hot is no heating."""
        wrong = changed(EXAMPLE, temperature__winding_c=None, temperature__hv_hot_ohm=2.80)
        words = refused(tmp_path, wrong)
        assert "temperature.hv_hot_ohm = 2.8" in words
        assert "resistance falls on heating" in words

    def test_one_wattmeter_of_two_is_missing(self, tmp_path: Path) -> None:
        """Two wattmeters make the total of three wires, one doesn't."""
        one = changed(THREE, no_load__power_w=None, no_load__wattmeters_w=[480.0])
        assert "wattmeters_w[0] = 480: the total takes two or three" in refused(tmp_path, one)

    def test_the_line_of_the_reading_is_named(self, tmp_path: Path) -> None:
        """A file has many numbers: the message leads to the one that is wrong."""
        text = toml(changed(SINGLE, no_load__voltage_v=0.4))
        number = next(k for k, line in enumerate(text.splitlines(), 1) if line == "voltage_v = 0.4")
        assert f"readings.toml:{number}: no_load.voltage_v = 0.4" in refused(
            tmp_path, changed(SINGLE, no_load__voltage_v=0.4)
        )

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"no_load__volts": 400}, "expected"),
            ({"no_load__voltage_v": "400"}, "no_load.voltage_v = '400': expected a valid number"),
            ({"no_load__voltage_v": math.nan}, "no_load.voltage_v = nan: expected a finite number"),
            ({"units": 3}, "units = 3: expected 1 or 2"),
            ({"rating": None}, "rating = nothing: expected a value"),
            ({"evaluate__power_factor": [1.2]}, "evaluate.power_factor[0] = 1.2: expected less"),
        ],
    )
    def test_a_file_of_another_shape(
        self, tmp_path: Path, changes: dict[str, Any], words: str
    ) -> None:
        """Unknown keys, other types and lists out of bounds are refused before any calculation."""
        assert words in refused(tmp_path, changed(SINGLE, **changes))

    @pytest.mark.parametrize(
        ("options", "words"),
        [
            (("--budget", "load_los_w"), "did you mean load_loss_w?"),
            (("--budget", "nonsense"), "known are: no_load_loss_w"),
            (("--figure", "figure.gif"), ".svg, .png, .pdf"),
            (("--figure", "none/figure.png"), "no such file or directory"),
            (("--monte-carlo", "10"), "--monte-carlo"),
            (("--rule", "kind"), "--rule"),
        ],
    )
    def test_options(self, tmp_path: Path, options: tuple[str, ...], words: str) -> None:
        """An option that can't be meant is one line."""
        assert words in refused(tmp_path, EXAMPLE, *options)

    @pytest.mark.parametrize("beside", ["--figure=x.svg", "--monte-carlo=1000", "--rule=guarded"])
    def test_nothing_is_left_out_beside_a_budget(self, tmp_path: Path, beside: str) -> None:
        """What is asked for and would not be done is refused."""
        words = refused(tmp_path, EXAMPLE, "--budget", "load_loss_w", beside)
        assert f"expected no {beside.partition('=')[0]}" in words

    @pytest.mark.parametrize("options", [("--budget", "load_loss_w"), ("--monte-carlo", "1000")])
    def test_uncertainty_without_instruments(
        self, tmp_path: Path, options: tuple[str, ...]
    ) -> None:
        """What nobody stated isn't made up."""
        assert "needs [instruments]" in refused(tmp_path, SINGLE, *options)

    def test_no_file(self) -> None:
        """Neither file nor template is one line that offers the template."""
        result = CliRunner().invoke(app, ["reduce"])
        assert result.exit_code == 2
        assert "--template" in result.stderr


PLACES = [
    (table, key)
    for table, values in EXAMPLE.items()
    if isinstance(values, dict)
    for key, value in values.items()
    if isinstance(value, (int, float))
]
SPOILT = st.one_of(
    st.sampled_from([0, -1, 1e-300, 1.7e308, -1e308, math.inf, math.nan]),
    st.floats(-300, 300).map(lambda x: 10**x),
    st.floats(-3, 3).map(lambda x: 10**x),
)


@settings(
    max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(
    where=st.lists(st.sampled_from(PLACES), min_size=1, max_size=2),
    values=st.lists(SPOILT, min_size=2, max_size=2),
    units=st.sampled_from([1, 2]),
)
def test_spoilt_at_random_there_are_finite_results_or_one_line(
    tmp_path: Path, where: list[tuple[str, str]], values: list[float], units: int
) -> None:
    """Never NaN, never a trace, never a loss below zero: JSON that parses, or one line."""
    tables = changed(EXAMPLE, units=units)
    if units == 1:
        tables = changed(tables, no_load__series_voltage_v=None, load__lv_voltage_v=None)
        tables = changed(tables, load__lv_power_w=None)
    for (table, key), value in zip(where, values, strict=False):
        tables[table][key] = value
    result = run(tmp_path, tables, "--json")
    if result.exit_code == 2:
        assert result.stdout == ""
        assert result.stderr.count("\n") == 1
        return
    assert result.exit_code in (0, 4), result.exception

    def never(word: str) -> float:
        raise AssertionError(word)

    found = json.loads(result.stdout, parse_constant=never)
    mean = found["transformer"] if units == 1 else found["pair_mean"]
    assert mean["no_load_loss_w"] > 0
    assert mean["load_loss_w"] > 0
    assert all(0 < at["value"] < 1 for at in mean["efficiency"])


def test_without_instruments_nothing_heavy_is_loaded(tmp_path: Path) -> None:
    """NumPy, uncertainties, matplotlib and the stand's libraries wait until they are asked for."""
    (tmp_path / "mine.toml").write_text(toml(SINGLE))
    heavy = ("numpy", "uncertainties", "matplotlib", "pyvisa", "scipy", "sqlite3", "structlog")
    code = (
        "import atexit, sys; atexit.register(lambda: print([m for m in "
        f"{heavy} if m in sys.modules])); from acquire.commands import app; app()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "reduce", str(tmp_path / "mine.toml")],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert done.stdout.splitlines()[-1] == "[]"
