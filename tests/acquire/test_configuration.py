"""A scenario is read whole, or one line says which file is wrong, where and how."""

import os
import shutil
from collections.abc import Callable
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.configuration import ConfigurationError, load_scenario, shipped_scenarios
from drivers.description import RegisterDescription, TextDescription

Spoil = Callable[[str, str, str], None]

STAND = "stand.toml"
OUTPUTS = '"modbus-tcp:127.0.0.1:1503/1"'
CONTACTS = '"modbus-tcp:127.0.0.1:1504/1"'
TEMPERATURES = '"modbus-tcp:127.0.0.1:1505/1"'
GUARD = '  { field = "guard", name = "guard", unit = "1", stale_after_s = 1.0, critical = true },\n'


def refusal(name_or_folder: object, schedule: str = "loss_test") -> ConfigurationError:
    """Return the error with which a scenario is refused, having seen that it is one line."""
    with pytest.raises(ConfigurationError) as caught:
        load_scenario(str(name_or_folder), schedule)
    assert len(str(caught.value).splitlines()) == 1
    assert "expected" in str(caught.value)
    return caught.value


class TestWhole:
    def test_every_shipped_scenario_is_read(self) -> None:
        """What comes with the program can be used as it comes."""
        for name in shipped_scenarios():
            assert load_scenario(name, "loss_test").name == name

    def test_a_folder_reads_as_the_shipped_scenario_it_copies(self, folder: Path) -> None:
        """A scenario is its files: where they lie makes no difference."""
        shipped = load_scenario("distribution_pair", "loss_test")
        copied = load_scenario(str(folder), "loss_test")
        assert (copied.stand, copied.pair, copied.truth) == (
            shipped.stand,
            shipped.pair,
            shipped.truth,
        )
        assert copied.files == shipped.files
        assert copied.name == "mine"

    def test_files_are_all_that_was_read_as_it_was_read(self, folder: Path) -> None:
        """Hashes in the record cover the whole configuration, descriptions included."""
        files = load_scenario(str(folder), "loss_test").files
        assert files[STAND] == (folder / STAND).read_text(encoding="utf-8")
        assert set(files) == {
            STAND,
            "pair.toml",
            "truth.toml",
            "schedules/loss_test.toml",
            "descriptions/power_analyser.toml",
            "descriptions/voltmeter.toml",
            "descriptions/stand_contacts.toml",
            "descriptions/temperature_scanner.toml",
            "descriptions/resistance_meter.toml",
        }

    def test_descriptions_are_of_their_kind(self) -> None:
        """What is asked in text and what is read in registers are different types."""
        descriptions = load_scenario("distribution_pair", "loss_test").descriptions
        assert isinstance(descriptions["voltmeter"], TextDescription)
        assert isinstance(descriptions["stand_contacts"], RegisterDescription)

    def test_the_scenarios_own_description_goes_first(self, folder: Path) -> None:
        """A stand's meter is described beside the stand, without touching the program."""
        (folder / "descriptions").mkdir()
        own = 'kind = "text"\nidentity = "MINE"\nquery = [{ ask = "U?", fields = ["voltage"] }]\n'
        (folder / "descriptions" / "voltmeter.toml").write_text(own)
        scenario = load_scenario(str(folder), "loss_test")
        mine = scenario.descriptions["voltmeter"]
        assert isinstance(mine, TextDescription)
        assert mine.identity == "MINE"
        assert scenario.files["descriptions/voltmeter.toml"] == own

    def test_a_byte_order_mark_is_no_error(self, folder: Path) -> None:
        """An editor that marks UTF-8 doesn't spoil a file."""
        (folder / "pair.toml").write_bytes(b"\xef\xbb\xbf" + (folder / "pair.toml").read_bytes())
        load_scenario(str(folder), "loss_test")


