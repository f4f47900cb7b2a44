-- +goose Up
-- What a visit still needs is worked out from what is on record; kept here is
-- only the record. No column says what came out of a test.

-- Tests on skin and hair, their readings, and reactions: one row for each thing
-- that somebody noted, never updated. Which of them a row is and what came out
-- is inside sealed, so that a copy of the database does not tell.
CREATE TABLE test_record (
    salon_id  text NOT NULL REFERENCES salon ON DELETE CASCADE,
    record_id text NOT NULL,
    client_id text NOT NULL,
    sealed    bytea NOT NULL,
    noted_at  timestamptz NOT NULL,
    PRIMARY KEY (salon_id, record_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX test_record_by_client ON test_record (salon_id, client_id, record_id);

-- A client below the age of consent. Instead of a date of birth: the day on
-- which she reaches the age that the salon asked for when it was written down.
CREATE TABLE minor (
    salon_id      text NOT NULL,
    client_id     text NOT NULL,
    until_date    date NOT NULL,
    consent_age   smallint NOT NULL CHECK (consent_age BETWEEN 12 AND 21),
    guardian_name text NOT NULL DEFAULT '' CHECK (length(guardian_name) <= 120),
    phone         text NOT NULL DEFAULT '', -- E.164
    mail          text NOT NULL DEFAULT '',
    contact_by    text NOT NULL DEFAULT 'none' CHECK (contact_by IN ('mail', 'call', 'text', 'none')),
    stays         text NOT NULL DEFAULT 'reachable' CHECK (stays IN ('present', 'reachable')),
    version       bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (salon_id, client_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);

-- Each time somebody noted, changed or took back that a client is a minor, never
-- updated: since a guardian's yes cannot be overridden, who ends the need for it
-- stays on record.
CREATE TABLE minor_change (
    salon_id    text NOT NULL,
    change_id   text NOT NULL,
    client_id   text NOT NULL,
    old_until   date, -- none: she was not noted as a minor before
    new_until   date, -- none: it was taken back
    approved_by text NOT NULL DEFAULT '', -- the licensed person who agreed
    reason      text NOT NULL DEFAULT '' CHECK (length(reason) <= 300),
    noted_by    text NOT NULL,
    made_at     timestamptz NOT NULL,
    PRIMARY KEY (salon_id, change_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX minor_change_by_client ON minor_change (salon_id, client_id, change_id);

-- Wordings of the consent that a salon asks for; version 1 is the program's own.
CREATE TABLE consent_wording (
    salon_id        text NOT NULL REFERENCES salon ON DELETE CASCADE,
    wording_version integer NOT NULL CHECK (wording_version >= 2),
    wording         text NOT NULL CHECK (length(wording) BETWEEN 1 AND 4000),
    made_at         timestamptz NOT NULL,
    PRIMARY KEY (salon_id, wording_version)
);

-- A client's consent to a wording, or a guardian's yes to one visit.
CREATE TABLE consent (
    salon_id        text NOT NULL REFERENCES salon ON DELETE CASCADE,
    consent_id      text NOT NULL,
    client_id       text NOT NULL,
    visit_id        text,             -- a guardian's yes
    wording_version integer,          -- a client's consent
    given_by        text NOT NULL CHECK (length(given_by) BETWEEN 1 AND 120),
    how             text NOT NULL CHECK (how IN ('present', 'phone', 'written')),
    given_at        timestamptz NOT NULL,
    taken_by        text NOT NULL,
    approved_by     text NOT NULL DEFAULT '', -- the licensed person who agreed, too
    withdrawn_at    timestamptz,
    withdrawn_by    text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, consent_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE,
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    CHECK ((visit_id IS NULL) <> (wording_version IS NULL))
);
CREATE INDEX consent_by_client ON consent (salon_id, client_id, consent_id);

-- The licensed person lets a visit begin without something. The reason may touch
-- health and is sealed.
CREATE TABLE need_override (
    salon_id     text NOT NULL,
    override_id  text NOT NULL,
    visit_id     text NOT NULL,
    kind         text NOT NULL CHECK (kind ~ '^[a-z][a-z_]{0,30}$'),
    said_by      text NOT NULL,
    noted_by     text NOT NULL,
    made_at      timestamptz NOT NULL,
    sealed       bytea NOT NULL,
    withdrawn_at timestamptz,
    withdrawn_by text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, override_id),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE
);
-- one that counts for each thing that is needed
CREATE UNIQUE INDEX need_override_once ON need_override (salon_id, visit_id, kind) WHERE withdrawn_at IS NULL;

-- Kinds of steps that somebody does not do. Why is nobody's business.
CREATE TABLE staff_leaves_out (
    salon_id  text NOT NULL,
    staff_id  text NOT NULL,
    step_kind text NOT NULL CHECK (step_kind ~ '^[a-z][a-z0-9_]{0,40}$'),
    PRIMARY KEY (salon_id, staff_id, step_kind),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE
);
CREATE TRIGGER staff_leaves_out_added AFTER INSERT ON staff_leaves_out REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change();
CREATE TRIGGER staff_leaves_out_gone AFTER DELETE ON staff_leaves_out REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change();

-- +goose Down
DROP TABLE staff_leaves_out, need_override, consent, consent_wording, minor_change, minor, test_record;
