-- Where a job's events lie, in place of an index of stretches by job: with many bays at once that index cost
-- each commit a page of the log for every bay.
ALTER TABLE job ADD COLUMN first INTEGER NOT NULL DEFAULT 0;  -- no event of it has a lower seq
ALTER TABLE job ADD COLUMN last INTEGER;                      -- nor, once it is closed, a higher one
UPDATE job SET first = coalesce((SELECT min(first) FROM stretch WHERE stretch.job = job.key), 0);
UPDATE job SET last = coalesce((SELECT max(last) FROM stretch WHERE stretch.job = job.key), 0)
    WHERE closed_at IS NOT NULL;
DROP INDEX stretch_of_job;
