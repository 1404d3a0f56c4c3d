-- Schema 2: every reading can be traced to a calibration, and every probe to an
-- instrument (`instrument` and `channel` of an event of kind 5, and 6: lifted).

-- Calibrations that readings name, as they were when the readings were taken.
CREATE TABLE calibration (
    id     TEXT NOT NULL PRIMARY KEY,
    record TEXT NOT NULL              -- JSON
) STRICT;

ALTER TABLE event ADD COLUMN calibration INTEGER; -- reading: word, the id
ALTER TABLE event ADD COLUMN latency INTEGER;     -- reading: nanoseconds, estimated
ALTER TABLE event ADD COLUMN barometer ANY;       -- reading: REAL in Pa, taken off an absolute pressure
