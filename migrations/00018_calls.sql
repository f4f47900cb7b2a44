-- +goose Up
-- Each time somebody of the salon tried to reach a client by telephone because of
-- a message, never updated. The number that was dialled is not kept.
CREATE TABLE call_try (
    salon_id    text NOT NULL,
    try_id      text NOT NULL,
    reminder_id text NOT NULL, -- the message that is said instead of being written
    outcome     text NOT NULL CHECK (outcome IN ('reached', 'left_word', 'no_answer')),
    settles     boolean NOT NULL, -- nothing is left to be said
    note        text NOT NULL DEFAULT '' CHECK (length(note) <= 300),
    again_at    timestamptz, -- when it is tried again
    said_yes    boolean NOT NULL DEFAULT false, -- the client said that she comes
    tried_at    timestamptz NOT NULL,
    tried_by    text NOT NULL,
    PRIMARY KEY (salon_id, try_id),
    FOREIGN KEY (salon_id, reminder_id) REFERENCES reminder ON DELETE CASCADE,
    CHECK (NOT (settles AND (outcome = 'no_answer' OR again_at IS NOT NULL))),
    CHECK (NOT said_yes OR outcome = 'reached')
);
CREATE INDEX call_try_by_reminder ON call_try (salon_id, reminder_id, try_id);
-- Reminders that ask for a yes, by when they went out.
CREATE INDEX reminder_asking ON reminder (salon_id, due_at) WHERE kind = 'reminder' AND state = 'sent';

-- +goose Down
DROP INDEX reminder_asking;
DROP TABLE call_try;
