package api_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/ics/read"
	"chairblock/api/notify"
	"chairblock/store"
)

// replying is somebody's answer to an invitation, and the mail around it.
type replying struct {
	uid, attendee, organizer, answer string
	sequence                         int
	stamp                            time.Time
	from                             string // "": the attendee
	more                             string // further lines of the event
	method                           string // "": REPLY
}

// answering is the answer of whoever got r.
func answering(r received, answer string) replying {
	e := r.cal.Events[0]
	return replying{uid: e.UID, attendee: e.Attendees[0].Address, organizer: e.Organizer, answer: answer, sequence: e.Sequence, stamp: begin.Add(time.Minute)}
}

// object is the answer as RFC 5546 section 4.2.2 shows one.
func (r replying) object() string {
	method := r.method
	if method == "" {
		method = "REPLY"
	}
	return "BEGIN:VCALENDAR\r\nPRODID:-//Example/ExampleCalendarClient//EN\r\nMETHOD:" + method + "\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\n" +
		"ATTENDEE;PARTSTAT=" + r.answer + ":mailto:" + r.attendee + "\r\nORGANIZER:mailto:" + r.organizer + "\r\nUID:" + r.uid + "\r\n" +
		fmt.Sprintf("SEQUENCE:%d\r\nREQUEST-STATUS:2.0;Success\r\nDTSTAMP:%s\r\n", r.sequence, r.stamp.UTC().Format("20060102T150405Z")) +
		r.more + "END:VEVENT\r\nEND:VCALENDAR\r\n"
}

func (r replying) mail() string {
	from := r.from
	if from == "" {
		from = r.attendee
	}
	return "From: " + from + "\r\nTo: " + r.organizer + "\r\nSubject: Re\r\nMIME-Version: 1.0\r\nContent-Type: text/calendar; method=REPLY; charset=UTF-8\r\n\r\n" + r.object()
}

// take lets the service read mails.
func (m *mailbox) take(mails ...string) {
	m.t.Helper()
	b, err := notify.OpenInbox(m.replies)
	require.NoError(m.t, err)
	for _, mail := range mails {
		require.NoError(m.t, os.WriteFile(filepath.Join(m.replies, "new", fmt.Sprintf("%03d.host", m.put)), []byte(mail), 0o600))
		m.put++
	}
	ctx, cancel := context.WithCancel(m.t.Context())
	done := make(chan struct{})
	go func() {
		m.server.TakeReplies(ctx, b, time.Hour)
		close(done)
	}()
	require.Eventually(m.t, func() bool {
		// Those of new are renamed while they are read, which a listing may miss.
		read, err := os.ReadDir(filepath.Join(m.replies, "cur"))
		return err == nil && len(read) == m.put
	}, 30*time.Second, 5*time.Millisecond)
	cancel()
	<-done
}

func (m *mailbox) answers() []api.ReplyBody {
	m.t.Helper()
	var list struct{ Items []api.ReplyBody }
	m.call("GET", "/v1/invitation-replies?first_date=2024-06-10&last_date=2024-06-12", nil).is(200, &list)
	return list.Items
}

func (m *mailbox) refusals() map[string]int {
	m.t.Helper()
	out := map[string]int{}
	for _, r := range m.column(`SELECT coalesce((SELECT name FROM salon n WHERE n.salon_id = r.salon_id), 'nobody') || ' ' || reason || ' ' || mails FROM invitation_refusal r`) {
		i := strings.LastIndex(r, " ")
		var n int
		_, err := fmt.Sscan(r[i+1:], &n)
		require.NoError(m.t, err)
		out[strings.TrimPrefix(r[:i], "Harbour Chairs ")] = n
	}
	return out
}

// first books a visit and returns it with its invitation.
func (m *mailbox) first(name string, after time.Duration) (api.VisitBody, string, received) {
	m.t.Helper()
	v, tag := m.book(m.client(name), begin.Add(after), m.cut())
	list := holding(m.invited(v.ID))
	require.Len(m.t, list, 1)
	return v, tag, list[0]
}

