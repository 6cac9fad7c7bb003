"""Who tells of a run while it runs: a thread of its own, so that no scan waits for a terminal."""

from collections.abc import Callable
from queue import Empty, SimpleQueue
from threading import Thread

from acquire.clock import S, WallClock

Task = Callable[[], object]
# How long a terminal that takes nothing any more is waited for at the end.
PATIENCE_S = 2.0


class Teller:
    """Shows what it is given, in order, and paints every so often (s on the wall).

    What can't be shown any more, for whatever reason, is told `lost` once and shown nothing more.
    """

    def __init__(
        self, paint: Task, every_s: float, clock: WallClock, lost: Callable[[Exception], object]
    ) -> None:
        self._paint = paint
        self._lost = lost
        self._every = round(every_s * S)
        self._clock = clock
        self._tasks: SimpleQueue[Task | None] = SimpleQueue()
        self._thread = Thread(target=self._run, name="teller", daemon=True)

    def show(self, task: Task) -> None:
        """Have something shown; never waits."""
        self._tasks.put(task)

    def start(self) -> None:
        """Begin to tell."""
        self._thread.start()

    def close(self) -> None:
        """Tell what is left to tell; a terminal that takes nothing is not waited for."""
        self._tasks.put(None)
        self._thread.join(PATIENCE_S)

    def _run(self) -> None:
        due = self._clock.passed_ns()
        gone = False
        while True:
            left_s = (due - self._clock.passed_ns()) / S
            task: Task | None = self._paint
            if left_s > 0:
                try:
                    task = self._tasks.get(timeout=left_s)
                except Empty:
                    continue
            else:
                due = self._clock.passed_ns() + self._every
            if task is None:
                return
            try:
                if not gone:
                    task()
            except Exception as error:  # whatever it is: nobody sees the run any more
                gone = True
                self._lost(error)
