-- +goose Up
-- How a salon invites its clients by mail; no row: as the columns' defaults say.
CREATE TABLE invitation_setting (
    salon_id         text PRIMARY KEY REFERENCES salon ON DELETE CASCADE,
    send_invitations boolean NOT NULL DEFAULT true,
    replies_mail     text NOT NULL DEFAULT '' CHECK (length(replies_mail) <= 200), -- without the secret of a visit
    version          bigint NOT NULL DEFAULT 1
);

-- Each mail address that holds a visit in its calendar because an invitation
-- went there, noted before it was sent.
CREATE TABLE invitation (
    salon_id   text NOT NULL,
    visit_id   text NOT NULL,
    attendee   text NOT NULL, -- mail address, in lower case
    uid        text NOT NULL,
    organizer  text NOT NULL, -- the address that answers go to: the same for all mails about one visit
    sequence   integer NOT NULL CHECK (sequence >= 0), -- that of the last mail
    method     text NOT NULL CHECK (method IN ('REQUEST', 'CANCEL')), -- likewise
    message_id text NOT NULL, -- likewise
    sent_at    timestamptz NOT NULL,
    PRIMARY KEY (salon_id, visit_id, attendee),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE
);
-- Answers tell which visit they are about by its UID alone.
CREATE INDEX invitation_by_uid ON invitation (uid);

-- What attendees answered; newer answers beside older ones.
CREATE TABLE invitation_reply (
    salon_id    text NOT NULL,
    reply_id    text NOT NULL,
    visit_id    text NOT NULL,
    attendee    text NOT NULL,
    answer      text NOT NULL CHECK (answer IN ('accepted', 'declined', 'tentative')),
    sequence    integer NOT NULL, -- of the invitation that is answered
    stamp_at    timestamptz NOT NULL, -- when the attendee's calendar wrote it
    received_at timestamptz NOT NULL,
    PRIMARY KEY (salon_id, reply_id),
    FOREIGN KEY (salon_id, visit_id, attendee) REFERENCES invitation ON DELETE CASCADE,
    UNIQUE (salon_id, visit_id, attendee, sequence, stamp_at)
);
CREATE INDEX invitation_reply_by_time ON invitation_reply (salon_id, received_at);

-- How many mails to the address for answers were refused, by day and reason;
-- without a salon those of which nobody can tell whom they are for.
CREATE TABLE invitation_refusal (
    salon_id text REFERENCES salon ON DELETE CASCADE,
    on_day   date NOT NULL, -- of UTC
    reason   text NOT NULL,
    mails    integer NOT NULL CHECK (mails > 0),
    UNIQUE NULLS NOT DISTINCT (salon_id, on_day, reason)
);

-- +goose Down
DROP TABLE invitation_refusal, invitation_reply, invitation, invitation_setting;
