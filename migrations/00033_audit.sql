-- +goose Up
-- Who changed what and when: never what it said. Rows are added by triggers in the
-- transaction of the change and never changed, but for their place in the chain.
CREATE TABLE audit (
    salon_id text NOT NULL REFERENCES salon ON DELETE CASCADE,
    audit_id bigint GENERATED ALWAYS AS IDENTITY,
    at       timestamptz NOT NULL,
    actor    text NOT NULL, -- token, account, session or link that asked for it; empty: the program itself
    what     text NOT NULL, -- name of the table
    done     text NOT NULL CHECK (done IN ('added', 'changed', 'removed')),
    subject  text NOT NULL, -- id of the row
    columns  text[] NOT NULL DEFAULT '{}', -- that were changed
    place    bigint,        -- in the salon's chain, from 1, once a job has put it there
    hash     bytea,         -- of this row and of the hash before it
    PRIMARY KEY (salon_id, audit_id),
    UNIQUE (salon_id, place),
    CHECK ((place IS NULL) = (hash IS NULL))
);
CREATE INDEX audit_by_subject ON audit (salon_id, subject, audit_id DESC);
CREATE INDEX audit_loose ON audit (salon_id, audit_id) WHERE place IS NULL;

-- +goose StatementBegin
CREATE FUNCTION audit_row() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    -- Changed with every use, or beside something that is noted itself.
    noise    text[] := ARRAY['version', 'changed_at', 'last_used_at', 'signed_in_at', 'readings', 'last_read_at', 'read_at'];
    before   jsonb := CASE WHEN TG_OP <> 'INSERT' THEN to_jsonb(OLD) END;
    after    jsonb := CASE WHEN TG_OP <> 'DELETE' THEN to_jsonb(NEW) END;
    it       jsonb := coalesce(after, before);
    columns_ text[] := '{}';
    salon    text := it ->> 'salon_id';
BEGIN
    IF TG_OP = 'UPDATE' THEN
        SELECT coalesce(array_agg(n.key ORDER BY n.key), '{}') INTO columns_ FROM jsonb_each(after) n
        WHERE n.value IS DISTINCT FROM before -> n.key AND n.key <> ALL (noise);
        IF columns_ = '{}' THEN
            RETURN NULL;
        END IF;
    END IF;
    -- A salon that goes as a whole takes its log along.
    IF TG_OP = 'DELETE' AND NOT EXISTS (SELECT FROM salon s WHERE s.salon_id = salon) THEN
        RETURN NULL;
    END IF;
    INSERT INTO audit (salon_id, at, actor, what, done, subject, columns)
    VALUES (salon, clock_timestamp(), coalesce(current_setting('chairblock.actor', true), ''), TG_TABLE_NAME,
        CASE TG_OP WHEN 'INSERT' THEN 'added' WHEN 'UPDATE' THEN 'changed' ELSE 'removed' END, coalesce(it ->> TG_ARGV[0], ''), columns_);
    RETURN NULL;
END $$;

CREATE FUNCTION audit_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' AND OLD.place IS NULL AND NEW.place IS NOT NULL
        AND (to_jsonb(NEW) - 'place' - 'hash') = (to_jsonb(OLD) - 'place' - 'hash') THEN
        RETURN NEW;
    END IF;
    IF TG_OP = 'DELETE' AND NOT EXISTS (SELECT FROM salon s WHERE s.salon_id = OLD.salon_id) THEN
        RETURN OLD;
    END IF;
    RAISE EXCEPTION 'what was noted of changes stays as it is';
END $$;

CREATE TRIGGER audit_stays BEFORE UPDATE OR DELETE ON audit FOR EACH ROW EXECUTE FUNCTION audit_stays();

DO $$
DECLARE
    t record;
BEGIN
    FOR t IN SELECT * FROM (VALUES
        ('salon', 'salon_id'), ('unit', 'unit_id'), ('staff', 'staff_id'), ('staff_skill', 'staff_id'), ('opening_hours', 'weekday'), ('staff_hours', 'staff_id'),
        ('staff_rota', 'rota_id'), ('staff_day', 'staff_id'), ('closure', 'closure_id'), ('absence', 'absence_id'),
        ('service', 'service_id'), ('service_version', 'service_id'), ('product', 'product_id'),
        ('client', 'client_id'), ('minor', 'client_id'), ('consent', 'consent_id'), ('message_wish', 'client_id'), ('screening', 'screening_id'),
        ('test_record', 'record_id'), ('need_override', 'override_id'), ('wish', 'wish_id'), ('quote', 'quote_id'),
        ('visit', 'visit_id'), ('visit_stop', 'visit_id'), ('card_fact', 'visit_id'), ('money_entry', 'visit_id'),
        ('access_token', 'token_id'), ('account', 'account_id'), ('feed', 'feed_id'), ('own_link', 'link_id'), ('session_link', 'account_id'),
        ('private_calendar', 'private_calendar_id'), ('text_gateway', 'salon_id'), ('message_language', 'tag'), ('invitation_setting', 'salon_id')
    ) AS x (name, key) LOOP
        EXECUTE format('CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION audit_row(%L)', t.name, t.key);
    END LOOP;
END $$;
-- +goose StatementEnd

-- +goose Down
-- +goose StatementBegin
DO $$
DECLARE
    t record;
BEGIN
    FOR t IN SELECT c.relname FROM pg_trigger g JOIN pg_class c ON c.oid = g.tgrelid WHERE g.tgname = 'audit_row' LOOP
        EXECUTE format('DROP TRIGGER audit_row ON %I', t.relname);
    END LOOP;
END $$;
-- +goose StatementEnd
DROP TABLE audit;
DROP FUNCTION audit_row(), audit_stays();
