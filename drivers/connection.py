"""What keeps a link's session: opened in a thread that can be left behind, and not too often.

Foreign libraries wait as long as they like: on name servers, on portmappers, by a wall clock that
somebody sets back. So whatever of theirs may wait runs in a thread of the link's own, and who asked
stops waiting when the time is up. Only `time.monotonic` is read here.
"""

from collections.abc import Callable
from queue import Empty, SimpleQueue
from threading import Lock, Thread
from time import monotonic
from typing import Generic, TypeVar

from drivers.link import ConnectionLost, InstrumentFault, NoAnswer

T = TypeVar("T")
Result = TypeVar("Result")

# Longer than the 5 s that pyvisa-py gives a HiSLIP connection whatever it is told.
OPENING_S = 6.0
# What closing a session may take before its thread counts as stuck.
CLOSING_S = 1.0
MOST_ABANDONED = 4
SHORTEST_BACK_OFF_S = 0.5
LONGEST_BACK_OFF_S = 30.0


class Outlived(Exception):
    """A call has not come back in its time; its thread is still at it."""


class Worker:
    """A thread that makes calls for a link, one after another."""

    def __init__(self, name: str) -> None:
        self._jobs: SimpleQueue[Callable[[], None] | None] = SimpleQueue()
        self._posted = 0
        self._finished = 0
        Thread(target=self._work, name=name, daemon=True).start()

    @property
    def busy(self) -> bool:
        """Whether anything that was asked of it is still going on."""
        return self._finished < self._posted

    def call(self, job: Callable[[], T], timeout_s: float) -> T:
        """Return what a job returns. Raises what it raises, and Outlived."""
        outcome: SimpleQueue[tuple[T, None] | tuple[None, Exception]] = SimpleQueue()

        def run() -> None:
            try:
                outcome.put((job(), None))
            except Exception as error:
                outcome.put((None, error))

        self.post(run)
        try:
            result, error = outcome.get(timeout=timeout_s)
        except Empty:
            raise Outlived from None
        if error is not None:
            raise error
        return result  # type: ignore[return-value]  # no error beside it

    def post(self, job: Callable[[], None]) -> None:
        """Have a job done that nobody waits for; it may not raise."""
        self._posted += 1
        self._jobs.put(job)

    def leave(self) -> None:
        """End the thread when all that was asked of it is done."""
        self._jobs.put(None)

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            job()
            self._finished += 1


class BackOff:
    """When a link may be opened again: ever later, until it has lived four times its back-off."""

    def __init__(self) -> None:
        self._delay = SHORTEST_BACK_OFF_S
        self._opened: float | None = None
        self._not_before = 0.0

    def begin(self, name: str) -> None:
        """Begin an opening. Raises ConnectionLost while it is too early for one."""
        now = monotonic()
        if now < self._not_before:
            left = self._not_before - now
            raise ConnectionLost(name, "reopen", f"it is opened again in {left:.1f} s")
        if self._opened is not None and now - self._opened >= 4 * self._delay:
            self._delay = SHORTEST_BACK_OFF_S
        elif self._opened is not None:
            self._delay = min(2 * self._delay, LONGEST_BACK_OFF_S)
        self._opened = now
        self._not_before = now + self._delay

    def fault(self) -> None:
        """Hold the next opening back from now on."""
        self._not_before = monotonic() + self._delay


class Connection(Generic[T]):
    """A link's session, opened and closed in a worker of its own.

    `open_session` and `close_session` run in the worker and may raise anything. A worker that is
    still busy when its link is to be opened again is abandoned, session and all, and counted;
    after four of them the link stays lost.
    """

    def __init__(
        self,
        name: str,
        open_session: Callable[[], T],
        close_session: Callable[[T], None],
        back_off: BackOff | None = None,
    ) -> None:
        self.abandoned = 0
        self._name = name
        self._open_session = open_session
        self._close_session = close_session
        self._back_off = back_off
        self._worker: Worker | None = None
        self._box: list[T] = []
        self._session: T | None = None
        self._talking = Lock()
        self._closing = False

    @property
    def is_open(self) -> bool:
        """Whether there is a session."""
        return self._session is not None

    def begin(self, asked: str) -> T:
        """Return the session for one exchange; `end` must follow.

        Raises ConnectionLost when it isn't open, and RuntimeError when another thread is in the
        middle of an exchange: their answers would be mixed up.
        """
        if not self._talking.acquire(blocking=False):
            raise RuntimeError(f"{self._name}: two threads talk on one link at a time")
        if self._session is None:
            self.end()
            raise ConnectionLost(self._name, asked, "the link is not open")
        return self._session

    def end(self) -> None:
        """End the exchange that `begin` began."""
        self._talking.release()
        if self._closing:
            self.close()

    def call(self, job: Callable[[], Result], asked: str, timeout_s: float) -> Result:
        """Return what a call of the session returns, in the worker. Raises NoAnswer and its own."""
        if self._worker is None:
            raise ConnectionLost(self._name, asked, "the link is not open")
        try:
            return self._worker.call(job, timeout_s)
        except Outlived as late:
            raise NoAnswer(self._name, asked, f"no answer within {timeout_s:g} s") from late

    def reopen(self) -> None:
        """Close and open the session. Raises ConnectionLost, at once while it has to back off."""
        if not self._talking.acquire(blocking=False):
            raise RuntimeError(f"{self._name}: opened again in the middle of an exchange")
        try:
            self._reopen()
        finally:
            self._talking.release()

    def _reopen(self) -> None:
        if self.abandoned >= MOST_ABANDONED:
            came = f"{self.abandoned} calls never came back: it stays lost until a restart"
            raise ConnectionLost(self._name, "reopen", came)
        if self._back_off is not None:
            self._back_off.begin(self._name)
        self._drop()
        worker, box = self._free_worker(), self._box
        try:
            self._session = worker.call(lambda: self._into(box), OPENING_S)
        except Outlived as late:
            self.fault()
            came = f"not open within {OPENING_S:g} s"
            raise ConnectionLost(self._name, "open", came) from late
        except InstrumentFault:
            self.fault()
            raise
        except Exception as error:
            self.fault()
            came = f"{type(error).__name__}: {error}"
            raise ConnectionLost(self._name, "open", came) from error

    def fault(self) -> None:
        """Close the session after a fault: nothing that it says is believed any more."""
        self._drop()
        if self._back_off is not None:
            self._back_off.fault()

    def close(self) -> None:
        """Close the session for good; in the middle of an exchange, at its end."""
        self._closing = True
        if self._talking.acquire(blocking=False):
            try:
                self._drop()
                if self._worker is not None:
                    self._worker.leave()
                    self._worker = None
            finally:
                self._closing = False
                self._talking.release()

    def _into(self, box: list[T]) -> T:
        box.append(self._open_session())
        return box[0]

    def _drop(self) -> None:
        self._session = None
        if self._worker is not None:
            box = self._box
            self._worker.post(lambda: self._empty(box))

    def _empty(self, box: list[T]) -> None:
        while box:
            try:
                self._close_session(box.pop())
            except Exception:
                continue

    def _free_worker(self) -> Worker:
        """Return a worker that isn't stuck, after leaving one that is to its fate."""
        worker = self._worker
        if worker is not None:
            try:
                worker.call(lambda: None, CLOSING_S)
            except Outlived:
                self.abandoned += 1
                worker.leave()
                self._worker = None
                self._box = []
        if self._worker is None:
            self._worker = Worker(self._name)
        return self._worker
