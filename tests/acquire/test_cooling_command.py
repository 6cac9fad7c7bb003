"""The command `cooling`: what it prints, what it refuses, and that it never prints nonsense."""

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from acquire.commands import app
from acquire.cooling import template

EXAMPLE = template()
HEAD, ROWS = EXAMPLE.split("---\n", maxsplit=1)
LINES = ROWS.splitlines()


def run(folder: Path, text: str, *options: str) -> tuple[int, str, str]:
    """Return exit code, output and errors of the command on a file of this text."""
    file = folder / "winding.toml"
    file.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(app, ["cooling", str(file), *options])
    return result.exit_code, result.stdout, result.stderr


def cooled(folder: Path, text: str = EXAMPLE) -> dict[str, Any]:
    """Return what `--json` gives."""
    code, out, _ = run(folder, text, "--json")
    assert code == 0
    found: dict[str, Any] = json.loads(out)
    return found


def refused(folder: Path, text: str) -> str:
    """Return the one line of a refusal."""
    code, out, err = run(folder, text)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    return err


class TestResult:
    def test_the_example_gives_the_truth_it_was_made_of(self, tmp_path: Path) -> None:
        """79.0 degC at shutdown (constructed: c6's curve with noise and settling of 4 s)."""
        result = CliRunner().invoke(app, ["cooling", "--template"])
        found = cooled(tmp_path, result.stdout)
        assert found["winding_0_c"] == pytest.approx(79.0, abs=found["expanded_k"])
        assert found["expanded_k"] == 2 * found["standard_k"] < 0.3
        assert found["time_constant_s"] == pytest.approx(390.0, rel=0.05)
        assert found["first_settled_s"] == 45.0
        assert found["left_out"] == 2
        assert [at["settled"] for at in found["readings"][:3]] == [False, False, True]
        assert found["weak"] is False
        assert found["warnings"] == []

    def test_rises_by_hand(self, tmp_path: Path) -> None:
        """Top 66.5 - 22.4, average less 6.25, gradient over the mean of 66.5 and 54.0."""
        found = cooled(tmp_path)
        rises = found["rises"]
        assert rises["top_liquid_k"] == pytest.approx(44.1)
        assert rises["average_liquid_k"] == pytest.approx(37.85)
        assert rises["average_k(winding)"] == pytest.approx(found["winding_0_c"] - 22.4)
        assert rises["gradient_k(winding)"] == pytest.approx(found["winding_0_c"] - 60.25)
        assert found["uncertainty"].keys() == rises.keys()
        assert found["uncertainty"]["average_k(winding)"]["expanded"] > found["expanded_k"]

    def test_dry_type(self, tmp_path: Path) -> None:
        """Without liquid there is the winding's rise over the air alone."""
        text = re.sub(r"(top|bottom)_liquid_c.*\n", "", EXAMPLE)
        assert list(cooled(tmp_path, text)["rises"]) == ["average_k(winding)"]

    def test_without_limits_of_error(self, tmp_path: Path) -> None:
        """No uncertainty of rises then; that of the extrapolation stays."""
        head = HEAD.split("[errors]", maxsplit=1)[0]
        found = cooled(tmp_path, f"{head}---\n{ROWS}")
        assert found["uncertainty"] is None
        assert found["standard_k"] > 0

    def test_constants_of_the_metal(self, tmp_path: Path) -> None:
        """Aluminium and the other standard's copper lie apart as their T_k do."""
        copper = cooled(tmp_path)["winding_0_c"]
        aluminium = cooled(tmp_path, EXAMPLE.replace('"copper"', '"aluminium"'))["winding_0_c"]
        ieee = cooled(tmp_path, EXAMPLE.replace('# standard = "IEEE"', 'standard = "IEEE"'))
        per_kelvin = (copper - 21.3) / (235.0 + 21.3)
        assert aluminium == pytest.approx(copper - 10 * per_kelvin, abs=0.01)
        assert ieee["winding_0_c"] == pytest.approx(copper - 0.5 * per_kelvin, abs=0.01)

    def test_several_applications(self, tmp_path: Path) -> None:
        """After the second at 600 s the readings of the next 40 s are left out as well."""
        text = EXAMPLE.replace("# applied_s = [0.0, 120.0]", "applied_s = [0.0, 600.0]")
        left_out = [at["time_s"] for at in cooled(tmp_path, text)["readings"] if not at["settled"]]
        assert left_out == [15.0, 30.0, 600.0, 615.0, 630.0]

    def test_table(self, tmp_path: Path) -> None:
        """What people read: the temperature with its uncertainty, rises, what was left out."""
        code, out, _ = run(tmp_path, EXAMPLE)
        assert code == 0
        assert re.search(r"Winding at shutdown +79\.\d+ °C +0\.\d+ K", out)
        assert re.search(r"Top liquid +44\.10 K", out)
        assert "79 of 81" in out

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            (EXAMPLE.replace("settling_s = 4.0", "settling_s = 45.0"), "weakly determined"),
            (re.sub(r"settling_s.*\n", "", EXAMPLE), "cold.settling_s is not given"),
            ("\n".join(EXAMPLE.splitlines()[:-40]), "20 min are usual"),
        ],
    )
    def test_warnings(self, tmp_path: Path, text: str, words: str) -> None:
        """Said in the table and in the JSON."""
        assert any(words in warning for warning in cooled(tmp_path, text)["warnings"])
        assert words in " ".join(run(tmp_path, text)[1].split())


