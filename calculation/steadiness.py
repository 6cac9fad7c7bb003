"""When a heat run is steady, by the rule of the standard that its schedule names."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, isfinite
from typing import Literal

import numpy as np

from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats

Rule = Literal["IEC 60076-2", "IEEE C57.12.90", "IEC 60076-11"]

HOUR_S = 3600.0
# Up to this long without a reading the window lives on with a row or two less.
LONGEST_GAP_S = 240.0
MINUTES_A_WINDOW = 60
MINUTES_OF_CHANGE = 180
# Where the unit's own time constant is unknown.
AMBIENT_LAG_S = 7200.0


@dataclass(frozen=True, slots=True)
class Terms:
    """What a rule asks: rate below or at `rate_k_per_h`, held; or change over three hours."""

    held_s: float
    rate_k_per_h: float = inf
    at_limit_too: bool = False
    change_k: float = inf
    change_share: float = 0.0


# Numbers from memory of the standards; the hour of the dry type is our own choice, since IEC
# 60076-11 gives none. IEEE's three hours are its window, so nothing has to be held on top.
TERMS: dict[Rule, Terms] = {
    "IEC 60076-2": Terms(3 * HOUR_S, rate_k_per_h=1.0),
    "IEEE C57.12.90": Terms(0.0, change_k=1.0, change_share=0.025),
    "IEC 60076-11": Terms(HOUR_S, rate_k_per_h=1.0, at_limit_too=True),
}


class LaggedAmbient:
    """Ambient through a first-order lag, exact where it runs straight between readings (D)."""

    def __init__(self, lag_s: float) -> None:
        self._lag_s = lag_s
        self._last: tuple[float, float, float] | None = None

    def add(self, t_s: float, ambient_c: float) -> float:
        """Take the ambient of instant `t_s` and return it lagged, degC; the first as it is."""
        if self._last is None:
            self._last = (t_s, ambient_c, ambient_c)
        since_s, raw_c, lagged_c = self._last
        steps = (t_s - since_s) / self._lag_s
        if steps:
            kept, slope = exp(-steps), (ambient_c - raw_c) / steps
            lagged_c = ambient_c - slope + (lagged_c - raw_c + slope) * kept
            self._last = (t_s, ambient_c, lagged_c)
        return lagged_c


class Steadiness:
    """One unit's steadiness, fed once a minute; memory is a window of 60 or 180 minutes.

    The rise of each watched temperature is taken over ambient lagged by the unit's time constant
    (first order): over raw ambient a drifting room passes as a change of the unit. Rates are
    least-squares slopes over 60 minutes. A gap longer than `LONGEST_GAP_S` restarts window and
    hold by itself; a change of load or of cooling by the caller's `restart`.

    Sources: IEC 60076-2 (rate of the top-liquid rise below 1 K/h and 3 h at that), IEEE C57.12.90
    (change of the rise over 3 h at most 2.5 % or 1 K, the greater), IEC 60076-11 (1 K/h, on core
    and windings); all from memory.

    Raises:
        ImpossibleReading: a lag that is not above zero, or nothing to watch.
    """

    def __init__(self, rule: Rule, lag_s: float = AMBIENT_LAG_S, watched: int = 1) -> None:
        if not (0 < lag_s < inf and watched > 0):
            raise ImpossibleReading({"lag_s": lag_s, "watched": watched}, "must be above zero")
        self._terms = TERMS[rule]
        self._ambient = LaggedAmbient(lag_s)
        size = MINUTES_OF_CHANGE if isfinite(self._terms.change_k) else MINUTES_A_WINDOW
        # A ring of which every row is kept twice, so that any window of it lies in one piece.
        self._t_s = np.zeros(2 * (size + 1))
        self._rise_k = np.zeros((2 * (size + 1), watched))
        self._rows = 0
        self._since_s: float | None = None
        self._met_from_s: float | None = None
        self._now_s: float | None = None
        self.rate_k_per_h: float | None = None
        self.steady_at_s: float | None = None

    def add(self, t_s: float, watched_c: Sequence[float], ambient_c: float) -> None:
        """Take the minute means of instant `t_s`; NaN where nothing was read.

        Raises:
            ImpossibleReading: a number of temperatures other than `watched`, or a time that does
                not run forwards.
        """
        if len(watched_c) != self._rise_k.shape[1]:
            raise ImpossibleReading({"watched": len(watched_c)}, "other temperatures than named")
        if self._now_s is not None and t_s <= self._now_s:
            raise ImpossibleReading({"t_s": t_s}, "stand time runs backwards")
        if not (isfinite(ambient_c) and all(map(isfinite, watched_c))):
            if self._now_s is not None and t_s - self._now_s > LONGEST_GAP_S:
                self.restart(t_s)
            return
        if self._now_s is None or t_s - self._now_s > LONGEST_GAP_S or self._since_s is None:
            self.restart(t_s)
        self._now_s = t_s
        lagged_c = self._ambient.add(t_s, ambient_c)
        rise_k = [celsius - lagged_c for celsius in watched_c]
        size = len(self._t_s) // 2
        for row in (self._rows % size, self._rows % size + size):
            self._t_s[row] = t_s
            self._rise_k[row] = rise_k
        self._rows += 1
        self._judge(t_s)

    def restart(self, t_s: float) -> None:
        """Begin window and hold anew at `t_s`: load or cooling changed, or nobody looked."""
        self._rows = 0
        self._since_s = t_s
        self._met_from_s = self.rate_k_per_h = self.steady_at_s = None

    @property
    def held_s(self) -> float:
        """For how long the rate has now kept the rule's limit without a break, s."""
        if self._met_from_s is None or self._now_s is None:
            return 0.0
        return self._now_s - self._met_from_s

    @property
    def last_hour_mean_k(self) -> tuple[float, ...] | None:
        """Mean rise over lagged ambient in the last hour, K, of each watched temperature.

        None until an hour has passed since the last restart.
        """
        if self._now_s is None or not self._spans(self._now_s, HOUR_S):
            return None
        _, rise_k = self._last(self._now_s, HOUR_S)
        return tuple(float(mean) for mean in rise_k.mean(axis=0))

    def _judge(self, t_s: float) -> None:
        terms = self._terms
        if not self._spans(t_s, HOUR_S):
            return
        at_s, rise_k = self._last(t_s, HOUR_S)
        from_mean = at_s - np.add.reduce(at_s) / len(at_s)
        rates = from_mean @ rise_k / (from_mean @ from_mean) * HOUR_S
        self.rate_k_per_h = float(rates[np.abs(rates).argmax()])
        if not self._met(t_s, abs(self.rate_k_per_h), terms):
            self._met_from_s = self.steady_at_s = None
            return
        if self._met_from_s is None:
            self._met_from_s = t_s
        if self.steady_at_s is None and t_s - self._met_from_s >= terms.held_s:
            self.steady_at_s = t_s

    def _met(self, t_s: float, rate: float, terms: Terms) -> bool:
        if isfinite(terms.change_k):
            window_s = MINUTES_OF_CHANGE * 60.0
            if not self._spans(t_s, window_s):
                return False
            _, rise_k = self._last(t_s, window_s)
            allowed = np.maximum(terms.change_k, terms.change_share * rise_k[-1])
            return bool((np.ptp(rise_k, axis=0) <= allowed).all())
        return rate <= terms.rate_k_per_h if terms.at_limit_too else rate < terms.rate_k_per_h

    def _spans(self, t_s: float, length_s: float) -> bool:
        """Whether the rows reach back that far without a restart between."""
        return self._since_s is not None and t_s - self._since_s >= length_s

    def _last(self, t_s: float, length_s: float) -> tuple[Floats, Floats]:
        """Rows of the last `length_s`, oldest first: instants, and rises (rows, watched)."""
        size = len(self._t_s) // 2
        end = (self._rows - 1) % size + size + 1
        kept = slice(end - min(self._rows, size), end)
        at_s, rise_k = self._t_s[kept], self._rise_k[kept]
        begin = int(at_s.searchsorted(t_s - length_s))
        return at_s[begin:], rise_k[begin:]
