-- +goose Up
-- Who was erased, by id only: after a backup from before is read back, they are
-- erased once more. Nothing here says who it was.
CREATE TABLE erased_client (
    salon_id  text NOT NULL REFERENCES salon ON DELETE CASCADE,
    client_id text NOT NULL,
    erased_at timestamptz NOT NULL,
    erased_by text NOT NULL DEFAULT '' CHECK (length(erased_by) <= 120),
    PRIMARY KEY (salon_id, client_id)
);

-- Both are looked for when what a client has is taken away.
CREATE INDEX visit_service_by_estimate ON visit_service (salon_id, estimate_id);
CREATE INDEX visit_by_quote ON visit (salon_id, quote_id) WHERE quote_id IS NOT NULL;

-- +goose Down
DROP INDEX visit_service_by_estimate, visit_by_quote;
DROP TABLE erased_client;
