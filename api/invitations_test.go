package api_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-message"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/ics/read"
	"chairblock/api/notify"
)

// mailbox gets a salon's mails as files, and its folder replies is read for
// answers.
type mailbox struct {
	*salon
	dir, replies string
	put          int // mails that were put into replies
}

// withMailbox is a salon long ago, so that every message is due at once, whose
// mails come into a folder.
func withMailbox(t *testing.T, settings object) *mailbox {
	t.Helper()
	s := longAgo(t)
	m := &mailbox{salon: s, dir: t.TempDir(), replies: t.TempDir()}
	if settings != nil {
		s.call("PUT", "/v1/invitation-settings", settings, "If-Match", `"v1"`).is(200, nil)
	}
	sender, err := notify.Open("", m.dir)
	require.NoError(t, err)
	jobs, err := s.store.StartJobs(t.Context(), s.server.Deliver(sender), s.server.Refit)
	require.NoError(t, err)
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		require.NoError(t, jobs.Stop(ctx))
	})
	return m
}

// toReplies are settings with an address of their own for answers.
var toReplies = object{"send_invitations": true, "replies_mail": "replies@harbour.example"}

// received is a mail with what it invites to.
type received struct {
	raw     []byte
	head    message.Header
	types   []string
	ics     string // "" without one
	method  string
	cal     *read.Calendar
	subject string
}

// invited waits until the messages of a visit are settled, takes its mails, and
// sorts them by sequence of their invitation, those without one first.
func (m *mailbox) invited(visit string) []received {
	m.t.Helper()
	m.settled(visit)
	names, err := filepath.Glob(filepath.Join(m.dir, "new", "*"))
	require.NoError(m.t, err)
	var list []received
	for _, name := range names {
		raw, err := os.ReadFile(name)
		require.NoError(m.t, err)
		list = append(list, m.parse(raw))
		require.NoError(m.t, os.Remove(name))
	}
	slices.SortStableFunc(list, func(a, b received) int { return a.sequence() - b.sequence() })
	return list
}

func (r received) sequence() int {
	if r.cal == nil {
		return -1
	}
	return r.cal.Events[0].Sequence
}

func (m *mailbox) parse(raw []byte) received {
	m.t.Helper()
	e, err := message.Read(bytes.NewReader(raw))
	require.NoError(m.t, err)
	r := received{raw: raw, head: e.Header}
	r.subject, _ = e.Header.Text("Subject")
	require.NoError(m.t, e.Walk(func(_ []int, part *message.Entity, err error) error {
		require.NoError(m.t, err)
		kind, params, err := part.Header.ContentType()
		require.NoError(m.t, err)
		r.types = append(r.types, kind)
		if kind == "text/calendar" {
			body, err := io.ReadAll(part.Body)
			require.NoError(m.t, err)
			r.ics, r.method = string(body), params["method"]
			require.Equal(m.t, "utf-8", strings.ToLower(params["charset"]))
		}
		return nil
	}))
	if r.ics != "" {
		var problems []read.Problem
		r.cal, problems, err = read.Parse(strings.NewReader(r.ics), read.Options{})
		require.NoError(m.t, err)
		require.Empty(m.t, problems)
		require.Len(m.t, r.cal.Events, 1)
		require.Equal(m.t, r.method, r.cal.Method)
	}
	return r
}

// holding are those with an invitation.
func holding(list []received) []received {
	return slices.DeleteFunc(list, func(r received) bool { return r.cal == nil })
}

// change is what mails bring after a visit has changed. Every message is due at
// once here, so that the reminder may bring it, too, and first.
func (m *mailbox) change(visit string) received {
	m.t.Helper()
	list := holding(m.invited(visit))
	require.NotEmpty(m.t, list)
	for _, r := range list {
		require.Equal(m.t, []any{list[0].method, list[0].sequence()}, []any{r.method, r.sequence()})
	}
	return list[0]
}

func TestABookedVisitIsAnInvitationThatFollowsIt(t *testing.T) {
	m := withMailbox(t, nil)
	client := m.client("Mara")
	v, tag := m.book(client, begin.Add(97*time.Hour), m.straightening())
	list := m.invited(v.ID)
	require.Greater(t, len(list), 1, "a reminder, too, which invites to nothing new")
	list = holding(list)
	require.Len(t, list, 1)
	first := list[0]
	require.Equal(t, []string{"multipart/mixed", "multipart/alternative", "text/plain", "text/html", "text/calendar", "application/ics"}, first.types)
	require.Equal(t, "REQUEST", first.method)
	e := first.cal.Events[0]
	require.True(t, e.Start.Equal(v.Start))
	require.True(t, e.End.Equal(v.End))
	require.Equal(t, "desk@harbour.example", e.Organizer)
	require.Equal(t, []read.Attendee{{Address: "mara@example.org", PartStat: "NEEDS-ACTION"}}, e.Attendees)
	require.Empty(t, first.head.Get("Reply-To"))
	for _, private := range []string{"Quist", hairWord, "note"} {
		require.NotContains(t, first.ics, private)
	}
	require.Equal(t, []string{e.UID}, m.column(`SELECT uid FROM visit_part WHERE subject = 'client'`), "as in her calendar")

	a := m.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, nil)
	update := m.change(v.ID)
	moved := update.cal.Events[0]
	require.Equal(t, []any{"REQUEST", e.UID, true, true}, []any{update.method, moved.UID, moved.Sequence > e.Sequence, moved.Start.Equal(v.Start.Add(time.Hour))})

	m.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	list = holding(m.invited(v.ID))
	require.Len(t, list, 1)
	gone := list[0].cal.Events[0]
	require.Equal(t, []any{"CANCEL", e.UID, true, "CANCELLED", e.Organizer}, []any{list[0].method, gone.UID, gone.Sequence > moved.Sequence, gone.Status, gone.Organizer})
	require.NotContains(t, list[0].ics, "VALARM")
	require.False(t, gone.Stamp.Before(moved.Stamp))
}

