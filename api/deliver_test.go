package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/notify"
	"chairblock/store"
)

// outbox is a sender that keeps what it gets.
type outbox struct {
	mu    sync.Mutex
	mails []notify.Mail
}

// Send keeps a mail.
func (o *outbox) Send(_ context.Context, m notify.Mail) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.mails = append(o.mails, m)
	return nil
}

// last is the newest mail.
func (o *outbox) last(t testing.TB) notify.Mail {
	t.Helper()
	o.mu.Lock()
	defer o.mu.Unlock()
	require.NotEmpty(t, o.mails)
	return o.mails[len(o.mails)-1]
}

// inLine puts a message in line and returns it as a worker would get it.
func (s *salon) inLine(r store.Reminder) store.Due {
	s.t.Helper()
	r.MessageID = store.NewID() + "@harbour.example"
	if r.Due.IsZero() {
		r.Due = *s.clock.Load()
	}
	var d store.Due
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(t *store.Tx) (err error) {
		if d.Reminder, err = t.AddReminder(s.t.Context(), r); err != nil {
			return err
		}
		d.Salon, err = t.SalonRow(s.t.Context())
		return err
	}))
	return d
}

// sent hands a due message to Deliver.
func (s *salon) sent(o *outbox, d store.Due) store.Outcome {
	s.t.Helper()
	out, err := s.server.Deliver(o)(s.t.Context(), d)
	require.NoError(s.t, err)
	return out
}

// turn makes a visit look as it would in a state.
func (s *salon) turn(v api.VisitBody, state string) {
	s.t.Helper()
	s.alter(`UPDATE visit SET state = $2, held_until = CASE WHEN $2 IN ('held', 'lapsed') THEN starts_at - interval '30 minutes' END,
		finished_at = CASE WHEN $2 IN ('finished', 'stopped_early') THEN ends_at END WHERE visit_id = $1`, v.ID, state)
}

// firstRetouchSent makes it so that the first message about a retouch went out eight
// days ago.
func (s *salon) firstRetouchSent(v api.VisitBody) {
	s.t.Helper()
	s.alter(`UPDATE reminder SET state = 'sent', sending_at = NULL, due_at = $2, done_at = $2 WHERE kind = 'retouch' AND visit_id = $1`, v.ID, s.clock.Load().AddDate(0, 0, -8))
}

// allStates are those of a visit, and one that was stopped and not cleared.
var allStates = []string{"held", "lapsed", "booked", "arrived", "under_way", "finished", "stopped_early", "cancelled", "missed", "stopped_and_held"}

// goesOut says in which states of its visit each message goes out, written down a
// second time.
var goesOut = map[string]string{
	"held": "held", "confirmation": "booked", "prepare": "booked", "reminder": "booked", "moved": "booked", "cancelled": "cancelled", "running_late": "booked",
	"aftercare": "finished stopped_early", "day_after": "finished stopped_early", "aftercare_end": "finished stopped_early",
	"first_wash": "finished stopped_early", "retouch": "finished stopped_early", "retouch_again": "finished stopped_early",
	"day_changed": "held lapsed booked arrived under_way finished stopped_early cancelled missed stopped_and_held",
	"client_late": "booked", "did_not_come": "missed", "helper_away": "booked arrived under_way", "check_due": "under_way",
}

