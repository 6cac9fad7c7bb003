"""How a run is shown while it runs, and how far it has come."""

from dataclasses import replace

import pytest
from rich.console import Console

from acquire.clock import S
from acquire.configuration import load_scenario
from acquire.display import Follower, Standing, frame, status_line
from acquire.progress import least_to_go_s, stages_of
from acquire.stand import expected_of
from drivers.link import BadAnswer, NoAnswer
from drivers.reading import Quality, Reading
from sequences.expected import Expected
from sequences.prompt import PREPARATION, confirm
from sequences.scan import Image, Scan

NOW = 100 * S
SILENT = NoAnswer("contacts", "read 10 holding registers from 0", "no answer within 0.8 s")
ODD = BadAnswer("contacts", "what's 'this'?", "not 'ASCII', or so")


def expected_for(schedule: str) -> Expected:
    return expected_of(load_scenario("distribution_pair", schedule))


def standing(expected: Expected, *readings: Reading, **changes: object) -> Standing:
    image = Image(expected.channels, 0)
    image.publish("any", readings)
    arrived = image.take()
    scan = Scan(1, NOW, arrived.image, [], arrived.alive, [], {}, (), None, NOW, None)
    return Standing(replace(scan, **changes), "running", "prove", NOW - 7 * S, 1)  # type: ignore[arg-type]  # changes by name, a stand-in for a run


def shown(
    at: Standing,
    expected: Expected,
    typed: str = "",
    said: str = "",
    size: tuple[int, int] = (150, 50),
) -> str:
    console = Console(width=size[0], height=size[1])
    with console.capture() as capture:
        console.print(frame(at, expected, console, typed, said))
    return capture.get()


@pytest.mark.parametrize("size", [(80, 24), (80, 25), (100, 30), (150, 24), (60, 24), (200, 60)])
def test_a_prompt_and_what_is_typed_are_never_pushed_off_the_screen(size: tuple[int, int]) -> None:
    expected = expected_for("loss_test")
    prompt = confirm(PREPARATION[-1], "both contactors open", 60.0)
    at = standing(expected, refused=("guard is open", "LV regulator is not at zero"))
    at = at._replace(scan=replace(at.scan, asked=(prompt, NOW)))
    lines = shown(at, expected, "y Ad", "an answer has a name", size).rstrip("\n").splitlines()
    assert len(lines) < size[1]
    told = "\n".join(lines)
    for words in ("running prove", "ASKED", "not yet: guard is open", "> y Ad"):
        assert words in told
    # What is critical is left where not all has room.
    assert ("more: the window is small" in told) == ("ambient.3" not in told)


@pytest.mark.parametrize("size", [(40, 12), (40, 8), (20, 10), (80, 6), (40, 3)])
def test_on_a_small_screen_how_to_answer_and_what_is_typed_stay_to_the_last(
    size: tuple[int, int],
) -> None:
    """Readings go first, then what is least asked for; what is cut says so."""
    expected = expected_for("loss_test")
    prompt = confirm(PREPARATION[-1], "both contactors open", 60.0)
    at = standing(expected, refused=("guard is open",), asked=(prompt, NOW))
    told = shown(at, expected, f"y {'Ada ' * 40}Example", "nothing is asked", size)
    lines = told.rstrip("\n").splitlines()
    assert len(lines) < size[1]
    assert lines[-1].startswith("> ")
    assert lines[-1].endswith("Example")
    assert "y Ada Example" in " ".join(told.split()) or size == (40, 3)
    assert ("ASKED of" in told) == (size != (40, 3))
    assert ("behind the last?" in told) or "…" in told
    assert "lv.voltage.1" not in told


def test_the_question_is_whole_and_what_follows_is_seen_on_twelve_lines_of_forty() -> None:
    expected = expected_for("loss_test")
    prompt = confirm(PREPARATION[-1], "both contactors open", 60.0)
    told = " ".join(shown(standing(expected, asked=(prompt, NOW)), expected, size=(40, 12)).split())
    assert prompt.asked in told
    assert f"then: {prompt.follows}" in told


def test_stop_and_hold_are_told_of() -> None:
    expected = expected_for("loss_test")
    told = shown(standing(expected), expected, size=(80, 24))
    for words in ("Ctrl-C or stop ends the run", "twice opens all", "hold keeps a soak"):
        assert words in told


