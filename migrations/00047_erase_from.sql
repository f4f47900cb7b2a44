-- +goose Up
-- Before this day of the salon's calendar nothing at all is erased for its age: the
-- program sets it where it doubts the date, or what it was read back from; null: no
-- limit.
ALTER TABLE salon ADD COLUMN erase_from date;

-- The last sign of life of salons that have had no run yet, so that their first one can
-- doubt the date, too.
INSERT INTO retention_run (salon_id, kind, day)
SELECT a.salon_id, 'health', max(a.at)::date FROM audit a
WHERE NOT EXISTS (SELECT FROM retention_run r WHERE r.salon_id = a.salon_id) GROUP BY a.salon_id;

-- +goose Down
ALTER TABLE salon DROP COLUMN erase_from;
