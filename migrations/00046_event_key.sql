-- +goose NO TRANSACTION
-- +goose Up
-- Events are read by their visit alone: one index is enough for that and for the key.
DROP INDEX CONCURRENTLY IF EXISTS visit_event_key;
CREATE UNIQUE INDEX CONCURRENTLY visit_event_key ON visit_event (salon_id, visit_id, event_id);
ALTER TABLE visit_event DROP CONSTRAINT visit_event_pkey, ADD CONSTRAINT visit_event_pkey PRIMARY KEY USING INDEX visit_event_key;
DROP INDEX CONCURRENTLY IF EXISTS visit_event_by_visit;

-- +goose Down
CREATE INDEX CONCURRENTLY IF NOT EXISTS visit_event_by_visit ON visit_event (salon_id, visit_id, event_id);
ALTER TABLE visit_event DROP CONSTRAINT visit_event_pkey, ADD PRIMARY KEY (salon_id, event_id);