func TestAMessageGoesOutOnlyWhileItsVisitStillHasWhatItSays(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.alter(`UPDATE staff SET mail = 'ada@example.org' WHERE staff_id = $1`, s.ada)
	v, _ := s.book(s.client("Mara"), start.Add(51*time.Hour), s.straightening())
	details := map[string]string{
		"running_late": `{"late_minutes": 20}`, "client_late": `{"late_minutes": 12}`, "helper_away": `{"helper_id": "` + s.mina + `"}`,
		"day_changed": `{"changes": [{"visit_id": "` + v.ID + `", "what": "changed"}]}`,
		"check_due":   fmt.Sprintf(`{"check_at": %q, "check_by": %q, "station_id": %q}`, v.Start.Add(time.Hour).Format(time.RFC3339), v.Start.Add(63*time.Minute).Format(time.RFC3339), s.basins[0]),
	}
	o := &outbox{}
	require.Len(t, goesOut, len(notify.Kinds()))
	for _, kind := range notify.Kinds() {
		for _, state := range allStates {
			s.turn(v, strings.Replace(state, "_and_held", "_early", 1))
			if state == "stopped_and_held" {
				require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
					return tx.AddStop(t.Context(), store.Stop{Visit: v.ID, At: v.End, LicensedID: s.ada, LicensedName: "Ada", Noted: v.End, By: "Ada"})
				}))
			}
			r := store.Reminder{Visit: v.ID, Kind: string(kind)}
			switch kind {
			case "aftercare", "aftercare_end", "first_wash", "retouch", "retouch_again":
				s.at(v.End.Add(20 * time.Hour))
			case "day_after":
				s.at(v.End.Add(24 * time.Hour))
			case "day_changed", "client_late", "did_not_come", "helper_away", "check_due":
				s.at(v.Start.Add(-time.Minute))
				r.Staff = s.ada
			default:
				s.at(v.Start.Add(-time.Hour))
			}
			if kind == "moved" {
				r.Before = new(v.Start.Add(-24 * time.Hour))
			}
			if doc := details[string(kind)]; doc != "" {
				r.Detail = json.RawMessage(doc)
			}
			if kind == "retouch_again" {
				s.firstRetouchSent(v)
			}
			before := len(o.mails)
			out := s.sent(o, s.inLine(r))
			want := store.Withdrawn
			if slices.Contains(strings.Fields(goesOut[string(kind)]), state) {
				want = store.Sent
			}
			require.Equal(t, want, out.State, "%s of a visit that is %s: %s", kind, state, out.Problem)
			require.Equal(t, want == store.Sent, len(o.mails) > before)
			if state == "stopped_and_held" {
				s.alter(`DELETE FROM visit_stop`)
			}
		}
	}
	for _, m := range o.mails {
		if m.To.Address == "ada@example.org" {
			require.NotContains(t, m.Subject+m.Text+m.HTML, "Mara", "staff read initials")
			require.Empty(t, m.Unsubscribe)
		}
		require.NotContains(t, m.Subject+m.Text, "Quist")
	}
}

func TestAMessageThatWouldComeTooLateStaysAway(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(51*time.Hour), s.straightening())
	o := &outbox{}
	for _, x := range []struct {
		kind, state string
		last        time.Time // at which it is still sent
	}{
		{"confirmation", "booked", v.Start}, {"reminder", "booked", v.Start}, {"prepare", "booked", v.Start}, {"running_late", "booked", v.Start},
		{"cancelled", "cancelled", v.Start}, {"aftercare", "finished", v.End.Add(48 * time.Hour)}, {"day_after", "finished", v.End.Add(48 * time.Hour)},
		{"aftercare_end", "finished", v.End.Add(72 * time.Hour)}, {"first_wash", "finished", v.End.Add(240 * time.Hour)},
		{"retouch", "finished", start.Add(28 * 24 * time.Hour)}, {"retouch_again", "finished", start.Add(28 * 24 * time.Hour)},
	} {
		s.alter(`UPDATE reminder SET state = 'sent', done_at = due_at WHERE kind = 'retouch'`)
		s.turn(v, x.state)
		r := store.Reminder{Visit: v.ID, Kind: x.kind, Due: start, Detail: json.RawMessage(`{"late_minutes": 20}`)}
		s.at(x.last.Add(time.Second))
		out := s.sent(o, s.inLine(r))
		require.Equal(t, store.Withdrawn, out.State, x.kind)
		require.Contains(t, out.Problem, "too late")
		s.at(x.last)
		require.Equal(t, store.Sent, s.sent(o, s.inLine(r)).State, x.kind)
	}
}

func TestATimeThatIsPencilledOverQuietHoursIsToldAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(99*time.Hour), s.straightening())
	s.turn(v, "held")
	evening := start.Add(12*time.Hour + 30*time.Minute) // 20:30
	s.at(evening)
	held := store.Reminder{Visit: v.ID, Kind: "held", Due: evening}
	s.alter(`UPDATE visit SET held_until = $1 WHERE visit_id = $2`, evening.Add(3*time.Hour), v.ID)
	require.Equal(t, store.Sent, s.sent(&outbox{}, s.inLine(held)).State, "in the morning it is over")
	s.alter(`UPDATE visit SET held_until = $1 WHERE visit_id = $2`, evening.Add(30*time.Hour), v.ID)
	require.Equal(t, store.Waiting, s.sent(&outbox{}, s.inLine(held)).State)
}

