"""A schedule: which procedure runs, over which windows, within which limits."""

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from annotated_types import Gt, Le, Lt, MinLen

from calculation.nameplate import STRICT, NotNegative, Positive

Standard = Literal["IEC 60076-2", "IEEE C57.12.90", "IEC 60076-11"]


@dataclass(frozen=True, slots=True)
class Evaluate:
    """At which loads (per unit of rated) and power factors efficiency and regulation are given.

    Every load is combined with every power factor, lagging and, where `leading` lists true,
    leading.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    load: Annotated[tuple[Annotated[float, Gt(0), Le(2)], ...], MinLen(1)] = (0.25, 0.5, 0.75, 1.0)
    power_factor: Annotated[tuple[Annotated[float, Gt(0), Le(1)], ...], MinLen(1)] = (1.0, 0.8)
    leading: Annotated[tuple[bool, ...], MinLen(1)] = (False,)


@dataclass(frozen=True, slots=True)
class WarmUp:
    """A shortened warm-up: more than rated current until a forecast says that it is enough.

    It ends at `share` of the rise that the forecast for rated current surely reaches, or when the
    hot-spot comes to its limit, degC.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    current: Annotated[float, Gt(1), Le(1.5)]
    share: Annotated[float, Gt(0), Lt(1)] = 0.95
    hot_spot_limit_c: Annotated[float, Gt(0), Lt(250)] = 98.0


@dataclass(frozen=True, slots=True)
class Overload:
    """A step of overload after the steady state, per unit of rated current, for some hours.

    It ends before its time when hot-spot or top liquid come to their limits, degC; afterwards
    rated current flows for `rated_again_s` before the shutdown, so that the gradients are those of
    rated current.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    current: Annotated[float, Gt(1), Le(1.5)]
    hours: Positive
    hot_spot_limit_c: Annotated[float, Gt(0), Lt(250)] = 120.0
    top_liquid_limit_c: Annotated[float, Gt(0), Lt(200)] = 105.0
    rated_again_s: Positive = 3600.0


@dataclass(frozen=True, slots=True)
class Soak:
    """The heat run's own part of a schedule.

    `standard` is the rule by which it is steady. Set-points are looked at every `correction_s` and
    corrected when off by more than `dead_band_percent`. `cold_s` is how long cold resistances are
    read at each position of the selector, `cooling_s` how long the cooling curves are, `dwell_s`
    how long a selector with several positions stays at each. Ambient outside its range holds the
    run; nobody answering for `hold_s` ends it.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    standard: Standard
    time_limit_h: Annotated[float, Gt(0), Le(100)]
    correction_s: Positive = 60.0
    dead_band_percent: Annotated[float, Gt(0), Lt(5)] = 0.5
    cold_s: Positive = 120.0
    cooling_s: Positive = 1500.0
    dwell_s: Positive = 120.0
    hold_s: Positive = 1800.0
    ambient_from_c: float = 10.0
    ambient_to_c: float = 40.0
    warm_up: WarmUp | None = None
    overload: Overload | None = None


@dataclass(frozen=True, slots=True)
class Schedule:
    """What is run and how.

    `window_s` is the time over which readings are averaged, `dwell_s` the time at rated voltage
    before the no-load readings, `prompt_time_s` how long a prompt may stand unanswered.
    Top liquid above `top_liquid_limit_c`, a dry-type unit's winding above `winding_limit_c`, one of
    them rising faster than `rise_rate_limit_k_per_min`, or twins further apart than
    `twins_differ_limit_k`, is a trip. `soak` is what only a heat run needs.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    procedure: Literal["loss_test", "heat_run"]
    window_s: Positive
    dwell_s: NotNegative
    prompt_time_s: Positive
    top_liquid_limit_c: Annotated[float, Gt(0), Lt(200)]
    twins_differ_limit_k: Positive
    winding_limit_c: Annotated[float, Gt(0), Lt(300)] = 180.0
    rise_rate_limit_k_per_min: Positive = 5.0
    evaluate: Evaluate = Evaluate()
    soak: Soak | None = None

    @property
    def most_current(self) -> float:
        """The largest loop current that the schedule sets, per unit of rated."""
        steps = (self.soak.warm_up, self.soak.overload) if self.soak else ()
        return max([1.0, *(s.current for s in steps if s is not None)])
