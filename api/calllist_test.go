package api_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// toCall makes the confirmation of a visit one that is to be said, and returns its id:
// the client has waited for the visit, and does not know of it.
func (s *salon) toCall(visit string) string {
	s.t.Helper()
	client := s.column(`SELECT client_id::text FROM visit WHERE visit_id = $1`, visit)[0]
	day := friday(10, 0).Format(time.DateOnly)
	var w api.WishBody
	s.call("POST", "/v1/waiting-list", object{"client_id": client, "first_date": day, "last_date": day, "services": s.trim(s.ben)},
		"Idempotency-Key", fmt.Sprintf("wish%d", bookings.Add(1))).is(201, &w)
	s.alter(`UPDATE wish SET visit_id = $1, state = 'booked' WHERE wish_id = $2`, visit, w.ID)
	return s.becomes(visit, "confirmation", "to_call")
}

// becomes gives the last message of a kind about a visit a state, as sending does.
func (s *salon) becomes(visit, kind, state string) (id string) {
	s.t.Helper()
	db := s.db()
	require.NoError(s.t, db.QueryRow(`UPDATE reminder SET state = $3, done_at = due_at WHERE reminder_id = (
		SELECT max(reminder_id) FROM reminder WHERE visit_id = $1 AND kind = $2) RETURNING reminder_id`, visit, kind, state).Scan(&id))
	return id
}

// callList is whom the desk is to call.
func (s *salon) callList() []api.CallBody {
	s.t.Helper()
	var out struct {
		Open  int
		Items []api.CallBody
	}
	s.call("GET", "/v1/calls", nil).is(200, &out)
	require.Len(s.t, out.Items, out.Open)
	return out.Items
}

// tried notes a try under a key of its own.
func (s *salon) tried(id string, body object) answer {
	s.t.Helper()
	return s.call("POST", "/v1/calls/"+id+"/tries", body, "Idempotency-Key", fmt.Sprintf("try%d", bookings.Add(1)))
}

// caller adds a client who wishes to be called.
func (s *salon) caller(name string) string {
	s.t.Helper()
	var c api.ClientBody
	s.call("POST", "/v1/clients", object{"given_name": name, "family_name": "Quist", "phone": "+4930901820", "contact_by": "call"}).is(201, &c)
	return c.ID
}

func TestACallIsMadeUntilItIsSettled(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.caller("Mara")
	v, _ := s.book(client, friday(10, 0), s.straightening())
	require.Empty(t, s.callList(), "it has not been sent yet")
	id := s.toCall(v.ID)
	list := s.callList()
	require.Len(t, list, 1)
	c := list[0]
	require.Equal(t, []any{id, "confirmation", "message", "Mara Quist", "+4930901820", "call", false, v.ID, "Ada"},
		[]any{c.ID, c.Kind, c.Why, c.Name, c.Phone, c.ContactBy, c.Voice, c.VisitID, c.LeadName})
	require.Contains(t, c.Words, "10:00")
	require.NotContains(t, c.Words, "http", "nobody reads a link out")
	require.Empty(t, c.Tries)

	again := monday(11, 0)
	var made api.CallTryAnswer
	s.tried(id, object{"outcome": "no_answer", "note": "rang for long", "again_at": again}).is(201, &made)
	require.False(t, made.Settled)
	s.tried(id, object{"outcome": "left_word"}).is(201, &made)
	require.False(t, made.Settled, "she did not allow word on the machine")
	c = s.callList()[0]
	require.Len(t, c.Tries, 2)
	require.Equal(t, []any{"no_answer", "rang for long", "owner"}, []any{c.Tries[0].Outcome, c.Tries[0].Note, c.Tries[0].By})
	require.True(t, c.Tries[0].Again.Equal(again))

	s.call("PUT", "/v1/clients/"+client+"/message-wishes", object{"voice_message_allowed": true}, "If-Match", `"v1"`).is(200, nil)
	require.True(t, s.callList()[0].Voice)
	s.tried(id, object{"outcome": "left_word"}).is(201, &made)
	require.True(t, made.Settled)
	require.Empty(t, s.callList())
	require.Contains(t, s.tried(id, object{"outcome": "reached"}).refused(409, "conflict").Detail, "no call to make")
}