func TestWhoStoppedMessagesAndHasNoNumberStillConcernsTheDesk(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(99*time.Hour), s.straightening())
	wishes := "/v1/clients/" + v.ClientID + "/message-wishes"
	tag := s.call("GET", wishes, nil).is(200, nil).header.Get("ETag")
	s.call("PUT", wishes, object{"stopped_ways": []string{"mail"}}, "If-Match", tag).is(200, nil)
	before := v.Start.Add(-time.Hour)
	for kind, want := range map[string]store.ReminderState{"moved": store.ToCall, "prepare": store.NotWanted} {
		out := s.sent(&outbox{}, s.inLine(store.Reminder{Visit: v.ID, Kind: kind, Due: start, Before: &before}))
		require.Equal(t, want, out.State, kind)
		require.Contains(t, out.Problem, "stopped")
	}
	// The same start with somebody else in charge is news, too.
	as := `{"leads": ["` + s.ben + `"]}`
	out := s.sent(&outbox{}, s.inLine(store.Reminder{Visit: v.ID, Kind: "moved", Due: start, Before: &v.Start, Detail: json.RawMessage(as)}))
	require.Equal(t, store.ToCall, out.State)
	as = `{"leads": ["` + s.ada + `"]}`
	out = s.sent(&outbox{}, s.inLine(store.Reminder{Visit: v.ID, Kind: "moved", Due: start, Before: &v.Start, Detail: json.RawMessage(as)}))
	require.Equal(t, store.Withdrawn, out.State)
}

// A second invitation says "we wrote to you", and a reminder is for whoever has not
// heard of the visit for some hours.
func TestAMessageGoesByWhatBecameOfEarlierOnes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(51*time.Hour), s.straightening())
	o := &outbox{}
	s.turn(v, "finished")
	due := v.End.AddDate(0, 5, 0)
	s.at(due)
	again := store.Reminder{Visit: v.ID, Kind: "retouch_again", Due: due}
	out := s.sent(o, s.inLine(again))
	require.Equal(t, store.Withdrawn, out.State)
	require.Contains(t, out.Problem, "no first message")

	s.inLine(store.Reminder{Visit: v.ID, Kind: "retouch", Due: due.AddDate(0, 0, -30)})
	out = s.sent(o, s.inLine(again))
	require.Equal(t, store.Waiting, out.State, "the first still waits")
	require.True(t, out.Later.Equal(due.AddDate(0, 0, 7)), "%v", out.Later)
	for became, want := range map[string]store.ReminderState{"failed": store.Withdrawn, "not_wanted": store.Withdrawn, "sent": store.Sent, "to_call": store.Sent} {
		s.alter(`UPDATE reminder SET state = $1, done_at = due_at WHERE kind = 'retouch'`, became)
		require.Equal(t, want, s.sent(o, s.inLine(again)).State, became)
	}
	s.alter(`UPDATE reminder SET state = 'sent', due_at = $1, done_at = $1 WHERE kind = 'retouch'`, due.Add(-time.Hour))
	require.Equal(t, store.Waiting, s.sent(o, s.inLine(again)).State, "both at once after the rules have changed")

	s.turn(v, "booked")
	s.at(v.Start.Add(-24 * time.Hour))
	near := store.Reminder{Visit: v.ID, Kind: "reminder", Due: v.Start.Add(-24 * time.Hour)}
	require.Equal(t, store.Sent, s.sent(o, s.inLine(near)).State, "the confirmation has not gone out")
	s.alter(`UPDATE reminder SET state = 'sent', due_at = $1 WHERE kind = 'confirmation'`, v.Start.Add(-25*time.Hour))
	require.Equal(t, store.Withdrawn, s.sent(o, s.inLine(near)).State)
}

func TestInQuietHoursOnlyGoesOutWhatIsAboutTheNextHours(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(51*time.Hour), s.straightening()) // on Wednesday at 11
	o := &outbox{}
	morning := time.Date(2026, 6, 10, 8, 0, 0, 0, start.Location())
	for _, x := range []struct {
		kind, state string
		at          time.Time
		later       time.Time
	}{
		{"reminder", "booked", morning.Add(-10 * time.Hour), morning},
		{"reminder", "booked", morning.Add(-time.Second), morning},
		{"reminder", "booked", morning, time.Time{}},
		{"reminder", "booked", morning.Add(-12*time.Hour - time.Second), time.Time{}},
		{"reminder", "booked", morning.Add(-12 * time.Hour), morning},
		{"cancelled", "cancelled", v.Start.Add(-12 * time.Hour), morning},
		{"cancelled", "cancelled", v.Start.Add(-12*time.Hour + time.Second), time.Time{}},
		{"confirmation", "booked", v.Start.Add(-11 * time.Hour), time.Time{}},
		{"confirmation", "booked", v.Start.Add(-36 * time.Hour), morning.AddDate(0, 0, -1)},
		{"aftercare", "finished", v.End.Add(11 * time.Hour), time.Time{}},
		{"aftercare_end", "finished", v.End.Add(36 * time.Hour), morning.AddDate(0, 0, 2)},
	} {
		s.turn(v, x.state)
		s.at(x.at)
		out := s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: x.kind}))
		require.True(t, x.later.Equal(out.Later), "%s at %s: %+v", x.kind, x.at, out)
		require.Equal(t, x.later.IsZero(), out.State == store.Sent)
	}
	// A call wakes nobody, since it only stands on a list.
	s.turn(v, "booked")
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "phone": "+4930901820", "contact_by": "call"}, "If-Match", `"v1"`).is(200, nil)
	s.at(morning.Add(-5 * time.Hour))
	require.Equal(t, store.ToCall, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})).State)
	// What would come too late at the end of the quiet hours goes out now.
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "mail": "mara@example.org"}, "If-Match", `"v2"`).is(200, nil)
	s.messageRules(object{"quiet_from": "20:00", "quiet_to": "12:00"})
	require.Equal(t, store.Sent, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})).State)
}

