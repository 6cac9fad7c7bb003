"""The archive's tables, and the few lines with which anyone reads a channel out of them."""

# "TwLd": tells an archive of ours from any other SQLite file (bytes 68 to 71 of the file).
APPLICATION = 0x54774C64

# Version 1: first.
VERSION = 1

SCHEMA = """
-- What this file is and how to read it: a Python program, line by line.
CREATE TABLE readme (
    line INTEGER PRIMARY KEY,
    text TEXT NOT NULL
);

-- One row a run. Everything is there from the start but end, verdict and result.
CREATE TABLE run (
    run             INTEGER PRIMARY KEY AUTOINCREMENT,
    procedure       TEXT NOT NULL,
    schedule        TEXT NOT NULL,
    continues       INTEGER REFERENCES run,  -- the run that this one goes on with
    seed            INTEGER,                 -- of a rehearsal
    state           TEXT NOT NULL,           -- run state (ISA-88 names)
    end             TEXT,                    -- complete, stopped, aborted; NULL while it runs
    verdict         TEXT,                    -- within, outside; NULL where there is none
    result          TEXT,                    -- JSON
    header          TEXT NOT NULL,           -- JSON: version, host, (stand time, UTC) anchors
    last_t          INTEGER NOT NULL,        -- stand time of the last commit, ns
    readings_sha256 TEXT                     -- of every poll, decoded, in the order recorded
);

-- The configuration of a run, as it was read.
CREATE TABLE file (
    run    INTEGER NOT NULL REFERENCES run,
    name   TEXT NOT NULL,
    sha256 TEXT NOT NULL,                    -- of the text in UTF-8
    text   TEXT NOT NULL,
    PRIMARY KEY (run, name)
) WITHOUT ROWID;

-- The instruments of a run in the order of its stand file, and what each reports.
CREATE TABLE instrument (
    instrument INTEGER PRIMARY KEY,
    run        INTEGER NOT NULL REFERENCES run,
    name       TEXT NOT NULL,
    UNIQUE (run, name)
);
CREATE TABLE channel (
    run        INTEGER NOT NULL REFERENCES run,
    name       TEXT NOT NULL,
    instrument INTEGER NOT NULL REFERENCES instrument,
    position   INTEGER NOT NULL,             -- of its value within the instrument's polls, from 0
    PRIMARY KEY (run, name)
) WITHOUT ROWID;

-- One row a poll: all that an instrument answered at one time.
CREATE TABLE poll (
    poll       INTEGER PRIMARY KEY,          -- in the order recorded
    instrument INTEGER NOT NULL REFERENCES instrument,
    t          INTEGER NOT NULL,             -- stand time, middle of the exchange, ns
    began      INTEGER NOT NULL,             -- stand time at which the question was asked, ns
    times      BLOB,                         -- t, began of each value, int64; NULL: all as above
    value      BLOB NOT NULL,                -- float64, little-endian, SI or degC; NaN where bad
    quality    BLOB NOT NULL,                -- a byte each: 0 good, 1 uncertain, 2 bad
    reason     TEXT                          -- JSON list of words; NULL: no value has one
);

-- What happened, as a chain: hash is SHA-256 over the JSON [sequence,t,kind,facts,previous],
-- keys sorted, no blanks, ASCII; previous is the hash of the event before, "" for the first.
CREATE TABLE event (
    run      INTEGER NOT NULL REFERENCES run,
    sequence INTEGER NOT NULL,               -- from 1
    t        INTEGER NOT NULL,               -- stand time, ns
    kind     TEXT NOT NULL,
    facts    TEXT NOT NULL,                  -- JSON
    previous TEXT NOT NULL,
    hash     TEXT NOT NULL,
    PRIMARY KEY (run, sequence)
) WITHOUT ROWID;

-- A channel's polls by name; position says which of the packed values is its own.
CREATE VIEW channel_poll AS
    SELECT channel.run, channel.name AS channel, channel.position, poll.*
    FROM channel JOIN poll USING (instrument);
"""

README = """\
# An archive of twinload: the runs of one folder, their events and every reading.
# Tables: run, file, instrument, channel, poll, event; their columns are explained in the schema.
# A channel of a run as two arrays, stand time in s and value (SI or degC, NaN where bad):
import sqlite3, numpy
db = sqlite3.connect("file:archive.sqlite?mode=ro", uri=True)
rows = db.execute("SELECT t, value, position FROM channel_poll WHERE run = ? AND channel = ? ORDER BY poll", (1, "lv.voltage.1")).fetchall()
t = numpy.array([row[0] for row in rows]) / 1e9
y = numpy.frombuffer(b"".join(row[1] for row in rows), "<f8").reshape(len(rows), -1)[:, rows[0][2]]
"""  # noqa: E501 - the query stays on one line so that there are five
