"""The figure of a heat run: temperatures, rises with their forecast, steadiness, cooling curves.

Unit A is drawn through, unit B broken, so that grey paper tells them apart; red, yellow and green
keep the meaning that IEC 60073 gives them and colour no curve.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from acquire.figure import drawn
from acquire.heat_cells import stated
from acquire.heat_picture import Cooled, HeatPicture, Outlook
from acquire.results_table import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

# With both windings of both units an A4 sheet.
WIDTH_IN, NIGHT_IN, COOLING_IN = 8.27, 6.7, 2.5
COOLING = "Winding temperature after the shutdown, °C; below it reading less curve, K"
BLUE, PALE = "#0072b2", "#d9d9d9"
HOUR: dict[str, Any] = {"color": PALE, "linewidth": 0, "zorder": 0, "label": "hour that counts"}
UNIT: dict[str, dict[str, Any]] = {
    "a": {"color": BLUE, "linestyle": "-"},
    "b": {"color": "black", "linestyle": (0, (5, 2))},
}
HATCH = {"a": "\\\\\\\\", "b": "////"}
# Of one unit, what is watched is drawn strongest, whatever else was read thinner.
WIDTHS = (1.5, 0.8, 0.8, 0.8)
MARKERS = ("", "o", "^", "s")
WINDINGS = (("a_lv", "a_hv"), ("b_lv", "b_hv"))
NARROW = 0.08  # of the width: a shorter stretch has its name upright
NARROWEST = 0.01  # shorter still, it has none
HEADROOM = 0.3  # of the height: for the stretches' names
MOST_LIMITS = 4.0  # rates far above the limit tell nothing and would flatten the rest


def draw_heat(picture: HeatPicture, path: Path) -> None:
    """Draw a heat run into a file; its suffix says of which kind.

    Raises Refusal as `figure.draw`.
    """
    rows = [pair for pair in WINDINGS if any(winding in picture.cooling for winding in pair)]
    heights = NIGHT_IN, COOLING_IN * len(rows)
    with drawn(path, (WIDTH_IN, sum(heights))) as figure:
        if not rows:
            _night(picture, figure)
            return
        upper, lower = figure.subfigures(2, 1, height_ratios=heights, squeeze=False)[:, 0]
        _night(picture, upper)
        lower.suptitle(COOLING, x=0.01, ha="left", fontsize=10)
        grid = lower.add_gridspec(len(rows), 2)
        for k, pair in enumerate(rows):
            for column, winding in enumerate(pair):
                _cooling(lower, grid[k, column], winding, picture.cooling.get(winding))
        known = {words: line for axes in lower.axes for line, words in _labelled(axes)}
        lower.legend(known.values(), known.keys(), loc="outside lower left", ncols=4, frameon=False)


def _labelled(axes: "Axes") -> Iterator[tuple[Any, str]]:
    return zip(*axes.get_legend_handles_labels(), strict=True)


def _night(picture: HeatPicture, figure: "Figure | SubFigure") -> None:
    figure.suptitle(picture.title, x=0.01, ha="left", fontsize=11)
    night = figure.subplots(3, 1, height_ratios=(2.6, 1.9, 1.4))
    _temperatures(picture, night[0])
    _rises(picture, night[1])
    _steadiness(picture, night[2])
    for axes in night:
        axes.set_xlim(picture.hours[0], picture.hours[-1])
        for begin, *_ in picture.stretches:
            axes.axvline(begin, color="#666666", linewidth=0.8)
        axes.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
        _ruled(axes)
    night[2].set_xlabel("stand time, h")


def _ruled(axes: "Axes") -> None:
    axes.grid(color="#e3e3e3", linewidth=0.6)
    axes.set_axisbelow(True)


def _titled(axes: "Axes", title: str) -> None:
    axes.set_title(title, loc="left", fontsize=10)


def _temperatures(picture: HeatPicture, axes: "Axes") -> None:
    for unit, columns in picture.temperatures.items():
        strongest_first = sorted(columns, key=lambda words: words != picture.watched)
        for k, words in enumerate(strongest_first):
            style = UNIT[unit] | {"linewidth": WIDTHS[min(k, 3)], "marker": MARKERS[min(k, 3)]}
            axes.plot(
                picture.hours,
                columns[words],
                **style,
                markersize=3,
                markevery=60,
                label=f"{unit.upper()} {words}",
            )
    axes.plot(picture.hours, picture.ambient_c, color="#666666", linestyle=":", label="ambient")
    _titled(axes, "Temperature, °C")
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + HEADROOM * (high - low))
    whole = float(picture.hours[-1] - picture.hours[0])
    for begin, end, words in picture.stretches:
        if end - begin < NARROWEST * whole:
            continue
        upright = end - begin < NARROW * whole
        axes.annotate(
            words,
            (begin, 0.98),
            xycoords=axes.get_xaxis_transform(),
            xytext=(1.5, 0),
            textcoords="offset points",
            va="top",
            fontsize=7 if upright else 8,
            rotation=90 if upright else 0,
        )


def _rises(picture: HeatPicture, axes: "Axes") -> None:
    """Draw rises, and each forecast with its interval over the time at which it was made."""
    for unit, rise_k in picture.rise_k.items():
        axes.plot(picture.hours, rise_k, **UNIT[unit], linewidth=1.5, label=f"{unit.upper()} rise")
    for unit, outlook in picture.outlook.items():
        _outlook(outlook, unit, axes)
    if picture.hour is not None:
        axes.axvspan(*picture.hour, **HOUR)
    _titled(axes, _rises_title(picture))
    axes.margins(y=0.1)


def _rises_title(picture: HeatPicture) -> str:
    words = f"Rise of {picture.watched} over cooling air, K"
    return words + ("; bands: its end as then forecast, 95 %" if picture.outlook else "")


def _outlook(outlook: Outlook, unit: str, axes: "Axes") -> None:
    low, high = (outlook.ultimate_k + s * outlook.expanded_k for s in (-1, 1))
    colour = UNIT[unit]["color"]
    axes.fill_between(
        outlook.hours,
        low,
        high,
        facecolor="none",
        edgecolor=colour,
        alpha=0.6,
        linewidth=0.5,
        hatch=HATCH[unit],
        label=f"{unit.upper()} forecast",
    )


def _steadiness(picture: HeatPicture, axes: "Axes") -> None:
    limit = picture.limit_k_per_h
    for unit, rate in picture.rate_k_per_h.items():
        axes.plot(picture.hours, rate, **UNIT[unit], linewidth=1.5, label=f"{unit.upper()} rate")
    if limit is not None:
        dots: dict[str, Any] = {"color": "black", "linewidth": 0.9, "linestyle": (0, (1, 1))}
        axes.axhline(limit, **dots, label=f"limit ±{number(limit, 3)}")
        axes.axhline(-limit, **dots)
    if picture.hour is not None:
        axes.axvspan(*picture.hour, **HOUR)
    read = [rate[~np.isnan(rate)] for rate in picture.rate_k_per_h.values()]
    known = np.concatenate(read) if read else np.empty(0)
    most = MOST_LIMITS * (limit or 1.0)
    if len(known):
        low = min(-0.5 * most / MOST_LIMITS, float(known.min()))
        axes.set_ylim(max(low * 1.1, -most), min(most, 1.1 * max(float(known.max()), most / 3)))
    _titled(axes, f"Rate of change of the rise over an hour, K/h; rule {picture.rule}")


def _cooling(
    figure: "Figure | SubFigure", place: Any, winding: str, cooled: Cooled | str | None
) -> None:
    name = f"Unit {winding[0].upper()}, {winding[2:].upper()}"
    inner = place.subgridspec(2, 1, height_ratios=(2.6, 1), hspace=0.0)
    if cooled is None or isinstance(cooled, str):
        axes = figure.add_subplot(place)
        axes.axis("off")
        _titled(axes, f"{name}: no cooling curve")
        if cooled is not None:
            axes.text(0.0, 0.9, cooled, wrap=True, va="top", fontsize=8)
        return
    upper = figure.add_subplot(inner[0])
    lower = figure.add_subplot(inner[1], sharex=upper)
    minutes, settled = cooled.time_s / 60, np.array(cooled.settled)
    for of, face, words in (
        (settled, BLUE, "settled"),
        (~settled, "none", "left out: not yet settled"),
    ):
        if of.any():
            dots: dict[str, Any] = {"markerfacecolor": face, "markeredgecolor": BLUE}
            dots |= {"markersize": 2.6 if of is settled else 3.5, "markeredgewidth": 0.6}
            upper.plot(
                minutes[of], cooled.temperature_c[of], "o", **dots, label=words, linestyle=""
            )
    curve: dict[str, Any] = {"color": "black", "linewidth": 1.0, "zorder": 3}
    upper.plot(cooled.curve_s / 60, cooled.curve_c, **curve, label="fitted curve")
    spread = cooled.expanded_k
    square: dict[str, Any] = {"fmt": "s", "color": "black", "markersize": 4, "capsize": 2}
    upper.errorbar([0], [cooled.winding_0_c], [spread], **square, label="at shutdown, 95 %")
    # Readings not yet settled may be far off: the curve sets the scale.
    low, high = float(cooled.curve_c.min()), float(cooled.curve_c.max()) + spread
    upper.set_ylim(low - 0.08 * (high - low), high + 0.08 * (high - low))
    upper.tick_params(labelbottom=False)
    words = stated(cooled.winding_0_c, {"expanded": spread, "factor": 2.0})
    _titled(upper, f"{name}: {words} °C at shutdown" + (", weakly" if cooled.weak else ""))
    lower.plot(minutes[settled], cooled.residual_k[settled], "o", color=BLUE, markersize=1.6)
    lower.axhline(0, color="black", linewidth=0.8)
    lower.set_xlabel("time since shutdown, min")
    _ruled(upper)
    _ruled(lower)
