"""What `cooling` does: one winding's resistances after a shutdown, from their file to its rise."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib import resources
from math import isfinite
from pathlib import Path
from typing import Annotated, Any, ClassVar

import numpy as np
from annotated_types import Ge, Gt, Le, Lt, MinLen
from rich import box
from rich.table import Table
from rich.text import Text

from acquire.files import File, read_headed, validated
from acquire.places import line_of
from acquire.refusal import Refusal
from acquire.results_table import number
from acquire.terminal import ABNORMAL, FINE, Terminal, print_json
from calculation.cooling_curve import LEAST_READINGS, CoolingCurve, cooling_curve
from calculation.correction import Standard, temperature_constant
from calculation.errors import ImpossibleReading
from calculation.heat_readings import ColdResistance, CoolingReadings
from calculation.loss_budget import uncertainty_of
from calculation.nameplate import STRICT, Material, Positive
from calculation.rise_budget import Limit, RiseAllowance, extrapolated, rise_budgets
from calculation.rises import DryTest, Liquid, LiquidTest, Winding, quantities_of

Celsius = Annotated[float, Gt(-60), Lt(250)]

HEADER = "time_s,resistance_ohm"
NAME = "winding"
# As tested: nothing is carried to rated, so that neither bounds nor exponents matter.
AS_TESTED: dict[str, Any] = {"loss_percent": 0.0, "current_percent": 0.0, "exponent": 0.0}
# Recording is to go on so long (common practice, no source).
LONG_ENOUGH_S = 1200.0
POINTS = 200

# Name, words, unit, significant digits.
ROWS = (
    ("winding_0_c", "Winding at shutdown", "°C", 5),
    ("resistance_0_ohm", "Its resistance", "Ω", 6),
    ("time_constant_s", "Its time constant", "s", 3),
    ("first_settled_s", "First settled reading", "s", 4),
    ("scatter_k", "Scatter about the curve", "K", 2),
)
RISES = (
    ("top_liquid_k", "Top liquid"),
    ("average_liquid_k", "Average liquid"),
    (f"average_k({NAME})", "Winding"),
    (f"gradient_k({NAME})", "Gradient winding to liquid"),
)


@dataclass(frozen=True, slots=True)
class Cold:
    """The winding before the run: ohm, degC, s."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    resistance_ohm: Positive
    temperature_c: Celsius
    settling_s: Positive | None = None


@dataclass(frozen=True, slots=True)
class Metal:
    """What the winding is made of, and by whose constant."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    material: Material
    standard: Standard = "IEC"


@dataclass(frozen=True, slots=True)
class End:
    """Temperatures at shutdown, degC, and when the d.c. was applied after it, s."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    ambient_c: Celsius
    top_liquid_c: Celsius | None = None
    bottom_liquid_c: Celsius | None = None
    applied_s: Annotated[tuple[Annotated[float, Ge(0), Le(1e6)], ...], MinLen(1)] = (0.0,)


@dataclass(frozen=True, slots=True)
class Errors:
    """Limits of error of what was read by hand: `RiseAllowance` says what each is."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    balance_k: Limit = 1.0
    sensor_k: Limit = 0.5
    zeroed_k: Limit | None = None
    meter_percent: Limit = 0.1
    linearity_percent: Limit = 0.02
    shutdown_s: Limit = 0.5


@dataclass(frozen=True, slots=True)
class Head:
    """The head of the file."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    cold: Cold
    winding: Metal
    end: End
    errors: Errors | None = None


def template() -> str:
    """Return a commented example of a file of readings."""
    return (resources.files("acquire") / "cooling_template.toml").read_text(encoding="utf-8")


