"""A heat run's figure: from plain columns, and from the archive of a run that was stopped."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from acquire.archive import Archive
from acquire.commands import app
from acquire.heat_figure import draw_heat
from acquire.heat_picture import Cooled, HeatPicture, Outlook, picture_of
from acquire.refusal import Refusal
from tests.acquire.canned import canned_run

HOURS = np.arange(0.0, 12.5, 1 / 6)
RISE = 50 * (1 - np.exp(-HOURS / 2.7))
MADE_AT = np.arange(4.0, 11.5, 0.5)
SINCE_S = np.arange(30.0, 1800.0, 30.0)


def cooled(*, weak: bool = False) -> Cooled:
    """Return a winding that cools, its first readings not yet settled (constructed)."""
    curve_s = np.linspace(0.0, 1800.0, 50)
    settled = [t >= 90.0 for t in SINCE_S.tolist()]
    residual = np.where(settled, 0.01, 8.0)
    at_c = 60 + 15 * np.exp(-SINCE_S / 300) + residual
    of_curve = 60 + 15 * np.exp(-curve_s / 300)
    return Cooled(SINCE_S, at_c, residual, settled, curve_s, of_curve, 75.0, 0.31, weak)


PICTURE = HeatPicture(
    title="Heat run 3: schedule heat_run",
    hours=HOURS,
    temperatures={
        unit: {"top liquid": 20 + RISE + k, "bottom liquid": 20 + 0.7 * RISE + k}
        for unit, k in (("a", 0.0), ("b", 2.0))
    },
    ambient_c=np.full_like(HOURS, 20.0),
    watched="top liquid",
    rise_k={"a": RISE, "b": RISE + 2},
    rate_k_per_h={unit: 18 * np.exp(-HOURS / 2.7) for unit in ("a", "b")},
    rule="IEC 60076-2",
    limit_k_per_h=1.0,
    hour=(11.0, 12.0),
    stretches=[(0.0, 0.2, "loss test"), (0.2, 12.0, "soak"), (12.0, 12.5, "cooling")],
    outlook={
        unit: Outlook(MADE_AT, np.full_like(MADE_AT, 50.0), 12 / MADE_AT) for unit in ("a", "b")
    },
    cooling={"a_lv": cooled(), "a_hv": cooled(weak=True), "b_lv": "it never cooled"},
)


def words_of(picture: HeatPicture, folder: Path) -> str:
    """Return a figure as SVG, in which text stays text."""
    file = folder / "figure.svg"
    draw_heat(picture, file)
    return file.read_text(encoding="utf-8")


@pytest.fixture(name="text", scope="module")
def _text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the words and strokes of the whole figure."""
    return words_of(PICTURE, tmp_path_factory.mktemp("figure"))


NIGHT = replace(PICTURE, cooling={})


class TestDrawn:
    @pytest.mark.parametrize("suffix", ["svg", "png", "pdf"])
    def test_each_kind_of_file(self, tmp_path: Path, suffix: str) -> None:
        """It says what it is in its first bytes."""
        file = tmp_path / f"figure.{suffix}"
        draw_heat(NIGHT, file)
        begin = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[suffix]
        assert file.read_bytes().startswith(begin)

    def test_it_says_what_it_shows(self, text: str) -> None:
        """Quantities with units, stretches, rule, forecast, curves and what was left out."""
        for words in (
            "Temperature, °C",
            "A top liquid",
            "B bottom liquid",
            "ambient",
            "loss test",
            "soak",
            "cooling",
            "Rise of top liquid over cooling air, K; bands: its end as then forecast, 95 %",
            "K/h; rule IEC 60076-2",
            "limit ±1",
            "hour that counts",
            "Unit A, LV: 75.00 ± 0.31 °C at shutdown",
            "at shutdown, weakly",
            "Unit B, LV: no cooling curve",
            "it never cooled",
            "left out: not yet settled",
            "time since shutdown, min",
        ):
            assert words in text, words

    def test_the_same_picture_gives_the_same_file(self, text: str, tmp_path: Path) -> None:
        """Byte for byte."""
        assert words_of(PICTURE, tmp_path) == text

    def test_no_curve_has_the_colour_of_a_warning(self, text: str) -> None:
        """Red, yellow and green mean something (IEC 60073); so do their relatives in the theme."""
        for colour in ("#d55e00", "#009e73", "#ff0000", "#008000", "#ffff00", "#ffbf00"):
            assert colour not in text.lower()

    def test_a_run_that_ended_in_its_soak(self, tmp_path: Path) -> None:
        """Neither hour nor curves nor forecast, nor a rate in its first hour."""
        text = words_of(
            replace(
                NIGHT,
                hour=None,
                outlook={},
                rate_k_per_h={unit: np.full_like(HOURS, np.nan) for unit in ("a", "b")},
            ),
            tmp_path,
        )
        for words in ("hour that counts", "after the shutdown", "forecast"):
            assert words not in text

    def test_a_rule_without_a_rate(self, tmp_path: Path) -> None:
        """IEEE C57.12.90 asks for a change over three hours: no line is drawn as its limit."""
        text = words_of(replace(NIGHT, limit_k_per_h=None, rule="IEEE C57.12.90"), tmp_path)
        assert "limit" not in text

    def test_a_stretch_of_a_moment_has_no_name(self, tmp_path: Path) -> None:
        """It would stand over another's, or outside."""
        moment = (12.45, 12.5, "a moment")
        assert "a moment" not in words_of(replace(NIGHT, stretches=[moment]), tmp_path)

    def test_a_gap_in_the_record(self, tmp_path: Path) -> None:
        """A stretch for which nobody looked breaks the lines and stops nothing."""
        gap = np.where((HOURS > 3) & (HOURS < 4), np.nan, RISE)
        words_of(replace(NIGHT, rise_k={"a": gap, "b": gap}, ambient_c=gap), tmp_path)

    def test_another_suffix_is_refused(self, tmp_path: Path) -> None:
        """In one line that names those which can be."""
        with pytest.raises(Refusal, match=r"expected a name that ends in .svg, .png, .pdf"):
            draw_heat(PICTURE, tmp_path / "figure.gif")


