-- +goose Up
-- Chairs, basins and the salon as a whole have calendars, too. An address can be
-- changed: rotated_at is when that was done last.
ALTER TABLE feed
    DROP CONSTRAINT feed_kind_check,
    ADD CONSTRAINT feed_kind_check CHECK (kind IN ('staff', 'station', 'client', 'salon')),
    ADD COLUMN label text NOT NULL DEFAULT '' CHECK (length(label) <= 80), -- whose phone, for the list of addresses
    ADD COLUMN rotated_at timestamptz;
CREATE INDEX feed_by_subject ON feed (salon_id, subject_id);

-- in_use: a chair or basin is taken; salon: the visit as the salon's calendar
-- shows it, with subject salon.
ALTER TABLE visit_part
    DROP CONSTRAINT visit_part_kind_check,
    ADD CONSTRAINT visit_part_kind_check CHECK (kind IN ('hands_on', 'watched', 'away', 'in_use', 'salon', 'client', 'aftercare', 'retouch'));

-- Visits that are there already get these parts from what they reserve. Blocks of
-- visits that are only pencilled are in no calendar.
INSERT INTO visit_part (salon_id, visit_id, subject, ordinal, uid, changed_at, starts_at, ends_at, kind)
SELECT b.salon_id, b.visit_id, b.unit_id, row_number() OVER (PARTITION BY b.salon_id, b.visit_id, b.unit_id ORDER BY b.starts_at) - 1,
       gen_random_uuid()::text, clock_timestamp(), b.starts_at, b.ends_at, 'in_use'
FROM block b JOIN visit v USING (salon_id, visit_id) LEFT JOIN staff s ON s.salon_id = b.salon_id AND s.staff_id = b.unit_id
WHERE s.staff_id IS NULL AND v.state IN ('booked', 'arrived', 'under_way', 'finished', 'stopped_early');
INSERT INTO visit_part (salon_id, visit_id, subject, ordinal, uid, changed_at, starts_at, ends_at, kind)
SELECT b.salon_id, b.visit_id, 'salon', 0, gen_random_uuid()::text, clock_timestamp(), min(b.starts_at), max(b.ends_at), 'salon'
FROM block b JOIN visit v USING (salon_id, visit_id)
WHERE v.state IN ('booked', 'arrived', 'under_way', 'finished', 'stopped_early') GROUP BY b.salon_id, b.visit_id;

-- +goose Down
DELETE FROM visit_part WHERE kind IN ('in_use', 'salon');
ALTER TABLE visit_part
    DROP CONSTRAINT visit_part_kind_check,
    ADD CONSTRAINT visit_part_kind_check CHECK (kind IN ('hands_on', 'watched', 'away', 'client', 'aftercare', 'retouch'));
DELETE FROM feed WHERE kind IN ('station', 'salon');
DROP INDEX feed_by_subject;
ALTER TABLE feed
    DROP CONSTRAINT feed_kind_check, ADD CONSTRAINT feed_kind_check CHECK (kind IN ('staff', 'client')),
    DROP COLUMN label, DROP COLUMN rotated_at;