func TestWhoStopsMessagesWhileOneIsOnItsWayDoesNotGetIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, tag := s.book(client, start.Add(51*time.Hour), s.straightening())
	o := &outbox{}
	d := s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"}) // a worker has read it by now
	s.wishes(client, object{"stopped_kinds": []string{"reminder"}})
	out := s.sent(o, d)
	require.Equal(t, store.NotWanted, out.State)
	require.Contains(t, out.Problem, "stopped")
	s.wishes(client, object{})
	d = s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})
	tag = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, nil).header.Get("ETag")
	require.Equal(t, store.Withdrawn, s.sent(o, d).State, "it was taken back meanwhile")
	d = s.inLine(store.Reminder{Visit: v.ID, Kind: "moved", Before: &v.Start})
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start}, "If-Match", tag).is(200, nil)
	require.Equal(t, store.Withdrawn, s.sent(o, d).State)
	s.alter(`DELETE FROM reminder WHERE reminder_id = $1`, d.Reminder.ID)
	require.Equal(t, store.Withdrawn, s.sent(o, d).State)
	require.Empty(t, o.mails)

	// Many who stop at once, and workers beside them: nobody gets a message after a
	// stop that was answered.
	for range 6 {
		s.wishes(client, object{})
		d := s.inLine(store.Reminder{Visit: v.ID, Kind: "prepare"})
		var stopped, sentAt time.Time
		var both sync.WaitGroup
		both.Go(func() {
			path := "/v1/clients/" + client + "/message-wishes"
			s.call("PUT", path, object{"stopped_kinds": []string{"prepare"}}, "If-Match", s.call("GET", path, nil).header.Get("ETag")).is(200, nil)
			stopped = time.Now()
		})
		both.Go(func() {
			begun := time.Now()
			if s.sent(o, d).State == store.Sent {
				sentAt = begun
			}
		})
		both.Wait()
		require.False(t, sentAt.After(stopped), "begun after the stop was answered")
	}
}

func TestAGuardianHearsOfAMinorsVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(51*time.Hour), s.straightening())
	o := &outbox{}
	s.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2026-06-20", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}).is(200, nil)
	require.Equal(t, store.Sent, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})).State)
	m := o.last(t)
	require.Equal(t, "rosa@example.org Rosa", m.To.Address+" "+m.To.Name)
	require.Contains(t, m.Text, "Rosa")
	s.turn(v, "finished")
	s.at(time.Date(2026, 6, 20, 9, 0, 0, 0, start.Location()))
	require.Equal(t, store.Sent, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "retouch"})).State)
	require.Equal(t, "mara@example.org", o.last(t).To.Address, "from the day on which she is of age")
}

func TestAMessageIsWrittenInTheClientsLanguage(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(51*time.Hour), s.straightening())
	o := &outbox{}
	text := func() string {
		require.Equal(t, store.Sent, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})).State)
		return o.last(t).Text
	}
	for tag, hello := range map[string]string{"de": "Moin", "pt": "Olá"} {
		doc := strings.ReplaceAll(string(languageFile(tag)), "Hello", hello)
		s.call("PUT", "/v1/languages/"+tag, object{"document": json.RawMessage(doc)}).is(200, nil)
	}
	require.Contains(t, text(), "Hello")
	s.messageRules(object{"language": "pt"})
	require.Contains(t, text(), "Olá")
	s.wishes(client, object{"language": "de-at"})
	require.Contains(t, text(), "Moin")
	s.wishes(client, object{"language": "fr"})
	require.Contains(t, text(), "Olá", "the salon's where there is none of the client's")
	tag := s.call("GET", "/v1/languages/pt", nil).header.Get("ETag")
	s.call("DELETE", "/v1/languages/pt", nil, "If-Match", tag).is(204, nil)
	require.Contains(t, text(), "Hello")
	// A file that this version of the program cannot read is none.
	s.wishes(client, object{"language": "de"})
	s.alter(`UPDATE message_language SET doc = '{"tag": "de"}', version = nextval('message_language_version')`)
	require.Contains(t, text(), "Hello")
	var list struct{ Items []api.LanguageInList }
	s.call("GET", "/v1/languages", nil).is(200, &list)
	require.NotEmpty(t, list.Items[1].Problem)
}

