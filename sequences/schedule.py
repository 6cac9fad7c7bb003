"""A schedule: which procedure runs, over which windows, within which limits."""

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from annotated_types import Gt, Le, Lt, MinLen

from calculation.nameplate import STRICT, NotNegative, Positive


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
class Schedule:
    """What is run and how.

    `window_s` is the time over which readings are averaged, `dwell_s` the time at rated voltage
    before the no-load readings, `prompt_time_s` how long a prompt may stand unanswered.
    Top liquid above `top_liquid_limit_c`, or twins further apart than `twins_differ_limit_k`, is
    a trip.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    procedure: Literal["loss_test"]
    window_s: Positive
    dwell_s: NotNegative
    prompt_time_s: Positive
    top_liquid_limit_c: Annotated[float, Gt(0), Lt(200)]
    twins_differ_limit_k: Positive
    evaluate: Evaluate = Evaluate()
