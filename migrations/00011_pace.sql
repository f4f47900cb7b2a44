-- +goose Up
-- What a salon has set for learning from records: constants, who is left out, and
-- from when on records count. What is absent has the program's default.
ALTER TABLE salon ADD COLUMN pace jsonb NOT NULL DEFAULT '{}';

-- The newest fit of all records of a salon. It follows from visits and can be
-- worked out anew at any time.
CREATE TABLE pace_fit (
    salon_id  text NOT NULL REFERENCES salon ON DELETE CASCADE,
    version   bigint NOT NULL DEFAULT 1,
    fitted_at timestamptz NOT NULL,
    visits    integer NOT NULL,
    counted   integer NOT NULL,
    left_out  jsonb NOT NULL DEFAULT '{}', -- observations by reason
    PRIMARY KEY (salon_id)
);

-- Its rows: of one person, of two people together, or of the whole salon
-- (staff_id empty). A fit replaces all of them.
CREATE TABLE pace (
    salon_id    text NOT NULL REFERENCES salon ON DELETE CASCADE,
    staff_id    text NOT NULL, -- no foreign key: empty for the salon, and gone with the next fit
    with_id     text NOT NULL,
    kind        text NOT NULL CHECK (kind ~ '^[a-z][a-z0-9_]{0,40}$'),
    pair        boolean NOT NULL, -- done by two pairs of hands
    version     bigint NOT NULL,  -- of the fit
    visits      integer NOT NULL CHECK (visits >= 1),
    weight      double precision NOT NULL CHECK (weight >= 0), -- visits, as they are worth today
    since       timestamptz NOT NULL,
    bias        double precision NOT NULL, -- mean logarithm of real over expected minutes
    cv          double precision NOT NULL,
    factor      double precision NOT NULL CHECK (factor BETWEEN 0.5 AND 2),
    low         double precision NOT NULL,
    high        double precision NOT NULL,
    spread      double precision NOT NULL, -- 0: the sheet's
    PRIMARY KEY (salon_id, staff_id, with_id, kind, pair)
);

-- Visits that are over, for whoever reads all records of a time.
CREATE INDEX visit_over ON visit (salon_id, starts_at, visit_id) WHERE state IN ('finished', 'stopped_early');

-- +goose Down
DROP INDEX visit_over;
DROP TABLE pace, pace_fit;
ALTER TABLE salon DROP COLUMN pace;
