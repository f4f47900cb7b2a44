-- +goose Up
-- What has changed in a salon, for those who watch it: which kind of thing, about
-- which stretch of time (none: any) and which visit. Nothing in it is about a
-- person. Rows are written by the transaction of the change, whoever makes it, and
-- only inserted; one transaction says the same thing once. They are kept two days.
--
-- changed_in tells what a watcher has not seen yet. A number that rises would not:
-- the transaction that drew the lower one may commit last.
CREATE TABLE salon_event (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    changed_in xid8 NOT NULL DEFAULT pg_current_xact_id(),
    kind       text NOT NULL CHECK (kind IN ('visit', 'day', 'message', 'waiting', 'call')),
    visit_id   text NOT NULL DEFAULT '',
    from_at    timestamptz,
    to_at      timestamptz,
    noted_at   timestamptz NOT NULL DEFAULT now(),
    UNIQUE NULLS NOT DISTINCT (salon_id, changed_in, kind, visit_id, from_at, to_at)
);
CREATE INDEX salon_event_by_age ON salon_event (noted_at);

-- Triggers are called with the kind. They have the old rows as "was", the new ones
-- as "changed"; rows of a salon that is being deleted have nobody left to tell.

-- +goose StatementBegin
CREATE FUNCTION say_visit() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP <> 'DELETE' THEN
        INSERT INTO salon_event (salon_id, kind, visit_id, from_at, to_at)
        SELECT c.salon_id, 'visit', c.visit_id, c.starts_at, c.ends_at FROM changed c JOIN salon s USING (salon_id)
        ON CONFLICT DO NOTHING;
    END IF;
    IF TG_OP <> 'INSERT' THEN
        INSERT INTO salon_event (salon_id, kind, visit_id, from_at, to_at)
        SELECT c.salon_id, 'visit', c.visit_id, c.starts_at, c.ends_at FROM was c JOIN salon s USING (salon_id)
        ON CONFLICT DO NOTHING;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION say_of_visit() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO salon_event (salon_id, kind, visit_id, from_at, to_at)
    SELECT DISTINCT v.salon_id, TG_ARGV[0], v.visit_id, v.starts_at, v.ends_at
    FROM changed c JOIN visit v USING (salon_id, visit_id)
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION say_absence() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP <> 'DELETE' THEN
        INSERT INTO salon_event (salon_id, kind, from_at, to_at)
        SELECT DISTINCT c.salon_id, 'day', c.starts_at, c.ends_at FROM changed c JOIN salon s USING (salon_id)
        ON CONFLICT DO NOTHING;
    END IF;
    IF TG_OP <> 'INSERT' THEN
        INSERT INTO salon_event (salon_id, kind, from_at, to_at)
        SELECT DISTINCT c.salon_id, 'day', c.starts_at, c.ends_at FROM was c JOIN salon s USING (salon_id)
        ON CONFLICT DO NOTHING;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION say_salon() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO salon_event (salon_id, kind)
    SELECT DISTINCT c.salon_id, TG_ARGV[0] FROM changed c JOIN salon s USING (salon_id)
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- Only messages that people have to do something about are of interest: those
-- that failed, and those that are said on the telephone.
-- +goose StatementBegin
CREATE FUNCTION say_message() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    failed boolean := NEW.state = 'failed' OR TG_OP = 'UPDATE' AND OLD.state = 'failed';
    called boolean := NEW.state = 'to_call' OR TG_OP = 'UPDATE' AND OLD.state = 'to_call';
BEGIN
    INSERT INTO salon_event (salon_id, kind, visit_id, from_at, to_at)
    SELECT v.salon_id, k.kind, v.visit_id, v.starts_at, v.ends_at
    FROM visit v JOIN (VALUES ('message', failed), ('call', called)) k(kind, wanted) ON k.wanted
    WHERE v.salon_id = NEW.salon_id AND v.visit_id = NEW.visit_id
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION say_call() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO salon_event (salon_id, kind, visit_id, from_at, to_at)
    SELECT DISTINCT v.salon_id, 'call', v.visit_id, v.starts_at, v.ends_at
    FROM changed c JOIN reminder r USING (salon_id, reminder_id) JOIN visit v ON v.salon_id = r.salon_id AND v.visit_id = r.visit_id
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd

CREATE TRIGGER say_added AFTER INSERT ON visit REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION say_visit();
CREATE TRIGGER say_changed AFTER UPDATE ON visit REFERENCING OLD TABLE AS was NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_visit();
CREATE TRIGGER say_gone AFTER DELETE ON visit REFERENCING OLD TABLE AS was FOR EACH STATEMENT EXECUTE FUNCTION say_visit();

