"""The command `overload`: what it tells, what it refuses, and that both agree."""

import json
import math
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from acquire.commands import app
from acquire.overloading import template
from calculation.load_cycle import CyclePoint, loading_of
from calculation.loading_iec import (
    LoadingUnit,
    StandardUncertainty,
    difference_form,
    limits_of_loading,
)
from calculation.permissible_overload import Conditions, permissible_load

EXAMPLE = tomllib.loads(template())
# The example with four permissible loads instead of thirty.
SHORT = (
    template()
    .replace("hours = [0.5, 1, 2, 4, 8, 24]", "hours = [1, 8]")
    .replace("ambient_c = [0, 10, 20, 30, 40]", "ambient_c = [20, 40]")
)
UNIT = LoadingUnit(
    **{k: v for k, v in EXAMPLE["unit"].items() if k != "standard"},
    standard=StandardUncertainty(**EXAMPLE["unit"]["standard"]),
)


def run(folder: Path, text: str, *arguments: str) -> Result:
    """Run the command on a file of this text."""
    file = folder / "unit.toml"
    file.write_text(text, encoding="utf-8")
    return CliRunner().invoke(app, ["overload", str(file), *arguments])


def told(folder: Path, text: str = SHORT, code: int = 0) -> dict[str, Any]:
    """Return the JSON of the command."""
    result = run(folder, text, "--json")
    assert (result.exit_code, result.stderr) == (code, "")
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def changed(old: str, new: str) -> str:
    """Return the short example with one text in place of another that stands in it."""
    assert old in SHORT, old
    return SHORT.replace(old, new, 1)


class TestPermissible:
    def test_every_load_is_that_of_the_calculation(self, tmp_path: Path) -> None:
        """The table's thirty loads, limits and uncertainties, in the order of the file."""
        conditions = Conditions(0.7, limits_of_loading("normal cyclic", "distribution"))
        loads = told(tmp_path, template())["permissible"]["loads"]
        assert len(loads) == 30
        for at in loads:
            found = permissible_load(UNIT, conditions, at["hours"], at["ambient_c"])
            assert at["load"] == found.load
            assert at["limited_by"] == found.limited_by
            assert (at["expanded"], at["factor"]) == (found.expanded, 2.0)

    def test_the_limits_own_before_the_regimes(self, tmp_path: Path) -> None:
        """A hot spot of 98 degC in the file, and rated load for ever at 20 degC is about rated."""
        text = changed("# hot_spot_c = 120.0", "hot_spot_c = 98.0")
        found = told(tmp_path, text, code=4)
        assert found["limits"]["hot_spot_c"] == 98.0
        assert found["limits"]["top_liquid_c"] == 105.0
        assert found["limits"]["current"] == 1.5

    def test_loss_of_life_as_a_limit(self, tmp_path: Path) -> None:
        """Where it is asked for it comes first at long times."""
        found = told(tmp_path, changed("# loss_of_life_h = 24", "loss_of_life_h = 4"))
        last = found["permissible"]["loads"][3]
        assert (last["hours"], last["ambient_c"]) == (8, 40)
        assert last["limited_by"] == "loss of life"
        assert last["loss_of_life_h"] == pytest.approx(4, rel=1e-6)

    def test_where_even_no_load_is_too_much(self, tmp_path: Path) -> None:
        """A preload beyond the limit at 40 degC: no load there, its reason, and the others stay."""
        text = changed("preload = 0.7", "preload = 1.15")
        loads = told(tmp_path, text)["permissible"]["loads"]
        hot = [at for at in loads if at["ambient_c"] == 40]
        assert all(at["load"] is None for at in hot)
        assert all("even no load" in at["refused"] for at in hot)
        assert all(at["load"] is not None for at in loads if at["ambient_c"] == 20)
        printed = run(tmp_path, text).stdout
        assert "none" in printed
        assert "None: even no load after this preload" in " ".join(printed.split())