func TestWhoWasOnTheTelephoneIsNotCalledToConfirmABooking(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.caller("Mara"), friday(10, 0), s.trim(s.ben))
	s.becomes(v.ID, "confirmation", "to_call")
	require.Empty(t, s.callList(), "she said when she comes")

	w, _ := s.book(s.caller("Juna"), friday(11, 0), s.trim(s.ben))
	s.toCall(w.ID)
	require.Len(t, s.callList(), 1, "who has waited for a time does not know of it")

	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	s.becomes(v.ID, "cancelled", "to_call")
	var last api.UndoBody
	s.call("GET", "/v1/undo", nil).is(200, &last)
	s.tried(s.callList()[0].ID, object{"outcome": "no_answer"}).is(201, nil)
	s.call("POST", "/v1/undo", object{"id": last.Action.ID}).is(200, nil)
	s.becomes(v.ID, "confirmation", "to_call")
	require.Len(t, s.callList(), 2, "who may have heard that it is off hears that it is not")
}

func TestAllThatIsToBeSaidOfAVisitIsOneCallAndTodayComesFirst(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	later, _ := s.book(s.caller("Juna"), tuesday(12, 0).AddDate(0, 0, 7), s.straightening())
	v, _ := s.book(s.caller("Mara"), tuesday(10, 0), s.straightening())
	s.becomes(later.ID, "prepare", "to_call")
	s.alter(`UPDATE reminder SET due_at = $1 WHERE visit_id = $2 AND kind = 'prepare'`, monday(7, 0).AddDate(0, 0, -3), later.ID)
	s.at(tuesday(7, 0))
	prepare, reminder := s.becomes(v.ID, "prepare", "to_call"), s.becomes(v.ID, "reminder", "to_call")
	list := s.callList()
	require.Len(t, list, 2)
	require.Equal(t, []string{v.ID, later.ID}, []string{list[0].VisitID, list[1].VisitID}, "today's visit comes first, though the other call is due for longer")
	require.Equal(t, []any{reminder, "reminder", true}, []any{list[0].ID, list[0].Kind, list[0].AskYes})
	require.Len(t, list[0].Also, 1)
	require.Equal(t, []string{prepare, "prepare"}, []string{list[0].Also[0].ID, list[0].Also[0].Kind})
	require.NotEmpty(t, list[0].Also[0].Words)

	s.tried(reminder, object{"outcome": "no_answer"}).is(201, nil)
	require.Len(t, s.callList()[0].Also, 1)
	s.tried(reminder, object{"outcome": "reached", "said_yes": true}).is(201, nil)
	list = s.callList()
	require.Len(t, list, 1, "all was said")
	require.Equal(t, later.ID, list[0].VisitID)
}

func TestAYesOnTheTelephoneIsNotedWithTheVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.caller("Mara"), friday(10, 0), s.trim(s.ben))
	s.sendDue()
	s.at(friday(10, 0).AddDate(0, 0, -1))
	id := s.becomes(v.ID, "reminder", "to_call")
	require.True(t, s.callList()[0].AskYes)
	s.tried(id, object{"outcome": "reached", "said_yes": true}).is(201, nil)
	require.Empty(t, s.callList())
	require.Equal(t, []string{"call owner"}, s.column(`SELECT how || ' ' || noted_by FROM visit_yes WHERE visit_id = $1`, v.ID))
}

