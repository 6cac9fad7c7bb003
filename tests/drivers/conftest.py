"""What several tests of wires set."""

import pytest

from drivers import connection


@pytest.fixture
def no_back_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a link be opened again at once."""
    monkeypatch.setattr(connection, "SHORTEST_BACK_OFF_S", 0.0)
