-- +goose Up
-- A person's private calendar, of which only the busy times are kept. Its
-- address is a secret and its file says when somebody is where: both are sealed
-- with the service's key as soon as there is one, and stand as they are without.
CREATE TABLE private_calendar (
    salon_id       text NOT NULL,
    private_calendar_id text NOT NULL,
    staff_id       text NOT NULL,
    label          text NOT NULL DEFAULT '' CHECK (length(label) <= 80),
    source         text NOT NULL CHECK (source IN ('url', 'file')),
    host           text NOT NULL DEFAULT '' CHECK (length(host) <= 253), -- all that is shown of the address
    address        text,   -- one of the two where it is fetched
    address_sealed bytea,
    file           bytea,  -- the last good one without its words, one of the two
    file_sealed    bytea,
    hash           bytea,  -- SHA-256 of the last good one as it came
    all_day_busy   boolean NOT NULL,
    active         boolean NOT NULL DEFAULT true,
    etag           text NOT NULL DEFAULT '',
    last_modified  text NOT NULL DEFAULT '',
    fetched_at     timestamptz, -- tried last
    ok_at          timestamptz, -- read last, or known to be the same
    due_at         timestamptz NOT NULL,
    failures       integer NOT NULL DEFAULT 0 CHECK (failures >= 0), -- in a row
    gone           integer NOT NULL DEFAULT 0 CHECK (gone >= 0),     -- of them, how often in a row it was not there
    failure        text NOT NULL DEFAULT '' CHECK (length(failure) <= 500), -- why the last try failed
    problems       jsonb NOT NULL DEFAULT '[]', -- what of the last good file could not be read
    zone           text NOT NULL DEFAULT '',    -- the salon's, in which the busy times were worked out
    from_date      date,                        -- for which days they were
    to_date        date,                        -- not included
    intervals      integer NOT NULL DEFAULT 0,
    fetching       text,        -- whose turn it is, so that nobody fetches it beside
    fetching_until timestamptz,
    version        bigint NOT NULL DEFAULT 1, -- of what people set
    created_at     timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, private_calendar_id),
    UNIQUE (salon_id, private_calendar_id, staff_id),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE,
    CHECK (num_nonnulls(address, address_sealed) = (source = 'url')::integer),
    CHECK (num_nonnulls(file, file_sealed) <= 1),
    CHECK ((fetching IS NULL) = (fetching_until IS NULL))
);
CREATE INDEX private_calendar_due ON private_calendar (due_at) WHERE active;

-- Absences that come from one are replaced as a set and belong to its person.
ALTER TABLE absence
    ADD COLUMN private_calendar_id text,
    ADD CONSTRAINT absence_calendar FOREIGN KEY (salon_id, private_calendar_id, unit_id)
        REFERENCES private_calendar (salon_id, private_calendar_id, staff_id) ON DELETE CASCADE,
    ADD CONSTRAINT absence_wordless CHECK (private_calendar_id IS NULL OR reason = '');
CREATE UNIQUE INDEX absence_by_calendar ON absence (salon_id, private_calendar_id, starts_at, ends_at) WHERE private_calendar_id IS NOT NULL;

-- +goose Down
DELETE FROM absence WHERE private_calendar_id IS NOT NULL;
ALTER TABLE absence DROP CONSTRAINT absence_wordless, DROP CONSTRAINT absence_calendar, DROP COLUMN private_calendar_id;
DROP TABLE private_calendar;
