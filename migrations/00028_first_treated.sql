-- +goose Up
-- Since when a client is treated with chemicals is asked for every visit to come
-- that needs a consultation: her first finished visits say it.
CREATE INDEX visit_finished_of_client ON visit (salon_id, client_id, finished_at) WHERE state = 'finished';

-- +goose Down
DROP INDEX visit_finished_of_client;
