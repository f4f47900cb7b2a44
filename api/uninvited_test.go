package api_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/notify"
	"chairblock/store"
)

// full is a mail server that refuses everything for good.
type full struct{}

// Send refuses a mail.
func (full) Send(context.Context, notify.Mail) error {
	return &notify.PermanentError{Stage: "recipient", Code: 552}
}

// worked does with a message what a worker does, and returns the mail that it became,
// an empty one when it became none.
func (s *salon) worked(sender notify.Sender, d store.Due) (notify.Mail, store.ReminderState) {
	s.t.Helper()
	o, keeps := sender.(*outbox)
	before := 0
	if keeps {
		before = len(o.mails)
	}
	s.alter(`UPDATE reminder SET state = 'sending', sending_at = now() WHERE reminder_id = $1`, d.Reminder.ID)
	out, err := s.server.Deliver(sender)(s.t.Context(), d)
	require.NoError(s.t, err)
	s.alter(`UPDATE reminder SET state = $2, channel = $3, problem = $4 WHERE reminder_id = $1`, d.Reminder.ID, out.State, out.Channel, out.Problem)
	if !keeps || len(o.mails) == before {
		return notify.Mail{}, out.State
	}
	return o.last(s.t), out.State
}

// says puts a message about v in line and lets it be worked off.
func (s *salon) says(sender notify.Sender, v api.VisitBody, kind notify.Kind) (notify.Mail, store.ReminderState) {
	s.t.Helper()
	r := store.Reminder{Visit: v.ID, Kind: string(kind)}
	if kind == notify.Moved {
		r.Before = new(v.Start)
	}
	return s.worked(sender, s.inLine(r))
}

// entries are the messages in line that take a visit out of calendars.
func (s *salon) entries(v api.VisitBody) (list []store.Due) {
	s.t.Helper()
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(t *store.Tx) error {
		rows, err := t.RemindersOf(s.t.Context(), v.ID)
		if err != nil {
			return err
		}
		list = nil
		for _, r := range rows {
			if r.Kind == "calendar_entry" && r.State == store.Waiting {
				list = append(list, store.Due{Reminder: r, Salon: s.row})
			}
		}
		return nil
	}))
	return list
}

// movedByAnHour moves v.
func (s *salon) movedByAnHour(v api.VisitBody, tag string) {
	s.t.Helper()
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, nil)
}

// line is the content line of a calendar object that begins with a name.
func line(t *testing.T, m notify.Mail, name string) string {
	t.Helper()
	require.NotNil(t, m.Invitation)
	for l := range strings.SplitSeq(strings.ReplaceAll(string(m.Invitation.ICS), "\r\n ", ""), "\r\n") {
		if strings.HasPrefix(l, name) {
			return l
		}
	}
	return ""
}

func TestWhatDidNotArriveGoesWithTheNextMessage(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	o := &outbox{}
	v, tag := s.book(s.client("Mara"), start.Add(51*time.Hour), s.straightening())
	first, _ := s.says(o, v, notify.Confirmation)
	require.Equal(t, "REQUEST", first.Invitation.Method)
	again, _ := s.says(o, v, notify.Prepare)
	require.Nil(t, again.Invitation, "her calendar has it")

	s.movedByAnHour(v, tag)
	_, state := s.says(full{}, v, notify.Moved)
	require.Equal(t, store.Failed, state)
	late, _ := s.says(o, v, notify.Prepare)
	require.NotNil(t, late.Invitation, "her calendar still shows the old time")
	require.NotEqual(t, line(t, first, "DTSTART;"), line(t, late, "DTSTART;"))
	again, _ = s.says(o, v, notify.RunningLate)
	require.Nil(t, again.Invitation)
	require.Empty(t, s.entries(v), "it is her own address")
}

