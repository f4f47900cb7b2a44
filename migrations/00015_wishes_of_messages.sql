-- +goose Up
-- Who gets which message, when and how.
ALTER TABLE salon ADD COLUMN messages jsonb NOT NULL DEFAULT '{}'; -- rules of messages that differ from the default

-- Vouches for the links that stand in messages. It is made when the first
-- message is sent. Whoever holds it can stop messages and say yes to visits, and
-- nothing else.
CREATE TABLE message_key (
    salon_id text PRIMARY KEY REFERENCES salon ON DELETE CASCADE,
    secret   bytea NOT NULL CHECK (length(secret) = 32)
);

-- How a client wishes to be written to, beside the preferred way of the client's
-- own row. No row: nothing was said yet. Its version rises with every choice.
CREATE TABLE message_wish (
    salon_id  text NOT NULL,
    client_id text NOT NULL,
    language  text NOT NULL DEFAULT '' CHECK (language ~ '^([A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*)?$'), -- BCP 47; '': the salon's
    voice     boolean NOT NULL DEFAULT false, -- word may be left on an answering machine
    version   bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (salon_id, client_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);

-- Each time somebody said that messages are wanted or not, never updated: the
-- last word on the same counts, and who said it when stays on record.
CREATE TABLE message_choice (
    salon_id     text NOT NULL,
    choice_id    text NOT NULL,
    client_id    text NOT NULL,
    kind         text NOT NULL CHECK (kind ~ '^([a-z][a-z_]{0,30})?$'), -- '': every kind
    way          text NOT NULL CHECK (way IN ('', 'mail', 'text')),     -- '': every way
    by_guardian  boolean NOT NULL, -- said while she was a minor by who answers for her, and counts only then
    wanted       boolean, -- null: what was said before counts no more
    how          text NOT NULL CHECK (how IN ('desk', 'page', 'one_click')),
    noted_by     text NOT NULL DEFAULT '',
    message_kind text NOT NULL DEFAULT '', -- of the message whose link was used
    said_at      timestamptz NOT NULL,
    PRIMARY KEY (salon_id, choice_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX message_choice_by_client ON message_choice (salon_id, client_id, choice_id);

-- A client said that she comes. It holds for the start that she said it of: a
-- visit that is moved needs another yes.
CREATE TABLE visit_yes (
    salon_id  text NOT NULL,
    visit_id  text NOT NULL,
    starts_at timestamptz NOT NULL,
    said_at   timestamptz NOT NULL,
    how       text NOT NULL CHECK (how IN ('page', 'call', 'text', 'mail', 'in_person', 'invitation')),
    noted_by  text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, visit_id, starts_at),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE
);

-- A salon's own texts of messages, one file for each language. What was parsed of a
-- file is kept by its version, so that no version may come twice, not even of a
-- file that was deleted and made again.
CREATE SEQUENCE message_language_version;
CREATE TABLE message_language (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    tag        text NOT NULL CHECK (tag ~ '^[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*$'),
    doc        text NOT NULL CHECK (length(doc) <= 262144),
    changed_at timestamptz NOT NULL,
    changed_by text NOT NULL,
    version    bigint NOT NULL DEFAULT nextval('message_language_version'),
    PRIMARY KEY (salon_id, tag)
);

-- +goose Down
DROP TABLE message_language, visit_yes, message_choice, message_wish, message_key;
DROP SEQUENCE message_language_version;
ALTER TABLE salon DROP COLUMN messages;
