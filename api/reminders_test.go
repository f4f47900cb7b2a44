package api_test

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// begin is a Monday long ago: to the database, whose clock is its own, every
// message of these tests is due at once. When each is due for the salon is
// checked apart.
var begin = time.Date(2024, 6, 10, 8, 0, 0, 0, time.FixedZone("", 2*3600))

// longAgo makes a salon at that time. Its tests mostly wait.
func longAgo(t *testing.T) *salon {
	t.Helper()
	t.Parallel()
	s := newSalon(t)
	s.at(begin)
	s.keepsAll()
	return s
}

// keepsAll lets nothing be erased by age, in all salons that there are: what happened
// long ago is old by the clock of the database.
func (s *salon) keepsAll() {
	s.t.Helper()
	s.alter(`INSERT INTO retention_rule SELECT salon_id, 36, 12, 120, 14, 12, 3, 12, 36, '2999-01-01', 2 FROM salon ON CONFLICT DO NOTHING`)
}

// settled waits until no message to the client of a visit is waiting and lists the
// state of each, by kind and number.
func (s *salon) settled(visit string) map[string]api.ReminderBody {
	s.t.Helper()
	for deadline := time.Now().Add(60 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		var v api.VisitBody
		s.call("GET", "/v1/visits/"+visit, nil).is(200, &v)
		out, waiting := map[string]api.ReminderBody{}, 0
		for _, r := range v.Reminders {
			if r.StaffID != "" {
				continue
			}
			name := r.Kind
			for _, taken := out[name]; taken; _, taken = out[name] {
				name += "+"
			}
			out[name] = r
			// The second invitation goes out a week after the first by the clock of the
			// server, which stands still here.
			if (r.State == "waiting" || r.State == "sending") && (r.Kind != "retouch_again" || out["retouch"].State == "waiting") {
				waiting++
			}
		}
		if waiting == 0 {
			return out
		}
		require.True(s.t, time.Now().Before(deadline), "still waiting: %v", out)
	}
}

func states(list map[string]api.ReminderBody) map[string]string {
	out := map[string]string{}
	for name, r := range list {
		out[name] = r.State
	}
	return out
}

func TestAVisitSendsItsMessagesFromBookingToRetouch(t *testing.T) {
	s := longAgo(t)
	p := s.deliver(nil)
	client := s.client("Mara")
	v, tag := s.book(client, begin.Add(97*time.Hour), s.straightening())
	first := s.settled(v.ID)
	require.Equal(t, map[string]string{"confirmation": "sent", "prepare": "sent", "reminder": "sent"}, states(first))
	require.True(t, first["confirmation"].Due.Equal(begin))
	require.True(t, first["reminder"].Due.Equal(v.Start.Add(-24*time.Hour)))

	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, nil)
	require.Equal(t, map[string]string{"confirmation": "sent", "prepare": "sent", "moved": "sent", "reminder": "sent", "reminder+": "sent"}, states(s.settled(v.ID)))
	s.at(v.Start.Add(6 * time.Hour))
	s.call("POST", "/v1/visits/"+v.ID+"/finish", object{}, "If-Match", a.header.Get("ETag")).is(200, nil)
	done := s.settled(v.ID)
	require.Equal(t, "sent sent sent", done["aftercare"].State+" "+done["aftercare_end"].State+" "+done["retouch"].State)
	require.Equal(t, 48*time.Hour, done["aftercare_end"].Due.Sub(done["aftercare"].Due))

	s.at(begin)
	w, tag := s.book(client, begin.Add(73*time.Hour), s.cut())
	s.settled(w.ID)
	s.call("POST", "/v1/visits/"+w.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	require.Equal(t, "sent", s.settled(w.ID)["cancelled"].State)

	letters := p.taken()
	require.Len(t, letters, 13)
	ids := map[string]bool{}
	for _, l := range letters {
		ids[l.id] = true
		require.Equal(t, "mara@example.org", l.to)
		require.Equal(t, "desk@harbour.example", l.from)
		require.Contains(t, l.text, "Mara")
		require.NotContains(t, l.text, "Quist", "a mail needs no family name")
		require.NotContains(t, l.text, "%!")
		require.NotContains(t, l.text, "<no value>")
	}
	require.Len(t, ids, 13, "every message has an id of its own")
	text := func(i int) string { return strings.Join(strings.Fields(letters[i].text), " ") }
	require.Contains(t, text(0)+text(1), "dry and untied")
	require.Contains(t, text(0)+text(1), "13:30")
}

