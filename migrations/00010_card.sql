-- +goose Up
-- What is written on the record card of a visit. Rows are only added: a
-- correction is a new row that replaces an old one, which stays readable. A
-- value of null takes back what it replaces.
CREATE TABLE card_fact (
    salon_id text NOT NULL,
    visit_id text NOT NULL,
    fact_id  text NOT NULL,
    kind     text NOT NULL CHECK (kind ~ '^[a-z][a-z_]{0,30}$'),
    ordinal  smallint, -- of the step, null for the visit
    at       timestamptz NOT NULL, -- when it happened
    value    jsonb NOT NULL,
    noted_at timestamptz NOT NULL,
    noted_by text NOT NULL CHECK (length(noted_by) BETWEEN 1 AND 120),
    replaces text,
    PRIMARY KEY (salon_id, fact_id),
    UNIQUE (salon_id, visit_id, fact_id),
    UNIQUE (salon_id, visit_id, replaces), -- nobody corrects what was corrected already
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    FOREIGN KEY (salon_id, visit_id, replaces) REFERENCES card_fact (salon_id, visit_id, fact_id)
);

-- The limits by which the facts of a card are judged, as they were on the day: a
-- later change of settings does not rewrite what was flagged.
CREATE TABLE card_limits (
    salon_id   text NOT NULL,
    visit_id   text NOT NULL,
    limits     jsonb NOT NULL,
    changed_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, visit_id),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE
);

-- That a visit was stopped early, and who cleared what follows it. Why, what came
-- of it, who was told and why it was cleared is about health and sealed; null when
-- there was no key to seal with, nothing to say, or it is erased.
CREATE TABLE visit_stop (
    salon_id      text NOT NULL,
    visit_id      text NOT NULL,
    stopped_at    timestamptz NOT NULL,
    sealed        bytea CHECK (length(sealed) > 36),
    licensed_id   text NOT NULL,
    licensed_name text NOT NULL,
    noted_at      timestamptz NOT NULL,
    noted_by      text NOT NULL CHECK (length(noted_by) BETWEEN 1 AND 120),
    cleared_at    timestamptz,
    cleared_id    text,
    cleared_name  text,
    cleared_sealed bytea CHECK (length(cleared_sealed) > 36),
    PRIMARY KEY (salon_id, visit_id),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    FOREIGN KEY (salon_id, licensed_id) REFERENCES staff,
    FOREIGN KEY (salon_id, cleared_id) REFERENCES staff,
    CONSTRAINT visit_stop_cleared CHECK ((cleared_at IS NULL) = (cleared_id IS NULL))
);

-- Readings are noted of more than the answers of a consultation: of what, and of
-- whom, without any of it.
ALTER TABLE health_read
    ADD COLUMN about text NOT NULL DEFAULT 'consultation'
        CHECK (about IN ('consultation', 'skin_tests', 'strand_tests', 'reactions', 'overrides', 'needs', 'stops', 'tests')),
    ADD COLUMN client_id text NOT NULL DEFAULT ''; -- empty: that of the screening
CREATE INDEX health_read_of_token ON health_read (salon_id, token_id, read_at);

-- A visit that follows from an earlier one: a look after the first wash, or a
-- correction.
ALTER TABLE visit
    ADD COLUMN parent_id text,
    ADD COLUMN parent_as text CHECK (parent_as IN ('first_wash_check', 'correction')),
    ADD CONSTRAINT visit_parent CHECK ((parent_id IS NULL) = (parent_as IS NULL)),
    ADD FOREIGN KEY (salon_id, parent_id) REFERENCES visit;
CREATE INDEX visit_by_parent ON visit (salon_id, parent_id) WHERE parent_id IS NOT NULL;

-- +goose Down
ALTER TABLE visit DROP COLUMN parent_id, DROP COLUMN parent_as;
DROP INDEX health_read_of_token;
ALTER TABLE health_read DROP COLUMN about, DROP COLUMN client_id;
DROP TABLE visit_stop, card_limits, card_fact;