// hairWord stands in no calendar: what is known of the hair.
const hairWord = "porosity"

// However often a visit moves, each invitation is newer than the one before.
func TestTheSequenceOfInvitationsRises(t *testing.T) {
	m := withMailbox(t, toReplies)
	v, tag := m.book(m.client("Mara"), begin.Add(97*time.Hour), m.cut())
	last, uid, organizer := -1, "", ""
	for i := range 5 {
		r := m.change(v.ID)
		e := r.cal.Events[0]
		require.Greater(t, e.Sequence, last)
		if i > 0 {
			require.Equal(t, []string{uid, organizer}, []string{e.UID, e.Organizer})
		}
		last, uid, organizer = e.Sequence, e.UID, e.Organizer
		switch i {
		case 4:
			require.Equal(t, "CANCEL", r.method)
			return
		case 3:
			m.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
		default:
			tag = m.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Duration(i+1) * 30 * time.Minute)}, "If-Match", tag).is(200, nil).header.Get("ETag")
		}
	}
}

func TestAnswersGetAnAddressThatNobodyGuesses(t *testing.T) {
	m := withMailbox(t, toReplies)
	form := regexp.MustCompile(`^replies\+[a-z2-7]{26}@harbour\.example$`)
	seen := map[string]bool{}
	for i := range 3 {
		v, _ := m.book(m.client(fmt.Sprint("Client", i)), begin.Add(time.Duration(97+i)*time.Hour), m.cut())
		list := holding(m.invited(v.ID))
		require.Len(t, list, 1)
		organizer := list[0].cal.Events[0].Organizer
		require.Regexp(t, form, organizer)
		require.False(t, seen[organizer])
		seen[organizer] = true
		to, err := mail.ParseAddressList(list[0].head.Get("Reply-To"))
		require.NoError(t, err)
		require.Equal(t, []string{"desk@harbour.example", organizer}, []string{to[0].Address, to[1].Address})
	}
}

func TestWhoSubscribesIsNotInvited(t *testing.T) {
	m := withMailbox(t, nil)
	client := m.client("Mara")
	feed := m.feed("client", client)
	v, _ := m.book(client, begin.Add(97*time.Hour), m.cut())
	require.Len(t, holding(m.invited(v.ID)), 1, "a calendar that was never fetched is none")
	for range 2 {
		feed.ask("GET").is(200, nil)
		m.alter(`UPDATE feed SET last_used_at = last_used_at - interval '6 minutes'`)
	}
	w, tag := m.book(client, begin.Add(121*time.Hour), m.cut())
	list := m.invited(w.ID)
	require.NotEmpty(t, list)
	require.Empty(t, holding(list))
	m.call("POST", "/v1/visits/"+w.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	require.Empty(t, holding(m.invited(w.ID)), "nothing is called off that was not offered")

	// What she was invited to before would stay wrong for ever.
	tag = m.call("GET", "/v1/visits/"+v.ID, nil).is(200, nil).header.Get("ETag")
	m.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, nil)
	require.True(t, m.change(v.ID).cal.Events[0].Start.Equal(v.Start.Add(time.Hour)))

	m.call("DELETE", "/v1/feeds/"+feed.id, nil).is(204, nil)
	x, _ := m.book(client, begin.Add(124*time.Hour), m.cut())
	require.Len(t, holding(m.invited(x.ID)), 1, "she does not subscribe any more")
}

func TestASalonMayInviteNobody(t *testing.T) {
	m := withMailbox(t, object{"send_invitations": false, "replies_mail": ""})
	v, _ := m.book(m.client("Mara"), begin.Add(97*time.Hour), m.cut())
	list := m.invited(v.ID)
	require.NotEmpty(t, list)
	require.Empty(t, holding(list))
	for _, r := range list {
		require.NotContains(t, r.types, "text/calendar")
	}
}

