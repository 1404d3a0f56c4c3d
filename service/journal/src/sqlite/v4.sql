-- Schema 4: news that goes out. What happens is noted in the same commit as its
-- cause, so that a crash loses neither without the other.

-- Who is written to, and about what (`job`, `verdict`, `instrument`).
CREATE TABLE webhook (
    name TEXT NOT NULL,
    noun TEXT NOT NULL,
    PRIMARY KEY (name, noun)
) STRICT, WITHOUT ROWID;

-- Something that happened and is still to be told to somebody.
CREATE TABLE news (
    seq     INTEGER PRIMARY KEY AUTOINCREMENT,
    id      TEXT NOT NULL DEFAULT (lower(hex(randomblob(16)))),
    noun    TEXT NOT NULL,
    verb    TEXT NOT NULL,
    lane    TEXT NOT NULL,            -- what has to arrive in order: a job or an instrument
    posted  TEXT NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')),
    job     INTEGER REFERENCES job (key),
    verdict INTEGER,                  -- with `job`: the seq of the verdict
    body    TEXT                      -- of an instrument: JSON
) STRICT;

-- News on its way to one webhook.
CREATE TABLE letter (
    webhook  TEXT NOT NULL,
    news     INTEGER NOT NULL REFERENCES news (seq),
    lane     TEXT NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0,
    due      INTEGER NOT NULL DEFAULT 0,  -- milliseconds since 1970, UTC
    why      TEXT,                        -- the last failure
    dead     INTEGER NOT NULL DEFAULT 0,  -- 1: given up
    PRIMARY KEY (webhook, news)
) STRICT, WITHOUT ROWID;
CREATE INDEX letter_of_lane ON letter (webhook, dead, lane, news);
CREATE INDEX letter_of_news ON letter (news);

CREATE TRIGGER post AFTER INSERT ON news BEGIN
    INSERT INTO letter (webhook, news, lane)
    SELECT name, NEW.seq, NEW.lane FROM webhook WHERE noun = NEW.noun;
END;

CREATE TRIGGER job_opened AFTER INSERT ON job
WHEN EXISTS (SELECT 1 FROM webhook WHERE noun = 'job') BEGIN
    INSERT INTO news (noun, verb, lane, job) VALUES ('job', 'opened', NEW.id, NEW.key);
END;

CREATE TRIGGER job_closed AFTER UPDATE OF closed_at ON job
WHEN OLD.closed_at IS NULL AND NEW.closed_at IS NOT NULL
    AND EXISTS (SELECT 1 FROM webhook WHERE noun = 'job') BEGIN
    INSERT INTO news (noun, verb, lane, job) VALUES ('job', 'closed', NEW.id, NEW.key);
END;

CREATE TRIGGER verdict_kept AFTER INSERT ON verdict
WHEN EXISTS (SELECT 1 FROM webhook WHERE noun = 'verdict') BEGIN
    INSERT INTO news (noun, verb, lane, job, verdict)
    SELECT 'verdict', 'changed', id, NEW.job, NEW.seq FROM job WHERE key = NEW.job;
END;

CREATE TRIGGER verdict_kept_again AFTER UPDATE OF bytes ON verdict
WHEN OLD.bytes <> NEW.bytes AND EXISTS (SELECT 1 FROM webhook WHERE noun = 'verdict') BEGIN
    INSERT INTO news (noun, verb, lane, job, verdict)
    SELECT 'verdict', 'changed', id, NEW.job, NEW.seq FROM job WHERE key = NEW.job;
END;
