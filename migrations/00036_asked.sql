-- +goose Up
-- Whether somebody answered a question, beside what was answered. Until now a client
-- whom nobody had asked was the same as one who wishes no messages, and the number
-- for an emergency was 112 wherever the salon was.
ALTER TABLE client ADD COLUMN contact_asked boolean NOT NULL DEFAULT false;
ALTER TABLE minor ADD COLUMN contact_asked boolean NOT NULL DEFAULT false;
-- Who has a mail address gets mails unless she says otherwise, so "none" beside one
-- was said by somebody. With a telephone number alone, or with nothing, "none" was
-- also what nobody chose: asking once more does no harm.
UPDATE client SET contact_asked = true WHERE contact_by = 'none' AND mail <> '';
UPDATE minor SET contact_asked = true WHERE contact_by = 'none' AND mail <> '';

-- The number itself stays as it is, for processes that know nothing of this yet. Any
-- other than 112 was typed by somebody; 112 counts only where the log of changes says
-- that the number was changed, since saving the other facts of a salon left it as it
-- was. Everybody else is asked, and until then no page names a number that might
-- reach nobody there.
ALTER TABLE salon ADD COLUMN emergency_given boolean NOT NULL DEFAULT false;
UPDATE salon s SET emergency_given = true WHERE emergency <> '112'
    OR EXISTS (SELECT FROM audit a WHERE a.salon_id = s.salon_id AND a.what = 'salon' AND a.done = 'changed' AND 'emergency' = ANY (a.columns));

-- +goose Down
ALTER TABLE salon DROP COLUMN emergency_given;
ALTER TABLE minor DROP COLUMN contact_asked;
ALTER TABLE client DROP COLUMN contact_asked;
