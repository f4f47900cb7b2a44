-- +goose Up
-- Who may sign in to the pages. One account is one person in one salon, with all
-- the roles that she holds. Passwords and short codes are kept as argon2id only.
CREATE TABLE account (
    salon_id     text NOT NULL REFERENCES salon ON DELETE CASCADE,
    account_id   text NOT NULL,
    staff_id     text, -- nobody for an owner or a desk person who is not on the rota
    login        text CHECK (length(login) BETWEEN 3 AND 254), -- mail address in small letters; none until its owner has named it
    name         text NOT NULL DEFAULT '' CHECK (length(name) <= 120),
    password     text,
    code         text, -- short, for screens that several people use
    roles        text[] NOT NULL CHECK (cardinality(roles) > 0 AND roles <@ ARRAY['owner', 'desk', 'lead', 'assistant']),
    disabled_at  timestamptz,
    signed_in_at timestamptz, -- last
    created_at   timestamptz NOT NULL DEFAULT now(),
    version      bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (salon_id, account_id),
    UNIQUE (salon_id, login),
    UNIQUE (salon_id, staff_id),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE SET NULL (staff_id)
);
CREATE INDEX account_by_login ON account (login);

-- A link opens a session, or lets the person of an account choose a password.
ALTER TABLE session_link
    ADD COLUMN staff_id text,
    ADD COLUMN account_id text,
    ADD CONSTRAINT session_link_staff FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE,
    ADD CONSTRAINT session_link_account FOREIGN KEY (salon_id, account_id) REFERENCES account ON DELETE CASCADE;

-- What the session library keeps: a hash of the token and a few bytes. It knows no
-- salons; what is a salon's stands in browser_session.
CREATE TABLE sessions (
    token  text PRIMARY KEY,
    data   bytea NOT NULL,
    expiry timestamptz NOT NULL
);
CREATE INDEX sessions_by_expiry ON sessions (expiry);

-- Browsers that are signed in. They replace the table session, which stays until a
-- later release drops it, so that the release before can still run beside this one.
CREATE TABLE browser_session (
    salon_id     text NOT NULL REFERENCES salon ON DELETE CASCADE,
    session_id   text NOT NULL,
    token        text NOT NULL UNIQUE, -- hash, as in sessions
    account_id   text,
    role         text CHECK (role IN ('owner', 'desk', 'lead', 'assistant')), -- of a session without an account
    staff_id     text,                                                       -- likewise
    kind         text NOT NULL CHECK (kind IN ('desk', 'phone', 'shared')),
    device       text NOT NULL DEFAULT '' CHECK (length(device) <= 80),
    opened_at    timestamptz NOT NULL,
    last_used_at timestamptz NOT NULL,
    ends_at      timestamptz NOT NULL,
    idle         interval NOT NULL, -- unused for so long, it ends
    person_id    text,              -- the account of whoever has said who she is on a shared screen
    person_until timestamptz,
    PRIMARY KEY (salon_id, session_id),
    FOREIGN KEY (salon_id, account_id) REFERENCES account ON DELETE CASCADE,
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE,
    FOREIGN KEY (salon_id, person_id) REFERENCES account ON DELETE SET NULL (person_id),
    CHECK (num_nonnulls(account_id, role) = 1)
);
CREATE INDEX browser_session_by_account ON browser_session (salon_id, account_id);

-- Wrong codes in a row for one name on one shared screen.
CREATE TABLE code_miss (
    salon_id     text NOT NULL,
    session_id   text NOT NULL,
    account_id   text NOT NULL,
    misses       integer NOT NULL CHECK (misses > 0),
    locked_until timestamptz,
    PRIMARY KEY (salon_id, session_id, account_id),
    FOREIGN KEY (salon_id, session_id) REFERENCES browser_session ON DELETE CASCADE,
    FOREIGN KEY (salon_id, account_id) REFERENCES account ON DELETE CASCADE
);

-- +goose Down
DROP TABLE code_miss, browser_session, sessions;
ALTER TABLE session_link DROP CONSTRAINT session_link_account, DROP CONSTRAINT session_link_staff, DROP COLUMN account_id, DROP COLUMN staff_id;
DROP TABLE account;
