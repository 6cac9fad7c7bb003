"""The archive's writer: a thread, so that no scan ever waits for a disk."""

from collections.abc import Callable, Mapping, Sequence
from queue import SimpleQueue
from threading import Thread
from typing import Any

from acquire.database import ArchiveError
from acquire.log import EventLog
from acquire.recorder import Recorded, RunRecorder
from drivers.reading import Reading

# How long a disk that doesn't come back is waited for at the end. One that is merely slow is to
# take the end of a run of hours.
PATIENCE_S = 30.0


class Writer(Recorded):
    """Records a run, and logs its events, in a thread of its own and in the order it is told.

    Nothing here waits or raises for what a disk does: `committed` and `last_commit_t` say what is
    written, and the trip on the age of the last commit acts where nothing is. What a failed commit
    couldn't write goes with the next one.
    """

    def __init__(self, recorder: RunRecorder, log: EventLog) -> None:
        super().__init__(recorder)
        self._log = log
        self._given = recorder.committed
        self._tasks: SimpleQueue[Callable[[], object] | None] = SimpleQueue()
        self._failure: Exception | None = None
        self._patience_s = PATIENCE_S
        self._thread = Thread(target=self._write, name="writer", daemon=True)
        self._thread.start()

    def readings(self, t: int, polls: Sequence[tuple[str, tuple[Reading, ...]]]) -> None:
        """Have the polls that arrived by stand time `t` (ns) written."""
        self._given += len(polls)
        self._tasks.put(lambda: self._recorder.readings(t, polls))

    def event(self, t: int, kind: str, facts: Mapping[str, Any]) -> int:
        """Have an event of stand time `t` (ns) written.

        Returns its number among the rows: it is on the disk once `committed` has reached that.
        """
        self._given += 1
        self._tasks.put(lambda: self._recorder.event(t, kind, facts))
        self._tasks.put(lambda: self._log.event(t, kind, facts))
        return self._given

    def state(self, state: str) -> None:
        """Have the run's state written."""
        self._tasks.put(lambda: self._recorder.state(state))

    def anchors(self, dropped: Sequence[tuple[int, str]]) -> None:
        """Have the anchors written."""
        kept = tuple(dropped)
        self._tasks.put(lambda: self._recorder.anchors(kept))

    def end(
        self, state: str, end: str, verdict: str | None, result: Mapping[str, Any] | None
    ) -> None:
        """Wait until all is written, the run sealed and closed.

        Raises ArchiveError where it can't be written, or the disk doesn't come back.
        """
        self._tasks.put(lambda: self._recorder.end(state, end, verdict, result))
        if not self._finished():
            raise ArchiveError(
                f"{self._recorder.path}: the disk has not come back for {PATIENCE_S:g} s"
            )
        if self._failure is not None:
            raise self._failure

    def close(self) -> None:
        """Write what there is and let go of the archive; a run without an end is abandoned.

        One whose disk doesn't come back is so when the process ends.
        """
        if self._finished():
            self._recorder.close()

    def _finished(self) -> bool:
        """Let the thread write what it was told, and say whether it came to its end.

        It is waited for once: who has waited in vain is not to wait again.
        """
        self._tasks.put(None)
        self._thread.join(self._patience_s)
        self._patience_s = 0.0
        return not self._thread.is_alive()

    def _write(self) -> None:
        for task in iter(self._tasks.get, None):
            try:
                task()
            except ArchiveError as error:
                # The age of the last commit tells, and of the last task whoever waits for it.
                self._failure = error
            except Exception as error:  # a fault of the program: raised at the end, told by the age
                self._failure = error
                break
            else:
                self._failure = None
        self._log.close()