class TestCycle:
    def test_temperatures_are_those_of_the_calculation(self, tmp_path: Path) -> None:
        """Greatest hot spot and top liquid, and when, of the repeated cycle."""
        loading = loading_of([CyclePoint(**point) for point in EXAMPLE["cycle"]["points"]], 1.0)
        found = difference_form(UNIT.characteristics(), loading, periodic=True)
        cycle = told(tmp_path)["cycle"]
        for name, values in (("hot_spot", found.hot_spot_c), ("top_liquid", found.top_liquid_c)):
            at = int(values.argmax())
            assert cycle[name]["most"] == values[at]
            assert cycle[name]["at_h"] == pytest.approx(loading.time_min[at] / 60)
        assert (cycle["load"]["most"], cycle["load"]["at_h"]) == (1.2, 17)

    def test_ageing_and_its_uncertainty(self, tmp_path: Path) -> None:
        """Life lost over the hours is the factor; units drawn at random scatter as stated."""
        cycle = told(tmp_path)["cycle"]
        assert cycle["loss_of_life_h"] / 24 == pytest.approx(cycle["equivalent_ageing_factor"])
        times = cycle["ageing_expanded_times"]
        without = {"standard": StandardUncertainty()}
        loading = loading_of([CyclePoint(**point) for point in EXAMPLE["cycle"]["points"]], 1.0)
        rng, lives = np.random.default_rng(3), []
        for _ in range(200):
            given = UNIT.given() | {
                name: getattr(UNIT, name) + u * rng.standard_normal()
                for name, u in UNIT.standard.given().items()
            }
            unit = LoadingUnit(UNIT.kind, **given, **without)  # type: ignore[arg-type]  # figures by name
            hot = difference_form(unit.characteristics(), loading, periodic=True).hot_spot_c
            lives.append(math.log(float(np.mean(2 ** ((hot[1:] - 98) / 6)))))
        # The standard deviation of 200 draws is known to 5 %, here three times that.
        assert 2 * float(np.std(lives)) == pytest.approx(math.log(times), rel=0.15)

    def test_beyond_a_limit_is_code_4(self, tmp_path: Path) -> None:
        """A heavier evening: told in the table, in the JSON, and to the shell."""
        text = SHORT.replace("load = 1.20", "load = 1.45")
        assert told(tmp_path, text, code=4)["cycle"]["beyond"] == ["hot_spot"]
        result = run(tmp_path, text)
        assert result.exit_code == 4
        assert "BEYOND" in result.stdout
        assert "goes beyond its limit of hot spot" in result.stdout

    def test_within_by_less_than_its_uncertainty_is_said(self, tmp_path: Path) -> None:
        """A limit 1 K above a hot spot whose U is 3 K."""
        most = told(tmp_path)["cycle"]["hot_spot"]["most"]
        text = changed("# hot_spot_c = 120.0", f"hot_spot_c = {most + 1:.2f}")
        assert "Within by less than its uncertainty: hot spot" in run(tmp_path, text).stdout
        assert "Within by less" not in run(tmp_path, SHORT).stdout

    def test_without_repetition_it_starts_in_balance(self, tmp_path: Path) -> None:
        """The greatest differs only by what the night before left."""
        once = told(tmp_path, changed("repeats = true", "repeats = false"))["cycle"]
        often = told(tmp_path)["cycle"]
        assert not once["repeats"]
        assert once["hot_spot"]["most"] < often["hot_spot"]["most"]
        assert once["hot_spot"]["most"] == pytest.approx(often["hot_spot"]["most"], abs=0.1)


