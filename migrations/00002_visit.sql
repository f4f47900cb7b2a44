-- +goose Up
CREATE TABLE visit (
    salon_id    text NOT NULL REFERENCES salon ON DELETE CASCADE,
    visit_id    text NOT NULL,
    client_id   text NOT NULL,
    state       text NOT NULL CHECK (state IN ('booked', 'arrived', 'under_way', 'finished',
                                               'stopped_early', 'cancelled', 'missed')),
    starts_at   timestamptz NOT NULL,
    ends_at     timestamptz NOT NULL CHECK (ends_at > starts_at),
    chair_id    text NOT NULL,
    price_cents bigint NOT NULL DEFAULT 0,
    note        text NOT NULL DEFAULT '' CHECK (length(note) <= 500),
    approved_by text NOT NULL DEFAULT '', -- who said yes to cautions that need the licensed person
    arrived_at  timestamptz,
    finished_at timestamptz,
    version     bigint NOT NULL DEFAULT 1,
    created_at  timestamptz NOT NULL DEFAULT now(),
    changed_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, visit_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client,
    FOREIGN KEY (salon_id, chair_id) REFERENCES unit,
    -- nobody sits in two chairs at once
    CONSTRAINT visit_client_once EXCLUDE USING gist (
        salon_id WITH =, client_id WITH =, tstzrange(starts_at, ends_at) WITH &&)
        WHERE (state IN ('booked', 'arrived', 'under_way'))
);
CREATE INDEX visit_by_start ON visit (salon_id, starts_at, visit_id);
CREATE INDEX visit_by_client ON visit (salon_id, client_id, starts_at DESC);

CREATE TABLE visit_service (
    salon_id        text NOT NULL,
    visit_id        text NOT NULL,
    ordinal         smallint NOT NULL,
    service_id      text NOT NULL,
    service_version integer NOT NULL,
    lead_id         text NOT NULL,
    estimate_id     text,
    price_cents     bigint NOT NULL,
    PRIMARY KEY (salon_id, visit_id, ordinal),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    FOREIGN KEY (salon_id, service_id, service_version) REFERENCES service_version,
    FOREIGN KEY (salon_id, lead_id) REFERENCES staff,
    FOREIGN KEY (salon_id, estimate_id) REFERENCES estimate
);

-- The plan of a visit, step by step; real times are written here, never into
-- blocks.
CREATE TABLE visit_step (
    salon_id        text NOT NULL,
    visit_id        text NOT NULL,
    ordinal         smallint NOT NULL,
    service_ordinal smallint NOT NULL,
    kind            text NOT NULL,
    label           text NOT NULL,
    starts_at       timestamptz NOT NULL,
    ends_at         timestamptz NOT NULL CHECK (ends_at > starts_at),
    hands_on        boolean NOT NULL,
    watched         boolean NOT NULL,
    looks           smallint[] NOT NULL DEFAULT '{}', -- minutes after starts_at at which somebody looks
    real_start      timestamptz,
    real_end        timestamptz CHECK (real_end >= real_start),
    PRIMARY KEY (salon_id, visit_id, ordinal),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE
);

CREATE TABLE visit_step_unit (
    salon_id text NOT NULL,
    visit_id text NOT NULL,
    ordinal  smallint NOT NULL,
    unit_id  text NOT NULL,
    role     text NOT NULL CHECK (role IN ('lead', 'chair', 'basin', 'assistant', 'helper')),
    PRIMARY KEY (salon_id, visit_id, ordinal, unit_id),
    FOREIGN KEY (salon_id, visit_id, ordinal) REFERENCES visit_step ON DELETE CASCADE,
    FOREIGN KEY (salon_id, unit_id) REFERENCES unit
);

-- A block is one interval of one unit reserved by a visit. Rows are never
-- updated. span is the interval widened by the clearing time at its end; two
-- visits never overlap in it on one unit, whatever the program believes.
CREATE TABLE block (
    salon_id  text NOT NULL,
    visit_id  text NOT NULL,
    unit_id   text NOT NULL,
    starts_at timestamptz NOT NULL,
    ends_at   timestamptz NOT NULL,
    span      tstzrange NOT NULL,
    clear_asked smallint,                    -- clearing that the visit's services ask for; null: the unit's own
    clear_least smallint NOT NULL DEFAULT 0, -- the unit's own, but at least this
    PRIMARY KEY (salon_id, visit_id, unit_id, starts_at),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    FOREIGN KEY (salon_id, unit_id) REFERENCES unit,
    CONSTRAINT block_interval CHECK (
        ends_at > starts_at AND NOT isempty(span) AND lower_inc(span) AND NOT upper_inc(span)
        AND NOT lower_inf(span) AND NOT upper_inf(span) -- without these a null would pass the next line
        AND lower(span) = starts_at AND upper(span) BETWEEN ends_at AND ends_at + interval '240 minutes'
        AND date_trunc('minute', starts_at) = starts_at AND date_trunc('minute', ends_at) = ends_at),
    CONSTRAINT block_no_overlap EXCLUDE USING gist (
        salon_id WITH =, unit_id WITH =, visit_id WITH <>, span WITH &&)
);
CREATE INDEX block_by_time ON block USING gist (salon_id, span);

-- What a calendar shows of a visit: parts keep their uid for ever, and their
-- sequence rises with every change. subject is a unit, or client, aftercare
-- or retouch.
CREATE TABLE visit_part (
    salon_id   text NOT NULL,
    visit_id   text NOT NULL,
    subject    text NOT NULL,
    ordinal    smallint NOT NULL,
    uid        text NOT NULL,
    sequence   integer NOT NULL DEFAULT 0,
    changed_at timestamptz NOT NULL,
    starts_at  timestamptz NOT NULL,
    ends_at    timestamptz NOT NULL,
    kind       text NOT NULL CHECK (kind IN ('hands_on', 'watched', 'away', 'client', 'aftercare', 'retouch')),
    shown      text NOT NULL DEFAULT '', -- tells whether what is shown beside the time has changed
    live       boolean NOT NULL DEFAULT true, -- false: gone from staff feeds, cancelled in the client's
    PRIMARY KEY (salon_id, visit_id, subject, ordinal),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    UNIQUE (salon_id, uid)
);
CREATE INDEX visit_part_by_subject ON visit_part (salon_id, subject, ends_at);

CREATE TABLE reminder (
    salon_id    text NOT NULL,
    reminder_id text NOT NULL,
    visit_id    text NOT NULL,
    kind        text NOT NULL CHECK (kind IN ('confirmation', 'moved', 'cancelled', 'reminder', 'aftercare',
                                              'aftercare_end', 'retouch')),
    due_at      timestamptz NOT NULL,
    state       text NOT NULL DEFAULT 'waiting'
                CHECK (state IN ('waiting', 'sent', 'to_call', 'withdrawn', 'not_wanted', 'failed')),
    message_id  text NOT NULL,
    job_id      bigint,
    before_at   timestamptz, -- start that a moved visit had
    done_at     timestamptz,
    problem     text NOT NULL DEFAULT '',
    created_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, reminder_id),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    UNIQUE (salon_id, message_id)
);
CREATE INDEX reminder_by_visit ON reminder (salon_id, visit_id, due_at);

-- +goose Down
DROP TABLE reminder, visit_part, block, visit_step_unit, visit_step, visit_service, visit;
