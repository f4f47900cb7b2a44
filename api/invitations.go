package api

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/base32"
	"log/slog"
	"net/http"
	netmail "net/mail"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/ics"
	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// InvitationSettingsBody is how the salon invites clients by mail.
type InvitationSettingsBody struct {
	Send        bool          `json:"send_invitations" doc:"Mails about visits carry an invitation that calendars understand. Clients who subscribe to their calendar get none"`
	RepliesMail string        `json:"replies_mail" maxLength:"200" doc:"Where answers of calendars go, with a secret of each visit behind a plus sign; empty: to the salon's own address, where nobody but people reads them" example:"replies@salon.example"`
	Refused     []RefusalBody `json:"refused" readOnly:"true" required:"false" nullable:"false" doc:"Mails to that address of which nothing was kept, in the last 30 days"`
}

// RefusalBody counts mails that were refused for one reason.
type RefusalBody struct {
	Reason string `json:"reason" doc:"In plain words"`
	Mails  int    `json:"mails"`
}

type invitationSettingsInput struct {
	Precondition
	Body InvitationSettingsBody
}

func (s *Server) invitationRoutes() {
	route(s, huma.Operation{OperationID: "get-invitation-settings", Method: http.MethodGet, Path: "/invitation-settings",
		Summary: "How clients are invited by mail"}, s.getInvitationSettings)
	route(s, huma.Operation{OperationID: "set-invitation-settings", Method: http.MethodPut, Path: "/invitation-settings",
		Summary: "Send invitations or not, and say where answers go"}, s.setInvitationSettings)
	route(s, huma.Operation{OperationID: "list-invitation-replies", Method: http.MethodGet, Path: "/invitation-replies",
		Summary: "Answers of clients' calendars that came in on some days, newest first. They change nothing by themselves"}, s.listReplies)
}

// refusedFor is how long refused mails are counted (judgement: a month).
const refusedFor = 30 * 24 * time.Hour

func (s *Server) getInvitationSettings(ctx context.Context, _ *empty) (out *found[InvitationSettingsBody], err error) {
	err = s.read(ctx, func(t *store.Tx) error {
		x, err := t.InvitationSettings(ctx)
		if err != nil {
			return err
		}
		out, err = s.writeInvitationSettings(ctx, t, x)
		return err
	})
	return out, err
}

func (s *Server) writeInvitationSettings(ctx context.Context, t *store.Tx, x store.InvitationSettings) (*found[InvitationSettingsBody], error) {
	b := InvitationSettingsBody{Send: x.Send, RepliesMail: x.RepliesMail, Refused: []RefusalBody{}}
	list, err := t.Refusals(ctx, s.now().Add(-refusedFor))
	for _, r := range list {
		b.Refused = append(b.Refused, RefusalBody{refusal(r.Reason).words(), r.Mails})
	}
	return &found[InvitationSettingsBody]{ETag: etag(x.Version), Body: b}, err
}

func (s *Server) setInvitationSettings(ctx context.Context, in *invitationSettingsInput) (out *found[InvitationSettingsBody], err error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	x := store.InvitationSettings{Send: in.Body.Send, RepliesMail: repliesAddress(&f, in.Body.RepliesMail)}
	if err := f.Err(); err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		if x, err = t.SetInvitationSettings(ctx, version, x); err != nil {
			return err
		}
		out, err = s.writeInvitationSettings(ctx, t, x)
		return err
	})
	return out, err
}

// maxRepliesLocal is how long the part before the @ may be: RFC 5321 section
// 4.5.3.1.1 allows 64 octets, of which a plus sign and a secret take 27.
const maxRepliesLocal = 37

// repliesAddress checks an address to which a secret can be added.
func repliesAddress(f *scheduling.Faults, s string) string {
	const field = "replies_mail"
	faults := len(*f)
	s = address(f, field, s)
	local, _, _ := strings.Cut(s, "@")
	switch {
	case s == "" || len(*f) > faults:
	case strings.ContainsFunc(s, func(r rune) bool { return r <= ' ' || r > '~' || strings.ContainsRune(`"\(),:;<>[]+%/?#&=`+"`{|}^", r) }):
		f.Add(field, "holds a character that cannot stand there", "letters, digits, dots, - and _ before and after the @, and no plus sign")
	case len(local) > maxRepliesLocal:
		f.Addf(field, "at most 37 characters before the @", "has %d there", len(local))
	}
	return s
}

// answersTo is the address for answers about one visit.
func answersTo(repliesMail string) string {
	local, host, _ := strings.Cut(repliesMail, "@")
	return local + "+" + newSecretWord() + "@" + host
}

// newSecretWord is 128 random bits in letters and digits that keep their meaning
// in whatever case a mail server writes them.
func newSecretWord() string {
	var b [16]byte
	rand.Read(b[:]) // documented never to fail
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b[:]))
}

