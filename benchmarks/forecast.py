"""What a forecast costs: on twelve hours of minute rows, against a bare least-squares fit of them.

Run: python -m benchmarks.forecast
"""

from statistics import median
from time import perf_counter

import numpy as np

from calculation.forecast import forecast
from calculation.heat_readings import Floats
from calculation.minutes import MinuteMeans
from calculation.one_body import Rows
from calculation.steadiness import Steadiness

REPEATED = 200
LIMITS_K = (0.5, 0.1, 0.1, 0.1)


def twelve_hours() -> Rows:
    """Return a noisy warm-up of 50 K and three hours, a row a minute (constructed)."""
    rng = np.random.default_rng(1)
    t_s = np.arange(721, dtype=np.float64) * 60.0
    ambient_c = 20 + np.sin(t_s / 14400) + 0.05 * rng.standard_normal(721)
    top_c = 20 + 50 * (1 - np.exp(-t_s / 10800)) + 0.05 * rng.standard_normal(721)
    return Rows(t_s, top_c, ambient_c, 1000 + rng.standard_normal(721))


def milliseconds(rows: Rows) -> tuple[float, float]:
    """Return the median time of a forecast and of the bare fit, each between the other's."""
    whole: list[float] = []
    bare: list[float] = []
    hours: Floats = rows.t_s / 3600
    design = np.stack([np.ones_like(hours), hours, np.cumsum(rows.temperature_c) / 1e3], axis=1)
    for _ in range(REPEATED):
        begun = perf_counter()
        forecast(rows, rule="IEC 60076-2", limits_k=LIMITS_K)
        between = perf_counter()
        np.linalg.lstsq(design, rows.temperature_c, rcond=None)
        bare.append(perf_counter() - between)
        whole.append(between - begun)
    return 1000 * median(whole), 1000 * median(bare)


def microseconds_a_reading() -> tuple[float, float]:
    """Return what a reading costs in its minute mean, and a bare sum of the same readings."""
    readings = [("a.top_liquid", 0.2 * k, 50.0) for k in range(300_000)]
    minutes, total = MinuteMeans(), 0.0
    begun = perf_counter()
    for channel, t_s, value in readings:
        minutes.add(channel, t_s, value)
    between = perf_counter()
    for _, _, value in readings:
        total += value
    ended = perf_counter()
    each = 1e6 / len(readings)
    return (between - begun) * each, (ended - between) * each


def microseconds_a_minute() -> float:
    """Return what steadiness costs once a minute."""
    steadiness = Steadiness("IEC 60076-2")
    begun = perf_counter()
    for minute in range(5000):
        steadiness.add(minute * 60.0, [50.0], 20.0)
    return (perf_counter() - begun) * 1e6 / 5000


def main() -> None:
    """Print the figures."""
    whole, bare = milliseconds(twelve_hours())
    print(f"forecast on 12 h of rows   {whole:7.3f} ms")
    print(f"bare least squares of them {bare:7.3f} ms   ratio {whole / bare:.1f}")
    mean, total = microseconds_a_reading()
    print(f"minute mean, a reading     {mean:7.3f} µs")
    print(f"bare sum, a reading        {total:7.3f} µs   ratio {mean / total:.1f}")
    print(f"steadiness, a minute       {microseconds_a_minute():7.1f} µs")


if __name__ == "__main__":
    main()
