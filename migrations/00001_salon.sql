-- +goose Up
-- Every table starts with salon_id, which leads primary and foreign keys, so
-- that no query crosses salons by accident. Ids are UUIDv7 text.

-- +goose StatementBegin
CREATE EXTENSION IF NOT EXISTS btree_gist;
-- +goose StatementEnd

CREATE TABLE salon (
    salon_id     text PRIMARY KEY,
    key          text NOT NULL UNIQUE CHECK (key ~ '^[a-z0-9]{6,16}$'), -- part of every token, no secret
    name         text NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    zone         text NOT NULL CHECK (zone <> ''),
    currency     text NOT NULL DEFAULT 'EUR' CHECK (currency ~ '^[A-Z]{3}$'),
    length_unit  text NOT NULL DEFAULT 'cm' CHECK (length_unit IN ('cm', 'in')),
    heat_unit    text NOT NULL DEFAULT 'C' CHECK (heat_unit IN ('C', 'F')),
    address      text NOT NULL DEFAULT '',
    phone        text NOT NULL DEFAULT '',
    mail         text NOT NULL DEFAULT '',
    emergency    text NOT NULL DEFAULT '112', -- number shown for swelling or trouble breathing
    chair_time   jsonb NOT NULL DEFAULT '{}', -- constants that differ from the default
    version      bigint NOT NULL DEFAULT 1,
    created_at   timestamptz NOT NULL DEFAULT now()
);

-- A unit is a person or a station; both refer to it, and so does every block.
CREATE TABLE unit (
    salon_id           text NOT NULL REFERENCES salon ON DELETE CASCADE,
    unit_id            text NOT NULL,
    kind               text NOT NULL CHECK (kind ~ '^[a-z][a-z_]{0,30}$'),
    name               text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    changeover_minutes smallint NOT NULL DEFAULT 0 CHECK (changeover_minutes BETWEEN 0 AND 240),
    active             boolean NOT NULL DEFAULT true,
    version            bigint NOT NULL DEFAULT 1,
    created_at         timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, unit_id)
);

CREATE TABLE staff (
    salon_id   text NOT NULL,
    staff_id   text NOT NULL,
    initials   text NOT NULL CHECK (length(initials) BETWEEN 1 AND 6),
    may_lead   boolean NOT NULL,
    mail       text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, staff_id),
    FOREIGN KEY (salon_id, staff_id) REFERENCES unit (salon_id, unit_id) ON DELETE CASCADE
);

CREATE TABLE staff_skill (
    salon_id text NOT NULL,
    staff_id text NOT NULL,
    skill    text NOT NULL CHECK (skill ~ '^[a-z0-9][a-z0-9_]{0,40}$'),
    PRIMARY KEY (salon_id, staff_id, skill),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE
);

-- Hours are clock times of the salon's zone in minutes after midnight;
-- closes may pass midnight (1440 to 2880). weekday: 1 Monday to 7 Sunday.
CREATE TABLE opening_hours (
    salon_id text NOT NULL REFERENCES salon ON DELETE CASCADE,
    weekday  smallint NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    opens    smallint NOT NULL CHECK (opens BETWEEN 0 AND 1439),
    closes   smallint NOT NULL CHECK (closes > opens AND closes <= 2880),
    PRIMARY KEY (salon_id, weekday, opens)
);

CREATE TABLE staff_hours (
    salon_id text NOT NULL,
    staff_id text NOT NULL,
    weekday  smallint NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    kind     text NOT NULL CHECK (kind IN ('work', 'break')),
    starts   smallint NOT NULL CHECK (starts BETWEEN 0 AND 1439),
    ends     smallint NOT NULL CHECK (ends > starts AND ends <= 2880),
    PRIMARY KEY (salon_id, staff_id, weekday, kind, starts),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE
);

CREATE TABLE closure (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    closure_id text NOT NULL,
    from_date  date NOT NULL,
    to_date    date NOT NULL CHECK (to_date >= from_date), -- included
    reason     text NOT NULL DEFAULT '' CHECK (length(reason) <= 200),
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, closure_id)
);

-- An absence may lie over visits, which are then listed as in conflict. For a
-- station it means out of order.
CREATE TABLE absence (
    salon_id   text NOT NULL,
    absence_id text NOT NULL,
    unit_id    text NOT NULL,
    starts_at  timestamptz NOT NULL,
    ends_at    timestamptz NOT NULL CHECK (ends_at > starts_at),
    reason     text NOT NULL DEFAULT '' CHECK (length(reason) <= 200),
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, absence_id),
    FOREIGN KEY (salon_id, unit_id) REFERENCES unit ON DELETE CASCADE
);
CREATE INDEX absence_by_unit ON absence (salon_id, unit_id, ends_at);

CREATE TABLE service (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    service_id text NOT NULL,
    current    integer NOT NULL DEFAULT 1,
    active     boolean NOT NULL DEFAULT true,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, service_id)
);

-- A version is never changed: a booked visit keeps the one it was booked with.
CREATE TABLE service_version (
    salon_id        text NOT NULL,
    service_id      text NOT NULL,
    service_version integer NOT NULL CHECK (service_version >= 1),
    name            text NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    skill           text NOT NULL,
    chemical        boolean NOT NULL,
    aftercare       boolean NOT NULL,
    retouch         boolean NOT NULL DEFAULT false,
    clear_minutes   smallint CHECK (clear_minutes BETWEEN 0 AND 240), -- null: the chair's own changeover
    price_cents     bigint NOT NULL CHECK (price_cents BETWEEN 0 AND 100000000),
    steps           jsonb NOT NULL,
    created_at      timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, service_id, service_version),
    FOREIGN KEY (salon_id, service_id) REFERENCES service ON DELETE CASCADE
);

CREATE TABLE client (
    salon_id    text NOT NULL REFERENCES salon ON DELETE CASCADE,
    client_id   text NOT NULL,
    given_name  text NOT NULL CHECK (length(given_name) BETWEEN 1 AND 80),
    family_name text NOT NULL DEFAULT '' CHECK (length(family_name) <= 80),
    phone       text NOT NULL DEFAULT '',  -- E.164
    mail        text NOT NULL DEFAULT '',
    contact_by  text NOT NULL DEFAULT 'none' CHECK (contact_by IN ('mail', 'call', 'text', 'none')),
    note        text NOT NULL DEFAULT '' CHECK (length(note) <= 500), -- good to know, never health
    version     bigint NOT NULL DEFAULT 1,
    created_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, client_id)
);
CREATE INDEX client_by_name ON client (salon_id, lower(given_name), lower(family_name), client_id);

-- A measurement of somebody's hair; a new measurement is a new row.
CREATE TABLE head (
    salon_id   text NOT NULL,
    head_id    text NOT NULL,
    client_id  text NOT NULL,
    measured_on date NOT NULL,
    hair       jsonb NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, head_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX head_by_client ON head (salon_id, client_id, measured_on DESC, head_id DESC);

CREATE TABLE estimate (
    salon_id        text NOT NULL,
    estimate_id     text NOT NULL,
    service_id      text NOT NULL,
    service_version integer NOT NULL,
    client_id       text,
    head_id         text,
    hair            jsonb NOT NULL, -- what was asked
    result          jsonb NOT NULL, -- what was answered
    created_at      timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, estimate_id),
    FOREIGN KEY (salon_id, service_id, service_version) REFERENCES service_version,
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE,
    FOREIGN KEY (salon_id, head_id) REFERENCES head ON DELETE CASCADE
);

-- +goose Down
DROP TABLE estimate, head, client, service_version, service, absence, closure,
    staff_hours, opening_hours, staff_skill, staff, unit, salon;
