-- +goose Up
-- Whether messages of a kind wait already is asked at each booking: all that wait in the
-- salon were gone through for it.
CREATE INDEX reminder_waiting_of_kind ON reminder (salon_id, kind, reminder_id) WHERE state = 'waiting';

-- Nothing is ever looked for by the UID of a part, and it is drawn at random: the index
-- was a twelfth of what indexes take, each part of a visit a page of it.
ALTER TABLE visit_part DROP CONSTRAINT visit_part_salon_id_uid_key;

-- +goose Down
ALTER TABLE visit_part ADD UNIQUE (salon_id, uid);
DROP INDEX reminder_waiting_of_kind;
