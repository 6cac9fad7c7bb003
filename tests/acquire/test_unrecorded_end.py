"""What becomes of a run whose end the archive can't take."""

from pathlib import Path

from typer.testing import CliRunner

from acquire.commands import app


def test_a_run_without_a_record_of_its_end_is_stopped_and_no_result(tmp_path: Path) -> None:
    """With the disk full for good the command says so in one line and exits 3, not 0 and not 2."""
    asked = ["rehearse", "--schedule", "loss_test", "--out", str(tmp_path)]
    asked += ["--fault", "archive_full@circulate"]
    told = CliRunner().invoke(app, asked)
    assert told.exit_code == 3
    assert "has no end in the archive: not a result" in told.stderr
