"""The disk of a rehearsal's archive, which may be full or slow, and who records on it."""

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from acquire.database import ArchiveError
from acquire.recorder import Recorded, RunRecorder
from drivers.reading import Reading

S = 1_000_000_000


class Disk:
    """For hands: `full` takes no commit, `late_s` is the time after which one is on the disk."""

    def __init__(self) -> None:
        self.full = False
        self.late_s = 0.0


class SufferingRecorder(Recorded):
    """A recorder on a disk that may be full or slow.

    What can't be written yet waits in its order; `event` and `state` raise ArchiveError then, and
    the age of the last commit tells the rest. What waits when the process ends is lost.
    """

    def __init__(self, recorder: RunRecorder, disk: Disk) -> None:
        super().__init__(recorder)
        self._disk = disk
        self._waiting: deque[tuple[int, Callable[[], object]]] = deque()
        self._now = recorder.last_commit_t

    def readings(self, t: int, polls: Sequence[tuple[str, tuple[Reading, ...]]]) -> None:
        """Take the polls that arrived by stand time `t` (ns)."""
        self._now = t
        self._waiting.append((t, lambda: self._recorder.readings(t, polls)))
        self._write()

    def event(self, t: int, kind: str, facts: Mapping[str, Any]) -> int:
        """Record an event. Raises ArchiveError while it is not on the disk."""
        self._now = max(t, self._now)
        self._waiting.append((t, lambda: self._recorder.event(t, kind, facts)))
        self._write_all()
        return self._recorder.committed

    def state(self, state: str) -> None:
        """Record the run's state. Raises ArchiveError while it is not on the disk."""
        self._waiting.append((self._now, lambda: self._recorder.state(state)))
        self._write_all()

    def anchors(self, dropped: Sequence[tuple[int, str]]) -> None:
        """Take the anchors."""
        kept = tuple(dropped)
        self._waiting.append((self._now, lambda: self._recorder.anchors(kept)))
        self._write()

    def end(
        self, state: str, end: str, verdict: str | None, result: Mapping[str, Any] | None
    ) -> None:
        """Seal the run; a slow disk is waited for. Raises ArchiveError where it is full."""
        if self._disk.full:
            raise self._refusal("the disk is full")
        while self._waiting:
            self._waiting.popleft()[1]()
        self._recorder.end(state, end, verdict, result)

    def close(self) -> None:
        """Let go of the archive."""
        self._recorder.close()

    def _write(self) -> None:
        """Write what the disk takes by now."""
        late = round(self._disk.late_s * S)
        while self._waiting and not self._disk.full and self._now - self._waiting[0][0] >= late:
            self._waiting.popleft()[1]()

    def _write_all(self) -> None:
        self._write()
        if self._waiting:
            raise self._refusal("the disk is full" if self._disk.full else "the disk is slow")

    def _refusal(self, words: str) -> ArchiveError:
        return ArchiveError(f"{self._recorder.path}: {words}")