class TestFilesThatCannotBeRead:
    @pytest.mark.parametrize("name", ["no_such", "", "a\nb", "x" * 5000, "distribution_pear"])
    def test_a_scenario_that_is_not_there(self, name: str) -> None:
        """A name that is neither shipped nor a folder is refused, and never with a trace."""
        refusal(name)

    def test_a_misspelt_scenario_is_recognised(self) -> None:
        """The nearest shipped name is offered."""
        assert "did you mean distribution_pair?" in str(refusal("distribution_pear"))

    @pytest.mark.parametrize("file", [STAND, "pair.toml", "truth.toml"])
    def test_a_missing_file(self, folder: Path, file: str) -> None:
        """The file that is missing is named."""
        (folder / file).unlink()
        assert refusal(folder).file.endswith(f"mine/{file}")

    @pytest.mark.parametrize("name", ["heat_walk", "../loss_test", "", "loss_tes"])
    def test_a_missing_schedule(self, folder: Path, name: str) -> None:
        """A schedule is one of the scenario's own, which are listed."""
        assert "loss_test" in refusal(folder, name).expected

    def test_a_folder_without_schedules(self, folder: Path) -> None:
        """No schedules at all is said as such."""
        for schedule in (folder / "schedules").glob("*.toml"):
            schedule.unlink()
        assert "NAME.toml" in refusal(folder).expected

    def test_a_directory_in_place_of_a_file(self, folder: Path) -> None:
        """A directory is no file."""
        (folder / "pair.toml").unlink()
        (folder / "pair.toml").mkdir()
        assert "a file" in refusal(folder).expected

    @pytest.mark.parametrize(
        ("content", "words"),
        [
            (b"\xff\xfe\x00", "UTF-8"),
            (b"name = '\x00'", "TOML"),
            (bytes(range(128)), "TOML"),
            (b"name = 'open", "TOML"),
            (b"x = " + b"[" * 5000, "TOML"),
            (b"x = " + b"9" * 5000, "TOML"),
            (b"", "a value"),
        ],
    )
    def test_bytes_that_are_no_toml(self, folder: Path, content: bytes, words: str) -> None:
        """Whatever bytes a file holds, one line comes of it."""
        (folder / "pair.toml").write_bytes(content)
        assert words in refusal(folder).expected

    def test_a_syntax_error_has_its_line(self, folder: Path, spoil: Spoil) -> None:
        """Where the parser stopped is said."""
        spoil("pair.toml", "[nameplate]", "[nameplate")
        assert refusal(folder).file.endswith("pair.toml:7")

    @pytest.mark.skipif(os.geteuid() == 0, reason="nothing is unreadable to root")
    def test_an_unreadable_file(self, folder: Path) -> None:
        """The system's reason is passed on."""
        (folder / "pair.toml").chmod(0)
        assert "permission" in refusal(folder).expected


def scattered(folder: Path) -> list[str]:
    """Put the shipped descriptions into the scenario too, and return all its files."""
    shipped = Path(str(resources.files("drivers.descriptions")))
    (folder / "descriptions").mkdir(exist_ok=True)
    for file in shipped.glob("*.toml"):
        shutil.copy(file, folder / "descriptions")
    return sorted(str(file.relative_to(folder)) for file in folder.rglob("*.toml"))


