"""A closing waits for its intent to be on the disk, however long a writer takes."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from tests.acquire.rehearsing import rehearsing

LATE_SCANS = 4


class Late:
    """A recorder that writes what it was told some scans later, in its order."""

    def __init__(self, recorder: Any) -> None:
        self._recorder = recorder
        self._given: int = recorder.committed
        self._waiting: list[tuple[int, Callable[[], object]]] = []
        self._scans = 0

    def __getattr__(self, name: str) -> Any:
        return getattr(self._recorder, name)

    def readings(self, t: int, polls: Any) -> None:
        self._scans += 1
        self._given += len(polls)
        self._wait(lambda: self._recorder.readings(t, polls))
        while self._waiting and self._waiting[0][0] <= self._scans:
            self._waiting.pop(0)[1]()

    def event(self, t: int, kind: str, facts: Mapping[str, Any]) -> int:
        self._given += 1
        self._wait(lambda: self._recorder.event(t, kind, facts))
        return self._given

    def _wait(self, task: Callable[[], object]) -> None:
        self._waiting.append((self._scans + LATE_SCANS, task))


def test_the_contactor_is_told_to_close_only_then_and_one_intent_is_written(
    tmp_path: Path,
) -> None:
    with rehearsing(tmp_path) as rehearsed:
        cycle = rehearsed.rehearsal.cycle
        cycle._recorder = Late(rehearsed.rehearsal.recorder)
        told = commanded = 0
        for scan in rehearsed.rehearsal.scans():
            told = told or (scan.number if rehearsed.of("intent") else 0)
            if scan.outputs["lv_contactor"].commanded:
                commanded = scan.number
                break
        assert len(rehearsed.of("intent")) == 1
        assert commanded - told >= LATE_SCANS
