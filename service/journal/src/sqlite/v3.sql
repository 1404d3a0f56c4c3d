-- Schema 3: rule sets are installed while the service runs.

-- In order: of one id the newest is used for new jobs.
CREATE TABLE installed (
    place     INTEGER PRIMARY KEY,    -- greater is newer
    digest    TEXT NOT NULL UNIQUE REFERENCES rule_set (digest),
    wall      TEXT NOT NULL,          -- RFC 3339, UTC
    by        TEXT
) STRICT;