func TestWhoHasNotSaidYesIsCalledSomeHoursAfterTheReminder(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), friday(10, 0), s.trim(s.ben))
	s.sendDue()
	asked := friday(10, 0).AddDate(0, 0, -1)
	s.at(asked)
	s.sendDue()
	s.at(asked.Add(4*time.Hour - time.Second))
	require.Empty(t, s.callList())
	s.at(asked.Add(4 * time.Hour))
	list := s.callList()
	require.Len(t, list, 1)
	require.Equal(t, []any{"reminder", "no_yes", true}, []any{list[0].Kind, list[0].Why, list[0].AskYes})
	require.True(t, list[0].Due.Equal(asked.Add(4*time.Hour)))

	// Her yes, another time, the end of it: the question is answered each time.
	s.call("POST", "/v1/visits/"+v.ID+"/yes", object{"how": "text"}).is(200, nil)
	require.Empty(t, s.callList())
	s.call("DELETE", "/v1/visits/"+v.ID+"/yes", nil).is(200, nil)
	require.Len(t, s.callList(), 1)
	_, tag := s.read(v.ID)
	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": friday(12, 0)}, "If-Match", tag).is(200, nil)
	require.Empty(t, s.callList(), "what was asked was another time")
	a = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": friday(10, 0)}, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Len(t, s.callList(), 1)
	s.at(friday(10, 1))
	require.Empty(t, s.callList(), "she should be here")
	s.at(asked.Add(5 * time.Hour))
	s.call("PUT", "/v1/message-rules", object{"reminder_asks_yes": false}, "If-Match", `"v1"`).is(200, nil)
	require.Empty(t, s.callList(), "nobody asked")
	s.call("PUT", "/v1/message-rules", object{}, "If-Match", `"v2"`).is(200, nil)
	require.Len(t, s.callList(), 1)
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Empty(t, s.callList())
}

func TestACallWithoutAReasonLeavesTheListByItself(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.caller("Mara")
	v, tag := s.book(client, friday(10, 0), s.trim(s.ben))
	id := s.toCall(v.ID)
	require.Len(t, s.callList(), 1)
	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": friday(12, 0)}, "If-Match", tag).is(200, nil)
	moved := s.becomes(v.ID, "moved", "to_call")
	list := s.callList()
	require.Len(t, list, 1, "the newer one says where the visit is")
	require.Equal(t, moved, list[0].ID)
	require.Contains(t, s.tried(id, object{"outcome": "reached"}).refused(409, "conflict").Detail, "has changed")

	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	s.becomes(v.ID, "cancelled", "to_call")
	list = s.callList()
	require.Len(t, list, 1)
	require.Equal(t, "cancelled", list[0].Kind)
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "contact_by": "none"}, "If-Match", `"v1"`).is(200, nil)
	require.Empty(t, s.callList(), "she does not wish it any more")
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "phone": "+4930901821", "contact_by": "call"}, "If-Match", `"v2"`).is(200, nil)
	require.Equal(t, "+4930901821", s.callList()[0].Phone, "as it is now")
	s.at(friday(12, 1))
	require.Empty(t, s.callList(), "it is past")
}

// A call is judged by what its message keeps, too: how late the visit was to begin,
// and who was in charge.
func TestACallIsJudgedByWhatItsMessageKeeps(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), friday(10, 0), s.trim(s.ben))
	s.alter(`UPDATE client SET contact_by = 'call', phone = '+4930901821'`)
	s.alter(`DELETE FROM reminder`)
	kinds := func() []string {
		var out []string
		for _, c := range s.callList() {
			out = append(out, c.Kind)
		}
		return out
	}
	call := func(kind, detail string) {
		s.inLine(store.Reminder{Visit: v.ID, Kind: kind, Before: &v.Start, Detail: json.RawMessage(detail)})
		s.alter(`UPDATE reminder SET state = 'to_call' WHERE kind = $1`, kind)
	}
	call("running_late", `{"late_minutes": 30, "new_start_at": "`+v.Start.Add(30*time.Minute).Format(time.RFC3339)+`"}`)
	require.Equal(t, []string{"running_late"}, kinds())
	call("moved", `{"leads": ["`+s.ada+`"]}`)
	require.Contains(t, kinds(), "moved", "somebody else is in charge")
	s.alter(`UPDATE reminder SET detail = $1 WHERE kind = 'moved'`, `{"leads": ["`+s.ben+`"]}`)
	require.Equal(t, []string{"running_late"}, kinds(), "all is as before")
	s.alter(`UPDATE visit SET starts_at = starts_at + interval '1 day', ends_at = ends_at + interval '1 day'`)
	require.NotContains(t, kinds(), "running_late", "that was another day")
}

