-- +goose Up
-- When something was last written of a client that stands in no table with a time of its
-- own; null: never since she was put on record. Erasing by age counts from it. By
-- triggers, so that a process of the release before notes it, too.
ALTER TABLE client ADD COLUMN changed_at timestamptz;
ALTER TABLE message_wish ADD COLUMN changed_at timestamptz;
ALTER TABLE message_wish ALTER COLUMN changed_at SET DEFAULT now();

-- The log tells of what was changed before. Where a file was changed and the log says
-- nothing of it, nobody knows when: it counts as today.
UPDATE client c SET changed_at = coalesce(a.at, now())
FROM client o LEFT JOIN (SELECT salon_id, subject, max(at) AS at FROM audit WHERE what IN ('client', 'message_wish') AND done <> 'removed' GROUP BY 1, 2) a
    ON a.salon_id = o.salon_id AND a.subject = o.client_id
WHERE c.salon_id = o.salon_id AND c.client_id = o.client_id AND (a.at > o.created_at OR a.at IS NULL AND o.version > 1);

-- +goose StatementBegin
CREATE FUNCTION note_changed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    NEW.changed_at = now();
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER note_changed BEFORE UPDATE OF given_name, family_name, phone, mail, contact_by, note, growth ON client
    FOR EACH ROW EXECUTE FUNCTION note_changed();
CREATE TRIGGER note_changed BEFORE UPDATE OF language, voice ON message_wish
    FOR EACH ROW EXECUTE FUNCTION note_changed();

-- +goose Down
DROP TRIGGER note_changed ON client;
DROP TRIGGER note_changed ON message_wish;
DROP FUNCTION note_changed;
ALTER TABLE client DROP COLUMN changed_at;
ALTER TABLE message_wish DROP COLUMN changed_at;
