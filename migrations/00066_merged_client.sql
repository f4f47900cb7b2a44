-- +goose Up
-- Which file of a client went into which one, by id only: with a client who is erased
-- go the files that hers was put together from, in a database from before that was read
-- back, too. While she is there, so are these; into_id is always a file that is.
CREATE TABLE merged_client (
    salon_id  text NOT NULL,
    client_id text NOT NULL,
    into_id   text NOT NULL,
    PRIMARY KEY (salon_id, client_id),
    FOREIGN KEY (salon_id, into_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX merged_client_by_into ON merged_client (salon_id, into_id);

-- +goose Down
DROP TABLE merged_client;
