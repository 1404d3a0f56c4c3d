-- Schema 1.

-- Texts that rows refer to by number: ids, names, words.
CREATE TABLE word (
    id   INTEGER PRIMARY KEY,
    text TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE rule_set (
    digest  TEXT NOT NULL PRIMARY KEY,
    id      TEXT NOT NULL,
    version TEXT NOT NULL,
    text    TEXT NOT NULL
) STRICT;

CREATE TABLE job (
    key       INTEGER PRIMARY KEY,
    id        TEXT NOT NULL UNIQUE,
    bay       TEXT NOT NULL,
    machine   TEXT NOT NULL,
    complaint TEXT,
    rule_set  TEXT NOT NULL REFERENCES rule_set (digest),
    opened_at TEXT NOT NULL,          -- RFC 3339, UTC
    opened_by TEXT,
    closed_at TEXT,                   -- NULL: open
    confirmed TEXT,                   -- JSON array of suspect ids
    note      TEXT,
    verdict   BLOB                    -- the final one
) STRICT;
CREATE UNIQUE INDEX open_job ON job (bay) WHERE closed_at IS NULL;

-- Everything that happened, in one order. Which job and bay an event belongs
-- to is said by the stretch around it: it is the same for thousands of rows.
CREATE TABLE event (
    seq         INTEGER PRIMARY KEY,
    at          INTEGER NOT NULL,     -- nanoseconds on the bay's clock
    wall        INTEGER NOT NULL,     -- microseconds since 1970, UTC
    kind        INTEGER NOT NULL,     -- 0 reading 1 phase 2 drive 3 answer 4 outcome 5 window
    subject     INTEGER NOT NULL,     -- word: point, phase, drive or check
    object      INTEGER,              -- word: answer or outcome
    bound       INTEGER,              -- reading: 0 exactly 1 above 2 below
    value       ANY,                  -- reading: REAL in SI, kept bit by bit
    uncertainty ANY,                  -- reading: REAL in SI, kept bit by bit
    flags       INTEGER,              -- reading
    entered     INTEGER,              -- reading: 0 streamed 1 entered
    instrument  INTEGER,              -- word
    channel     INTEGER,
    by          INTEGER               -- word
) STRICT;

-- A run of events without gaps, of one bay and one job (or none).
CREATE TABLE stretch (
    first     INTEGER PRIMARY KEY,    -- seq of its first event
    last      INTEGER NOT NULL,       -- seq of its last event
    job       INTEGER REFERENCES job (key),
    bay       INTEGER NOT NULL,       -- word
    wall_from INTEGER NOT NULL,       -- earliest wall time in it
    wall_to   INTEGER NOT NULL        -- latest wall time in it
) STRICT;
CREATE INDEX stretch_of_job ON stretch (job) WHERE job IS NOT NULL;

CREATE TABLE verdict (
    job   INTEGER NOT NULL REFERENCES job (key),
    seq   INTEGER NOT NULL,           -- the newest event it rests on
    bytes BLOB NOT NULL,
    PRIMARY KEY (job, seq)
) STRICT;

-- Keys that senders gave, so that nothing is stored twice.
CREATE TABLE submission (
    bay     INTEGER NOT NULL,         -- word
    key     TEXT NOT NULL,
    first   INTEGER NOT NULL,
    count   INTEGER NOT NULL,
    content BLOB NOT NULL,            -- SHA-256
    PRIMARY KEY (bay, key)
) STRICT, WITHOUT ROWID;