def test_every_channel_is_there_with_value_unit_quality_and_age() -> None:
    expected = expected_for("loss_test")
    at = standing(expected, Reading("lv.voltage.1", NOW - 2 * S, NOW - 2 * S, 231.25))
    told = shown(at, expected)
    for channel in expected.channels:
        assert channel[:20] in told
    assert "lv.voltage.1           231.25 V  good    2.0 s" in told


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (Reading("guard", NOW, NOW, None, Quality.BAD, "over range"), " bad: over range "),
        (Reading("guard", NOW, NOW, None, Quality.BAD, str(SILENT)), " bad: no answer within "),
        (Reading("guard", NOW, NOW, None, Quality.BAD, str(ODD)), " bad: not 'ASCII', or "),
        (Reading("guard", NOW - 50 * S, NOW - 50 * S, 1.0), "1    stale  50.0 s"),
    ],
)
def test_what_is_bad_or_old_says_so_and_why(reading: Reading, says: str) -> None:
    expected = expected_for("loss_test")
    told = shown(standing(expected, reading), expected, size=(160, 50))
    line = next(line for line in told.splitlines() if "guard" in line)
    assert says in line


def test_what_is_missing_what_is_asked_and_what_is_typed_are_shown() -> None:
    expected = expected_for("loss_test")
    prompt = confirm(PREPARATION[0], "both contactors open", 60.0)
    at = standing(expected, refused=("guard is open",), asked=(prompt, NOW - 20 * S))
    told = shown(at, expected, typed="y Ad", said="an answer has a name")
    for words in ("not yet: guard is open", prompt.asked, prompt.who, prompt.follows, "0:00:40"):
        assert words in told
    assert "both contactors open" in told
    assert "> y Ad" in told
    assert "an answer has a name" in told


def test_the_line_says_state_stage_and_time() -> None:
    expected = expected_for("loss_test")
    line = status_line(standing(expected), expected).plain
    assert "0:01:40" in line
    assert "running prove (stage 2 of 8) for 0:00:07, to go at least 0:0" in line


class TestProgress:
    """The least time to go: never more than it is in the end, and less and less."""

    def test_the_windows_of_the_schedule_are_in_it(self) -> None:
        expected = expected_for("loss_test")
        schedule = expected.schedule
        least = least_to_go_s(expected, "no_load_readings", 0.0)
        assert least >= schedule.dwell_s + 2 * schedule.window_s
        assert least_to_go_s(expected, "no_load_readings", 50.0) == pytest.approx(least - 50.0)

    @pytest.mark.parametrize("schedule", ["loss_test", "heat_run", "heat_run_overload"])
    def test_it_falls_from_stage_to_stage(self, schedule: str) -> None:
        expected = expected_for(schedule)
        to_go = [least_to_go_s(expected, stage, 0.0) for stage in stages_of(expected)]
        assert to_go == sorted(to_go, reverse=True)
        assert to_go[-1] == 0.0

    def test_a_stage_that_takes_longer_owes_nothing(self) -> None:
        expected = expected_for("loss_test")
        late = least_to_go_s(expected, "load_readings", 1e6)
        assert late == least_to_go_s(expected, "shut_down", 0.0)

    def test_it_is_less_than_a_rehearsed_run_takes(self) -> None:
        # 443 scans a second apart is what the shipped loss test takes; its prompts are in it.
        assert least_to_go_s(expected_for("loss_test"), "prepare", 0.0) < 443


def test_the_follower_knows_since_when_a_stage_lasts() -> None:
    class Run:
        def __init__(self, stage: str) -> None:
            self.stage, self.attempts, self.state = (
                stage,
                1,
                type("State", (), {"value": "running"}),
            )

    follower = Follower()
    expected = expected_for("loss_test")
    scan = standing(expected).scan
    for t, stage in ((1, "prepare"), (2, "prepare"), (3, "prove"), (4, "prove")):
        follower(replace(scan, now=t), Run(stage))  # type: ignore[arg-type]  # changes by name, a stand-in for a run
    assert follower.standing is not None
    assert (follower.standing.stage, follower.standing.stage_began) == ("prove", 3)
