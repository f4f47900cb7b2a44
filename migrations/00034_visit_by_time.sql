-- +goose Up
-- Which visits touch a stretch of time: two conditions on two columns were answered
-- by going through all visits of the salon.
CREATE INDEX visit_by_time ON visit USING gist (salon_id, tstzrange(starts_at, ends_at));

-- +goose Down
DROP INDEX visit_by_time;
