-- +goose Up
-- What keeps two visits off one unit and one client is found by one number and the time.
-- With the visit's id before the time, what is searched for one stretch were all blocks
-- that the unit ever had; texts of 36 letters make pages of few rows, and each is
-- compared letter by letter on the way down. Units or clients of one number, 1 of 2^64,
-- would keep each other off a time: never does it let two through.
ALTER TABLE block DROP CONSTRAINT block_no_overlap;
ALTER TABLE block ADD CONSTRAINT block_no_overlap EXCLUDE USING gist (
    hashtextextended(salon_id || unit_id, 0) WITH =, span WITH &&, (visit_id || '') WITH <>);
ALTER TABLE visit DROP CONSTRAINT visit_client_once;
ALTER TABLE visit ADD CONSTRAINT visit_client_once EXCLUDE USING gist (
    hashtextextended(salon_id || client_id, 0) WITH =, tstzrange(starts_at, ends_at) WITH &&)
    WHERE (state IN ('booked', 'arrived', 'under_way'));

-- +goose Down
ALTER TABLE visit DROP CONSTRAINT visit_client_once;
ALTER TABLE visit ADD CONSTRAINT visit_client_once EXCLUDE USING gist (
    (salon_id || '') WITH =, (client_id || '') WITH =, tstzrange(starts_at, ends_at) WITH &&)
    WHERE (state IN ('booked', 'arrived', 'under_way'));
ALTER TABLE block DROP CONSTRAINT block_no_overlap;
ALTER TABLE block ADD CONSTRAINT block_no_overlap EXCLUDE USING gist (
    (salon_id || '') WITH =, (unit_id || '') WITH =, (visit_id || '') WITH <>, span WITH &&);
