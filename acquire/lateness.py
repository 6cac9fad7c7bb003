"""How late scans began: counted as they come, so that days of them take no more room than one."""

STEP_NS = 100_000
STEPS = 10_000


# What no trip's delay is shorter than is no hold-up to speak of; and what is so long ago explains
# nothing any more. Both of stand time.
LEAST_HELD_UP_NS = 500_000_000
REMEMBERED_NS = 10_000_000_000


class HeldUp:
    """The last time that scans were held up, for the words of whatever then acts on a time."""

    def __init__(self) -> None:
        self._until = self._late_ns = -1

    def note(self, now: int, late_ns: int) -> bool:
        """Note how late the scan at `now` is, ns; return whether that is worth telling."""
        if late_ns < LEAST_HELD_UP_NS:
            return False
        self._until, self._late_ns = now, late_ns
        return True

    def words(self, now: int) -> str:
        """Return what to add to what is seen at `now`; nothing when nothing was held up lately."""
        ago_ns = now - self._until
        if self._until < 0 or ago_ns > REMEMBERED_NS:
            return ""
        return (
            f"; but scans were held up for {self._late_ns / 1e9:.1f} s"
            f" until {ago_ns / 1e9:.1f} s before"
        )


class Lateness:
    """Counts how late scans began, in steps of 0.1 ms, the last step and all above together."""

    def __init__(self) -> None:
        self.scans = self.missed = 0
        self.most_ns = 0
        self._counts = [0] * (STEPS + 1)

    def add(self, late_ns: int, missed: int) -> None:
        """Count a scan that began `late_ns` after it was due, `missed` whole periods left out."""
        self.scans += 1
        self.missed += missed
        self.most_ns = max(self.most_ns, late_ns)
        self._counts[min(max(late_ns, 0) // STEP_NS, STEPS)] += 1

    def quantile_ns(self, share: float) -> int:
        """Return what a share of the scans were no later than, ns, rounded up to a step."""
        wanted, counted = share * self.scans, 0
        for step, count in enumerate(self._counts[:-1]):
            counted += count
            if counted >= wanted:
                return min((step + 1) * STEP_NS, self.most_ns)
        return self.most_ns

    def facts(self) -> dict[str, float | int]:
        """Return what the record keeps, in ms."""
        return {
            "scans": self.scans,
            "missed": self.missed,
            "p50_ms": self.quantile_ns(0.5) / 1e6,
            "p99_ms": self.quantile_ns(0.99) / 1e6,
            "most_ms": self.most_ns / 1e6,
        }