func TestAnAnswerIsShownAndChangesNothing(t *testing.T) {
	m := withMailbox(t, toReplies)
	v, tag, r := m.first("Mara", 97*time.Hour)
	visit := func() api.VisitBody {
		var b api.VisitBody
		m.call("GET", "/v1/visits/"+v.ID, nil).is(200, &b)
		return b
	}
	before := visit()
	require.Nil(t, before.Reply)
	m.at(begin.Add(2 * time.Minute))
	m.take(answering(r, "DECLINED").mail())
	require.Empty(t, m.refusals())
	after := visit()
	require.Equal(t, &api.ReplyWords{Reply: "declined", At: begin.Add(time.Minute)}, inUTC(after.Reply))
	after.Reply = nil
	require.Equal(t, before, after, "she calls, or the desk does; nothing is cancelled")
	list := m.answers()
	require.Len(t, list, 1)
	require.Equal(t, []any{v.ID, v.ClientID, "declined", false}, []any{list[0].VisitID, list[0].ClientID, list[0].Reply, list[0].Outdated})
	require.True(t, list[0].Start.Equal(v.Start))
	require.True(t, list[0].Received.Equal(begin.Add(2*time.Minute)))

	m.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, nil)
	update := m.change(v.ID)
	require.True(t, visit().Reply.Outdated, "she has not seen the new time")
	accepted := answering(update, "ACCEPTED")
	accepted.stamp = begin.Add(3 * time.Minute)
	m.take(accepted.mail())
	require.Equal(t, []any{"accepted", false}, []any{visit().Reply.Reply, visit().Reply.Outdated})
	list = m.answers()
	require.Equal(t, []string{"accepted", "declined"}, []string{list[0].Reply, list[1].Reply}, "newest first")
}

func inUTC(r *api.ReplyWords) *api.ReplyWords {
	r.At = r.At.In(begin.Location())
	return r
}

func TestTheThreeAnswersInTheirUsualWrappings(t *testing.T) {
	m := withMailbox(t, toReplies)
	_, _, r := m.first("Mara", 97*time.Hour)
	e := answering(r, "TENTATIVE")
	// As calendars of Windows send it: base64, another zone's names, the attendee's
	// name, a comment, folded lines.
	windows := strings.Replace(e.object(), "BEGIN:VEVENT\r\n", "BEGIN:VTIMEZONE\r\nTZID:W. Europe Standard Time\r\nBEGIN:STANDARD\r\nDTSTART:16010101T030000\r\n"+
		"TZOFFSETFROM:+0200\r\nTZOFFSETTO:+0100\r\nRRULE:FREQ=YEARLY;INTERVAL=1;BYDAY=-1SU;BYMONTH=10\r\nEND:STANDARD\r\nBEGIN:DAYLIGHT\r\nDTSTART:16010101T020000\r\n"+
		"TZOFFSETFROM:+0100\r\nTZOFFSETTO:+0200\r\nRRULE:FREQ=YEARLY;INTERVAL=1;BYDAY=-1SU;BYMONTH=3\r\nEND:DAYLIGHT\r\nEND:VTIMEZONE\r\nBEGIN:VEVENT\r\n"+
		"COMMENT;LANGUAGE=en-GB:"+strings.Repeat("perhaps ", 8)+"\r\n "+strings.Repeat("perhaps ", 8)+"\r\nDTSTART;TZID=W. Europe Standard Time:20240614T090000\r\n", 1)
	windows = strings.Replace(windows, "ATTENDEE;PARTSTAT=TENTATIVE:mailto:", "ATTENDEE;CN=\"Mara, Q\";PARTSTAT=TENTATIVE:MAIL\r\n TO:", 1)
	windows = strings.Replace(windows, "mara@example.org", "Mara@Example.ORG", 1)
	text := base64.StdEncoding.EncodeToString([]byte(windows))
	m.take("From: =?utf-8?q?M=C3=A4ra?= <MARA@example.org>\r\nTo: " + e.organizer + "\r\nMIME-Version: 1.0\r\nContent-Type: multipart/alternative; boundary=\"_000_\"\r\n\r\n" +
		"--_000_\r\nContent-Type: text/plain; charset=\"us-ascii\"\r\n\r\nTentative: visit\r\n--_000_\r\nContent-Type: text/calendar; charset=\"utf-8\"; method=REPLY\r\n" +
		"Content-Transfer-Encoding: base64\r\n\r\n" + text + "\r\n--_000_--\r\n")
	require.Empty(t, m.refusals())
	require.Equal(t, "tentative", m.answers()[0].Reply)

	// Twice in one mail, as an alternative and as a file, with other ends of lines.
	e.answer, e.stamp = "ACCEPTED", begin.Add(2*time.Minute)
	m.take("From: mara@example.org\nContent-Type: multipart/mixed; boundary=x\n\n--x\nContent-Type: multipart/alternative; boundary=y\n\n--y\nContent-Type: text/html\n\n<p>Yes\n" +
		"--y\nContent-Type: text/calendar; method=REPLY\n\n" + strings.ReplaceAll(e.object(), "\r\n", "\n") + "--y--\n--x\nContent-Type: application/ics; name=invite.ics\n" +
		"Content-Transfer-Encoding: base64\n\n" + base64.StdEncoding.EncodeToString([]byte(e.object())) + "\n--x--\n")
	require.Empty(t, m.refusals())
	require.Equal(t, "accepted", m.answers()[0].Reply)
	require.Len(t, m.answers(), 2)
}