// invitation is the calendar object that goes with the message d to a person,
// nil when none is to go. It notes what is sent, so t must be able to write,
// and has to be committed before the mail leaves: an address that was invited
// once has to hear of every change, because its calendar holds the visit.
//
// Whoever subscribes to her calendar gets no invitation, since she would have
// the visit twice. If she began to subscribe after one went out, changes of
// that visit still follow it: they change what she holds and add nothing.
func (s *Server) invitation(ctx context.Context, t *store.Tx, n salonDay, d store.Due, to person) (*notify.Invitation, error) {
	if d.Reminder.Staff != "" || d.Visit.Client == "" || to.mail == "" || n.row.Mail == "" {
		return nil, nil
	}
	attendee := strings.ToLower(to.mail)
	part, shown, err := t.ClientPart(ctx, d.Visit.ID)
	if err != nil || !shown {
		return nil, err
	}
	list, err := t.InvitationsTo(ctx, d.Visit.ID)
	if err != nil {
		return nil, err
	}
	var sent store.Invitation
	i := slices.IndexFunc(list, func(x store.Invitation) bool { return x.Attendee == attendee })
	switch {
	case i >= 0:
		if sent = list[i]; !follows(d, part, sent) {
			return nil, nil
		}
	default:
		if yes, err := s.mayInvite(ctx, t, d, part, len(list) > 0); err != nil || !yes {
			return nil, err
		}
		if sent, err = s.firstInvitation(ctx, t, n, part, attendee); err != nil {
			return nil, err
		}
	}
	v := ics.Invitation{
		Appointment: appointmentOf(n, d.Visit, []store.Part{part}), Zone: n.loc, Written: s.now(),
		Organizer: ics.Party{Name: n.row.Name, Mail: sent.Organizer},
		Attendee:  ics.Party{Name: cmp.Or(to.first, to.client.GivenName), Mail: to.mail},
	}
	// No secret: calendars are shared. It opens where she has opened her pages.
	v.Appointment.Link = s.base + "/own"
	out, err := v.Encode()
	if err != nil { // the message itself is worth more
		slog.ErrorContext(ctx, "invitation not written", "kind", d.Reminder.Kind, "err", err)
		return nil, nil
	}
	sent.Sequence, sent.Method, sent.MessageID, sent.Sent = part.Sequence, v.Method(), d.Reminder.MessageID, s.now()
	return &notify.Invitation{ICS: out, Method: v.Method(), Organizer: netmail.Address{Name: n.row.Name, Address: sent.Organizer}},
		t.NoteInvitation(ctx, sent)
}

// comes reports whether a calendar is to show v as something that takes place.
func comes(v store.Visit, p store.Part) bool {
	return p.Live && (v.State == store.Booked || v.State.Open())
}

// mayInvite reports whether message d is the first that may invite an address.
// Another address was invited before when she has a new one, or somebody else
// speaks for her: then any message about the visit may.
func (s *Server) mayInvite(ctx context.Context, t *store.Tx, d store.Due, p store.Part, another bool) (bool, error) {
	k := notify.Kind(d.Reminder.Kind)
	first := k == notify.Confirmation || k == notify.Moved || another && slices.Contains(aboutInvited, k)
	if !first || !comes(d.Visit, p) {
		return false, nil
	}
	set, err := t.InvitationSettings(ctx)
	if err != nil || !set.Send {
		return false, err
	}
	subscribes, err := t.HasFeed(ctx, d.Visit.Client)
	return !subscribes, err
}

// aboutInvited are the messages that bring changes to calendars.
var aboutInvited = []notify.Kind{notify.Confirmation, notify.Moved, notify.Cancelled, notify.Prepare, notify.Reminder, notify.RunningLate}

// follows reports whether d brings a change to whoever was invited. A message
// that is sent a second time brings it a second time, and what is not known to
// have arrived goes with the next one.
func follows(d store.Due, p store.Part, sent store.Invitation) bool {
	fresh := p.Sequence > sent.Sequence || !sent.Arrived || sent.MessageID == d.Reminder.MessageID || sent.Method == ics.Cancel && p.Live
	switch notify.Kind(d.Reminder.Kind) { //nolint:exhaustive // the others need nothing here
	case notify.Confirmation, notify.Moved:
		return comes(d.Visit, p)
	case notify.Cancelled:
		return !p.Live && fresh
	case notify.Prepare, notify.Reminder, notify.RunningLate:
		// Such as another length of the visit, of which no message was sent.
		return comes(d.Visit, p) && fresh
	}
	return false
}

// firstInvitation begins to invite an address to the visit of a part.
func (s *Server) firstInvitation(ctx context.Context, t *store.Tx, n salonDay, p store.Part, attendee string) (store.Invitation, error) {
	set, err := t.InvitationSettings(ctx)
	out := store.Invitation{Visit: p.Visit, Attendee: attendee, UID: p.UID, Organizer: n.row.Mail}
	if set.RepliesMail != "" {
		out.Organizer = answersTo(set.RepliesMail)
	}
	return out, err
}