func TestAMessageIsSentTheWayThatTheClientWishesWhenItIsDue(t *testing.T) {
	s := longAgo(t)
	way := func(name, contact string) string {
		var c api.ClientBody
		s.call("POST", "/v1/clients", object{"given_name": name, "mail": strings.ToLower(name) + "@example.org", "phone": "+4930901820", "contact_by": contact}).is(201, &c)
		return c.ID
	}
	visits := map[string]string{}
	for i, contact := range []string{"mail", "call", "text", "none"} {
		v, _ := s.book(way("Client"+contact, contact), begin.Add(time.Duration(73+i)*time.Hour), s.cut())
		visits[contact] = v.ID
	}
	late := way("Changes", "mail")
	v, _ := s.book(late, begin.Add(78*time.Hour), s.cut())
	s.call("PUT", "/v1/clients/"+late, object{"given_name": "Changes", "mail": "changes@example.org", "phone": "+4930901820", "contact_by": "none"}, "If-Match", `"v1"`).is(200, nil)
	p := s.deliver(nil)
	for contact, want := range map[string]string{"mail": "sent", "call": "to_call", "text": "to_call", "none": "not_wanted"} {
		require.Equal(t, map[string]string{"confirmation": want, "reminder": want}, states(s.settled(visits[contact])), contact)
	}
	require.Equal(t, map[string]string{"confirmation": "not_wanted", "reminder": "not_wanted"}, states(s.settled(v.ID)), "her wish at the time counts")
	require.Len(t, p.taken(), 2)
	for _, l := range p.taken() {
		require.Equal(t, "clientmail@example.org", l.to)
	}
	var list struct{ Items []api.ReminderBody }
	s.call("GET", "/v1/reminders?first_date=2024-06-10&last_date=2024-06-14", nil).is(200, &list)
	require.Len(t, list.Items, 15, "with one for each stylist, should the client be late")
	require.True(t, slices.IsSortedFunc(list.Items, func(a, b api.ReminderBody) int { return a.Due.Compare(b.Due) }))
}

func TestWhoWasNotAskedIsToldWhenSheHasAnswered(t *testing.T) {
	s := longAgo(t)
	var c api.ClientBody
	body := object{"given_name": "Lea", "phone": "+4930901820"}
	s.call("POST", "/v1/clients", body).is(201, &c)
	require.Equal(t, "not_asked", c.ContactBy)
	v, _ := s.book(c.ID, begin.Add(73*time.Hour), s.cut())
	p := s.deliver(nil)
	for kind, r := range s.settled(v.ID) {
		require.Equal(t, "not_wanted", r.State, kind)
		require.Equal(t, "nobody has asked her yet how she wants to hear of it", r.Problem, kind)
	}
	s.call("PUT", "/v1/clients/"+c.ID, object{"given_name": "Lea", "phone": "+4930901820", "contact_by": "not_asked", "note": "quiet"}, "If-Match", `"v1"`).is(200, &c)
	require.Equal(t, "not_asked", c.ContactBy, "an answer can be sent back as it came")
	s.call("PUT", "/v1/clients/"+c.ID, object{"given_name": "Lea", "phone": "+4930901820", "mail": "lea@example.org", "contact_by": "mail"}, "If-Match", `"v2"`).is(200, nil)
	require.Equal(t, map[string]string{"confirmation": "sent", "reminder": "sent"}, states(s.settled(v.ID)))
	require.Len(t, p.taken(), 2)

	s.call("POST", "/v1/clients", body).is(201, &c)
	v, tag := s.book(c.ID, begin.Add(74*time.Hour), s.cut())
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	require.Equal(t, "to_call", s.settled(v.ID)["cancelled"].State, "she would come for nothing")
}

func TestAServerThatIsBusyIsAskedAgainAndOneThatRefusesIsNot(t *testing.T) {
	s := longAgo(t)
	busy := map[string]int{}
	p := s.deliver(func(to string) error {
		switch {
		case strings.HasPrefix(to, "gone"):
			return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such person"}
		case strings.HasPrefix(to, "busy"):
			if busy[to]++; busy[to] == 1 {
				return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "later"}
			}
		}
		return nil
	})
	gone, _ := s.book(s.client("Gone"), begin.Add(2*time.Hour), []object{s.by(s.ada, "Dry cut")})
	later, _ := s.book(s.client("Busy"), begin.Add(2*time.Hour), []object{s.by(s.ben, "Dry cut")})
	refused := s.settled(gone.ID)["confirmation"]
	require.Equal(t, "failed", refused.State)
	require.Contains(t, refused.Problem, "5.1.1")
	require.NotContains(t, refused.Problem, "gone@")
	require.NotContains(t, refused.Problem, "no such person", "a server's words may hold an address")
	require.Equal(t, "sent", s.settled(later.ID)["confirmation"].State)
	require.Equal(t, 2, busy["busy@example.org"])
	require.Len(t, p.taken(), 1)
	require.Equal(t, 3, p.asked, "the refused one is not tried again")
}