CREATE TRIGGER say_added AFTER INSERT ON absence REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION say_absence();
CREATE TRIGGER say_changed AFTER UPDATE ON absence REFERENCING OLD TABLE AS was NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_absence();
CREATE TRIGGER say_gone AFTER DELETE ON absence REFERENCING OLD TABLE AS was FOR EACH STATEMENT EXECUTE FUNCTION say_absence();

CREATE TRIGGER say_added AFTER INSERT ON reminder FOR EACH ROW WHEN (NEW.state IN ('failed', 'to_call'))
    EXECUTE FUNCTION say_message();
CREATE TRIGGER say_changed AFTER UPDATE OF state ON reminder FOR EACH ROW
    WHEN (OLD.state <> NEW.state AND (OLD.state IN ('failed', 'to_call') OR NEW.state IN ('failed', 'to_call')))
    EXECUTE FUNCTION say_message();
CREATE TRIGGER say_added AFTER INSERT ON call_try REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION say_call();

-- Names stand on every day.
CREATE TRIGGER say_name AFTER UPDATE ON client REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_salon('day');

-- +goose StatementBegin
DO $$
DECLARE x record;
BEGIN
    FOR x IN SELECT * FROM (VALUES
        ('visit_event', 'say_of_visit', 'visit'), ('visit_yes', 'say_of_visit', 'visit'), ('money_entry', 'say_of_visit', 'visit'), ('need_override', 'say_of_visit', 'visit'),
        ('card_fact', 'say_of_visit', 'visit'), ('visit_stop', 'say_of_visit', 'visit'), ('invitation_reply', 'say_of_visit', 'message'),
        ('wish', 'say_salon', 'waiting'), ('salon', 'say_salon', 'day'), ('unit', 'say_salon', 'day'), ('staff', 'say_salon', 'day'),
        ('staff_skill', 'say_salon', 'day'), ('staff_hours', 'say_salon', 'day'), ('staff_leaves_out', 'say_salon', 'day'),
        ('opening_hours', 'say_salon', 'day'), ('closure', 'say_salon', 'day'), ('service', 'say_salon', 'day')
    ) t(name, say, kind) LOOP
        EXECUTE format('CREATE TRIGGER say_added AFTER INSERT ON %1$I REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION %2$I(%3$L)', x.name, x.say, x.kind);
        EXECUTE format('CREATE TRIGGER say_changed AFTER UPDATE ON %1$I REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION %2$I(%3$L)', x.name, x.say, x.kind);
        IF x.name <> 'salon' THEN
            EXECUTE format('CREATE TRIGGER say_gone AFTER DELETE ON %1$I REFERENCING OLD TABLE AS changed
                FOR EACH STATEMENT EXECUTE FUNCTION %2$I(%3$L)', x.name, x.say, x.kind);
        END IF;
    END LOOP;
END $$;
-- +goose StatementEnd

-- What somebody did last, so that she can take it back: the visit or waiting-list
-- request as she left it, by its version, and what a visit was before.
CREATE TABLE last_action (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    doer       text NOT NULL CHECK (length(doer) <= 200), -- person, session or token
    kind       text NOT NULL CHECK (kind ~ '^[a-z][a-z-]{0,30}$'),
    subject_id text NOT NULL,
    version    bigint NOT NULL, -- as it was left
    was        jsonb NOT NULL DEFAULT '{}', -- times and ids, nothing about a client
    done_at    timestamptz NOT NULL,
    PRIMARY KEY (salon_id, doer)
);
CREATE INDEX last_action_by_age ON last_action (done_at);

-- +goose Down
DROP TABLE last_action;
-- +goose StatementBegin
DO $$
DECLARE x record;
BEGIN
    FOR x IN SELECT t.tgname, t.tgrelid::regclass AS name FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
             WHERE p.proname IN ('say_visit', 'say_of_visit', 'say_absence', 'say_salon', 'say_message', 'say_call')
               AND p.pronamespace = current_schema()::regnamespace LOOP
        EXECUTE format('DROP TRIGGER %I ON %s', x.tgname, x.name);
    END LOOP;
END $$;
-- +goose StatementEnd
DROP FUNCTION say_visit, say_of_visit, say_absence, say_salon, say_message, say_call;
DROP TABLE salon_event;
