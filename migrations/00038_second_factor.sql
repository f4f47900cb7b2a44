-- +goose Up
-- The second step with which somebody signs in: codes that change with time (RFC
-- 6238). Their secret is sealed with the key outside the database. Until it is
-- confirmed by a first code it counts for nothing.
CREATE TABLE second_factor (
    salon_id     text NOT NULL,
    account_id   text NOT NULL,
    sealed       bytea NOT NULL,
    begun_at     timestamptz NOT NULL,
    confirmed_at timestamptz,
    PRIMARY KEY (salon_id, account_id),
    FOREIGN KEY (salon_id, account_id) REFERENCES account ON DELETE CASCADE
);

-- What codes were tried: the last time step whose code was used, so that none counts
-- twice, and wrong ones, which are counted as those of short codes are (code_guard).
CREATE TABLE factor_use (
    salon_id     text NOT NULL,
    account_id   text NOT NULL,
    last_step    bigint NOT NULL,
    misses       integer NOT NULL CHECK (misses >= 0),
    counted_at   timestamptz NOT NULL,
    locked_until timestamptz,
    PRIMARY KEY (salon_id, account_id),
    FOREIGN KEY (salon_id, account_id) REFERENCES second_factor ON DELETE CASCADE
);

-- Codes for whoever has lost her telephone, each for one time. They are long enough
-- for a plain hash.
CREATE TABLE recovery_code (
    salon_id   text NOT NULL,
    account_id text NOT NULL,
    sha256     bytea NOT NULL CHECK (length(sha256) = 32),
    used_at    timestamptz,
    PRIMARY KEY (salon_id, account_id, sha256),
    FOREIGN KEY (salon_id, account_id) REFERENCES second_factor ON DELETE CASCADE
);

CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON second_factor FOR EACH ROW EXECUTE FUNCTION audit_row('account_id');
CREATE TRIGGER audit_row AFTER UPDATE ON recovery_code FOR EACH ROW EXECUTE FUNCTION audit_row('account_id');

-- What the salon asks of those who sign in.
CREATE TABLE access_rule (
    salon_id             text PRIMARY KEY REFERENCES salon ON DELETE CASCADE,
    owners_second_factor boolean NOT NULL DEFAULT false,
    version              bigint NOT NULL
);
CREATE TRIGGER audit_row AFTER INSERT OR UPDATE OR DELETE ON access_rule FOR EACH ROW EXECUTE FUNCTION audit_row('salon_id');

-- A link with which somebody chooses a password may take the second step away, too.
ALTER TABLE session_link ADD COLUMN ends_factor boolean NOT NULL DEFAULT false;

-- A token may be that of somebody who has signed in by the interface.
ALTER TABLE access_token ADD COLUMN account_id text,
    ADD CONSTRAINT access_token_account FOREIGN KEY (salon_id, account_id) REFERENCES account ON DELETE CASCADE;
CREATE INDEX access_token_by_account ON access_token (salon_id, account_id) WHERE account_id IS NOT NULL;

-- +goose Down
DELETE FROM access_token WHERE account_id IS NOT NULL;
ALTER TABLE access_token DROP CONSTRAINT access_token_account, DROP COLUMN account_id;
ALTER TABLE session_link DROP COLUMN ends_factor;
DROP TABLE access_rule, recovery_code, factor_use, second_factor;