func TestAMessageThatComesTooLateIsLeftOut(t *testing.T) {
	s := longAgo(t)
	v, tag := s.book(s.client("Mara"), begin.Add(97*time.Hour), s.straightening())
	gone, goneTag := s.book(s.client("Nora"), begin.Add(73*time.Hour), s.cut())
	s.call("POST", "/v1/visits/"+gone.ID+"/cancel", nil, "If-Match", goneTag).is(200, nil)
	done, doneTag := s.book(s.client("Ines"), begin.Add(25*time.Hour), s.straightening())
	s.at(done.Start.Add(5 * time.Hour))
	s.call("POST", "/v1/visits/"+done.ID+"/finish", object{}, "If-Match", doneTag).is(200, nil)
	s.at(v.Start.Add(time.Minute)) // for days no mail has gone out
	p := s.deliver(nil)
	late := s.settled(v.ID)
	require.Equal(t, map[string]string{"confirmation": "withdrawn", "prepare": "withdrawn", "reminder": "withdrawn"}, states(late))
	require.Contains(t, late["reminder"].Problem, "too late")
	require.Equal(t, map[string]string{"confirmation": "withdrawn", "reminder": "withdrawn", "cancelled": "withdrawn"}, states(s.settled(gone.ID)))
	kinds := states(s.settled(done.ID))
	delete(kinds, "retouch_again") // a week after the first
	require.Equal(t, map[string]string{"confirmation": "withdrawn", "prepare": "withdrawn", "reminder": "withdrawn", "aftercare": "withdrawn", "day_after": "withdrawn", "aftercare_end": "sent", "first_wash": "sent",
		"retouch": "sent"}, kinds, "48 hours and a little after the end")
	require.Len(t, p.taken(), 3)
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
}

func TestASalonWithoutAnAddressIsToldSo(t *testing.T) {
	s := longAgo(t)
	s.call("PUT", "/v1/salon", object{"name": "Harbour Chairs", "currency": "EUR", "length_unit": "cm", "heat_unit": "C", "address": "", "phone": "", "mail": "", "emergency": "112"}, "If-Match", `"v1"`).is(200, nil)
	v, _ := s.book(s.client("Mara"), begin.Add(25*time.Hour), s.cut())
	p := s.deliver(nil)
	r := s.settled(v.ID)["confirmation"]
	require.Equal(t, "failed", r.State)
	require.Contains(t, r.Problem, "salon's settings")
	require.Empty(t, p.taken())
}

func TestAMessageIsDueWhenItsVisitSaysAndNotBefore(t *testing.T) {
	s := longAgo(t)
	s.at(time.Now().AddDate(2, 0, 0).Truncate(time.Hour)) // ahead of the database's clock
	p := s.deliver(nil)
	open := s.openings(s.cut(), nil)
	v, tag := s.book(s.client("Mara"), open.Openings[len(open.Openings)-1].Start, s.cut())
	due := map[string]time.Time{}
	for _, r := range v.Reminders {
		require.Equal(t, "waiting", r.State)
		due[r.ID] = r.Due
	}
	jobs := s.jobs()
	require.Equal(t, slices.Sorted(maps.Keys(due)), slices.Sorted(maps.Keys(jobs)))
	for id, at := range due {
		require.WithinDuration(t, at, jobs[id], time.Millisecond)
	}
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	require.Len(t, s.jobs(), 1, "only the cancellation is left to be sent")
	require.Empty(t, p.taken())
}

// jobs lists when the queue will work off each message.
func (s *salon) jobs() map[string]time.Time {
	s.t.Helper()
	rows, err := s.db().Query(`SELECT args->>'reminder', scheduled_at FROM river_job WHERE kind = 'reminder' AND state = 'scheduled'`)
	require.NoError(s.t, err)
	defer rows.Close()
	out := map[string]time.Time{}
	for rows.Next() {
		var id string
		var at time.Time
		require.NoError(s.t, rows.Scan(&id, &at))
		out[id] = at
	}
	require.NoError(s.t, rows.Err())
	return out
}
