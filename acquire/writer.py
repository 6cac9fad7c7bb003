"""The archive's writer: a thread, so that no scan ever waits for a disk."""

from collections.abc import Callable, Mapping, Sequence
from queue import SimpleQueue
from threading import Thread
from typing import Any

from acquire.database import ArchiveError
from acquire.log import EventLog
from acquire.recorder import RunRecorder
from drivers.reading import Reading


class Writer:
    """Records a run, and logs its events, in a thread of its own and in the order it is told.

    Nothing here waits or raises for what a disk does: `committed` and `last_commit_t` say what is
    written, and the trip on the age of the last commit acts where nothing is. What a failed commit
    couldn't write goes with the next one.
    """

    def __init__(self, recorder: RunRecorder, log: EventLog) -> None:
        self._recorder = recorder
        self._log = log
        self._given = recorder.committed
        self._tasks: SimpleQueue[Callable[[], object] | None] = SimpleQueue()
        self._failure: Exception | None = None
        self._thread = Thread(target=self._write, name="writer", daemon=True)
        self._thread.start()

    @property
    def run(self) -> int:
        """The run's number."""
        return self._recorder.run

    @property
    def committed(self) -> int:
        """How many rows are on the disk."""
        return self._recorder.committed

    @property
    def last_commit_t(self) -> int:
        """The stand time of the last commit, ns."""
        return self._recorder.last_commit_t

    @property
    def events_sha256(self) -> str:
        """The hash of the last event written."""
        return self._recorder.events_sha256

    @property
    def readings_sha256(self) -> str:
        """The hash of all readings written."""
        return self._recorder.readings_sha256

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
        """Wait until all is written, seal the run and close it.

        Raises ArchiveError where it can't be written.
        """
        self._finish()
        self._recorder.end(state, end, verdict, result)

    def close(self) -> None:
        """Write what there is and let go of the archive; a run without an end is abandoned."""
        self._finish()
        self._recorder.close()

    def _finish(self) -> None:
        if self._thread.is_alive():
            self._tasks.put(None)
            self._thread.join()
            self._log.close()
        if self._failure is not None:
            failure, self._failure = self._failure, None
            raise failure

    def _write(self) -> None:
        while (task := self._tasks.get()) is not None:
            try:
                task()
            except ArchiveError:
                # The age of the last commit tells.
                continue
            except Exception as error:  # a fault of the program: raised at the end, told by the age
                self._failure = error
                return
