-- +goose Up
-- Processes keep what they answered about a day and ask the two logs of changes
-- whether it still stands. So every table that a day is read from is noted in one of
-- them: in unit_change with the stretch of time that it is about (none: any), or in
-- salon_event, with the kind "quiet" where nobody who watches need be told. What its
-- transaction has noted already is not noted again.
ALTER TABLE unit_change ADD COLUMN from_at timestamptz, ADD COLUMN to_at timestamptz;
ALTER TABLE salon_event DROP CONSTRAINT salon_event_kind_check,
    ADD CONSTRAINT salon_event_kind_check CHECK (kind IN ('visit', 'day', 'message', 'waiting', 'call', 'access', 'quiet'));

-- +goose StatementBegin
CREATE FUNCTION note_block_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO unit_change (salon_id, unit_id, from_at, to_at)
    SELECT c.salon_id, c.unit_id, min(lower(c.span)), max(upper(c.span)) FROM changed c JOIN salon s USING (salon_id) GROUP BY 1, 2;
    RETURN NULL;
END $$;
-- +goose StatementEnd
DROP TRIGGER block_added ON block;
DROP TRIGGER block_gone ON block;
CREATE TRIGGER block_added AFTER INSERT ON block REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_block_change();
CREATE TRIGGER block_gone AFTER DELETE ON block REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_block_change();
-- The service never does this.
CREATE TRIGGER block_changed AFTER UPDATE ON block REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION note_pencilled_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO unit_change (salon_id, unit_id, from_at, to_at)
    SELECT salon_id, unit_id, min(lower(span)), max(upper(span)) FROM block WHERE salon_id = NEW.salon_id AND visit_id = NEW.visit_id GROUP BY 1, 2;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- Absences are noted in salon_event with their stretch.
-- +goose StatementBegin
CREATE FUNCTION note_absence_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO unit_change (salon_id, unit_id, from_at, to_at)
    SELECT c.salon_id, c.unit_id, min(c.starts_at), max(c.ends_at) FROM changed c JOIN salon s USING (salon_id) GROUP BY 1, 2;
    RETURN NULL;
END $$;
-- +goose StatementEnd
DROP TRIGGER absence_added ON absence;
DROP TRIGGER absence_changed ON absence;
DROP TRIGGER absence_gone ON absence;
CREATE TRIGGER absence_added AFTER INSERT ON absence REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_absence_change();
CREATE TRIGGER absence_changed AFTER UPDATE ON absence REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_absence_change();
CREATE TRIGGER absence_gone AFTER DELETE ON absence REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_absence_change();

-- What belongs to a visit is mostly written with it.
-- +goose StatementBegin
CREATE FUNCTION say_part_of_visit() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO salon_event (salon_id, kind, visit_id, from_at, to_at)
    SELECT DISTINCT v.salon_id, TG_ARGV[0], v.visit_id, v.starts_at, v.ends_at
    FROM changed c JOIN visit v USING (salon_id, visit_id)
    WHERE NOT EXISTS (SELECT 1 FROM salon_event e WHERE e.salon_id = v.salon_id AND e.changed_in = pg_current_xact_id()
        AND e.kind = 'visit' AND e.visit_id = v.visit_id AND e.from_at = v.starts_at AND e.to_at = v.ends_at)
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- Whether a client was treated before, and what became of money that was carried to
-- another visit, shows on days of other visits.
-- +goose StatementBegin
CREATE FUNCTION say_treated() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    whose text := CASE WHEN TG_OP = 'DELETE' THEN OLD.salon_id ELSE NEW.salon_id END;
BEGIN
    INSERT INTO salon_event (salon_id, kind) SELECT salon_id, 'quiet' FROM salon WHERE salon_id = whose ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER say_treated AFTER INSERT ON visit FOR EACH ROW WHEN (NEW.state = 'finished') EXECUTE FUNCTION say_treated();
CREATE TRIGGER say_treated_anew AFTER UPDATE ON visit FOR EACH ROW
    WHEN ((OLD.state = 'finished' OR NEW.state = 'finished')
        AND (OLD.state, OLD.finished_at, OLD.client_id) IS DISTINCT FROM (NEW.state, NEW.finished_at, NEW.client_id))
    EXECUTE FUNCTION say_treated();
CREATE TRIGGER say_treated_gone AFTER DELETE ON visit FOR EACH ROW WHEN (OLD.state = 'finished') EXECUTE FUNCTION say_treated();

-- +goose StatementBegin
CREATE FUNCTION say_service_of_treated() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO salon_event (salon_id, kind)
    SELECT DISTINCT v.salon_id, 'quiet' FROM changed c JOIN visit v USING (salon_id, visit_id) WHERE v.state = 'finished'
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER say_treated AFTER UPDATE ON visit_service REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_service_of_treated();
CREATE TRIGGER say_treated_gone AFTER DELETE ON visit_service REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_service_of_treated();

