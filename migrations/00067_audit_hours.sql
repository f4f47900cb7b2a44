-- +goose Up
-- Hours of a single day and of dated weeks are rows of their own, and all of them are
-- written anew when one changes: the log has one line for that, of the day or the weeks
-- that they belong to, and not one for each of them. hours_set_at is the time of the
-- transaction, so that several rows change it once, and not at all beside an addition.
ALTER TABLE staff_day ADD COLUMN hours_set_at timestamptz NOT NULL DEFAULT now();
ALTER TABLE staff_rota ADD COLUMN hours_set_at timestamptz NOT NULL DEFAULT now();

-- +goose StatementBegin
CREATE FUNCTION note_hours_of_day() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    it staff_day_hours := CASE WHEN TG_OP = 'DELETE' THEN OLD ELSE NEW END;
BEGIN
    UPDATE staff_day SET hours_set_at = now()
    WHERE salon_id = it.salon_id AND staff_id = it.staff_id AND day = it.day AND hours_set_at <> now();
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION note_hours_of_rota() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    it staff_rota_hours := CASE WHEN TG_OP = 'DELETE' THEN OLD ELSE NEW END;
BEGIN
    UPDATE staff_rota SET hours_set_at = now()
    WHERE salon_id = it.salon_id AND rota_id = it.rota_id AND hours_set_at <> now();
    RETURN NULL;
END $$;
-- +goose StatementEnd

CREATE TRIGGER note_hours AFTER INSERT OR UPDATE OR DELETE ON staff_day_hours FOR EACH ROW EXECUTE FUNCTION note_hours_of_day();
CREATE TRIGGER note_hours AFTER INSERT OR UPDATE OR DELETE ON staff_rota_hours FOR EACH ROW EXECUTE FUNCTION note_hours_of_rota();

-- A treatment is told of by its client, as what is noted of a minor.
CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON hair_treatment FOR EACH ROW EXECUTE FUNCTION audit_row('client_id');
CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON consultation_form FOR EACH ROW EXECUTE FUNCTION audit_row('form_version');
CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON consent_wording FOR EACH ROW EXECUTE FUNCTION audit_row('wording_version');

-- +goose Down
DROP TRIGGER audit_row ON hair_treatment;
DROP TRIGGER audit_row ON consultation_form;
DROP TRIGGER audit_row ON consent_wording;
DROP TRIGGER note_hours ON staff_day_hours;
DROP TRIGGER note_hours ON staff_rota_hours;
DROP FUNCTION note_hours_of_day(), note_hours_of_rota();
ALTER TABLE staff_day DROP COLUMN hours_set_at;
ALTER TABLE staff_rota DROP COLUMN hours_set_at;
