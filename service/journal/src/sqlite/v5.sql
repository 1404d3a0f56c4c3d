-- Access and alteration: who did what, and a chain of hashes through every job.

CREATE TABLE audit (
    seq     INTEGER PRIMARY KEY AUTOINCREMENT,
    wall    INTEGER NOT NULL,         -- microseconds since 1970, UTC: the first of them
    until   INTEGER NOT NULL,         -- the last of them
    count   INTEGER NOT NULL,         -- how many alike
    who     TEXT NOT NULL,            -- token:NAME, loopback, unix:uid=N, service, unknown
    peer    TEXT,                     -- the address it came from
    what    TEXT NOT NULL,            -- the method, or what the service did
    subject TEXT,                     -- the bay, job or rule set
    outcome TEXT NOT NULL             -- ok, or the kind of the refusal
) STRICT;
CREATE INDEX audit_until ON audit (until);

-- The hash over a job's opening and everything that happened in it up to the event `last`. The
-- newest one of a job moves on; one of a thousand events stays.
CREATE TABLE link (
    job    INTEGER NOT NULL REFERENCES job (key),
    place  INTEGER NOT NULL,          -- 0: begins with the opening
    last   INTEGER NOT NULL,          -- seq of the newest event it rests on; 0: none
    count  INTEGER NOT NULL,          -- events since the link before; 0 after the first: the closing
    digest BLOB NOT NULL,             -- SHA-256
    PRIMARY KEY (job, place)
) STRICT, WITHOUT ROWID;

-- The newest event that was there when the chain was begun, in a journal that is older than chains.
ALTER TABLE job ADD COLUMN adopted INTEGER;
