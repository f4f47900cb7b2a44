package store

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// InvitationSettings say how a salon invites its clients by mail.
type InvitationSettings struct {
	// Send puts an invitation into mails about visits.
	Send bool `db:"send_invitations"`
	// RepliesMail is where answers of calendars go, without the secret of a
	// visit; empty: to the salon's own address.
	RepliesMail string `db:"replies_mail"`
	Version     int64  `db:"version"`
}

// InvitationSettings returns what the salon has set, or the defaults.
func (t *Tx) InvitationSettings(ctx context.Context) (InvitationSettings, error) {
	s := InvitationSettings{Send: true, Version: 1}
	err := t.tx.QueryRow(ctx, `SELECT send_invitations, replies_mail, version FROM invitation_setting WHERE salon_id = $1`, t.salon).
		Scan(&s.Send, &s.RepliesMail, &s.Version)
	return s, domain("invitation settings", err, true)
}

// SetInvitationSettings writes them when their version is still the given one,
// and returns the new row; otherwise scheduling.ErrStale.
func (t *Tx) SetInvitationSettings(ctx context.Context, version int64, s InvitationSettings) (InvitationSettings, error) {
	err := t.tx.QueryRow(ctx, `
		INSERT INTO invitation_setting AS i (salon_id, send_invitations, replies_mail, version)
		SELECT $1, $3, $4, 2 WHERE $2 = 1 OR EXISTS (SELECT 1 FROM invitation_setting WHERE salon_id = $1)
		ON CONFLICT (salon_id) DO UPDATE SET send_invitations = $3, replies_mail = $4, version = i.version + 1 WHERE i.version = $2
		RETURNING version`, t.salon, version, s.Send, s.RepliesMail).Scan(&s.Version)
	if errors.Is(err, pgx.ErrNoRows) {
		return s, scheduling.ErrStale
	}
	return s, domain("invitation settings", err, false)
}

// Invitation is a mail address that holds a visit in its calendar.
type Invitation struct {
	Visit     string    `db:"visit_id"`
	Attendee  string    `db:"attendee"` // mail address in lower case
	UID       string    `db:"uid"`
	Organizer string    `db:"organizer"` // address for answers
	Sequence  int       `db:"sequence"`  // of the last mail, as are the following
	Method    string    `db:"method"`
	MessageID string    `db:"message_id"`
	Sent      time.Time `db:"sent_at"`

	// Arrived says that a mail server has taken the last mail, or that it is just
	// being handed over. Read only.
	Arrived bool `db:"arrived"`
}

const (
	invitationColumns = `visit_id, attendee, uid, organizer, sequence, method, message_id, sent_at`
	invitations       = `SELECT salon_id, ` + invitationColumns + `, EXISTS (SELECT 1 FROM reminder r
			WHERE r.salon_id = i.salon_id AND r.message_id = i.message_id
			  AND (r.state = 'sending' OR r.state = 'sent' AND r.channel = '` + ByMail + `')) AS arrived
		FROM invitation i WHERE `
)

// InvitationsTo lists the addresses that were invited to a visit, in their order.
func (t *Tx) InvitationsTo(ctx context.Context, visit string) ([]Invitation, error) {
	list, err := collect[InvitedTo](ctx, t, "invitations", invitations+`salon_id = $1 AND visit_id = $2 ORDER BY attendee`, t.salon, visit)
	out := make([]Invitation, len(list))
	for i, x := range list {
		out[i] = x.Invitation
	}
	return out, err
}