def cool_file(path: Path, as_json: bool, figure: Path | None) -> int:
    """Extrapolate the readings in a file and print what they come to; return the exit code.

    Raises ConfigurationError for what the file has wrong, Refusal for readings that can't be.
    """
    file, lines = read_headed(path, str(path))
    head = validated(file, Head)
    if (head.end.top_liquid_c is None) != (head.end.bottom_liquid_c is None):
        raise file.error(("end",), "both top_liquid_c and bottom_liquid_c, or neither")
    readings = _readings(file, lines, head.end.applied_s)
    try:
        plain, curve = plain_cooling(head, readings)
    except ImpossibleReading as impossible:
        raise Refusal(_where(file, impossible)) from impossible
    if figure is not None:
        from acquire.figure import draw_cooling

        times = np.linspace(0.0, readings.time_s[-1], POINTS)
        fitted = {"time_s": times.tolist(), "temperature_c": curve.temperature_c(times).tolist()}
        draw_cooling(plain, fitted, figure)
    if as_json:
        print_json(plain)
    else:
        _show(plain, figure)
    return FINE


def plain_cooling(head: Head, readings: CoolingReadings) -> tuple[dict[str, Any], CoolingCurve]:
    """Return everything that the readings come to, JSON-ready, and the curve.

    Raises ImpossibleReading.
    """
    cold = ColdResistance(
        head.cold.resistance_ohm, head.cold.temperature_c, head.cold.settling_s, 0.0, 1
    )
    constant_k = temperature_constant(head.winding.material, head.winding.standard)
    curve = cooling_curve(readings, cold, constant_k)
    test = _test(head, curve, constant_k)
    found = quantities_of(test.rises())
    uncertainty = None
    if head.errors is not None:
        allowance = RiseAllowance(**asdict(head.errors), **AS_TESTED)
        budgets = rise_budgets(test, {NAME: extrapolated(curve, cold)}, allowance)
        uncertainty = uncertainty_of({name: budgets[name] for name, _ in RISES if name in budgets})
    plain = {
        **{name: getattr(curve, name) for name, *_ in ROWS},
        "standard_k": curve.standard_k,
        "expanded_k": 2 * curve.standard_k,
        "weak": curve.weak,
        "left_out": int((~curve.settled).sum()),
        "slow": list(curve.slow),
        "decay_k": curve.decay_k,
        "rises": {name: found[name] for name, _ in RISES if name in found},
        "uncertainty": uncertainty,
        "warnings": _warnings(head, readings, curve),
        "readings": _fitted(readings, curve),
    }
    return plain, curve


def _readings(
    file: File, lines: Sequence[tuple[int, str]], applied_s: tuple[float, ...]
) -> CoolingReadings:
    rows = [(n, line.strip()) for n, line in lines]
    rows = [(n, line) for n, line in rows if line and not line.startswith("#")]
    if not rows or rows[0][1].replace(" ", "") != HEADER:
        at = f":{rows[0][0]}" if rows else ""
        raise Refusal(f"{file.shown}{at}: expected {HEADER} in the first line below ---")
    times: list[float] = []
    ohms: list[float] = []
    for n, line in rows[1:]:
        try:
            t, ohm = (float(part) for part in line.split(","))
        except ValueError as error:
            words = f"expected two numbers, {HEADER}, with a comma between them"
            raise Refusal(f"{file.shown}:{n}: {line[:60]!r}: {words}") from error
        if not (isfinite(t) and isfinite(ohm)):
            raise Refusal(f"{file.shown}:{n}: {line[:60]!r}: expected finite numbers")
        if ohm <= 0:
            raise Refusal(f"{file.shown}:{n}: resistance_ohm = {ohm:g}: must be above zero")
        if t < 0 or (times and t <= times[-1]):
            raise Refusal(f"{file.shown}:{n}: time_s = {t:g}: must rise, from the shutdown on")
        times.append(t)
        ohms.append(ohm)
    if len(times) < LEAST_READINGS:
        raise Refusal(f"{file.shown}: {len(times)} readings: expected {LEAST_READINGS} or more")
    return CoolingReadings(np.array(times), np.array(ohms), applied_s)