// Nobody but who was invited answers, from her own address and to the visit's own
// (RFC 6047 section 2.2.1: others are ignored).
func TestAnswersOfOthersCountForNothing(t *testing.T) {
	m := withMailbox(t, toReplies)
	_, _, r := m.first("Mara", 97*time.Hour)
	_, _, other := m.first("Lena", 101*time.Hour)
	for _, tt := range []struct {
		name, why string
		change    func(*replying)
	}{
		{"another sender", "other_sender", func(x *replying) { x.from = "eve@example.org" }},
		{"somebody who was not invited", "not_invited", func(x *replying) { x.attendee = "eve@example.org" }},
		{"a client of another visit", "not_invited", func(x *replying) { x.attendee = "lena@example.org" }},
		{"another address for answers", "other_address", func(x *replying) { x.organizer = "desk@harbour.example" }},
		{"that of another visit", "other_address", func(x *replying) { x.organizer = other.cal.Events[0].Organizer }},
		{"an unknown visit", "nobody unknown_visit", func(x *replying) { x.uid = "00000000-0000-4000-8000-000000000000" }},
		{"no visit", "nobody unknown_visit", func(x *replying) { x.uid = "" }},
		{"an endless UID", "nobody unknown_visit", func(x *replying) { x.uid = strings.Repeat("x", 3000) }},
		{"an invitation that is still to come", "never_sent", func(x *replying) { x.sequence = 9 }},
		{"one date of several", "of_series", func(x *replying) { x.more = "RECURRENCE-ID:20240614T070000Z\r\n" }},
		{"written in years", "bad_time", func(x *replying) { x.stamp = begin.AddDate(3, 0, 0) }},
		{"no answer yet", "no_such_answer", func(x *replying) { x.answer = "NEEDS-ACTION" }},
		{"somebody else sent instead", "no_such_answer", func(x *replying) { x.answer = "DELEGATED" }},
		{"another time", "other_time", func(x *replying) { x.method = "COUNTER" }},
		{"a request", "nobody no_answer", func(x *replying) { x.method = "REQUEST" }},
		{"no method", "nobody no_answer", func(x *replying) { x.method = "X" }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			before := m.refusals()
			x := answering(r, "DECLINED")
			tt.change(&x)
			m.take(x.mail())
			before[tt.why]++
			require.Equal(t, before, m.refusals())
			require.Empty(t, m.answers())
		})
	}
	m.take("From: mara@example.org\r\n\r\nI come!\r\n", "", "From: a@b.example, c@d.example\r\nContent-Type: text/calendar\r\n\r\n"+answering(r, "ACCEPTED").object())
	require.Equal(t, 2, m.refusals()["nobody unreadable"])
	require.Empty(t, m.answers())
	var b api.InvitationSettingsBody
	m.call("GET", "/v1/invitation-settings", nil).is(200, &b)
	require.Contains(t, b.Refused, api.RefusalBody{Reason: "sent by somebody else than who answers in it", Mails: 1})
	for _, x := range b.Refused {
		require.NotContains(t, x.Reason, "unknown", "what is nobody's is shown to nobody")
	}
}

// RFC 5546 section 2.1.5: by sequence, then by stamp; what is older is dropped.
func TestOlderAnswersAreDropped(t *testing.T) {
	m := withMailbox(t, toReplies)
	_, _, r := m.first("Mara", 97*time.Hour)
	x := answering(r, "ACCEPTED")
	y := answering(r, "DECLINED")
	y.stamp = x.stamp.Add(-time.Second)
	m.take(x.mail(), y.mail())
	require.Equal(t, map[string]int{"older": 1}, m.refusals())
	require.Len(t, m.answers(), 1)
	m.take(x.mail())
	require.Equal(t, map[string]int{"older": 1}, m.refusals(), "the same once more is no other answer")
	require.Len(t, m.answers(), 1)
}

// Without an address of its own for answers a visit's mails come from the salon.
func TestAnswersToTheSalonsOwnAddress(t *testing.T) {
	m := withMailbox(t, nil)
	_, _, r := m.first("Mara", 97*time.Hour)
	x := answering(r, "ACCEPTED")
	x.organizer = "eve@harbour.example"
	m.take(x.mail(), strings.Replace(answering(r, "ACCEPTED").mail(), "ORGANIZER:mailto:desk@harbour.example\r\n", "", 1))
	require.Equal(t, map[string]int{"other_address": 1}, m.refusals())
	require.Len(t, m.answers(), 1)
}

