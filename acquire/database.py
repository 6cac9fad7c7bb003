"""An archive's file as SQLite sees it: made, opened, refused, held while a run is written."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from acquire.refusal import Refusal
from acquire.schema import APPLICATION, README, SCHEMA, VERSION

# How long a commit waits for another program's; readers never hold one up.
BUSY_S = 1.0

WORDS = {
    "database is locked": "another program holds it locked",
    "attempt to write a readonly database": "it can't be written, it is read-only",
    "database or disk is full": "the disk is full",
    "disk I/O error": "the disk has failed, it may be full",
    "unable to open database file": "it can't be opened or made, its folder may be read-only",
    "File exists": "its folder is a file",
    "Not a directory": "a folder of its path is a file",
    "file is not a database": "it is not an SQLite file",
}


class ArchiveError(Refusal):
    """An archive that can't be read or written; as text one line with its path and the reason."""


class Held(ArchiveError):
    """A hold that somebody has."""


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turn what SQLite and the file system raise into ArchiveError."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        reason = WORDS.get(reason, reason.lower()).replace("\n", " ")
        raise ArchiveError(f"{path}: {reason}") from error


def refuse_others(path: Path) -> None:
    """Raise ArchiveError for a file that is something else than an archive of this version.

    It is opened as if it could not change, since opening may already alter a file, and by SQLite,
    since closing a file lifts all locks that this process has on it ("How To Corrupt An SQLite
    Database File", section 2.2): another program would then throw away what a run here writes.
    """
    if not path.exists():
        return
    if not path.is_file():
        raise ArchiveError(f"{path}: it is not a file")
    if not path.stat().st_size:
        return
    application = version = 0
    with closing(_as_it_stands(path)) as db:
        # A checkpoint that was cut short leaves pages for the next one to bring: not a fault.
        db.execute("PRAGMA writable_schema = ON")
        try:
            (application,) = db.execute("PRAGMA application_id").fetchone()
            (version,) = db.execute("PRAGMA user_version").fetchone()
        except sqlite3.DatabaseError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_NOTADB:
                raise
    if application != APPLICATION:
        raise ArchiveError(f"{path}: it is not an archive of this program and is left as it is")
    if version != VERSION:
        raise ArchiveError(
            f"{path}: its schema is version {version}, this program reads and writes {VERSION};"
            " it is left as it is"
        )


def create(path: Path) -> None:
    """Make the archive at `path`, unless it is there by now."""
    readme = "".join(
        "INSERT INTO readme (text) VALUES ('{}');\n".format(line.replace("'", "''"))
        for line in README.splitlines()
    )
    # In SQLite's rollback journal, so that the file's first bytes tell from the start what it is.
    with closing(sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)) as db:
        if _has_tables(db):
            return
        try:
            db.executescript(
                f"BEGIN EXCLUSIVE; PRAGMA application_id = {APPLICATION};"
                f" PRAGMA user_version = {VERSION}; {SCHEMA} {readme} COMMIT;"
            )
        except sqlite3.OperationalError:
            db.rollback()
            # Another process may have been quicker.
            if not _has_tables(db):
                raise


def _has_tables(db: sqlite3.Connection) -> bool:
    return bool(db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])


def connect(path: Path) -> sqlite3.Connection:
    """Open an archive for writing, every commit forced to the disk."""
    # The thread that made a connection need not be the one that writes; one at a time does.
    db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    return db


def connect_reading(path: Path) -> sqlite3.Connection:
    """Open an archive for looking only."""
    uri = path.absolute().as_uri()
    try:
        # Not mode=ro: such a connection can't remove SQLite's side files when it is the last.
        db = sqlite3.connect(f"{uri}?mode=rw", timeout=BUSY_S, uri=True, isolation_level=None)
        db.execute("PRAGMA query_only = ON")
        db.execute("SELECT count(*) FROM run")
    except sqlite3.OperationalError:
        # A folder that can't be written, or a full disk, has no room for SQLite's side files. With
        # none, or nothing in it, nobody writes, and the file can be read as it stands.
        wal = path.with_name(f"{path.name}-wal")
        if wal.exists() and wal.stat().st_size:
            raise
        db = _as_it_stands(path)
    return db


def _as_it_stands(path: Path) -> sqlite3.Connection:
    uri = path.absolute().as_uri()
    return sqlite3.connect(f"{uri}?immutable=1", uri=True, isolation_level=None)


def identities(path: Path) -> list[tuple[int, int]]:
    """Return which files an archive that is being written is: itself and SQLite's two side files.

    Each as device and inode. Raises OSError where one of them isn't there.
    """
    found = [path.with_name(path.name + suffix).stat() for suffix in ("", "-wal", "-shm")]
    return [(file.st_dev, file.st_ino) for file in found]


class Hold:
    """What tells others that a run's process lives: a lock that its death lifts.

    It is the lock of an empty SQLite file, which works alike on every system.
    Raises Held where another process, or another part of this one, has it, and ArchiveError where
    there can be no such file.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        with translated(path):
            self._db = sqlite3.connect(
                path, timeout=0, isolation_level=None, check_same_thread=False
            )
            try:
                self._db.execute("BEGIN EXCLUSIVE")
            except sqlite3.Error as error:
                self._db.close()
                if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
                    raise Held(f"{path}: somebody holds it") from error
                raise

    def release(self) -> None:
        """Let go, and remove the file; one that stays behind holds nothing."""
        self._db.close()
        with suppress(OSError):
            self._path.unlink()


def held(path: Path) -> bool:
    """Say whether somebody has the hold at `path`."""
    if not path.exists():
        return False
    try:
        Hold(path).release()
    except Held:
        return True
    except ArchiveError:
        # Where nothing can be written nobody records.
        return False
    return False
