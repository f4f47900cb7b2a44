-- +goose Up
-- Whether everybody with a password of her own needs a second step, and from which day of
-- the salon's calendar on it is asked of whoever needs one; null: at once.
ALTER TABLE access_rule
    ADD COLUMN everybodys_second_factor boolean NOT NULL DEFAULT false,
    ADD COLUMN second_factor_from date;

-- +goose Down
ALTER TABLE access_rule DROP COLUMN everybodys_second_factor, DROP COLUMN second_factor_from;
