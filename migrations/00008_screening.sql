-- +goose Up
-- The consultation form as a salon asks it: the questions that the program
-- brings along, in the version standard, and the salon's own. A version is never
-- changed, so that every screening can be read with the form it answered.
CREATE TABLE consultation_form (
    salon_id     text NOT NULL REFERENCES salon ON DELETE CASCADE,
    form_version integer NOT NULL CHECK (form_version >= 1),
    standard     integer NOT NULL CHECK (standard >= 1),
    own          jsonb NOT NULL DEFAULT '[]',
    created_at   timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, form_version)
);

-- That somebody was asked, what follows for booking, and who agreed. What was
-- answered stands in sealed_text alone.
CREATE TABLE screening (
    salon_id          text NOT NULL,
    screening_id      text NOT NULL,
    client_id         text NOT NULL,
    form_version      integer NOT NULL,
    outcome           text CHECK (outcome IN ('clear', 'ask', 'do_not_book')), -- null once erased
    strand_test       boolean NOT NULL DEFAULT false, -- a strand test is needed first
    after_strand_test boolean NOT NULL DEFAULT false, -- do_not_book until a strand test was held and the licensed person agrees
    earliest          date, -- first day for a service with chemicals
    made_at           timestamptz NOT NULL,
    made_by           text NOT NULL DEFAULT '', -- staff, empty for a token that is nobody's
    consent_by        text NOT NULL CHECK (consent_by IN ('client', 'guardian')),
    consent_at        timestamptz NOT NULL,
    consent_wording   integer NOT NULL CHECK (consent_wording >= 1),
    withdrawn_at      timestamptz, -- of the consent
    decision          text CHECK (decision IN ('yes', 'no')),
    decided_by        text NOT NULL DEFAULT '', -- staff
    decided_name      text NOT NULL DEFAULT '' CHECK (length(decided_name) <= 80),
    decided_at        timestamptz,
    erased_at         timestamptz,
    PRIMARY KEY (salon_id, screening_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE,
    FOREIGN KEY (salon_id, form_version) REFERENCES consultation_form,
    CONSTRAINT screening_erased CHECK ((outcome IS NULL) = (erased_at IS NOT NULL)),
    CONSTRAINT screening_decided CHECK ((decision IS NULL) = (decided_at IS NULL))
);
CREATE INDEX screening_by_client ON screening (salon_id, client_id, made_at DESC, screening_id DESC);

-- Words about somebody's health, encrypted with a key that is not in the
-- database; sealed is the name of the key (8 bytes), then nonce, cipher text and
-- tag of AES-256-GCM.
CREATE TABLE sealed_text (
    salon_id     text NOT NULL,
    screening_id text NOT NULL,
    what         text NOT NULL CHECK (what IN ('answers', 'why')),
    sealed       bytea NOT NULL CHECK (length(sealed) > 36),
    PRIMARY KEY (salon_id, screening_id, what),
    FOREIGN KEY (salon_id, screening_id) REFERENCES screening ON DELETE CASCADE
);

-- Who has seen, written, decided or erased what is sealed. Rows are only
-- inserted; they outlive what they speak of and say nothing of its content.
CREATE TABLE health_read (
    salon_id     text NOT NULL REFERENCES salon ON DELETE CASCADE,
    read_id      text NOT NULL,
    screening_id text NOT NULL,
    read_at      timestamptz NOT NULL,
    what         text NOT NULL CHECK (what IN ('read', 'made', 'decided', 'erased')),
    role         text NOT NULL,
    staff_id     text NOT NULL DEFAULT '',
    token_id     text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, read_id)
);

-- How long answers stay after the last visit of their client.
ALTER TABLE salon ADD COLUMN health_months smallint NOT NULL DEFAULT 12 CHECK (health_months BETWEEN 1 AND 120);

-- +goose Down
ALTER TABLE salon DROP COLUMN health_months;
DROP TABLE health_read, sealed_text, screening, consultation_form;
