"""A procedure that a test directs: honest while it is let, and otherwise asking what it is told."""

from typing import Any

from sequences.expected import Expected
from sequences.loss_test import loss_test
from sequences.scan import Procedure, Request, Scan


class Desk:
    """Lets the honest loss test go on; with a `request` on the desk it asks for that instead."""

    def __init__(self) -> None:
        self.request: Request | None = None

    def procedure(self, expected: Expected) -> Procedure[Any]:
        """Return the procedure; the honest one is resumed wherever it was left."""
        honest = loss_test(expected)
        scan: Scan = yield next(honest)
        while True:
            try:
                request = honest.send(scan) if self.request is None else self.request
            except StopIteration as end:
                return end.value
            scan = yield request
