"""What becomes of a run whose end the archive can't take."""

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from acquire.archive import Archive
from acquire.commands import app


def test_a_run_without_a_record_of_its_end_is_stopped_and_no_result(tmp_path: Path) -> None:
    """With the disk full for good the command says so in one line and exits 3, not 0 and not 2."""
    asked = ["rehearse", "--schedule", "loss_test", "--out", str(tmp_path)]
    asked += ["--fault", "archive_full@circulate"]
    told = CliRunner().invoke(app, asked)
    assert told.exit_code == 3
    assert "has no end in the archive: not a result" in told.stderr


@pytest.mark.parametrize(
    ("room", "code", "words", "begun"),
    [
        (0, 2, "archive.sqlite: ", 0),
        (40_000, 2, "archive.sqlite: ", 0),
        (120_000, 3, "has no end in the archive: not a result", 1),
        (400_000, 3, "has no end in the archive: not a result", 1),
    ],
)
def test_where_no_file_can_grow_any_more_the_run_is_told_in_one_line(
    tmp_path: Path, room: int, code: int, words: str, begun: int
) -> None:
    """A limit to the size of files, in bytes, stands for a disk that fills at some moment.

    Archive and log meet it alike: with room for nothing, for no run, for a part of one. Once there
    is room again the folder is as good as any.
    """

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    told = subprocess.run(
        [sys.executable, "-c", "from acquire.commands import app; app()", "rehearse", "--schedule",
         "loss_test", "--json", "--out", str(tmp_path)],
        preexec_fn=limited,
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert (told.returncode, told.stdout, told.stderr.count("\n")) == (code, "", 1)
    assert words in told.stderr
    with Archive(tmp_path) as archive:
        assert len(archive.close_abandoned()) == begun
        assert all(archive.verify(run.run).whole for run in archive.runs())
