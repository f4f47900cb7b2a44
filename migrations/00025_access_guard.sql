-- +goose Up
-- Wrong codes for one name, whatever the screen: a right password opens as many
-- screens as somebody likes. misses is counted down with the time that has
-- passed since counted_at. It replaces code_miss, which stays until a later release
-- drops it, so that the release before can still run beside this one.
CREATE TABLE code_guard (
    salon_id     text NOT NULL,
    account_id   text NOT NULL,
    misses       integer NOT NULL CHECK (misses >= 0),
    counted_at   timestamptz NOT NULL,
    locked_until timestamptz,
    PRIMARY KEY (salon_id, account_id),
    FOREIGN KEY (salon_id, account_id) REFERENCES account ON DELETE CASCADE
);

-- Who last proved by her password in this browser that she is there, and when.
ALTER TABLE browser_session ADD COLUMN proven_by text, ADD COLUMN proven_at timestamptz;
UPDATE browser_session SET proven_by = account_id, proven_at = opened_at WHERE account_id IS NOT NULL;

-- What vouches for that which browsers keep, of all salons: in which browser
-- somebody has signed in before, and whose form it is that waits for a sign-in.
CREATE TABLE browser_key (
    only_one boolean PRIMARY KEY DEFAULT true CHECK (only_one),
    secret   bytea NOT NULL CHECK (length(secret) = 32)
);

-- Who made the present secret of a link, and so may have seen it.
ALTER TABLE own_link ADD COLUMN made_by text NOT NULL DEFAULT '';

-- Whoever watches the salon is asked at once whether she still may when somebody's
-- way in has changed.
ALTER TABLE salon_event DROP CONSTRAINT salon_event_kind_check,
    ADD CONSTRAINT salon_event_kind_check CHECK (kind IN ('visit', 'day', 'message', 'waiting', 'call', 'access'));

-- +goose StatementBegin
CREATE FUNCTION say_access() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    whose text := CASE WHEN TG_OP = 'DELETE' THEN OLD.salon_id ELSE NEW.salon_id END;
BEGIN
    INSERT INTO salon_event (salon_id, kind) SELECT salon_id, 'access' FROM salon WHERE salon_id = whose ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
-- +goose StatementEnd

CREATE TRIGGER say_gone AFTER DELETE ON browser_session FOR EACH ROW EXECUTE FUNCTION say_access();
CREATE TRIGGER say_access AFTER UPDATE ON account FOR EACH ROW
    WHEN (OLD.roles <> NEW.roles OR OLD.disabled_at IS DISTINCT FROM NEW.disabled_at) EXECUTE FUNCTION say_access();
CREATE TRIGGER say_access AFTER UPDATE ON access_token FOR EACH ROW
    WHEN (OLD.revoked_at IS DISTINCT FROM NEW.revoked_at OR OLD.expires_at IS DISTINCT FROM NEW.expires_at OR OLD.role <> NEW.role)
    EXECUTE FUNCTION say_access();
CREATE TRIGGER say_gone AFTER DELETE ON access_token FOR EACH ROW EXECUTE FUNCTION say_access();

-- +goose Down
DROP TRIGGER say_gone ON access_token;
DROP TRIGGER say_access ON access_token;
DROP TRIGGER say_access ON account;
DROP TRIGGER say_gone ON browser_session;
DROP FUNCTION say_access;
DELETE FROM salon_event WHERE kind = 'access';
ALTER TABLE salon_event DROP CONSTRAINT salon_event_kind_check,
    ADD CONSTRAINT salon_event_kind_check CHECK (kind IN ('visit', 'day', 'message', 'waiting', 'call'));
ALTER TABLE own_link DROP COLUMN made_by;
DROP TABLE browser_key, code_guard;
ALTER TABLE browser_session DROP COLUMN proven_by, DROP COLUMN proven_at;