// NoteInvitation notes that an invitation is about to be sent. What was sent
// later than that stays, and so does the address for answers: a calendar takes
// changes from the organizer that it knows.
func (t *Tx) NoteInvitation(ctx context.Context, v Invitation) error {
	_, err := t.tx.Exec(ctx, `
		INSERT INTO invitation AS i (salon_id, `+invitationColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (salon_id, visit_id, attendee) DO UPDATE SET
			sequence = $6, method = $7, message_id = $8, sent_at = $9 WHERE i.sequence <= $6`,
		t.salon, v.Visit, v.Attendee, v.UID, v.Organizer, v.Sequence, v.Method, v.MessageID, v.Sent)
	return domain("note invitation", err, false)
}

// ClientPart is what the client's calendar shows of a visit itself, dead or
// alive, and false when it never showed it.
func (t *Tx) ClientPart(ctx context.Context, visit string) (Part, bool, error) {
	list, err := collect[Part](ctx, t, "parts", `SELECT `+partColumns+` FROM visit_part
		WHERE salon_id = $1 AND visit_id = $2 AND subject = '`+PartClient+`' AND ordinal = 0`, t.salon, visit)
	if err != nil || len(list) == 0 {
		return Part{}, false, err
	}
	return list[0], true, nil
}

// InvitedTo is an invitation with the salon that sent it.
type InvitedTo struct {
	Salon string `db:"salon_id"`
	Invitation
}

// InvitationsByUID lists who was invited to the event of a UID, by any salon.
func (s *Store) InvitationsByUID(ctx context.Context, uid string) ([]InvitedTo, error) {
	rows, err := s.pool.Query(ctx, invitations+`uid = $1`, uid)
	if err != nil {
		return nil, domain("invitations", err, false)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[InvitedTo])
	return list, domain("invitations", err, false)
}

// Reply is an attendee's answer to an invitation.
type Reply struct {
	ID       string    `db:"reply_id"`
	Visit    string    `db:"visit_id"`
	Attendee string    `db:"attendee"`
	Answer   string    `db:"answer"`   // accepted, declined or tentative
	Sequence int       `db:"sequence"` // of the invitation that it answers
	Stamp    time.Time `db:"stamp_at"` // when the attendee's calendar wrote it
	Received time.Time `db:"received_at"`

	// What follows is read only.
	Client  string    `db:"client_id"` // of the visit
	Start   time.Time `db:"starts_at"` // likewise
	Earlier bool      `db:"earlier"`   // the invitation was changed since
}

// AddReply keeps an answer and reports whether it is kept now, by this call or by
// an earlier one; false means that it is no newer than another one of the
// attendee. Of two answers that of the greater sequence is newer, and of two with
// the same one that of the later stamp (RFC 5546 section 2.1.5). AddReply returns
// scheduling.ErrNotFound when the attendee was not invited.
func (t *Tx) AddReply(ctx context.Context, r Reply) (bool, error) {
	var one int
	err := t.tx.QueryRow(ctx, `SELECT 1 FROM invitation WHERE salon_id = $1 AND visit_id = $2 AND attendee = $3 FOR UPDATE`,
		t.salon, r.Visit, r.Attendee).Scan(&one)
	if err != nil {
		return false, domain("reply", err, false)
	}
	tag, err := t.tx.Exec(ctx, `
		INSERT INTO invitation_reply (salon_id, reply_id, visit_id, attendee, answer, sequence, stamp_at, received_at)
		SELECT $1, $2, $3, $4, $5, $6, $7, $8
		WHERE NOT EXISTS (SELECT 1 FROM invitation_reply
			WHERE salon_id = $1 AND visit_id = $3 AND attendee = $4 AND (sequence, stamp_at) >= ($6::integer, $7::timestamptz))`,
		t.salon, NewID(), r.Visit, r.Attendee, r.Answer, r.Sequence, r.Stamp, r.Received)
	if err != nil || tag.RowsAffected() > 0 {
		return err == nil, domain("add reply", err, false)
	}
	var kept bool
	err = t.tx.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM invitation_reply
		WHERE salon_id = $1 AND visit_id = $2 AND attendee = $3 AND answer = $4 AND sequence = $5 AND stamp_at = $6)`,
		t.salon, r.Visit, r.Attendee, r.Answer, r.Sequence, r.Stamp).Scan(&kept)
	return kept, domain("add reply", err, false)
}

const replies = `SELECT r.reply_id, r.visit_id, r.attendee, r.answer, r.sequence, r.stamp_at, r.received_at,
		coalesce(v.client_id, '') AS client_id, v.starts_at, r.sequence < i.sequence AS earlier
	FROM invitation_reply r JOIN invitation i USING (salon_id, visit_id, attendee) JOIN visit v USING (salon_id, visit_id)
	WHERE r.salon_id = $1 AND `

// Replies lists the answers that were received from..to, the newest first.
func (t *Tx) Replies(ctx context.Context, from, to time.Time) ([]Reply, error) {
	return collect[Reply](ctx, t, "replies", replies+`r.received_at >= $2 AND r.received_at < $3
		ORDER BY r.received_at DESC, r.reply_id DESC`, t.salon, from, to)
}

// RepliesTo lists the answers about a visit, the one that was received last first.
func (t *Tx) RepliesTo(ctx context.Context, visit string) ([]Reply, error) {
	if t.bare("invitation_reply", visit) {
		return nil, nil
	}
	return collect[Reply](ctx, t, "replies", replies+`r.visit_id = $2 ORDER BY r.received_at DESC, r.reply_id DESC`, t.salon, visit)
}

// Refusal counts mails to the address for answers of which nothing was kept.
type Refusal struct {
	Reason string `db:"reason"`
	Mails  int    `db:"mails"`
}

// CountRefusal counts one more mail that was refused at a moment. An empty salon
// is for mails that could be for anybody.
func (s *Store) CountRefusal(ctx context.Context, salon, reason string, at time.Time) error {
	_, err := s.pool.Exec(ctx, `
		INSERT INTO invitation_refusal AS r (salon_id, on_day, reason, mails) VALUES (nullif($1, ''), $2, $3, 1)
		ON CONFLICT (salon_id, on_day, reason) DO UPDATE SET mails = r.mails + 1`, salon, at.UTC().Format(time.DateOnly), reason)
	return domain("count refusal", err, false)
}

// Refusals sums the refused mails for the salon since a moment, by day of UTC,
// by reason.
func (t *Tx) Refusals(ctx context.Context, since time.Time) ([]Refusal, error) {
	return collect[Refusal](ctx, t, "refusals", `SELECT reason, sum(mails)::integer AS mails FROM invitation_refusal
		WHERE salon_id = $1 AND on_day >= $2 GROUP BY reason ORDER BY reason`, t.salon, since.UTC().Format(time.DateOnly))
}
