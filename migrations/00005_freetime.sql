-- +goose Up
-- Whether the blocks of a pencilled visit count depends on the visit, which can
-- change while its blocks stay: it is booked after all, or pencilled for longer.
-- +goose StatementBegin
CREATE FUNCTION note_pencilled_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO unit_change (salon_id, unit_id)
    SELECT DISTINCT salon_id, unit_id FROM block WHERE salon_id = NEW.salon_id AND visit_id = NEW.visit_id;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER visit_pencilled AFTER UPDATE ON visit FOR EACH ROW
    WHEN ((OLD.state = 'held' OR NEW.state = 'held') AND (OLD.state, OLD.held_until) IS DISTINCT FROM (NEW.state, NEW.held_until))
    EXECUTE FUNCTION note_pencilled_change();

-- What the job that forgets old rows of unit_change saw when it ran. A row that
-- it saw an hour ago was committed more than an hour ago; the row's own
-- changed_at only says when its transaction began, which may have stayed open.
CREATE TABLE unit_change_seen (
    salon_id text NOT NULL REFERENCES salon ON DELETE CASCADE,
    seen_at  timestamptz NOT NULL DEFAULT now(),
    seen     pg_snapshot NOT NULL DEFAULT pg_current_snapshot(),
    PRIMARY KEY (salon_id, seen_at)
);

-- +goose Down
DROP TABLE unit_change_seen;
DROP TRIGGER visit_pencilled ON visit;
DROP FUNCTION note_pencilled_change;
