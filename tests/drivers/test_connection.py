"""A link's session: opened in a thread that can be left behind, never too often."""

from threading import Event, Thread

import pytest

from drivers import connection as module
from drivers.connection import MOST_ABANDONED, BackOff, Connection
from drivers.link import ConnectionLost, NoAnswer


class Session:
    def __init__(self) -> None:
        self.closed = Event()

    def close(self) -> None:
        self.closed.set()


@pytest.fixture(name="at_once")
def _at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "SHORTEST_BACK_OFF_S", 0.0)


class Watch:
    """A monotonic clock that a test sets."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.s = 1000.0
        monkeypatch.setattr(module, "monotonic", lambda: self.s)


@pytest.fixture(name="watch")
def _watch(monkeypatch: pytest.MonkeyPatch) -> Watch:
    return Watch(monkeypatch)


def _early(back_off: BackOff) -> bool:
    try:
        back_off.begin("x")
    except ConnectionLost:
        return True
    return False


def test_the_back_off_doubles_to_its_bound(watch: Watch) -> None:
    """A link that fails as soon as it is open is opened ever more seldom, but still opened."""
    back_off = BackOff()
    waited = []
    assert not _early(back_off)
    for _ in range(9):
        back_off.fault()
        began = watch.s
        while _early(back_off):
            watch.s += 0.25
        waited.append(watch.s - began)
    assert waited == [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0, 30.0]


def test_garbage_backs_off_too(watch: Watch) -> None:
    """A link that is opened again and again without a fault of its own waits in between as well."""
    back_off = BackOff()
    assert not _early(back_off)
    assert _early(back_off)
    watch.s += 0.5
    assert not _early(back_off)
    watch.s += 0.5
    assert _early(back_off)


def test_a_link_that_lived_begins_anew(watch: Watch) -> None:
    """After a long good time a fault costs the shortest back-off again."""
    back_off = BackOff()
    for _ in range(5):
        assert not _early(back_off)
        watch.s += 8.0
    watch.s += 200.0
    assert not _early(back_off)
    back_off.fault()
    watch.s += 0.5
    assert not _early(back_off)


@pytest.mark.usefixtures("at_once")
def test_an_opening_that_hangs_is_abandoned_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four times a thread is left behind; then the link stays lost, and opens nothing more."""
    monkeypatch.setattr(module, "OPENING_S", 0.02)
    monkeypatch.setattr(module, "CLOSING_S", 0.02)
    let_go, tried = Event(), []

    def hang() -> Session:
        tried.append(1)
        let_go.wait()
        return Session()

    link = Connection("x", hang, Session.close)
    for _ in range(MOST_ABANDONED + 1):
        with pytest.raises(ConnectionLost):
            link.reopen()
    assert link.abandoned == MOST_ABANDONED
    count = len(tried)
    with pytest.raises(ConnectionLost, match="until a restart"):
        link.reopen()
    assert len(tried) == count
    let_go.set()


@pytest.mark.usefixtures("at_once")
def test_a_session_that_opens_too_late_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody waits for any more is closed when it comes, and never used."""
    monkeypatch.setattr(module, "OPENING_S", 0.02)
    let_go, session = Event(), Session()

    def late() -> Session:
        let_go.wait()
        return session

    link = Connection("x", late, Session.close)
    with pytest.raises(ConnectionLost, match="not open within"):
        link.reopen()
    let_go.set()
    assert session.closed.wait(10)
    with pytest.raises(ConnectionLost, match="not open"):
        link.begin("FETC?")


def test_a_call_that_outlives_its_time_is_no_answer() -> None:
    """The caller goes on; a call that comes back in the back-off costs no thread."""
    let_go = Event()
    link = Connection("x", Session, Session.close)
    link.reopen()
    link.begin("FETC?")
    with pytest.raises(NoAnswer):
        link.call(let_go.wait, "FETC?", 0.02)
    link.fault()
    link.end()
    let_go.set()
    link.reopen()
    assert link.abandoned == 0


@pytest.mark.parametrize("error", [OSError("gone"), Exception("could not connect"), TypeError("x")])
def test_whatever_opening_raises_is_a_lost_connection(error: Exception) -> None:
    """No exception of a library gets past the seam."""

    def fail() -> Session:
        raise error

    with pytest.raises(ConnectionLost, match=str(error)):
        Connection("x", fail, Session.close).reopen()


def test_two_threads_in_one_exchange_are_refused() -> None:
    """Their answers would be mixed up without a word."""
    link = Connection("x", Session, Session.close)
    link.reopen()
    link.begin("FETC?")
    with pytest.raises(RuntimeError, match="two threads"):
        link.begin("FETC?")
    with pytest.raises(RuntimeError, match="in the middle"):
        link.reopen()
    link.end()
    link.begin("FETC?")
    link.end()


def test_closing_waits_for_the_exchange() -> None:
    """Another thread's close takes nothing away from under a call that is going on."""
    session = Session()
    link = Connection("x", lambda: session, Session.close)
    link.reopen()
    link.begin("FETC?")
    closing = Thread(target=link.close)
    closing.start()
    closing.join()
    assert not session.closed.is_set()
    link.end()
    assert session.closed.wait(10)
