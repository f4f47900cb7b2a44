-- +goose Up
-- A message is waiting until a worker takes it; it is sending while nobody can
-- tell yet whether it has gone out; then it is settled. Which kinds there are is
-- the program's business.
ALTER TABLE reminder
    DROP CONSTRAINT reminder_kind_check,
    DROP CONSTRAINT reminder_state_check,
    ADD CONSTRAINT reminder_kind_check CHECK (kind ~ '^[a-z][a-z_]{0,39}$'),
    ADD CONSTRAINT reminder_state_check
        CHECK (state IN ('waiting', 'sending', 'sent', 'to_call', 'withdrawn', 'not_wanted', 'failed')),
    ADD COLUMN staff_id   text,               -- to whom of the staff; none: to the client of the visit
    ADD COLUMN channel    text NOT NULL DEFAULT '' CHECK (channel IN ('', 'mail', 'webhook')), -- of the last try
    ADD COLUMN detail     jsonb,              -- what the words need beside the visit; nothing about health
    ADD COLUMN reason     text NOT NULL DEFAULT '' CHECK (length(reason) <= 200),
    ADD COLUMN sending_at timestamptz,        -- since when it is sending
    ADD COLUMN next_at    timestamptz,        -- when it is tried again
    ADD COLUMN tries      integer NOT NULL DEFAULT 0 CHECK (tries >= 0), -- since it was put in line
    ADD COLUMN rounds     integer NOT NULL DEFAULT 0 CHECK (rounds >= 0), -- how often it was put in line again
    ADD CONSTRAINT reminder_staff_fkey FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE,
    ADD CONSTRAINT reminder_sending_since CHECK ((state = 'sending') <= (sending_at IS NOT NULL));
-- what needs a look: few among many
CREATE INDEX reminder_open ON reminder (salon_id, state, due_at, reminder_id) WHERE state IN ('waiting', 'sending', 'failed', 'to_call');
CREATE INDEX reminder_by_age ON reminder (done_at) WHERE done_at IS NOT NULL;

-- Each time a message was handed over, or was about to be.
CREATE TABLE reminder_attempt (
    salon_id    text NOT NULL,
    reminder_id text NOT NULL,
    attempt     integer NOT NULL CHECK (attempt >= 1),
    channel     text NOT NULL DEFAULT '' CHECK (channel IN ('', 'mail', 'webhook')), -- '': not known yet
    started_at  timestamptz NOT NULL,
    ended_at    timestamptz,
    outcome     text CHECK (outcome IN ('accepted', 'refused', 'try_again', 'unknown')),
    problem     text NOT NULL DEFAULT '' CHECK (length(problem) <= 300),
    PRIMARY KEY (salon_id, reminder_id, attempt),
    FOREIGN KEY (salon_id, reminder_id) REFERENCES reminder ON DELETE CASCADE,
    CHECK ((ended_at IS NULL) = (outcome IS NULL))
);

-- The gateway that turns a salon's messages into text messages. Its secrets are
-- sealed: whoever has a copy of the database cannot send in the salon's name.
CREATE TABLE text_gateway (
    salon_id     text PRIMARY KEY REFERENCES salon ON DELETE CASCADE,
    address      text NOT NULL CHECK (length(address) BETWEEN 1 AND 500),
    enabled      boolean NOT NULL,
    problem      text NOT NULL DEFAULT '' CHECK (length(problem) <= 300), -- why the program switched it off
    sealed       bytea NOT NULL,  -- the secret that signs
    old_sealed   bytea,           -- the one before, which signs beside it until
    old_until    timestamptz,
    version      bigint NOT NULL DEFAULT 1,
    CHECK ((old_sealed IS NULL) = (old_until IS NULL))
);

-- +goose Down
DROP TABLE text_gateway, reminder_attempt;
DROP INDEX reminder_open, reminder_by_age;
DELETE FROM reminder WHERE kind NOT IN ('confirmation', 'moved', 'cancelled', 'reminder', 'aftercare', 'aftercare_end', 'retouch');
UPDATE reminder SET state = 'waiting' WHERE state = 'sending';
ALTER TABLE reminder
    DROP CONSTRAINT reminder_sending_since,
    DROP CONSTRAINT reminder_staff_fkey,
    DROP CONSTRAINT reminder_kind_check,
    DROP CONSTRAINT reminder_state_check,
    DROP COLUMN staff_id, DROP COLUMN channel, DROP COLUMN detail, DROP COLUMN reason, DROP COLUMN sending_at,
    DROP COLUMN next_at, DROP COLUMN tries, DROP COLUMN rounds,
    ADD CONSTRAINT reminder_kind_check CHECK (kind IN ('confirmation', 'moved', 'cancelled', 'reminder', 'aftercare',
                                              'aftercare_end', 'retouch')),
    ADD CONSTRAINT reminder_state_check CHECK (state IN ('waiting', 'sent', 'to_call', 'withdrawn', 'not_wanted', 'failed'));