class TestFigure:
    def test_drawn(self, tmp_path: Path) -> None:
        """The temperature at shutdown and what was left out are words in it."""
        drawn = tmp_path / "curve.svg"
        code, out, _ = run(tmp_path, EXAMPLE, "--figure", str(drawn))
        assert code == 0
        assert f"Figure: {drawn}" in out
        text = drawn.read_text(encoding="utf-8")
        assert "at shutdown (95 %, by extrapolation)" in text
        assert "left out: not yet settled" in text

    def test_another_suffix(self, tmp_path: Path) -> None:
        """Refused as bad input."""
        code, _, err = run(tmp_path, EXAMPLE, "--figure", str(tmp_path / "curve.doc"))
        assert code == 2
        assert "expected a name that ends in .svg" in err


class TestRefusals:
    @pytest.mark.parametrize(
        ("old", "new", "words"),
        [
            ("---\n", "", ": expected a head in TOML, a line ---, readings below it"),
            ("resistance_ohm = 1.2450", "resistance_ohm = 0", ":5: cold.resistance_ohm = 0"),
            ("temperature_c = 21.3", "temprature_c = 21.3", "did you mean temperature_c?"),
            ('"copper"', '"tin"', ":10: winding.material = 'tin'"),
            ("bottom_liquid_c = 54.0", "", ":13: end"),
            ("bottom_liquid_c = 54.0", "bottom_liquid_c = 67.0", "warmer at the bottom"),
            ("top_liquid_c = 66.5", "top_liquid_c = 106.5", "colder than the liquid round it"),
            ("settling_s = 4.0", "settling_s = 60.0", ":7: settling_s = 60: settles too slowly"),
            ("[cold] ", "[cold ", ":4: expected TOML"),
            ("time_s,resistance_ohm", "t,r", ":28: expected time_s,resistance_ohm"),
            ("\n30,", "\nhalf,", ":30: 'half,"),
            ("\n30,", "\n30;", ":30: '30;"),
            ("\n30,", "\n30,1,", ":30: '30,1,"),
            ("\n30,", "\n15,", ":30: time_s = 15: must rise"),
            ("\n30,", "\nnan,", ":30: 'nan,"),
            ("\n15,", "\n-15,", ":29: time_s = -15: must rise"),
            ("\n30,", "\n30,-", ":30: resistance_ohm = -1.5"),
            ("# applied_s = [0.0, 120.0]", "applied_s = [20.0]", ":17: time_s = 15, applied_s"),
            ("# applied_s = [0.0, 120.0]", "applied_s = [9.0, 3.0]", ":17: applied_s"),
            ("# applied_s = [0.0, 120.0]", "applied_s = []", ":17: end.applied_s = []"),
            ("resistance_ohm = 1.2450", "resistance_ohm = 1245", "no warmer at shutdown"),
            ("resistance_ohm = 1.2450", "resistance_ohm = 0.0012", "an m or k lost?"),
        ],
    )
    def test_one_line_that_says_where(self, tmp_path: Path, old: str, new: str, words: str) -> None:
        """File, line, what stood there, what was due; exit code 2."""
        assert EXAMPLE.count(old) >= 1
        assert words in refused(tmp_path, EXAMPLE.replace(old, new, 1))

    def test_too_few_readings(self, tmp_path: Path) -> None:
        """Seven."""
        text = "\n".join([HEAD + "---", *LINES[:8]])
        assert "7 readings: expected 8 or more" in refused(tmp_path, text)

    def test_no_readings_at_all(self, tmp_path: Path) -> None:
        """A head and its line of dashes."""
        assert "expected time_s,resistance_ohm" in refused(tmp_path, HEAD + "---\n")

    def test_a_file_that_is_missing(self, tmp_path: Path) -> None:
        """Named."""
        result = CliRunner().invoke(app, ["cooling", str(tmp_path / "none.toml")])
        assert result.exit_code == 2
        assert "none.toml: expected this file; it is missing" in result.stderr

    def test_no_file(self) -> None:
        """It says how to get an example."""
        result = CliRunner().invoke(app, ["cooling"])
        assert result.exit_code == 2
        assert "--template" in result.stderr

    def test_windows_line_ends_and_comments_between_readings(self, tmp_path: Path) -> None:
        """Read as any other."""
        text = EXAMPLE.replace("\n45,", "\n# tap 3\n\n45,").replace("\n", "\r\n")
        (tmp_path / "winding.toml").write_bytes(text.encode())
        result = CliRunner().invoke(app, ["cooling", str(tmp_path / "winding.toml"), "--json"])
        assert json.loads(result.stdout)["winding_0_c"] == cooled(tmp_path)["winding_0_c"]


NUMBERS = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0.0, 1e-300, 1e300, 1.2e-3, 1.245, 1.5, 60.0]),
)


@given(
    row=st.integers(1, len(LINES) - 1),
    pair=st.tuples(NUMBERS, NUMBERS),
    cold=NUMBERS,
    from_row=st.integers(0, len(LINES)),
)
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_it_gives_finite_numbers_or_one_line(
    tmp_path: Path, row: int, pair: tuple[float, float], cold: float, from_row: int
) -> None:
    """Whatever stands in the file: a result without a NaN, or exit code 2 with one line."""
    lines = [LINES[0], *LINES[1 + from_row :]]
    lines[min(row, len(lines) - 1)] = f"{pair[0]!r},{pair[1]!r}" if len(lines) > 1 else LINES[0]
    shown = str(cold) if math.isfinite(cold) else "1.245"
    head = HEAD.replace("1.2450", shown)
    code, out, err = run(tmp_path, "\n".join([head + "---", *lines]), "--json")
    if code == 0:
        json.loads(out, parse_constant=pytest.fail)
    else:
        assert code == 2
        assert len(err.splitlines()) == 1