def _test(head: Head, curve: CoolingCurve, constant_k: float) -> LiquidTest[float] | DryTest[float]:
    winding = Winding(
        head.cold.resistance_ohm,
        head.cold.temperature_c,
        curve.resistance_0_ohm,
        constant_k,
        current_ratio=1.0,
    )
    end = head.end
    if end.top_liquid_c is None or end.bottom_liquid_c is None:
        return DryTest({NAME: winding}, end.ambient_c, "AN")
    liquid = Liquid(end.top_liquid_c, end.bottom_liquid_c, end.ambient_c)
    # Cooling and power choose exponents and the hot spot's factor, and no such result is shown.
    return LiquidTest({NAME: winding}, liquid, liquid, 1.0, "ONAN", power_va=0.0)


def _warnings(head: Head, readings: CoolingReadings, curve: CoolingCurve) -> list[str]:
    found = []
    if curve.weak:
        found.append(
            f"weakly determined: the first settled reading came {curve.first_settled_s:.0f} s after"
            f" shutdown, later than the time constant of {curve.time_constant_s:.0f} s; no verdict"
            " near a limit rests on it"
        )
    if head.cold.settling_s is None:
        found.append(
            "cold.settling_s is not given: every reading is taken to have settled; one that had not"
            " falsifies the result, and no residual shows it"
        )
    if readings.time_s[-1] < LONG_ENOUGH_S:
        found.append(f"readings end after {readings.time_s[-1] / 60:.0f} min: 20 min are usual")
    return found


def _fitted(readings: CoolingReadings, curve: CoolingCurve) -> list[dict[str, Any]]:
    fitted = curve.temperature_c(readings.time_s)
    return [
        {
            "time_s": float(readings.time_s[k]),
            "resistance_ohm": float(readings.resistance_ohm[k]),
            "temperature_c": float(fitted[k] + curve.residuals_k[k]),
            "residual_k": float(curve.residuals_k[k]),
            "settled": bool(curve.settled[k]),
        }
        for k in range(len(fitted))
    ]


def _where(file: File, impossible: ImpossibleReading) -> str:
    """Return a refusal with the line of the first key of the head that it names."""
    for name in impossible.values:
        for table in ("cold", "end"):
            key = name.removeprefix(f"{table}.")
            line = line_of(file.text, (table, key))
            if key in file.tables[table] and line is not None:
                return f"{file.shown}:{line}: {impossible}"
    return f"{file.shown}: {impossible}"


def _show(plain: Mapping[str, Any], figure: Path | None) -> None:
    terminal = Terminal()
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    table.add_column("Quantity", overflow="fold")
    for name in ("Result", "± U"):
        table.add_column(name, justify="right", overflow="fold")
    table.add_row(Text("Cooling curve", "bold"))
    for name, words, unit, digits in ROWS:
        spread = f"{plain['expanded_k']:.2g} K" if name == "winding_0_c" else ""
        table.add_row(f" {words}", f"{number(plain[name], digits)} {unit}", spread)
    counts = f"{len(plain['readings']) - plain['left_out']} of {len(plain['readings'])}"
    table.add_row(" Readings used, the rest unsettled", counts, "")
    table.add_section()
    table.add_row(Text("Rises as tested, not carried to rated", "bold"))
    unsure = plain["uncertainty"] or {}
    for name, words in RISES:
        if name in plain["rises"]:
            spread = f"{unsure[name]['expanded']:.2g} K" if name in unsure else ""
            table.add_row(f" {words}", f"{plain['rises'][name]:.2f} K", spread)
    terminal.print(table)
    of_curve = "of the winding at shutdown that of the extrapolation alone"
    terminal.print(Text(f"U is expanded for 95 %; {of_curve}."))
    for words in plain["warnings"]:
        terminal.print(Text(f"Warning: {words}", ABNORMAL))
    if figure is not None:
        terminal.print(Text(f"Figure: {figure}"), soft_wrap=True)