// Whoever was invited and is not told of a change by mail has the visit taken out
// of the calendar, once, and hears nothing of the new time.
func TestAnAddressThatHearsNoMoreLosesTheVisit(t *testing.T) {
	minor := object{"minor_until": "2030-06-10", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org", "contact_by": "mail"}
	for name, x := range map[string]struct {
		change func(s *salon, client string)
		state  store.ReminderState // of the message about the change
		anew   string              // address that is invited instead
	}{
		"another address": {func(s *salon, client string) {
			s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "mail": "new@example.org"}, "If-Match", `"v1"`).is(200, nil)
		}, store.Sent, "new@example.org"},
		"somebody else speaks for her": {func(s *salon, client string) {
			s.call("PUT", "/v1/clients/"+client+"/minor", minor).is(200, nil)
		}, store.Sent, "rosa@example.org"},
		"by telephone": {func(s *salon, client string) {
			s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "mail": "mara@example.org", "phone": "+4930901820", "contact_by": "call"}, "If-Match", `"v1"`).is(200, nil)
		}, store.ToCall, ""},
		"no messages": {func(s *salon, client string) {
			s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "mail": "mara@example.org", "contact_by": "none"}, "If-Match", `"v1"`).is(200, nil)
		}, store.NotWanted, ""},
		"no mails any more": {func(s *salon, client string) {
			s.call("PUT", "/v1/clients/"+client+"/message-wishes", object{"stopped_ways": []string{"mail"}}, "If-Match", `"v1"`).is(200, nil)
		}, store.ToCall, ""},
	} {
		for _, kind := range []notify.Kind{notify.Moved, notify.Cancelled} {
			t.Run(name+", "+string(kind), func(t *testing.T) {
				t.Parallel()
				s := newSalon(t)
				o := &outbox{}
				client := s.client("Mara")
				v, tag := s.book(client, start.Add(51*time.Hour), s.straightening())
				first, _ := s.says(o, v, notify.Confirmation)
				x.change(s, client)
				s.says(o, v, notify.Prepare)
				require.Empty(t, s.entries(v), "what the calendar shows is still right")
				if kind == notify.Moved {
					s.movedByAnHour(v, tag)
				} else {
					s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
				}
				told, state := s.says(o, v, kind)
				require.Equal(t, x.state, state)
				if x.anew != "" && kind == notify.Moved {
					require.Contains(t, line(t, told, "ATTENDEE"), "mailto:"+x.anew)
				}
				list := s.entries(v)
				require.Len(t, list, 1)
				s.says(o, v, kind)
				require.Equal(t, list, s.entries(v), "one for one reason")

				m, state := s.worked(o, list[0])
				require.Equal(t, store.Sent, state)
				require.Equal(t, []string{"mara@example.org", "CANCEL"}, []string{m.To.Address, m.Invitation.Method})
				require.Equal(t, []string{line(t, first, "UID"), line(t, first, "ORGANIZER"), ""}, []string{line(t, m, "UID"), line(t, m, "ORGANIZER"), line(t, m, "DTSTART")})
				require.Equal(t, map[notify.Kind]string{notify.Cancelled: "STATUS:CANCELLED"}[kind], line(t, m, "STATUS"))
				require.NotContains(t, strings.ToLower(m.Subject+m.Text+m.To.Name), "mara")
				require.Equal(t, store.Sent, second(s.worked(o, list[0])), "after a crash it goes out again")
				s.says(o, v, kind)
				require.Empty(t, s.entries(v))
			})
		}
	}
}

func second[A, B any](_ A, b B) B { return b }

// A new address is invited by the next message of any kind, not only by a move.
func TestANewAddressIsInvitedByTheNextMessage(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	o := &outbox{}
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(51*time.Hour), s.straightening())
	s.says(o, v, notify.Confirmation)
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "mail": "new@example.org"}, "If-Match", `"v1"`).is(200, nil)
	m, _ := s.says(o, v, notify.Prepare)
	require.Contains(t, line(t, m, "ATTENDEE"), "mailto:new@example.org")
}

// Who chooses mails again before the entry was taken out keeps it, and gets the
// change; who does so after that is invited again.
func TestWhoHearsByMailAgainKeepsTheVisit(t *testing.T) {
	t.Parallel()
	for _, late := range []bool{false, true} {
		s := newSalon(t)
		o := &outbox{}
		client := s.client("Mara")
		v, tag := s.book(client, start.Add(51*time.Hour), s.straightening())
		s.says(o, v, notify.Confirmation)
		s.alter(`UPDATE client SET contact_by = 'none'`)
		s.movedByAnHour(v, tag)
		s.says(o, v, notify.Moved)
		list := s.entries(v)
		require.Len(t, list, 1)
		if late {
			s.worked(o, list[0])
		}
		s.alter(`UPDATE client SET contact_by = 'mail'`)
		if !late {
			require.Equal(t, store.Withdrawn, second(s.worked(o, list[0])))
		}
		m, _ := s.says(o, v, notify.Prepare)
		require.NotNil(t, m.Invitation)
		require.Equal(t, "REQUEST", m.Invitation.Method)
	}
}

// What a stranger's calendar answers, whose address was once taken for hers, is not
// shown as her word.
func TestAnAnswerOfAFormerAddressIsNotHers(t *testing.T) {
	m := withMailbox(t, toReplies)
	v, _, r := m.first("Mara", 97*time.Hour)
	m.call("PUT", "/v1/clients/"+v.ClientID, object{"given_name": "Mara", "mail": "new@example.org"}, "If-Match", `"v1"`).is(200, nil)
	m.at(begin.Add(2 * time.Minute))
	m.take(answering(r, "DECLINED").mail())
	var b api.VisitBody
	m.call("GET", "/v1/visits/"+v.ID, nil).is(200, &b)
	require.Nil(t, b.Reply)
	list := m.answers()
	require.Len(t, list, 1)
	require.True(t, list[0].Former)
	m.call("PUT", "/v1/clients/"+v.ClientID, object{"given_name": "Mara", "mail": "Mara@example.org"}, "If-Match", `"v2"`).is(200, nil)
	m.call("GET", "/v1/visits/"+v.ID, nil).is(200, &b)
	require.Equal(t, "declined", b.Reply.Reply)
	require.False(t, m.answers()[0].Former)
}