class TestFile:
    def test_a_tabulated_unit(self, tmp_path: Path) -> None:
        """A kind alone is enough: everything tabulated, and no uncertainty told."""
        text = '[unit]\nkind = "power ONAF"\n[limits]\nsize = "large power"\n'
        text += "[permissible]\npreload = 0.8\nhours = [2]\nambient_c = [20]\n"
        found = told(tmp_path, text)
        assert {c["origin"] for c in found["characteristics"].values()} == {"tabulated"}
        assert found["cycle"] is None
        assert found["limits"]["current"] == 1.3
        (at,) = found["permissible"]["loads"]
        assert at["expanded"] is None
        assert "No uncertainty is stated" in run(tmp_path, text).stdout

    def test_what_is_given_and_what_is_not(self, tmp_path: Path) -> None:
        """Each characteristic with its origin and standard uncertainty."""
        found = told(tmp_path)["characteristics"]
        assert found["loss_ratio"] == {"value": 5.4, "standard": 0.05, "origin": "given"}
        assert found["k22"] == {"value": 2.0, "standard": None, "origin": "tabulated"}

    @pytest.mark.parametrize(
        ("old", "new", "words"),
        [
            ('kind = "distribution ONAN"', 'kind = "ONAN"', ":7: unit.kind = 'ONAN': expected"),
            (
                'kind = "distribution ONAN"',
                'kind = "OF"',
                "limits.size = nothing: expected 'medium",
            ),
            ("loss_ratio = 5.4", "loss_ratio = -5.4", "unit.loss_ratio = -5.4: expected greater"),
            ("loss_ratio = 5.4", "los_ratio = 5.4", "did you mean loss_ratio?"),
            ("loss_ratio = 5.4", "loss_ratio = nan", "expected a finite number"),
            ("hours = 6,", "hours = 16,", "in order of their hours"),
            ("step_min = 1.0", "step_min = 5.0", ":44: step_min = 5"),
            ("_min = 6.0", "_min = 200.0", "oil_time_constant_min = 171: its standard"),
            ("[1, 8]", "[]", "permissible.hours = []: expected at least one"),
            ("load = 0.95", "load = 9.5", "cycle.points[2].load = 9.5: expected less"),
            ("[unit]", "[unit", "expected TOML"),
        ],
    )
    def test_what_it_refuses(self, tmp_path: Path, old: str, new: str, words: str) -> None:
        """One line with file, key, value and what was due; code 2."""
        result = run(tmp_path, changed(old, new))
        assert (result.exit_code, result.stdout) == (2, "")
        assert words in result.stderr
        assert result.stderr.count("\n") == 1

    def test_nothing_asked(self, tmp_path: Path) -> None:
        """A unit with limits alone, no file, and a file that isn't there."""
        result = run(tmp_path, '[unit]\nkind = "distribution ONAN"\n[limits]\n')
        assert (result.exit_code, result.stderr.count("\n")) == (2, 1)
        assert "[permissible], or [cycle]" in result.stderr
        assert "--template" in CliRunner().invoke(app, ["overload"]).stderr
        assert CliRunner().invoke(app, ["overload", str(tmp_path / "no.toml")]).exit_code == 2

    def test_a_value_beyond_all_measure(self, tmp_path: Path) -> None:
        """Ageing that no number holds is refused, not printed."""
        text = changed("load = 1.20", "load = 5.0").replace("hot_spot_gradient_k = 20.5", "y = 3.0")
        text = text.replace('"distribution ONAN"', '"OD"').replace("# current = 1.5", "current = 5")
        text = text.replace("y = 3.0", "y = 3.0\nhot_spot_gradient_k = 199.0")
        result = run(tmp_path, text)
        assert (result.exit_code, result.stdout) == (2, "")
        assert "beyond all measure" in result.stderr


