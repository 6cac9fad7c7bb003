"""Figures: a reduction's curves and equivalent circuit; a cooling curve; a load cycle.

Graphic symbols of the circuit follow IEC 60617 (resistor a box, inductor half circles).
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import cycle
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Circle, Rectangle
from matplotlib.ticker import MultipleLocator

from acquire.refusal import Refusal
from acquire.results_table import number
from calculation import performance
from calculation.hand.readings import HandReadings

if TYPE_CHECKING:
    from acquire.overloading import Course
    from calculation.load_cycle import Floats

SUFFIXES = (".svg", ".png", ".pdf")
MOST_LOAD = 1.25
LEAST_LOAD = 0.2  # below it efficiency falls to nothing and would flatten the rest
POINTS = 101
# Told apart without colour by their strokes; the colours are those that the colour-blind tell.
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#000000")
LINES = ("-", "--", "-.", ":", (0, (6, 1, 1, 1, 1, 1)))
STROKES: tuple[dict[str, Any], ...] = tuple(
    {"color": COLOURS[(k + k // 5) % 5], "linestyle": LINES[k % 5]} for k in range(25)
)


def draw(hand: HandReadings, plain: Mapping[str, Any], path: Path) -> None:
    """Draw what `plain_reduction` gave into a file; its suffix says of which kind.

    Raises Refusal for another suffix, or a file that can't be written.
    """
    with _page(path):
        curves = len(hand.evaluate.power_factor) * len(hand.evaluate.leading)
        figure = Figure(figsize=(8.0, 7.2 + 0.1 * curves), layout="constrained")
        grid = figure.add_gridspec(2, 2, height_ratios=(1.15, 1))
        efficiency, regulation = (figure.add_subplot(grid[0, k]) for k in (0, 1))
        mean = plain.get("transformer") or plain["pair_mean"]
        _curves(hand, mean, efficiency, regulation)
        circuit = figure.add_subplot(grid[1, :])
        _circuit(mean, circuit, "transformer" if "transformer" in plain else "mean of the pair")
        _save(figure, path)


def draw_cooling(plain: Mapping[str, Any], fitted: Mapping[str, Any], path: Path) -> None:
    """Draw what `plain_cooling` gave into a file: readings, curve, residuals.

    `fitted` has `time_s` and `temperature_c` of the curve. Raises Refusal as `draw`.
    """
    with _page(path):
        figure = Figure(figsize=(8.0, 5.6), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
        _cooled(plain, fitted, upper)
        used = [at for at in plain["readings"] if at["settled"]]
        minutes = [at["time_s"] / 60 for at in used]
        lower.plot(minutes, [at["residual_k"] for at in used], "o", color=COLOURS[0], markersize=3)
        lower.axhline(0, color="black", linewidth=0.8)
        lower.set_title("Reading less curve, K", loc="left", fontsize=10)
        lower.set_xlabel("time since shutdown, min")
        for axes in (upper, lower):
            axes.grid(color="#dddddd", linewidth=0.6)
            axes.set_axisbelow(True)
        _save(figure, path)


def _cooled(plain: Mapping[str, Any], fitted: Mapping[str, Any], axes: Axes) -> None:
    """Draw readings, those left out hollow, the curve, and the temperature at shutdown."""
    axes.plot([t / 60 for t in fitted["time_s"]], fitted["temperature_c"], color=COLOURS[1])
    for settled, face, label in (
        (True, COLOURS[0], "settled"),
        (False, "none", "left out: not yet settled"),
    ):
        shown = [at for at in plain["readings"] if at["settled"] is settled]
        if shown:
            at_min, at_c = [[at[key] for at in shown] for key in ("time_s", "temperature_c")]
            dots: dict[str, Any] = {
                "markerfacecolor": face,
                "markeredgecolor": COLOURS[0],
                "markersize": 4,
            }
            axes.plot([t / 60 for t in at_min], at_c, "o", **dots, label=label, linestyle="")
    zero, spread = plain["winding_0_c"], plain["expanded_k"]
    words = f"{number(zero, 4)} ± {number(spread, 2)} °C at shutdown (95 %, by extrapolation)"
    axes.errorbar([0], [zero], [spread], fmt="s", color="black", capsize=3, label=words)
    # Readings not yet settled may be far off: the curve sets the scale.
    low, high = min(fitted["temperature_c"]), max(zero + spread, *fitted["temperature_c"])
    axes.set_ylim(low - 0.08 * (high - low), high + 0.08 * (high - low))
    axes.set_title("Winding temperature, °C", loc="left", fontsize=10)
    axes.legend(frameon=False)


def draw_overload(plain: Mapping[str, Any], course: "Course | None", path: Path) -> None:
    """Draw what `plain_overload` gave into a file: a cycle's temperatures and load over time, and
    permissible loads over their duration, where they are there.

    Raises Refusal as `draw`.
    """
    with _page(path):
        permissible, cycled = plain["permissible"], plain["cycle"]
        panels = 2 * (course is not None) + (permissible is not None)
        figure = Figure(figsize=(8.0, 0.8 + 2.6 * panels), layout="constrained")
        # A dollar would begin a formula.
        title = f"{plain['name']}: {plain['kind']}".replace("$", r"\$")
        figure.suptitle(title, x=0.01, ha="left", fontsize=11)
        rows = list(figure.subplots(panels, 1, squeeze=False)[:, 0])
        if course is not None:
            upper, lower = rows[:2]
            hours = course.loading.time_min / 60
            temperatures = course.temperatures
            for name, words, values, colour in (
                ("hot_spot", "hot spot", temperatures.hot_spot_c, COLOURS[1]),
                ("top_liquid", "top liquid", temperatures.top_liquid_c, COLOURS[0]),
            ):
                most, at_h = cycled[name]["most"], cycled[name]["at_h"]
                label = f"{words}, up to\n{most:.1f} °C at {at_h:.2f} h"
                upper.plot(hours, values, color=colour, label=label)
                upper.plot(at_h, most, "o", color=colour, markersize=4)
                _limit(upper, cycled[name]["limit"], f"{words}: limit", " °C", colour)
            upper.plot(hours, course.loading.ambient_c, **STROKES[2], label="ambient")
            upper.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
            _titled(upper, "Temperature, °C", hours)
            lower.plot(hours, course.loading.load, color="black")
            _limit(lower, cycled["load"]["limit"], "limit", "", "black")
            lower.set_ylim(0, 1.15 * max(cycled["load"]["most"], cycled["load"]["limit"]))
            lower.set_xlabel("time, h")
            _titled(lower, f"Load, up to {cycled['load']['most']:.2f} per unit of rated", hours)
        if permissible is not None:
            _permissible(permissible, plain["limits"]["current"], rows[-1])
        _save(figure, path)


def _limit(axes: Axes, limit: float, words: str, unit: str, colour: str) -> None:
    axes.axhline(limit, color=colour, linewidth=0.9, linestyle=(0, (8, 4)))
    said = f"{words} {number(limit, 4)}{unit}"
    where = axes.get_yaxis_transform()
    axes.annotate(
        said, (0, limit), xycoords=where, xytext=(4, 3), textcoords="offset points", color=colour
    )


def _titled(axes: Axes, title: str, hours: "Floats") -> None:
    axes.set_title(title, loc="left", fontsize=10)
    axes.set_xlim(hours[0], hours[-1])
    axes.xaxis.set_major_locator(MultipleLocator(max(1, round((hours[-1] - hours[0]) / 6))))
    axes.margins(y=0.12)
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)


def _permissible(permissible: Mapping[str, Any], current: float, axes: Axes) -> None:
    """Draw each ambient's loads over their duration; no bar goes beyond the limit of current."""
    loads = [at for at in permissible["loads"] if at["load"] is not None]
    ambients = sorted({at["ambient_c"] for at in loads})
    for ambient_c, stroke in zip(ambients, cycle(STROKES), strict=False):
        row = [at for at in loads if at["ambient_c"] == ambient_c]
        hours, most = [at["hours"] for at in row], [at["load"] for at in row]
        down = [at["expanded"] or 0.0 for at in row]
        up = [min(u, current - load) for u, load in zip(down, most, strict=True)]
        words = f"{number(ambient_c, 3)} °C"
        axes.errorbar(hours, most, (down, up), **stroke, marker="o", markersize=3, label=words)
    _limit(axes, current, "current: limit", "", "black")
    axes.set_xscale("log")
    ticks = sorted({at["hours"] for at in permissible["loads"]})
    axes.set_xticks(ticks, [number(h, 3) for h in ticks])
    axes.set_xticks([], minor=True)
    axes.set_xlabel("duration, h")
    title = "Permissible load, per unit of rated, after "
    title += f"{number(permissible['preload'], 3)} had lasted"
    title += "; bars 95 %" if any(at["expanded"] for at in loads) else ""
    axes.set_title(title, loc="left", fontsize=10)
    axes.margins(y=0.12)
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    if ambients:
        axes.legend(frameon=False, title="ambient", loc="center left", bbox_to_anchor=(1.0, 0.5))


