-- +goose Up
-- Rules of booking that a salon sets for itself (how long an opening is
-- pencilled, spacing between services, the usual mix); what is absent has the
-- program's default.
ALTER TABLE salon ADD COLUMN booking jsonb NOT NULL DEFAULT '{}';

-- What a service is to the others: straightening, colour, bleach, perm …
ALTER TABLE service_version ADD COLUMN families text[] NOT NULL DEFAULT '{}';

-- A visit can be pencilled until held_until, for a caller who is not known yet;
-- a walk-in has a first name only; kept time has neither client nor chair.
ALTER TABLE visit
    ALTER COLUMN client_id DROP NOT NULL,
    ALTER COLUMN chair_id DROP NOT NULL,
    ADD COLUMN title text NOT NULL DEFAULT '' CHECK (length(title) <= 80), -- who or what, where there is no client
    ADD COLUMN held_until timestamptz,
    ADD COLUMN group_id text,
    DROP CONSTRAINT visit_state_check,
    ADD CONSTRAINT visit_state_check CHECK (state IN ('held', 'lapsed', 'booked', 'arrived', 'under_way', 'finished',
                                                      'stopped_early', 'cancelled', 'missed')),
    ADD CONSTRAINT visit_held CHECK (state <> 'held' OR held_until IS NOT NULL);
CREATE INDEX visit_held_by_end ON visit (salon_id, held_until) WHERE state = 'held';

-- Visits that belong together.
CREATE TABLE visit_group (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    group_id   text NOT NULL,
    how        text NOT NULL CHECK (how IN ('arrive_together', 'side_by_side', 'one_after_other')),
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, group_id)
);
ALTER TABLE visit ADD FOREIGN KEY (salon_id, group_id) REFERENCES visit_group;
CREATE INDEX visit_by_group ON visit (salon_id, group_id) WHERE group_id IS NOT NULL;

-- A second qualified person who is named watches instead of the stylist in charge.
ALTER TABLE visit_step_unit DROP CONSTRAINT visit_step_unit_role_check,
    ADD CONSTRAINT visit_step_unit_role_check CHECK (role IN ('lead', 'chair', 'basin', 'assistant', 'helper', 'watcher'));

-- What happened, in the order in which it was noted; never updated. at is when
-- it happened, which may be corrected by a later row.
CREATE TABLE visit_event (
    salon_id text NOT NULL,
    visit_id text NOT NULL,
    event_id text NOT NULL,
    kind     text NOT NULL CHECK (kind ~ '^[a-z][a-z_]{0,30}$'),
    ordinal  smallint, -- of the step, null for the visit
    at       timestamptz NOT NULL,
    minutes  smallint, -- of an extension
    noted_at timestamptz NOT NULL DEFAULT now(),
    noted_by text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, event_id),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE
);
CREATE INDEX visit_event_by_visit ON visit_event (salon_id, visit_id, event_id);

-- Requests on the waiting list. wanted is what was asked: services with hair.
CREATE TABLE wish (
    salon_id       text NOT NULL REFERENCES salon ON DELETE CASCADE,
    wish_id        text NOT NULL,
    client_id      text NOT NULL,
    state          text NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'booked', 'withdrawn')),
    wanted         jsonb NOT NULL,
    value_cents    bigint NOT NULL CHECK (value_cents BETWEEN 0 AND 100000000),
    first_date     date NOT NULL,
    last_date      date NOT NULL CHECK (last_date >= first_date),
    weekdays       smallint[] NOT NULL DEFAULT '{1,2,3,4,5,6,7}', -- 1 Monday to 7 Sunday
    from_minute    smallint NOT NULL DEFAULT 0 CHECK (from_minute BETWEEN 0 AND 1439), -- of the day, earliest start
    to_minute      smallint NOT NULL DEFAULT 1440 CHECK (to_minute > from_minute AND to_minute <= 2880), -- latest end
    lead_ids       text[] NOT NULL DEFAULT '{}', -- empty: anybody
    notice_minutes integer NOT NULL DEFAULT 0 CHECK (notice_minutes BETWEEN 0 AND 43200), -- the client needs to hear of it so long before
    note           text NOT NULL DEFAULT '' CHECK (length(note) <= 500),
    visit_id       text, -- what became of it
    version        bigint NOT NULL DEFAULT 1,
    created_at     timestamptz NOT NULL DEFAULT now(),
    changed_at     timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, wish_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE,
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE SET NULL (visit_id)
);
CREATE INDEX wish_by_state ON wish (salon_id, state, first_date, wish_id);

