-- +goose Up
-- How quickly a client's hair grows as far as the eye can tell, until it has
-- been measured; empty: nobody has looked. No origin is asked or kept.
ALTER TABLE client ADD COLUMN growth text NOT NULL DEFAULT '' CHECK (growth IN ('', 'slow', 'usual', 'quick'));

-- How long hair is left alone after a treatment, how quickly it grows and when
-- to call clients back; what is absent has the program's default.
ALTER TABLE salon ADD COLUMN care jsonb NOT NULL DEFAULT '{}';

-- What a client told of chemical work done elsewhere: what kind and when, and
-- nothing else. untreated: known to be untreated on that day. Read and written
-- by the owner and stylists in charge.
CREATE TABLE hair_treatment (
    salon_id     text NOT NULL,
    client_id    text NOT NULL,
    treatment_id text NOT NULL,
    kind         text NOT NULL CHECK (kind IN ('straightened', 'relaxer_or_perm', 'bleached_or_highlighted', 'coloured',
                                               'henna_or_other', 'not_sure', 'untreated')),
    done_on      date NOT NULL,
    noted_at     timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, treatment_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX hair_treatment_by_client ON hair_treatment (salon_id, client_id, done_on, treatment_id);

-- +goose Down
DROP TABLE hair_treatment;
ALTER TABLE salon DROP COLUMN care;
ALTER TABLE client DROP COLUMN growth;
