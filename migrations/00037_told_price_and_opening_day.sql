-- +goose Up
-- What a visit costs that was booked by what was told on the telephone lies between
-- two prices until somebody has seen the hair, or a price is noted by hand. Both
-- stay where they are once it is firm, so that a price that is taken back is open again.
ALTER TABLE visit_service
    ADD COLUMN price_from_cents bigint,
    ADD COLUMN price_to_cents bigint,
    ADD COLUMN price_open boolean NOT NULL DEFAULT false,
    ADD CONSTRAINT visit_service_price_told CHECK (
        (price_from_cents IS NULL) = (price_to_cents IS NULL) AND price_from_cents <= price_to_cents AND price_from_cents >= 0
        AND (price_open IS FALSE OR price_from_cents IS NOT NULL)) NOT VALID;
ALTER TABLE visit_service VALIDATE CONSTRAINT visit_service_price_told;

-- One date on which the salon opens otherwise than on its weekday: on an extra
-- Sunday, or for fewer hours. It comes before opening_hours and nothing is added
-- up; a closure comes before both. Clock times are meant as in opening_hours, opens
-- and closes in pairs; without any the salon is shut.
CREATE TABLE opening_day (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    day        date NOT NULL,
    opens      smallint[] NOT NULL DEFAULT '{}' CHECK (0 <= ALL (opens) AND 1439 >= ALL (opens)),
    closes     smallint[] NOT NULL DEFAULT '{}' CHECK (2880 >= ALL (closes)),
    reason     text NOT NULL DEFAULT '' CHECK (length(reason) <= 200),
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, day),
    CHECK (cardinality(opens) = cardinality(closes) AND cardinality(opens) <= 4)
);

CREATE TRIGGER opening_day_added AFTER INSERT ON opening_day REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change();
CREATE TRIGGER opening_day_changed AFTER UPDATE ON opening_day REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change();
CREATE TRIGGER opening_day_gone AFTER DELETE ON opening_day REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change();
CREATE TRIGGER say_added AFTER INSERT ON opening_day REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_salon('day');
CREATE TRIGGER say_changed AFTER UPDATE ON opening_day REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_salon('day');
CREATE TRIGGER say_gone AFTER DELETE ON opening_day REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_salon('day');
CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON opening_day FOR EACH ROW EXECUTE FUNCTION audit_row('day');

-- +goose Down
DROP TABLE opening_day;
ALTER TABLE visit_service DROP COLUMN price_from_cents, DROP COLUMN price_to_cents, DROP COLUMN price_open;