func TestOneCallSaysWhenAVisitIsAndHowToPrepare(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.caller("Mara"), tuesday(10, 0), s.straightening())
	s.toCall(v.ID)
	id := s.becomes(v.ID, "prepare", "to_call")
	list := s.callList()
	require.Len(t, list, 1)
	require.Equal(t, id, list[0].ID)
	require.Contains(t, list[0].Words, "10:00")
	s.becomes(v.ID, "prepare", "not_wanted")
	require.Equal(t, "confirmation", s.callList()[0].Kind)
}

func TestAMinorsGuardianIsCalled(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.caller("Mara")
	s.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2030-01-01", "guardian_name": "Runa Quist", "guardian_phone": "+4930901822",
		"contact_by": "call", "guardian_stays": "reachable"}).is(200, nil)
	v, _ := s.book(client, friday(10, 0), s.trim(s.ben))
	s.toCall(v.ID)
	c := s.callList()[0]
	require.Equal(t, []any{true, "Runa Quist", "Mara Quist", "+4930901822"}, []any{c.Minor, c.Contact, c.Name, c.Phone})
}

func TestTriesThatCannotBeAreRefusedWithWhatWouldBeRight(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.caller("Mara"), friday(10, 0), s.trim(s.ben))
	id := s.toCall(v.ID)
	for _, x := range []struct {
		body object
		want string
	}{
		{object{"outcome": "asleep"}, "body /outcome"},
		{object{}, "body /outcome"},
		{object{"outcome": "no_answer", "again_at": monday(7, 0)}, "body /again_at"},
		{object{"outcome": "no_answer", "again_at": monday(9, 0).AddDate(0, 0, 40)}, "body /again_at"},
		{object{"outcome": "reached", "again_at": monday(9, 0)}, "body /again_at"},
		{object{"outcome": "left_word", "said_yes": true}, "body /said_yes"},
		{object{"outcome": "no_answer", "note": strings.Repeat("x", 301)}, "body /note"},
	} {
		require.Equal(t, []string{x.want}, pointers(s.tried(id, x.body).refused(422, "invalid")), "%v", x.body)
	}
	s.tried(store.NewID(), object{"outcome": "reached"}).refused(404, "not-found")
	require.Empty(t, s.callList()[0].Tries)
}

func TestTwoDesksWhoReachSomebodyAtOnceHaveReachedHerOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.caller("Mara"), friday(10, 0), s.trim(s.ben))
	id := s.toCall(v.ID)
	answers := s.atOnce(6, func(i int) request {
		return request{"POST", "/v1/calls/" + id + "/tries", object{"outcome": "reached"}, []string{"Idempotency-Key", fmt.Sprint(i / 2)}}
	})
	made := s.column(`SELECT outcome FROM call_try WHERE reminder_id = $1`, id)
	require.Len(t, made, 1, "%v", sorted(answers))
}

func TestNoNumberIsLoggedOrKeptWithACall(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.caller("Mara"), friday(10, 0), s.trim(s.ben))
	id := s.toCall(v.ID)
	s.callList()
	s.tried(id, object{"outcome": "no_answer"}).is(201, nil)
	for _, table := range []string{"call_try", "reminder", "idempotency"} {
		for _, row := range s.column(`SELECT x::text FROM ` + table + ` x`) {
			require.NotContains(t, row, "30901820", table)
		}
	}
}
