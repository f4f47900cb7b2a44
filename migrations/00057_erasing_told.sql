-- +goose Up
-- On which day somebody of the salon has last seen to the terms; null: nobody has since
-- the program gave them, and the owner is told from when on they count.
ALTER TABLE retention_rule ADD COLUMN read_at date DEFAULT current_date;
-- Whoever changes terms has them wait for two days. What waits longer was given.
UPDATE retention_rule SET read_at = NULL WHERE version = 2 AND from_date > current_date + 2;

-- Ids of what a kind's run of that day could not erase: announced as staying.
ALTER TABLE retention_run ADD COLUMN stuck text[] NOT NULL DEFAULT '{}';

-- +goose Down
ALTER TABLE retention_run DROP COLUMN stuck;
ALTER TABLE retention_rule DROP COLUMN read_at;
