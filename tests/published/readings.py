"""Files of readings for `reduce`: the command itself is what the published rows go through."""

import json
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from acquire.commands import app

Tables = dict[str, Any]


def toml(tables: Tables) -> str:
    """Return tables as TOML."""
    lines = [f"{key} = {_value(v)}" for key, v in tables.items() if not isinstance(v, dict)]
    for key, table in tables.items():
        if isinstance(table, dict):
            inner = "\n".join(f"{name} = {_value(v)}" for name, v in table.items())
            lines.append(f"[{key}]\n{inner}")
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, (bool, str)):
        return json.dumps(value)
    return repr(value)


def run(folder: Path, tables: Tables, *options: str) -> Result:
    """Write the readings into a file and reduce it by the command."""
    file = folder / "readings.toml"
    file.write_text(toml(tables), encoding="utf-8")
    return CliRunner().invoke(app, ["reduce", str(file), *options])


def reduced(folder: Path, tables: Tables, *options: str) -> dict[str, Any]:
    """Return the JSON of a reduction that must not be refused."""
    result = run(folder, tables, "--json", *options)
    assert result.exit_code in (0, 4), result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def refused(folder: Path, tables: Tables, *options: str) -> str:
    """Return the one line with which a file is refused."""
    result = run(folder, tables, *options)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.count("\n") == 1
    return result.stderr


def single(
    rating: tuple[float, float, float],
    no_load: tuple[float, float, float],
    load: tuple[float, float, float],
    power_factor: float = 0.8,
) -> Tables:
    """One transformer: VA, HV and LV volts; volts, amperes, watts of either stage."""
    power, hv, lv = rating
    return {
        "units": 1,
        "rating": {
            "power_va": power,
            "lv_voltage_v": lv,
            "hv_voltage_v": hv,
            "frequency_hz": 50,
        },
        "no_load": dict(zip(("voltage_v", "current_a", "power_w"), no_load, strict=True)),
        "load": dict(zip(("voltage_v", "current_a", "power_w"), load, strict=True)),
        "evaluate": {"load": [1.0], "power_factor": [power_factor]},
    }


def doubled(tables: Tables) -> Tables:
    """The pair of two such: LV current and both powers doubled, loop voltage across both."""
    no_load, load = tables["no_load"], tables["load"]
    return tables | {
        "units": 2,
        "no_load": no_load
        | {"current_a": 2 * no_load["current_a"], "power_w": 2 * no_load["power_w"]},
        "load": load | {"voltage_v": 2 * load["voltage_v"], "power_w": 2 * load["power_w"]},
    }