class TestPrinted:
    def test_everything_fits_eighty_columns(self, tmp_path: Path) -> None:
        """Tables and notes of the example."""
        lines = run(tmp_path, template()).stdout.splitlines()
        assert max(len(line) for line in lines) <= 80
        text = " ".join(" ".join(lines).split())
        for words in (
            "oil time constant 171 min 6 given",
            "Permissible load, per unit of rated, after 0.7 had lasted",
            "Limits (normal cyclic): hot spot 120 °C, top liquid 105 °C, current 1.5.",
            "Limited by: h hot spot, c current. Loads are rounded down.",
            "Cycle of 24 h, repeated for ever",
            "Equivalent ageing factor",
        ):
            assert words in text, words

    def test_loads_are_rounded_down(self, tmp_path: Path) -> None:
        """No printed load is above the one that was found, its U not below."""
        loads = told(tmp_path, template())["permissible"]["loads"]
        rows = [line for line in run(tmp_path, template()).stdout.splitlines() if "h" in line]
        cells = [c for row in rows if row[:2].strip().isdigit() for c in row.split()[2:]]
        assert len(cells) == len(loads)
        for cell, at in zip(cells, loads, strict=True):
            load, _, unsure = cell[:-1].partition("±")
            assert at["load"] - 0.01 < float(load) <= at["load"] + 1e-6
            assert float(unsure or 0) >= at["expanded"] - 1e-6

    def test_a_figure(self, tmp_path: Path) -> None:
        """Drawn as its name says, and told."""
        figure = tmp_path / "figure.png"
        result = run(tmp_path, SHORT, "--figure", str(figure))
        assert result.exit_code == 0
        assert f"Figure: {figure}" in result.stdout
        assert figure.read_bytes().startswith(b"\x89PNG")

    def test_a_figure_shows_curves_and_limits(self, tmp_path: Path) -> None:
        """Hot spot, top liquid, load, their limits, and each ambient's permissible loads."""
        figure = tmp_path / "figure.svg"
        cycle = told(tmp_path)["cycle"]
        run(tmp_path, changed('"a unit', '"a $1 unit'), "--figure", str(figure))
        text = figure.read_text(encoding="utf-8")
        for words in (
            "a $1 unit of 1000 kVA",
            "hot spot, up to",
            f"{cycle['hot_spot']['most']:.1f} °C at",
            "hot spot: limit 120 °C",
            "top liquid: limit 105 °C",
            "Load, up to 1.20 per unit of rated",
            "40 °C",
            "bars 95 %",
        ):
            assert words in text, words

    @pytest.mark.parametrize("left_out", ["[permissible]", "[cycle]"])
    def test_a_figure_of_one_half(self, tmp_path: Path, left_out: str) -> None:
        """What the file doesn't ask for isn't drawn."""
        text = SHORT
        start = text.index(left_out)
        end = text.index("[cycle]") if left_out == "[permissible]" else len(text)
        figure = tmp_path / "figure.svg"
        result = run(tmp_path, text[:start] + text[end:], "--figure", str(figure))
        assert result.exit_code == 0
        drawn = figure.read_text(encoding="utf-8")
        assert ("Permissible load" in drawn) is (left_out == "[cycle]")
        assert ("Temperature, °C" in drawn) is (left_out == "[permissible]")

    def test_a_figure_that_cannot_be(self, tmp_path: Path) -> None:
        """Another suffix: one line, code 2."""
        result = run(tmp_path, SHORT, "--figure", str(tmp_path / "figure.gif"))
        assert (result.exit_code, result.stdout) == (2, "")
        assert ".svg, .png, .pdf" in result.stderr

    def test_what_the_template_offers_is_taken(self, tmp_path: Path) -> None:
        """Each key that stands there as a comment may be there."""
        text, count = re.subn(r"^# (\w+ = )", r"\1", SHORT, flags=re.MULTILINE)
        assert count == 10
        found = told(tmp_path, text)
        assert found["permissible"]["loss_of_life_h"] == 24
        assert [c["origin"] for c in found["characteristics"].values()] == ["given"] * 10

    def test_the_template(self) -> None:
        """Printed as it stands."""
        assert CliRunner().invoke(app, ["overload", "--template"]).stdout == template()
