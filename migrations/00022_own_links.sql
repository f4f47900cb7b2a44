-- +goose Up
-- Secret links to a client's own pages. Only the SHA-256 of a link is kept. guardian
-- tells for whom it was made: while she is a minor only one that was made for who
-- answers for her leads anywhere, and afterwards only one of her own.
CREATE TABLE own_link (
    salon_id     text NOT NULL REFERENCES salon ON DELETE CASCADE,
    link_id      text NOT NULL,
    client_id    text NOT NULL,
    sha256       bytea NOT NULL CHECK (length(sha256) = 32),
    label        text NOT NULL DEFAULT '' CHECK (length(label) <= 80),
    guardian     boolean NOT NULL,
    days         smallint NOT NULL CHECK (days BETWEEN 1 AND 1095), -- it ends so many days after its last use
    created_at   timestamptz NOT NULL,
    rotated_at   timestamptz,
    revoked_at   timestamptz,
    last_used_at timestamptz,
    PRIMARY KEY (salon_id, link_id),
    UNIQUE (salon_id, sha256),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX own_link_by_client ON own_link (salon_id, client_id, link_id);

-- What was closed: pages of the client that were opened before pages_at, and the
-- way to them from messages that went out before messages_at. What vouches for
-- links in messages vouches for opened pages, too, so that nothing is kept of one.
CREATE TABLE own_closed (
    salon_id    text NOT NULL,
    client_id   text NOT NULL,
    pages_at    timestamptz NOT NULL,
    messages_at timestamptz,
    PRIMARY KEY (salon_id, client_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);

-- What a client asked the salon for on her pages and could not do by herself.
CREATE TABLE client_request (
    salon_id   text NOT NULL,
    request_id text NOT NULL,
    client_id  text NOT NULL,
    visit_id   text, -- what it is about
    kind       text NOT NULL CHECK (kind IN ('move', 'cancel', 'deposit', 'retouch', 'erase')),
    words      text NOT NULL DEFAULT '' CHECK (length(words) <= 500), -- as she put it
    guardian   boolean NOT NULL, -- asked by who answers for her
    made_at    timestamptz NOT NULL,
    settled_at timestamptz,
    outcome    text CHECK (outcome IN ('done', 'declined', 'void')), -- void: what it is about has changed
    settled_by text NOT NULL DEFAULT '',
    note       text NOT NULL DEFAULT '' CHECK (length(note) <= 300),
    PRIMARY KEY (salon_id, request_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE,
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    CHECK ((settled_at IS NULL) = (outcome IS NULL))
);
CREATE INDEX client_request_open ON client_request (salon_id, made_at) WHERE settled_at IS NULL;
CREATE INDEX client_request_by_client ON client_request (salon_id, client_id, request_id);

-- What clients did with visits on their pages.
CREATE TABLE client_act (
    salon_id text NOT NULL,
    visit_id text NOT NULL,
    act_id   text NOT NULL,
    what     text NOT NULL CHECK (what IN ('booked', 'moved', 'cancelled')),
    done_at  timestamptz NOT NULL,
    PRIMARY KEY (salon_id, visit_id, act_id),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE
);

ALTER TABLE salon ADD COLUMN client_may_erase boolean NOT NULL DEFAULT false; -- else the desk is asked

-- +goose Down
ALTER TABLE salon DROP COLUMN client_may_erase;
DROP TABLE client_act, client_request, own_closed, own_link;