// Who was invited hears of changes after the salon has stopped inviting.
func TestWhoWasInvitedStaysInformed(t *testing.T) {
	m := withMailbox(t, toReplies)
	v, tag := m.book(m.client("Mara"), begin.Add(97*time.Hour), m.cut())
	first := holding(m.invited(v.ID))[0].cal.Events[0]
	m.call("PUT", "/v1/invitation-settings", object{"send_invitations": false, "replies_mail": "elsewhere@harbour.example"}, "If-Match", `"v2"`).is(200, nil)
	m.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	list := holding(m.invited(v.ID))
	require.Len(t, list, 1)
	require.Equal(t, "CANCEL", list[0].method)
	require.Equal(t, first.Organizer, list[0].cal.Events[0].Organizer, "her calendar takes changes from the same organizer only")
}

func TestAPencilledVisitIsNoInvitation(t *testing.T) {
	m := withMailbox(t, nil)
	client := m.client("Mara")
	h, tag := m.pencil(begin.Add(97*time.Hour), m.cut(), object{"client_id": client})
	require.Empty(t, holding(m.invited(h.ID)))
	m.bookHeld(h.ID, tag, nil).is(200, nil)
	require.Len(t, holding(m.invited(h.ID)), 1)
}

func TestAMinorsGuardianIsInvited(t *testing.T) {
	m := withMailbox(t, nil)
	client := m.client("Mara")
	m.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2026-06-10", "guardian_name": "Rosa Quist", "guardian_mail": "Rosa@example.org", "contact_by": "mail"}).is(200, nil)
	v, _ := m.book(client, begin.Add(97*time.Hour), m.cut())
	list := holding(m.invited(v.ID))
	require.Len(t, list, 1)
	require.Equal(t, "rosa@example.org", strings.ToLower(list[0].cal.Events[0].Attendees[0].Address))
	require.Contains(t, list[0].ics, "CN=Rosa;")
	require.NotContains(t, list[0].ics, "Quist")
}

func TestInvitationSettingsRefuseWhatCannotCarryASecret(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, bad := range []string{"replies", "a+b@harbour.example", `"a b"@harbour.example`, "R <a@harbour.example>", "ä@harbour.example",
		strings.Repeat("x", 38) + "@harbour.example", "a%b@harbour.example", "a@harbour.example, b@harbour.example"} {
		p := s.call("PUT", "/v1/invitation-settings", object{"send_invitations": true, "replies_mail": bad}, "If-Match", `"v1"`).refused(422, "invalid")
		require.Equal(t, "/replies_mail", p.Errors[0].Pointer, bad)
	}
	var b api.InvitationSettingsBody
	a := s.call("GET", "/v1/invitation-settings", nil).is(200, &b)
	require.Equal(t, `"v1"`, a.header.Get("ETag"))
	require.Equal(t, api.InvitationSettingsBody{Send: true, Refused: []api.RefusalBody{}}, b)
	s.call("PUT", "/v1/invitation-settings", object{"send_invitations": false, "replies_mail": strings.Repeat("x", 37) + "@harbour.example"}, "If-Match", `"v1"`).is(200, nil)
	s.call("PUT", "/v1/invitation-settings", toReplies, "If-Match", `"v1"`).refused(412, "stale")
}

// TestPythonReadsTheMail lets another library take the whole mail apart.
func TestPythonReadsTheMail(t *testing.T) {
	program := ""
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import icalendar").Run() == nil {
			program = name
			break
		}
	}
	if program == "" {
		require.NotEqual(t, "true", os.Getenv("CI"), "CI needs python3-icalendar")
		t.Skip("SKIPPED: needs python3 with icalendar (Debian: python3-icalendar)")
	}
	m := withMailbox(t, toReplies)
	v, _ := m.book(m.client("Mara"), begin.Add(97*time.Hour), m.straightening())
	r := holding(m.invited(v.ID))[0]
	cmd := exec.Command(program, "-c", `
import email, email.policy, icalendar, json, sys
m = email.message_from_bytes(sys.stdin.buffer.read(), policy=email.policy.default)
part, = [p for p in m.walk() if p.get_content_type() == "text/calendar"]
cal = icalendar.Calendar.from_ical(part.get_payload(decode=True))
e, = cal.walk("VEVENT")
json.dump([part.get_param("method"), str(cal["METHOD"]), str(e["UID"]), str(e["ATTENDEE"]), e["ATTENDEE"].params["PARTSTAT"],
    e["DTSTART"].dt.isoformat(), str(e["LOCATION"]), [str(d) for d in part.defects] + [str(d) for d in m.defects]], sys.stdout)
`)
	cmd.Stdin, cmd.Stderr = bytes.NewReader(r.raw), os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err)
	var got []any
	require.NoError(t, json.Unmarshal(out, &got))
	require.Equal(t, []any{"REQUEST", "REQUEST", r.cal.Events[0].UID, "mailto:mara@example.org", "NEEDS-ACTION", v.Start.Format("2006-01-02T15:04:05-07:00"), "Harbour Chairs", []any{}}, got)
}
