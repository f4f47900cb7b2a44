-- +goose Up
-- How often the present address was read, readings less than five minutes apart
-- counted once: somebody's calendar comes back, who only looks at a link does not.
ALTER TABLE feed ADD COLUMN readings integer NOT NULL DEFAULT 0;
UPDATE feed SET readings = 2 WHERE last_used_at IS NOT NULL;

-- +goose Down
ALTER TABLE feed DROP COLUMN readings;