func TestNobodyIsAskedToComeAgainWhoComesAnyway(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(3*time.Hour), s.straightening())
	s.turn(v, "finished")
	s.at(start.AddDate(0, 0, 1))
	o := &outbox{}
	require.Equal(t, store.Sent, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "retouch"})).State)
	w, _ := s.book(client, start.Add(75*time.Hour), s.straightening())
	out := s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "retouch"}))
	require.Equal(t, store.Withdrawn, out.State)
	require.Contains(t, out.Problem, "another visit")
	s.turn(w, "cancelled")
	require.Equal(t, store.Sent, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "retouch"})).State)
}

func TestATextMessageHoldsTheLinkThatStopsTextMessages(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	g := runGateway(t)
	s.call("POST", "/v1/webhook", object{"address": g.address, "enabled": true}).is(201, nil)
	var c api.ClientBody
	s.call("POST", "/v1/clients", object{"given_name": "Tess", "mail": "tess@example.org", "phone": "+4930901820", "contact_by": "text"}).is(201, &c)
	v, _ := s.book(c.ID, start.Add(51*time.Hour), s.straightening())
	d := s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})
	out := s.sent(&outbox{}, d)
	require.Equal(t, store.Outcome{State: store.Sent, Channel: store.ByWebhook}, out)
	s.alter(`UPDATE reminder SET channel = 'webhook', state = 'sent', done_at = due_at WHERE reminder_id = $1`, d.Reminder.ID) // as the worker does
	_, bodies := g.taken()
	i := strings.Index(bodies[0], "/m/m_")
	require.Positive(t, i, bodies[0])
	path := bodies[0][i : i+len("/m/m_")+len(s.row.Key)+44]
	s.press(path+"/stop", "what", "way")
	require.Equal(t, []string{"text"}, s.wishesOf(c.ID).Ways)
	require.Equal(t, store.NotWanted, s.sent(&outbox{}, s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})).State)
	// She is called before she comes for nothing.
	s.turn(v, "cancelled")
	require.Equal(t, store.ToCall, s.sent(&outbox{}, s.inLine(store.Reminder{Visit: v.ID, Kind: "cancelled"})).State)
	// A gateway that is switched off is none.
	s.press(path+"/again", "what", "way")
	tag := s.call("GET", "/v1/webhook", nil).header.Get("ETag")
	s.call("PUT", "/v1/webhook", object{"address": g.address, "enabled": false}, "If-Match", tag).is(200, nil)
	require.Equal(t, store.ToCall, s.sent(&outbox{}, s.inLine(store.Reminder{Visit: v.ID, Kind: "cancelled"})).State)
}

func TestAMailSaysWhereOnePostStopsItOnlyOverAnEncryptedConnection(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(51*time.Hour), s.straightening())
	o := &outbox{}
	s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"}))
	require.Empty(t, o.last(t).Unsubscribe)
	server := api.New(s.store, "https://salon.example", func() time.Time { return *s.clock.Load() })
	d := s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})
	out, err := server.Deliver(o)(t.Context(), d)
	require.NoError(t, err)
	require.Equal(t, store.Sent, out.State)
	link, err := s.store.MessageLink(t.Context(), s.row, d.Reminder.ID)
	require.NoError(t, err)
	require.Equal(t, "https://salon.example/m/"+link+"/stop", o.last(t).Unsubscribe)
	require.Contains(t, o.last(t).Text, "https://salon.example/m/"+link)
}

func TestAReminderAsksForAYesOnlyWhereTheSalonWants(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(51*time.Hour), s.straightening())
	o := &outbox{}
	asks := func() bool {
		require.Equal(t, store.Sent, s.sent(o, s.inLine(store.Reminder{Visit: v.ID, Kind: "reminder"})).State)
		return strings.Contains(o.last(t).HTML, "Yes, I am coming")
	}
	require.True(t, asks())
	s.messageRules(object{"reminder_asks_yes": false})
	require.False(t, asks())
	s.messageRules(object{})
	s.call("POST", "/v1/visits/"+v.ID+"/yes", object{"how": "call"}).is(200, nil)
	require.False(t, asks(), "she has said so")
}
