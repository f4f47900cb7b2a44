-- +goose Up
-- After how many months what is on record of people is erased by age, by kind; null:
-- never. No row: the program's own terms hold (store/retention.go). The term for what
-- is about health stands in salon.health_months.
CREATE TABLE retention_rule (
    salon_id           text PRIMARY KEY REFERENCES salon ON DELETE CASCADE,
    clients_months     smallint CHECK (clients_months BETWEEN 24 AND 360),
    never_came_months  smallint NOT NULL CHECK (never_came_months BETWEEN 1 AND 120),
    visits_months      smallint CHECK (visits_months BETWEEN 36 AND 360),
    messages_months    smallint CHECK (messages_months BETWEEN 14 AND 360),
    requests_months    smallint CHECK (requests_months BETWEEN 1 AND 120),
    invitations_months smallint NOT NULL CHECK (invitations_months BETWEEN 1 AND 120),
    absences_months    smallint CHECK (absences_months BETWEEN 1 AND 120),
    health_reads_months smallint NOT NULL CHECK (health_reads_months BETWEEN 12 AND 120),
    from_date          date NOT NULL, -- nothing is erased by these terms before
    version            bigint NOT NULL
);
CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON retention_rule FOR EACH ROW EXECUTE FUNCTION audit_row('salon_id');

-- Salons that are there already have thirty days to look at terms that they never set.
INSERT INTO retention_rule SELECT salon_id, 36, 12, 120, 14, 12, 3, 12, 36, current_date + 30, 2 FROM salon;

-- The last run of the job that erases by age, for each salon and kind: how many it
-- erased on that day of the salon's, and when it had done with them.
CREATE TABLE retention_run (
    salon_id text NOT NULL REFERENCES salon ON DELETE CASCADE,
    kind     text NOT NULL CHECK (kind ~ '^[a-z][a-z_]{0,30}$'),
    day      date NOT NULL,
    erased   integer NOT NULL DEFAULT 0 CHECK (erased >= 0),
    ended_at timestamptz,
    PRIMARY KEY (salon_id, kind)
);

-- +goose Down
DROP TABLE retention_run, retention_rule;