func TestAnswersOfSeveralSalonsComeIntoOneMaildir(t *testing.T) {
	m := withMailbox(t, toReplies)
	n := &mailbox{salon: m.neighbour(), dir: m.dir, replies: m.replies}
	n.keepsAll()
	n.call("PUT", "/v1/invitation-settings", toReplies, "If-Match", `"v1"`).is(200, nil)
	mine, _, r := m.first("Mara", 97*time.Hour)
	theirs, _, q := n.first("Mara", 97*time.Hour)
	m.take(answering(r, "ACCEPTED").mail(), answering(q, "DECLINED").mail())
	require.Equal(t, []string{mine.ID, "accepted"}, []string{m.answers()[0].VisitID, m.answers()[0].Reply})
	require.Equal(t, []string{theirs.ID, "declined"}, []string{n.answers()[0].VisitID, n.answers()[0].Reply})
	require.Len(t, m.answers(), 1)
}

// Nothing is lost while the database is away: the mail waits.
func TestAnAnswerWaitsForTheDatabase(t *testing.T) {
	m := withMailbox(t, toReplies)
	_, _, r := m.first("Mara", 97*time.Hour)
	b, err := notify.OpenInbox(m.replies)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(m.replies, "new", "1"), []byte(answering(r, "ACCEPTED").mail()), 0o600))
	m.put++
	st, err := store.Open(t.Context(), m.url, 1)
	require.NoError(t, err)
	st.Close()
	for range 3 * 5 { // more than a mail may be tried that kills its reader
		require.Error(t, b.Each(t.Context(), api.New(st, "http://127.0.0.1", time.Now).TakeLetter))
	}
	require.Empty(t, m.answers())
	require.FileExists(t, filepath.Join(m.replies, "new", "1"))
	m.take()
	require.Len(t, m.answers(), 1)
}

func TestHostileAnswersDoNoHarm(t *testing.T) {
	m := withMailbox(t, toReplies)
	_, _, r := m.first("Mara", 97*time.Hour)
	good := answering(r, "ACCEPTED")
	head := "From: mara@example.org\r\nContent-Type: text/calendar; method=REPLY\r\n\r\n"
	deep := strings.Repeat("BEGIN:VEVENT\r\n", 50000)
	many := head + "BEGIN:VCALENDAR\r\nMETHOD:REPLY\r\n" + strings.Repeat("BEGIN:VEVENT\r\nUID:x\r\nEND:VEVENT\r\n", 20000) + "END:VCALENDAR\r\n"
	m.take(
		head+"BEGIN:VCALENDAR\r\n"+deep,
		many,
		head+"BEGIN:VCALENDAR\r\nMETHOD:REPLY\r\nBEGIN:VEVENT\r\nATTENDEE;CN=foo\r\nUID:\xff\x00\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
		head+strings.Repeat("x", 2<<20),
		head+"<html>",
		strings.Replace(good.mail(), "UID:", "UID;X=\""+strings.Repeat("y", 100000)+"\":", 1),
		good.mail(),
	)
	require.Len(t, m.answers(), 1, "and the good one behind them is read")
}

// No address stands in the log, whatever comes in.
func TestAnswersAreLoggedWithoutAddresses(t *testing.T) {
	var log bytes.Buffer
	old := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(&log, nil)))
	defer slog.SetDefault(old)
	s := newSalon(t)
	m := &mailbox{salon: s, replies: t.TempDir()}
	x := replying{uid: "secret-uid", attendee: "mara@secret.example", organizer: "replies+secret@salon.example", answer: "ACCEPTED", stamp: start}
	m.take(x.mail(), "From: mara@secret.example\r\n\r\nsecret", "secret")
	require.Contains(t, log.String(), "refused")
	require.NotContains(t, log.String(), "secret")
}

// Mails that were damaged at random are read or refused, never anything else.
func TestDamagedAnswersAreReadOrRefused(t *testing.T) {
	e := read.Event{UID: "u", Organizer: "replies+a@b.example", Attendees: []read.Attendee{{Address: "mara@example.org"}}}
	good := []byte(answering(received{cal: &read.Calendar{Events: []read.Event{e}}}, "ACCEPTED").mail())
	for seed := range uint64(3000) {
		r := rand.New(rand.NewPCG(seed, 1))
		mail := bytes.Clone(good)
		for range 1 + r.IntN(8) {
			i, j := r.IntN(len(mail)), r.IntN(len(mail))
			switch r.IntN(4) {
			case 0:
				mail[i] = byte(r.Uint32())
			case 1:
				mail = append(mail[:min(i, j)], mail[max(i, j):]...)
			case 2:
				mail = slices.Insert(mail, i, mail[min(i, j):max(i, j)]...)
			default:
				mail = slices.Insert(mail, i, []byte(":;=\"\r\n --")[r.IntN(9)])
			}
			if len(mail) == 0 {
				mail = []byte{'\n'}
			}
		}
		l, err := notify.ReadLetter(bytes.NewReader(mail))
		if err == nil {
			require.LessOrEqual(t, api.Answers(l.Calendars), 10, "seed %d", seed)
		}
	}
}