-- +goose StatementBegin
CREATE FUNCTION say_carried() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO salon_event (salon_id, kind)
    SELECT DISTINCT c.salon_id, 'quiet' FROM changed c JOIN salon s USING (salon_id) WHERE c.to_visit_id IS NOT NULL OR c.reverses IS NOT NULL
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER say_carried AFTER INSERT ON money_entry REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION say_carried();
CREATE TRIGGER say_carried_anew AFTER UPDATE ON money_entry REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION say_carried();
CREATE TRIGGER say_carried_gone AFTER DELETE ON money_entry REFERENCING OLD TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION say_carried();

-- Rows of the tables without added are shown by others that refer to them, and those
-- are noted.
-- +goose StatementBegin
DO $$
DECLARE x record;
BEGIN
    FOR x IN SELECT * FROM (VALUES
        ('visit_service', 'say_part_of_visit', 'visit', true), ('visit_step', 'say_part_of_visit', 'visit', true),
        ('visit_step_unit', 'say_part_of_visit', 'visit', true), ('visit_product', 'say_part_of_visit', 'quiet', true),
        ('screening', 'say_salon', 'quiet', true), ('test_record', 'say_salon', 'quiet', true), ('consent', 'say_salon', 'quiet', true),
        ('consent_wording', 'say_salon', 'quiet', true), ('minor', 'say_salon', 'quiet', true), ('visit_group', 'say_salon', 'quiet', true),
        ('product', 'say_salon', 'quiet', false), ('estimate', 'say_salon', 'quiet', false), ('service_version', 'say_salon', 'quiet', false)
    ) t(name, say, kind, added) LOOP
        IF x.added THEN
            EXECUTE format('CREATE TRIGGER say_added AFTER INSERT ON %1$I REFERENCING NEW TABLE AS changed
                FOR EACH STATEMENT EXECUTE FUNCTION %2$I(%3$L)', x.name, x.say, x.kind);
        END IF;
        EXECUTE format('CREATE TRIGGER say_changed AFTER UPDATE ON %1$I REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION %2$I(%3$L)', x.name, x.say, x.kind);
        EXECUTE format('CREATE TRIGGER say_gone AFTER DELETE ON %1$I REFERENCING OLD TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION %2$I(%3$L)', x.name, x.say, x.kind);
    END LOOP;
END $$;
-- +goose StatementEnd

-- +goose Down
-- +goose StatementBegin
DO $$
DECLARE x record;
BEGIN
    FOR x IN SELECT unnest(ARRAY['visit_service', 'visit_step', 'visit_step_unit', 'visit_product', 'screening', 'test_record', 'consent',
        'consent_wording', 'minor', 'visit_group', 'product', 'estimate', 'service_version']) AS name LOOP
        EXECUTE format('DROP TRIGGER IF EXISTS say_added ON %I', x.name);
        EXECUTE format('DROP TRIGGER say_changed ON %I', x.name);
        EXECUTE format('DROP TRIGGER say_gone ON %I', x.name);
    END LOOP;
END $$;
-- +goose StatementEnd
DROP TRIGGER say_carried ON money_entry;
DROP TRIGGER say_carried_anew ON money_entry;
DROP TRIGGER say_carried_gone ON money_entry;
DROP TRIGGER say_treated ON visit_service;
DROP TRIGGER say_treated_gone ON visit_service;
DROP TRIGGER say_treated ON visit;
DROP TRIGGER say_treated_anew ON visit;
DROP TRIGGER say_treated_gone ON visit;
DROP FUNCTION say_carried, say_service_of_treated, say_treated, say_part_of_visit;
DROP TRIGGER absence_added ON absence;
DROP TRIGGER absence_changed ON absence;
DROP TRIGGER absence_gone ON absence;
CREATE TRIGGER absence_added AFTER INSERT ON absence REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
CREATE TRIGGER absence_changed AFTER UPDATE ON absence REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
CREATE TRIGGER absence_gone AFTER DELETE ON absence REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
DROP TRIGGER block_changed ON block;
DROP TRIGGER block_added ON block;
DROP TRIGGER block_gone ON block;
CREATE TRIGGER block_added AFTER INSERT ON block REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
CREATE TRIGGER block_gone AFTER DELETE ON block REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
DROP FUNCTION note_absence_change, note_block_change;
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION note_pencilled_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO unit_change (salon_id, unit_id)
    SELECT DISTINCT salon_id, unit_id FROM block WHERE salon_id = NEW.salon_id AND visit_id = NEW.visit_id;
    RETURN NULL;
END $$;
-- +goose StatementEnd
ALTER TABLE unit_change DROP COLUMN from_at, DROP COLUMN to_at;
DELETE FROM salon_event WHERE kind = 'quiet';
ALTER TABLE salon_event DROP CONSTRAINT salon_event_kind_check,
    ADD CONSTRAINT salon_event_kind_check CHECK (kind IN ('visit', 'day', 'message', 'waiting', 'call', 'access'));