@settings(
    deadline=None,
    max_examples=150,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_whatever_stands_in_a_file_one_line_comes_of_it(folder: Path, data: st.DataObject) -> None:
    """A piece cut out of any file, and anything put in its place, is read or refused."""
    file = folder / data.draw(st.sampled_from(scattered(folder)))
    whole = file.read_text(encoding="utf-8")
    start = data.draw(st.integers(0, len(whole)))
    end = start + data.draw(st.integers(0, 30))
    new = data.draw(st.sampled_from(["", "nan", "-1", '"x"', "[]", "{}", "\n", "[x]\n", "1e999"]))
    file.write_text(whole[:start] + new + whole[end:], encoding="utf-8")
    words = ""
    try:
        load_scenario(str(folder), "loss_test")
    except ConfigurationError as error:
        words = str(error)
    finally:
        file.write_text(whole, encoding="utf-8")
    assert "\n" not in words


class TestKeysAndValues:
    @pytest.mark.parametrize(
        ("file", "old", "new", "key", "expected"),
        [
            (STAND, "scan_period_s = 1.0", "", "scan_period_s", "a value"),
            (STAND, "scan_period_s = 1.0", 'scan_period_s = "1"', "scan_period_s", "valid number"),
            (STAND, "scan_period_s = 1.0", "scan_period_s = true", "scan_period_s", "number"),
            (STAND, "scan_period_s = 1.0", "scan_period_s = 2026-01-01", "scan_period_s", "number"),
            (STAND, "scan_period_s = 1.0", "scan_period_s = 0", "scan_period_s", "greater than 0"),
            (STAND, "scan_period_s = 1.0", "scan_period_s = nan", "scan_period_s", "finite"),
            (STAND, "scan_period_s = 1.0", "scan_period_s = inf", "scan_period_s", "finite"),
            (STAND, "drop_s = 3.0", "drop_s = -3", "watchdog.drop_s", "greater than 0"),
            (STAND, "critical = true", 'critical = "yes"', "instrument[0].channel[0].critical", ""),
            (STAND, 'unit = "V"', 'unit = "kV"', "instrument[0].channel[0].unit", "'V', 'A'"),
            (STAND, "heartbeat = 0", "heartbeat = 70000", "outputs.heartbeat", "65535"),
            (STAND, "heartbeat = 0", "heartbeat = 0.5", "outputs.heartbeat", "integer"),
            (STAND, 'name = "simulated', 'label = "simulated', "label", "one of: name"),
            (STAND, "[watchdog]\ndrop_s = 3.0", "watchdog = 3", "watchdog", "a table"),
            ("pair.toml", "phases = 1", "phases = 3", "nameplate.phases", "less than or equal"),
            ("pair.toml", "= 4.0", "= 400", "nameplate.impedance_percent", "less than 100"),
            ("pair.toml", '"copper"', '"silver"', "nameplate.material_lv", "'copper'"),
            ("truth.toml", "latency_s = 0.06", "latency_s = 60", "instrument.lv_analyser", "10"),
            ("schedules/loss_test.toml", '"loss_test"', '"heat_walk"', "procedure", "loss_test"),
            ("schedules/loss_test.toml", "load = [", "load = [0, ", "evaluate.load[0]", "greater"),
            ("schedules/loss_test.toml", "[1.0, 0.8]", "[]", "evaluate.power_factor", "at least"),
            ("schedules/loss_test.toml", "[1.0, 0.8]", "0.8", "evaluate.power_factor", "a list"),
        ],
    )
    def test_file_key_and_expectation(
        self, *, folder: Path, spoil: Spoil, file: str, old: str, new: str, key: str, expected: str
    ) -> None:
        """A wrong value is named with its file and key, and with what was expected."""
        spoil(file, old, new)
        error = refusal(folder)
        assert f"/{file}" in error.file
        assert error.key.startswith(key)
        assert expected in error.expected

    def test_a_misspelt_key_brings_a_hint(self, folder: Path, spoil: Spoil) -> None:
        """The key that is nearest to the unknown one is offered, and the line is right."""
        spoil(STAND, 'name = "hv_analyser"\n', 'name = "hv_analyser"\ntimeout = 1.0\n')
        error = refusal(folder)
        assert (error.key, error.value, error.hint) == (
            "instrument[1].timeout",
            "1.0",
            "did you mean timeout_s?",
        )
        text = (folder / STAND).read_text(encoding="utf-8").splitlines()
        assert text[int(error.file.rpartition(":")[2]) - 1] == "timeout = 1.0"

    @pytest.mark.parametrize(
        ("file", "old", "new", "near"),
        [
            ("truth.toml", "latency_s = 0.06", "latency = 0.06", "latency_s"),
            (STAND, "{ reading_percent", "{ reading_percents", "reading_percent"),
            (STAND, "stale_after_s = 1.0", "stale_after = 1.0", "stale_after_s"),
            (STAND, "rate_per_s", "rate_s", "rate_per_s"),
            ("truth.toml", "difference_k =", "differences_k =", "difference_k"),
            ("truth.toml", "warmest_h", "warmest", "warmest_h"),
        ],
    )
    def test_a_hint_comes_at_any_depth(
        self, *, folder: Path, spoil: Spoil, file: str, old: str, new: str, near: str
    ) -> None:
        """Tables in tables, in lists, by name and optional ones all know their keys."""
        spoil(file, old, new)
        assert refusal(folder).hint == f"did you mean {near}?"

    def test_a_channel_has_the_line_of_its_own(self, folder: Path, spoil: Spoil) -> None:
        """An entry within a list is found on the line where it stands."""
        spoil(STAND, 'name = "hv.power.1", unit = "W"', 'name = "hv.power.1", unit = "w"')
        error = refusal(folder)
        text = (folder / STAND).read_text(encoding="utf-8").splitlines()
        assert "hv.power.1" in text[int(error.file.rpartition(":")[2]) - 1]

    def test_a_long_value_is_cut(self, folder: Path, spoil: Spoil) -> None:
        """A message stays a line that can be read."""
        spoil(STAND, "scan_period_s = 1.0", f"scan_period_s = '{'long' * 1000}'")
        assert len(str(refusal(folder))) < 300


class TestWhatFilesAgreeOn:
    @pytest.mark.parametrize(
        ("old", "new", "key", "words"),
        [
            ('"voltmeter"', '"voltmetre"', "instrument[2].description", "did you mean voltmeter?"),
            ('"voltmeter"', '"../pair"', "instrument[2].description", "a description"),
            ('field = "current"', 'field = "curent"', "instrument[0].channel[2].field", "current?"),
            ('"hv.frequency"', '"frequency"', "instrument[1].channel[4].name", "its own"),
            ('"hv_analyser"', '"lv_analyser"', "instrument[1].name", "its own"),
            ("::5026::", "::5025::", "instrument[1].resource", "lv_analyser has this one"),
            ('"TCPIP::127.0.0.1::5026', '"tcpip0::127.0.0.1::5025', "instrument[1]", "of its own"),
            (CONTACTS, OUTPUTS, "instrument[3].resource", "an opening"),
            (CONTACTS, OUTPUTS.replace("/1", "/2"), "instrument[3].resource", "an opening"),
            (CONTACTS, '"tcpip::127.0.0.1::1503::socket"', "instrument[3].resource", "register"),
            (CONTACTS, '"TCPIP::h::1::SOCKET"', "instrument[3].resource", "register"),
            (CONTACTS, '"modbus-tcp:h:1"', "instrument[3].resource", "modbus-tcp:HOST:PORT/UNIT"),
            (CONTACTS, '"modbus-rtu:/dev/x/248"', "instrument[3].resource", "modbus-rtu:DEVICE"),
            (TEMPERATURES, CONTACTS, "instrument[4].resource", "contacts has this one"),
            ('"TCPIP::127.0.0.1::5027::SOCKET"', '"registers:x"', "instrument[2].resource", "TCP"),
            (OUTPUTS, '"outputs"', "outputs.resource", "registers:NAME"),
            ("stale_after_s = 1.0", "stale_after_s = 0.1", "instrument[3].channel[0]", "0.2 s"),
            ("frozen_after_s = 10.0", "frozen_after_s = 4", "instrument[0].frozen", "least 5 poll"),
            (
                "period_s = 0.2",
                "period_s = 0.2\nfrozen_after_s = 9",
                "instrument[3].frozen",
                "no ch",
            ),
            ("ranges = [600]", "ranges = [600, 60]", "instrument[0].channel[0].ranges", "ascend"),
            ("address = 5\n", "address = 4\n", "outputs.loop_regulator", "lv_regulator has"),
            ("contactor = { address = 1 }", "contactor = { address = 0 }", "outputs", "heartbeat"),
            (GUARD, "", "instrument", "a channel named guard"),
            ('name = "lv.power.1", unit = "W"', 'name = "lv.power.1", unit = "V"', "", "unit 'W'"),
            (
                '"series.voltage.1"',
                '"serie.voltage.1"',
                "instrument[2].channel[0].name",
                "'serie.voltage.1': expected series.voltage.1,",
            ),
            (
                '"lv.voltage.1"',
                '"lv.volt.1"',
                "instrument[0].channel[0].name",
                "'lv.volt.1': expected lv.voltage.1,",
            ),
            ('"a.top_liquid"', '"a.top_liquids"', "instrument[4]", "'a.top_liquids': expected a."),
            ("drop_s = 3.0", "drop_s = 2.9", "watchdog.drop_s", "at least 3 scan periods, 3 s"),
            ("interval_s = 60.0", "interval_s = 61.0", "commit_interval_s", "at most 60 s"),
            ('"TCPIP::127.0.0.1::5027::SOCKET"', '"nonsense"', "instrument[2].resource", "TCPIP::"),
            ('"a.top_liquid", unit = "°C"', '"a.top_liquid", unit = "V"', "", "unit '°C'"),
            ('_lv"]]', '_l"]]', "outputs.resistance_selector.positions[0]", "b.resistance_lv?"),
            ('"b.resistance_lv"]]', '"guard"]]', "outputs.resistance_selector", "in ohms"),
            ('"b.resistance_lv"]]', '"a.resistance_lv"]]', "outputs", "every winding once"),
            ('"b.resistance_lv"]]', '"b.resistance_lv"], []]', "outputs", "at least one entry"),
        ],
    )
    def test_a_stand_that_does_not_fit_together(
        self, *, folder: Path, spoil: Spoil, old: str, new: str, key: str, words: str
    ) -> None:
        """A stand whose parts contradict each other is refused with the part named."""
        spoil(STAND, old, new)
        error = refusal(folder)
        assert f"/{STAND}" in error.file
        assert error.key.startswith(key)
        assert words in str(error)

    def test_an_ambient_temperature_is_needed(self, folder: Path, spoil: Spoil) -> None:
        """One ambient channel is enough, none is not."""
        for n in (2, 3):
            spoil(STAND, f'"ambient.{n}"', f'"other.{n}"')
        load_scenario(str(folder), "loss_test")
        spoil(STAND, '"ambient.1"', '"other.1"')
        assert "ambient.1" in refusal(folder).expected

    def test_truth_is_about_instruments_of_the_stand(self, folder: Path, spoil: Spoil) -> None:
        """What the stand doesn't have can have no true behaviour."""
        spoil("truth.toml", "[instrument.contacts]", "[instrument.contact]")
        error = refusal(folder)
        assert "/truth.toml:" in error.file
        assert error.hint == "did you mean contacts?"

    def test_a_description_of_neither_kind(self, folder: Path) -> None:
        """A description is of text or of registers."""
        (folder / "descriptions").mkdir()
        (folder / "descriptions" / "voltmeter.toml").write_text('kind = "smoke"\n')
        assert refusal(folder).expected == "'text', 'registers' or 'sunspec'"