def run(*arguments: object) -> Result:
    """Run the program in this process."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


@pytest.fixture(name="stopped", scope="module")
def _stopped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a rehearsed heat run that was stopped in its soak."""
    folder = tmp_path_factory.mktemp("stopped")
    fault = ("--fault", "emergency_stop_pressed@1500")
    assert run("rehearse", "--schedule", "heat_run", *fault, "--out", folder).exit_code == 3
    return folder


class TestFromTheArchive:
    def test_as_far_as_the_run_came(self, stopped: Path) -> None:
        """Minutes of both units, the stretches that there were, no curve and no hour."""
        with Archive(stopped, read_only=True) as archive:
            picture = picture_of(archive, 1)
        assert picture.title == "Heat run 1: schedule heat_run, simulated with seed 1, aborted"
        assert [words for *_, words in picture.stretches] == ["loss test", "soak"]
        assert picture.stretches[1][1] == pytest.approx(picture.hours[-1])
        assert picture.hours[-1] == pytest.approx(1500 / 3600, abs=2 / 60)
        assert list(picture.temperatures["b"]) == ["top liquid", "bottom liquid"]
        # Some minutes of rated loss have warmed the liquid, and the air hardly.
        assert picture.rise_k["a"][-1] - picture.rise_k["a"][0] > 1.0
        assert np.ptp(picture.ambient_c) < 1.0
        assert (picture.cooling, picture.hour, picture.limit_k_per_h) == ({}, None, 1.0)
        assert np.isnan(picture.rate_k_per_h["a"]).all()

    def test_show_draws_it(self, stopped: Path, tmp_path: Path) -> None:
        """Beside what it prints, or beside its one object."""
        file = tmp_path / "figure.svg"
        shown = run("show", 1, "--out", stopped, "--figure", file)
        assert (shown.exit_code, f"Figure: {file}" in shown.stdout) == (0, True)
        assert "B top liquid" in file.read_text(encoding="utf-8")
        file.unlink()
        shown = run("show", 1, "--out", stopped, "--figure", file, "--json")
        assert json.loads(shown.stdout)["state"] == "aborted"
        assert file.exists()

    def test_a_suffix_is_refused_before_anything(self, stopped: Path) -> None:
        """Nothing is printed but the one line."""
        shown = run("show", 1, "--out", stopped, "--figure", "figure.gif")
        assert (shown.exit_code, shown.stdout) == (2, "")
        assert shown.stderr.count("\n") == 1

    def test_a_loss_test_has_none(self, tmp_path: Path) -> None:
        """It says where its curves are drawn."""
        canned_run(tmp_path)
        shown = run("show", 1, "--out", tmp_path, "--figure", tmp_path / "figure.svg")
        assert (shown.exit_code, shown.stdout) == (2, "")
        assert "run 1 is a loss test, only a heat run has a figure" in shown.stderr

    @pytest.mark.campaign
    def test_a_whole_run_draws_the_curves_of_its_result(self, tmp_path: Path) -> None:
        """Folded from the archive, every winding starts where the result says, as the hour ends."""
        run("rehearse", "--schedule", "heat_run", "--out", tmp_path)
        with Archive(tmp_path, read_only=True) as archive:
            picture, stored = picture_of(archive, 1), archive.run(1).result
        assert stored is not None
        assert picture.cooling.keys() == stored["cooling"].keys()
        for winding, curve in picture.cooling.items():
            of: dict[str, Any] = stored["cooling"][winding]
            assert isinstance(curve, Cooled)
            assert curve.winding_0_c == of["winding_0_c"]
            assert curve.expanded_k == of["uncertainty"]["winding_0_c"]["expanded"]
            assert sum(curve.settled) == of["readings"]
        assert picture.hour is not None
        assert picture.hour[1] * 3600 == pytest.approx(stored["steady"]["hour_ends_s"])
        last = [rate[~np.isnan(rate)][-1] for rate in picture.rate_k_per_h.values()]
        assert max(last) == pytest.approx(stored["steady"]["rate_k_per_h"], abs=0.01)
