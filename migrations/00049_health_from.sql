-- +goose Up
-- Before this day of the salon's calendar nothing about health goes by the term that
-- health_months was last changed to; null: it was not changed since there is this.
ALTER TABLE salon ADD COLUMN health_from date;

-- +goose Down
ALTER TABLE salon DROP COLUMN health_from;
