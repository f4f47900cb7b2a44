-- +goose Up
-- Where messages to a client went before somebody here changed it. The old address
-- is kept to tell it of the change, and taken out a month later.
CREATE TABLE contact_change (
    salon_id    text NOT NULL,
    change_id   text NOT NULL,
    client_id   text NOT NULL,
    way         text NOT NULL CHECK (way IN ('mail', 'text')),
    guardian    boolean NOT NULL, -- messages go to who answers for a minor
    was         text NOT NULL,    -- '': there was none, or it was taken out
    reminder_id text,             -- the message that tells the old address, none when nothing could
    changed_at  timestamptz NOT NULL,
    changed_by  text NOT NULL,
    PRIMARY KEY (salon_id, change_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE,
    FOREIGN KEY (salon_id, reminder_id) REFERENCES reminder ON DELETE SET NULL (reminder_id)
);
CREATE INDEX contact_change_by_client ON contact_change (salon_id, client_id, changed_at);
CREATE INDEX contact_change_by_reminder ON contact_change (salon_id, reminder_id) WHERE reminder_id IS NOT NULL;

-- +goose Down
DELETE FROM reminder WHERE kind = 'address_changed';
DROP TABLE contact_change;