@contextmanager
def drawn(path: Path, size_in: tuple[float, float]) -> Iterator[Figure]:
    """Give a figure of a size in inches and write what was drawn; its suffix says of which kind.

    Raises Refusal as `draw`.
    """
    with _page(path):
        figure = Figure(figsize=size_in, layout="constrained")
        yield figure
        _save(figure, path)


def refuse_other_suffixes(path: Path) -> None:
    """Raise Refusal for a name whose suffix says of no kind of figure."""
    if path.suffix.lower() not in SUFFIXES:
        raise Refusal(f"--figure {path}: expected a name that ends in {', '.join(SUFFIXES)}")


@contextmanager
def _page(path: Path) -> Iterator[None]:
    refuse_other_suffixes(path)
    # Text stays text, and the same readings give the same file.
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "twinload", "font.size": 9}):
        yield


def _save(figure: Figure, path: Path) -> None:
    try:
        figure.savefig(path, dpi=150, metadata=_undated(path))
    except OSError as error:
        raise Refusal(f"--figure {path}: {(error.strerror or str(error)).lower()}") from error


def _undated(path: Path) -> dict[str, None]:
    return {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(path.suffix.lower(), {})


def _curves(hand: HandReadings, mean: Mapping[str, Any], left: Axes, right: Axes) -> None:
    """Draw both curves of every power factor asked for, and the greatest efficiency."""
    loss = mean["load_loss_reference_w"]
    loss = mean["load_loss_w"] if loss is None else loss
    r_percent = 100 * loss / hand.rating.power_va
    x_percent = mean["reactance_percent"]
    loads = [MOST_LOAD * k / (POINTS - 1) for k in range(1, POINTS)]
    known = hand.rating.power_va, mean["no_load_loss_w"], loss
    at = hand.evaluate
    for pf, stroke in zip(at.power_factor, cycle(STROKES), strict=False):
        eta = [100 * performance.efficiency(x, pf, *known) for x in loads]
        left.plot(loads, eta, **stroke, label=f"cos φ {number(pf)}")
    senses = [(pf, lead) for pf in at.power_factor for lead in at.leading if pf < 1 or not lead]
    for (pf, lead), stroke in zip(senses, cycle(STROKES), strict=False):
        drop = [performance.regulation_percent(x, pf, r_percent, x_percent, lead) for x in loads]
        label = f"cos φ {number(pf)}" + ("" if pf == 1 else " leading" if lead else " lagging")
        right.plot(loads, drop, **stroke, label=label)
    reference = mean["reference_temperature_c"]
    at_c = _at(mean["winding_temperature_c"] if reference is None else reference)
    _frame(left, f"Efficiency, %{at_c}")
    _frame(right, f"Regulation, %{at_c}")
    best = mean["max_efficiency"]
    left.set_ylim(*_shown(mean))
    if best is not None and best["load"] <= MOST_LOAD:
        left.plot([best["load"]], [100 * best["value"]], "o", color="black", markersize=4)
        words = f"{100 * best['value']:.2f} % at {number(best['load'], 3)}"
        spot = (best["load"], 100 * best["value"])
        right_of = best["load"] < MOST_LOAD / 2
        left.annotate(
            words,
            spot,
            xytext=(4 if right_of else -4, 6),
            textcoords="offset points",
            ha="left" if right_of else "right",
        )


def _shown(mean: Mapping[str, Any]) -> tuple[float, float]:
    """Return the ends of the efficiency's scale: what is far below tells nothing."""
    shown = [float(at["value"]) for at in mean["efficiency"] if at["load"] >= LEAST_LOAD]
    best = mean["max_efficiency"]
    high = max(shown, default=0.99) if best is None else best["value"]
    depth = max(high - min(shown, default=0.9), 1e-4)
    return 100 * (high - 1.3 * depth), 100 * (high + 0.35 * depth)


def _at(celsius: float | None) -> str:
    return "" if celsius is None else f", {number(celsius, 3)} °C"


def _frame(axes: Axes, title: str) -> None:
    axes.set_title(title, loc="left", fontsize=10)
    axes.set_xlabel("load, per unit of rated")
    axes.set_xlim(0, MOST_LOAD)
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    if axes.get_legend_handles_labels()[0]:
        # Below the axes, where no curve is.
        axes.legend(frameon=False, loc="upper center", bbox_to_anchor=(0.5, -0.15), ncols=2)


def _circuit(mean: Mapping[str, Any], axes: Axes, whose: str) -> None:
    """Draw the approximate equivalent circuit of one phase, referred to HV, LV values below."""
    axes.set_xlim(-1.2, 18)
    axes.set_ylim(0.2, 5.6)
    axes.set_aspect("equal")
    axes.axis("off")
    at = _at(mean["winding_temperature_c"])
    axes.set_title(
        f"Equivalent circuit of one phase, {whose}{at}: HV side (LV side)", loc="left", fontsize=10
    )
    top, bottom = 5.0, 0.6
    _wire(axes, (0.6, top), (8.6, top))
    _resistor(axes, 8.6, top)
    _wire(axes, (10.2, top), (12.2, top))
    _inductor(axes, 12.2, top)
    _wire(axes, (13.8, top), (16.2, top))
    _wire(axes, (0.6, bottom), (16.2, bottom))
    for x, middle in ((2.2, 2.8), (6.4, 2.8)):
        _wire(axes, (x, top), (x, middle + 0.8))
        _wire(axes, (x, middle - 0.8), (x, bottom))
        _node(axes, x, top)
        _node(axes, x, bottom)
    _resistor(axes, 2.2, 2.0, upright=True)
    _inductor(axes, 6.4, 2.0, upright=True)
    for x, y in ((0.6, top), (0.6, bottom), (16.2, top), (16.2, bottom)):
        axes.add_patch(Circle((x, y), 0.11, fill=True, facecolor="white", edgecolor="black"))
    axes.text(0.2, (top + bottom) / 2, "supply", ha="right", va="center")
    axes.text(16.6, (top + bottom) / 2, "load", va="center")
    _value(axes, 2.65, 2.8, "R0", mean, "core_loss_resistance", native="lv", beside=True)
    _value(axes, 6.9, 2.8, "Xm", mean, "magnetizing_reactance", native="lv", beside=True)
    _value(axes, 9.4, 4.5, "Re", mean, "equivalent_resistance", native="hv")
    _value(axes, 13.0, 4.5, "Xe", mean, "equivalent_reactance", native="hv")


def _value(
    axes: Axes, x: float, y: float, symbol: str, mean: Mapping[str, Any], key: str, **place: Any
) -> None:
    native, beside = place["native"], place.get("beside", False)
    other = mean[f"{key}_{'lv' if native == 'hv' else 'hv'}_ohm"]
    hv, lv = (other, mean[f"{key}_ohm"]) if native == "lv" else (mean[f"{key}_ohm"], other)
    words = f"${symbol[0]}_\\mathrm{{{symbol[1]}}}$ = {_ohm(hv)}\n({_ohm(lv)})"
    axes.text(
        x,
        y,
        words,
        ha="left" if beside else "center",
        va="center" if beside else "top",
        linespacing=1.4,
    )


def _ohm(value: float) -> str:
    for scale, unit in ((1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω")):
        if value >= scale:
            return f"{number(value / scale, 4)} {unit}"
    return f"{number(value * 1e3, 4)} mΩ"


def _wire(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    axes.plot(*zip(start, end, strict=True), color="black", linewidth=1.1)


def _node(axes: Axes, x: float, y: float) -> None:
    axes.add_patch(Circle((x, y), 0.08, color="black"))


def _resistor(axes: Axes, x: float, y: float, upright: bool = False) -> None:
    """Draw a resistor of length 1.6 from (x, y), to the right or upwards: IEC 60617, a box."""
    corner = (x - 0.26, y) if upright else (x, y - 0.26)
    width, height = (0.52, 1.6) if upright else (1.6, 0.52)
    axes.add_patch(Rectangle(corner, width, height, fill=False, edgecolor="black", linewidth=1.1))


def _inductor(axes: Axes, x: float, y: float, upright: bool = False) -> None:
    """Draw an inductor of length 1.6 from (x, y): IEC 60617, four half circles in a row."""
    for centre in _humps(0.4, 4):
        spot = (x, y + centre) if upright else (x + centre, y)
        ends = (-90, 90) if upright else (0, 180)
        arc = Arc(spot, 0.4, 0.4, theta1=ends[0], theta2=ends[1], color="black", linewidth=1.1)
        axes.add_patch(arc)


def _humps(width: float, count: int) -> Sequence[float]:
    return [width * (k + 0.5) for k in range(count)]