-- A proposal for a day: what it would move and add, with the versions it was
-- worked out from. It is carried out whole or not at all.
CREATE TABLE day_plan (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    plan_id    text NOT NULL,
    day        date NOT NULL,
    state      text NOT NULL DEFAULT 'proposed' CHECK (state IN ('proposed', 'applied')),
    proposal   jsonb NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    applied_at timestamptz,
    PRIMARY KEY (salon_id, plan_id)
);

-- Which units' time has changed in which transaction. A process that keeps free
-- time in memory asks what its own snapshot of the database did not see yet.
-- unit_id is empty when hours, closures or units of the salon have changed. Rows
-- are only inserted, so that nobody waits for anybody, and forgotten after a
-- while: what is older than that has to be read anew.
CREATE TABLE unit_change (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    unit_id    text NOT NULL DEFAULT '',
    changed_in xid8 NOT NULL DEFAULT pg_current_xact_id(),
    changed_at timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX unit_change_by_salon ON unit_change (salon_id, changed_in);
CREATE INDEX unit_change_by_age ON unit_change (changed_at);

-- +goose StatementBegin
CREATE FUNCTION note_unit_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    -- rows of a salon that is being deleted have nobody left to tell
    INSERT INTO unit_change (salon_id, unit_id)
    SELECT DISTINCT c.salon_id, c.unit_id FROM changed c JOIN salon s USING (salon_id);
    RETURN NULL;
END $$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE FUNCTION note_salon_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO unit_change (salon_id)
    SELECT DISTINCT c.salon_id FROM changed c JOIN salon s USING (salon_id);
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- blocks are never updated
CREATE TRIGGER block_added AFTER INSERT ON block REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
CREATE TRIGGER block_gone AFTER DELETE ON block REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
CREATE TRIGGER absence_added AFTER INSERT ON absence REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
CREATE TRIGGER absence_changed AFTER UPDATE ON absence REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();
CREATE TRIGGER absence_gone AFTER DELETE ON absence REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_unit_change();

-- +goose StatementBegin
DO $$
DECLARE rota text;
BEGIN
    FOREACH rota IN ARRAY ARRAY['unit', 'staff_skill', 'staff_hours', 'opening_hours', 'closure'] LOOP
        EXECUTE format('CREATE TRIGGER %1$s_added AFTER INSERT ON %1$s REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change()', rota);
        EXECUTE format('CREATE TRIGGER %1$s_changed AFTER UPDATE ON %1$s REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change()', rota);
        EXECUTE format('CREATE TRIGGER %1$s_gone AFTER DELETE ON %1$s REFERENCING OLD TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change()', rota);
    END LOOP;
END $$;
-- +goose StatementEnd

-- +goose Down
-- +goose StatementBegin
DO $$
DECLARE rota text;
BEGIN
    FOREACH rota IN ARRAY ARRAY['block', 'absence', 'unit', 'staff_skill', 'staff_hours', 'opening_hours', 'closure'] LOOP
        EXECUTE format('DROP TRIGGER IF EXISTS %1$s_added ON %1$s', rota);
        EXECUTE format('DROP TRIGGER IF EXISTS %1$s_changed ON %1$s', rota);
        EXECUTE format('DROP TRIGGER IF EXISTS %1$s_gone ON %1$s', rota);
    END LOOP;
END $$;
-- +goose StatementEnd
DROP FUNCTION note_unit_change, note_salon_change;
DELETE FROM visit WHERE client_id IS NULL OR chair_id IS NULL OR state IN ('held', 'lapsed');
DELETE FROM visit_step_unit WHERE role = 'watcher';
DROP TABLE unit_change, day_plan, wish, visit_event;
ALTER TABLE visit_step_unit DROP CONSTRAINT visit_step_unit_role_check,
    ADD CONSTRAINT visit_step_unit_role_check CHECK (role IN ('lead', 'chair', 'basin', 'assistant', 'helper'));
ALTER TABLE visit
    DROP CONSTRAINT visit_held, DROP CONSTRAINT visit_state_check,
    DROP COLUMN title, DROP COLUMN held_until, DROP COLUMN group_id,
    ADD CONSTRAINT visit_state_check CHECK (state IN ('booked', 'arrived', 'under_way', 'finished',
                                                      'stopped_early', 'cancelled', 'missed')),
    ALTER COLUMN client_id SET NOT NULL, ALTER COLUMN chair_id SET NOT NULL;
DROP TABLE visit_group;
ALTER TABLE service_version DROP COLUMN families;
ALTER TABLE salon DROP COLUMN booking;
