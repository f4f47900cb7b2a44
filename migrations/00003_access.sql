-- +goose Up
-- Secrets are kept as SHA-256 only. A secret reads kind_salonkey_secret, so
-- that the salon always comes from it.
CREATE TABLE access_token (
    salon_id     text NOT NULL REFERENCES salon ON DELETE CASCADE,
    token_id     text NOT NULL,
    sha256       bytea NOT NULL CHECK (length(sha256) = 32),
    role         text NOT NULL CHECK (role IN ('owner', 'desk', 'lead', 'assistant')),
    staff_id     text,
    label        text NOT NULL DEFAULT '' CHECK (length(label) <= 80),
    created_at   timestamptz NOT NULL DEFAULT now(),
    expires_at   timestamptz,
    revoked_at   timestamptz,
    last_used_at timestamptz,
    PRIMARY KEY (salon_id, token_id),
    UNIQUE (salon_id, sha256),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE
);

-- One-time links that open a browser session (the demo prints them).
CREATE TABLE session_link (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    sha256     bytea NOT NULL CHECK (length(sha256) = 32),
    role       text NOT NULL CHECK (role IN ('owner', 'desk', 'lead', 'assistant')),
    expires_at timestamptz NOT NULL,
    used_at    timestamptz,
    PRIMARY KEY (salon_id, sha256)
);
CREATE TABLE session (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    sha256     bytea NOT NULL CHECK (length(sha256) = 32),
    role       text NOT NULL CHECK (role IN ('owner', 'desk', 'lead', 'assistant')),
    expires_at timestamptz NOT NULL,
    PRIMARY KEY (salon_id, sha256)
);

CREATE TABLE feed (
    salon_id     text NOT NULL REFERENCES salon ON DELETE CASCADE,
    feed_id      text NOT NULL,
    kind         text NOT NULL CHECK (kind IN ('staff', 'client')),
    subject_id   text NOT NULL,
    sha256       bytea NOT NULL CHECK (length(sha256) = 32),
    created_at   timestamptz NOT NULL DEFAULT now(),
    revoked_at   timestamptz,
    last_used_at timestamptz,
    PRIMARY KEY (salon_id, feed_id),
    UNIQUE (salon_id, sha256)
);

-- Rises whenever something that the subject's feeds show has changed.
CREATE TABLE feed_version (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    subject_id text NOT NULL,
    version    bigint NOT NULL DEFAULT 1,
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (salon_id, subject_id)
);

-- The answer to a request that carried an Idempotency-Key, written in the
-- transaction of its effect. status is null only inside that transaction.
CREATE TABLE idempotency (
    salon_id    text NOT NULL REFERENCES salon ON DELETE CASCADE,
    principal   text NOT NULL,
    method      text NOT NULL,
    route       text NOT NULL,
    key         text NOT NULL CHECK (length(key) BETWEEN 1 AND 255),
    fingerprint bytea NOT NULL CHECK (length(fingerprint) = 32),
    status      smallint,
    etag        text NOT NULL DEFAULT '',
    location    text NOT NULL DEFAULT '',
    body        bytea,
    created_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, principal, method, route, key)
);
CREATE INDEX idempotency_by_age ON idempotency (created_at);

-- +goose Down
DROP TABLE idempotency, feed_version, feed, session, session_link, access_token;
