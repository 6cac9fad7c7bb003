"""Streaming accumulators: fed one reading at a time, equal to the batch result to rounding."""

from collections import deque
from dataclasses import dataclass, field

from calculation.errors import ImpossibleReading, refuse_unless_finite


@dataclass(slots=True)
class Accumulator:
    """Mean, spread and count of the readings of one channel, with first and last instant (ns).

    Welford's recurrence (Knuth, The Art of Computer Programming, vol. 2, 4.2.2; from memory).
    """

    channel: str = "reading"
    count: int = 0
    first_t: int | None = None
    last_t: int | None = None
    _mean: float = field(default=0.0, repr=False)
    _squares: float = field(default=0.0, repr=False)

    def add(self, value: float, t: int) -> None:
        """Take one reading of stand time `t`.

        Raises:
            ImpossibleReading: a value that is not a finite number.
        """
        refuse_unless_finite({self.channel: value})
        self.count += 1
        self.first_t = t if self.first_t is None else self.first_t
        self.last_t = t
        step = value - self._mean
        self._mean += step / self.count
        self._squares += step * (value - self._mean)

    @property
    def mean(self) -> float:
        """The mean of all readings.

        Raises:
            ImpossibleReading: when there was none.
        """
        if not self.count:
            raise ImpossibleReading({self.channel: None}, "no reading to average")
        return self._mean

    @property
    def spread(self) -> float:
        """Experimental standard deviation (JCGM 100, 4.2.2); zero of fewer than two readings."""
        return (self._squares / (self.count - 1)) ** 0.5 if self.count > 1 else 0.0

    @property
    def spread_of_mean(self) -> float:
        """Standard deviation of the mean (JCGM 100, 4.2.3); zero of fewer than two readings."""
        return self.spread / self.count**0.5 if self.count else 0.0


@dataclass(slots=True)
class Window:
    """The readings of one channel within the last `length_ns` of stand time."""

    length_ns: int
    channel: str = "reading"
    _kept: deque[tuple[int, float]] = field(default_factory=deque, repr=False)

    def add(self, value: float, t: int) -> None:
        """Take one reading of stand time `t` and let go of those that are too old.

        Raises:
            ImpossibleReading: a value that is not a finite number, or a time that runs backwards.
        """
        refuse_unless_finite({self.channel: value})
        if self._kept and t < self._kept[-1][0]:
            raise ImpossibleReading({self.channel: value}, "stand time runs backwards")
        self._kept.append((t, value))
        while self._kept[0][0] <= t - self.length_ns:
            self._kept.popleft()

    def accumulated(self) -> Accumulator:
        """Mean, spread, count and instants of what the window holds now."""
        folded = Accumulator(self.channel)
        for t, value in self._kept:
            folded.add(value, t)
        return folded
