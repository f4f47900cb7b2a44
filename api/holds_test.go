package api_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// pencil pencils services at a start and returns the visit and its ETag.
func (s *salon) pencil(at time.Time, services []object, more object) (api.VisitBody, string) {
	s.t.Helper()
	body := object{"start": at, "services": services}
	for k, v := range more {
		body[k] = v
	}
	var v api.VisitBody
	a := s.call("POST", "/v1/holds", body, "Idempotency-Key", fmt.Sprintf("h%d", bookings.Add(1))).is(201, &v)
	return v, a.header.Get("ETag")
}

// holds lists what is pencilled.
func (s *salon) holds() []api.HoldBody {
	s.t.Helper()
	var list struct{ Items []api.HoldBody }
	s.call("GET", "/v1/holds", nil).is(200, &list)
	return list.Items
}

func (s *salon) bookHeld(id, tag string, more object) answer {
	s.t.Helper()
	body := object{"approved_by": "Ada"}
	for k, v := range more {
		body[k] = v
	}
	return s.call("POST", "/v1/visits/"+id+"/book", body, "If-Match", tag)
}

// blocks are the reservations of a visit as they stand in the database, with the
// number of the transaction that wrote each.
func (s *salon) blocks(visit string) []string {
	s.t.Helper()
	return s.column(`SELECT unit_id || ' ' || span || ' ' || xmin FROM block WHERE visit_id = $1 ORDER BY 1`, visit)
}

// column collects the texts that a query gives.
func (s *salon) column(query string, args ...any) []string {
	s.t.Helper()
	rows, err := s.db().Query(query, args...)
	require.NoError(s.t, err)
	defer rows.Close()
	var out []string
	for rows.Next() {
		var x string
		require.NoError(s.t, rows.Scan(&x))
		out = append(out, x)
	}
	require.NoError(s.t, rows.Err())
	return out
}

// partsOf lists what calendars show of a visit.
func (s *salon) partsOf(visit string) []string {
	s.t.Helper()
	return s.column(`SELECT subject || ' ' || kind FROM visit_part WHERE visit_id = $1 AND live ORDER BY 1`, visit)
}

func (s *salon) trim(lead string) []object { return []object{s.by(lead, "Dry cut")} }

func TestAPencilledVisitKeepsItsTimeWithoutAClientAMessageOrACalendar(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	feed := s.feed("staff", s.ada)
	before := s.openings(s.straightening(), object{"first_date": "2026-06-09", "last_date": "2026-06-09"})
	v, tag := s.pencil(start.Add(25*time.Hour), s.straightening(), object{"title": "asks for her sister", "note": "rings back"})
	require.Equal(t, "held", v.State)
	require.Equal(t, `"v1"`, tag)
	require.Empty(t, v.ClientID)
	require.Equal(t, "asks for her sister", v.Title)
	require.True(t, start.Add(10*time.Minute).Equal(*v.HeldUntil), "ten minutes, as the rules say")
	require.Len(t, v.Steps, 14)
	require.Empty(t, v.Reminders)
	require.NotEmpty(t, s.blocks(v.ID))
	require.NotContains(t, string(feed.ask("GET").body), "VEVENT", "nobody's calendar shows it")

	after := s.openings(s.straightening(), object{"first_date": "2026-06-09", "last_date": "2026-06-09"})
	require.Less(t, after.Count, before.Count)
	p := s.call("POST", "/v1/visits", object{"client_id": s.client("Nora"), "start": v.Start, "services": s.straightening(), "approved_by": "Ada"},
		"Idempotency-Key", "other").refused(409, "taken")
	require.Len(t, p.Alternatives, 3)

	list := s.holds()
	require.Len(t, list, 1)
	require.Equal(t, v.ID, list[0].ID)
	require.Equal(t, 600, list[0].SecondsLeft)
	require.EqualValues(t, 1, list[0].Version)
	s.at(start.Add(9*time.Minute + 59*time.Second))
	require.Equal(t, 1, s.holds()[0].SecondsLeft)
	day := func() (visits, blocks int) {
		var b api.DayBody
		s.call("GET", "/v1/days/2026-06-09", nil).is(200, &b)
		for _, u := range b.Units {
			blocks += len(u.Bookings)
		}
		return len(b.Visits), blocks
	}
	visits, blocks := day()
	require.Equal(t, []int{1, len(s.blocks(v.ID))}, []int{visits, blocks})
	s.at(start.Add(10 * time.Minute))
	require.Empty(t, s.holds())
	visits, blocks = day()
	require.Equal(t, []int{0, 0}, []int{visits, blocks}, "nor does the day show it any more")
	require.Equal(t, before.Count, s.openings(s.straightening(), object{"first_date": "2026-06-09", "last_date": "2026-06-09"}).Count,
		"whoever looks sees the time free at once")
	s.book(s.client("Ines"), v.Start, s.straightening())
	var gone api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &gone)
	require.Equal(t, "lapsed", gone.State)
	require.Empty(t, s.blocks(v.ID))
}

func TestAPencilledVisitIsBookedWithoutAGap(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	feed := s.feed("staff", s.ada)
	v, tag := s.pencil(start.Add(73*time.Hour), s.straightening(), object{"title": "somebody", "note": "rings back"})
	before := s.blocks(v.ID)
	client := s.client("Mara")
	var booked api.VisitBody
	a := s.bookHeld(v.ID, tag, object{"client_id": client}).is(200, &booked)
	require.Equal(t, `"v2"`, a.header.Get("ETag"))
	require.Equal(t, "booked", booked.State)
	require.Equal(t, client, booked.ClientID)
	require.Empty(t, booked.Title)
	require.Nil(t, booked.HeldUntil)
	require.Equal(t, "rings back", booked.Note)
	require.Equal(t, "Ada", booked.ApprovedBy)
	require.Equal(t, v.Steps, booked.Steps)
	require.Equal(t, v.Services, booked.Services)
	require.Equal(t, before, s.blocks(v.ID), "the rows of the blocks are the same ones")
	require.Equal(t, []string{"confirmation", "prepare", "reminder"}, toClient(booked), "as for any booking")
	require.Contains(t, string(feed.ask("GET").body), "M. Q.")
	direct, _ := s.book(s.client("Nora"), start.Add(97*time.Hour), s.straightening())
	require.Len(t, s.partsOf(booked.ID), len(s.partsOf(direct.ID)), "the calendars get what they get of any booking")

	s.bookHeld(v.ID, tag, object{"client_id": client}).refused(412, "stale")
	s.bookHeld(v.ID, `"v2"`, object{"client_id": client}).refused(409, "conflict")
	s.at(start.Add(24 * time.Hour))
	s.book(s.client("Ines"), start.Add(121*time.Hour), s.straightening())
	var now api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &now)
	require.Equal(t, "booked", now.State, "what is booked does not lapse")
}

func TestAPressALittleLateStillBooks(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.pencil(start.Add(25*time.Hour), s.trim(s.ben), nil)
	before := s.blocks(v.ID)
	s.at(start.Add(11 * time.Minute))
	s.bookHeld(v.ID, tag, object{"client_id": s.client("Mara")}).is(200, nil)
	require.Equal(t, before, s.blocks(v.ID))

	// Its end has been noted, but its time is still free.
	v, tag = s.pencil(start.Add(49*time.Hour), s.trim(s.ben), nil)
	s.at(start.Add(22 * time.Minute))
	s.book(s.client("Nora"), start.Add(73*time.Hour), s.trim(s.ben))
	require.Empty(t, s.blocks(v.ID))
	var booked api.VisitBody
	s.bookHeld(v.ID, tag, object{"client_id": s.client("Ines")}).is(200, &booked)
	require.Equal(t, "booked", booked.State)
	require.Equal(t, v.Services, booked.Services)
	require.True(t, v.Start.Equal(booked.Start))
	require.NotEmpty(t, s.blocks(v.ID))
	require.Equal(t, []string{"confirmation", "reminder"}, toClient(booked))
	require.NotEmpty(t, s.partsOf(v.ID))

	// And a time that somebody else has got by then.
	v, tag = s.pencil(start.Add(97*time.Hour), s.trim(s.ben), nil)
	s.at(start.Add(33 * time.Minute))
	s.book(s.client("Olga"), v.Start, s.trim(s.ben))
	late := s.client("Rosa")
	p := s.bookHeld(v.ID, tag, object{"client_id": late}).refused(409, "taken")
	require.Len(t, p.Alternatives, 3)
	require.Equal(t, s.ben, p.Alternatives[0].LeadID)
	require.False(t, p.Alternatives[0].Start.Before(v.Start))
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &booked)
	require.Equal(t, "lapsed", booked.State)
	require.Empty(t, booked.ClientID)

	// One that was to begin long ago is over.
	v, tag = s.pencil(start.Add(121*time.Hour), s.trim(s.ben), nil)
	s.at(v.Start.Add(16 * time.Minute))
	s.bookHeld(v.ID, tag, object{"client_id": late}).refused(409, "conflict")
}

func TestWhatCanNeverBeBookedCannotBePencilledAndAYesIsAskedOnlyAtBooking(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	at := start.Add(25 * time.Hour)
	refused := []object{{"service_id": s.services["Straightening"], "hair": long(0)}}
	p := s.call("POST", "/v1/holds", object{"start": at, "services": refused}, "Idempotency-Key", "no").refused(422, "refused")
	require.NotEmpty(t, p.Cautions)
	require.Equal(t, "refuse", p.Cautions[0].Level)

	v, tag := s.pencil(at, s.straightening(), nil)
	require.Contains(t, fmt.Sprint(v.Cautions), "needs_yes", "said beforehand")
	client := s.client("Mara")
	p = s.bookHeld(v.ID, tag, object{"client_id": client, "approved_by": ""}).refused(422, "refused")
	require.Equal(t, []string{"body /approved_by"}, pointers(p))
	p = s.bookHeld(v.ID, tag, object{"client_id": client, "approved_by": "Mina"}).refused(422, "invalid")
	require.Equal(t, []string{"body /approved_by"}, pointers(p))
	s.bookHeld(v.ID, tag, object{"client_id": client}).is(200, nil)
	require.Empty(t, s.holds())
}

func TestHairIsJudgedAnewWhenAPencilledVisitIsBooked(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.pencil(start.Add(97*time.Hour), s.straightening(), object{"until": start.Add(72 * time.Hour)})
	var row api.SalonBody
	a := s.call("GET", "/v1/salon", nil).is(200, &row)
	row.ChairTime = map[string]float64{"exposure_refuse_minutes": 40}
	s.call("PUT", "/v1/salon", row, "If-Match", a.header.Get("ETag")).is(200, nil)
	p := s.bookHeld(v.ID, tag, object{"client_id": s.client("Mara")}).refused(422, "refused")
	require.Equal(t, "refuse", p.Cautions[0].Level, "the salon has become stricter meanwhile")
}

func TestRulesOfSpacingHoldForAPencilledVisitWhenItIsBooked(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	s.book(client, start.Add(25*time.Hour), s.straightening())
	v, tag := s.pencil(start.Add(49*time.Hour), []object{s.by(s.ben, "Root colour")}, nil)
	p := s.bookHeld(v.ID, tag, object{"client_id": client, "approved_by": ""}).refused(422, "refused")
	require.Equal(t, "spacing", p.Cautions[0].Code)
	s.bookHeld(v.ID, tag, object{"client_id": s.client("Nora"), "approved_by": ""}).is(200, nil)
}

func TestAnAbsenceNotedMeanwhileHindersTheBooking(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.pencil(start.Add(49*time.Hour), s.trim(s.ben), object{"until": start.Add(24 * time.Hour)})
	s.call("POST", "/v1/absences", object{"unit_id": s.ben, "from": v.Start, "to": v.End}).is(201, nil)
	p := s.bookHeld(v.ID, tag, object{"client_id": s.client("Mara")}).refused(409, "taken")
	require.Contains(t, p.Detail, "Ben is not there from 09:00 to 09:30")
	require.NotEmpty(t, p.Alternatives)
	require.Len(t, s.holds(), 1, "it stays pencilled")
}

func TestHowLongAVisitIsPencilled(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	far := start.Add(45 * 24 * time.Hour)
	for _, x := range []struct {
		name  string
		start time.Time
		more  object
		until time.Time
	}{
		{"some minutes", start.Add(25 * time.Hour), object{"minutes": 1440}, start.Add(24 * time.Hour)},
		{"until the date of a deposit", far.Add(time.Hour), object{"until": start.Add(30 * 24 * time.Hour)}, start.Add(30 * 24 * time.Hour)},
		{"no longer than it can be booked", start.Add(time.Hour), object{"minutes": 180}, start.Add(75 * time.Minute)},
	} {
		v, _ := s.pencil(x.start, s.trim(s.ben), x.more)
		require.True(t, x.until.Equal(*v.HeldUntil), x.name)
	}
	for name, x := range map[string]object{
		"/minutes": {"minutes": 5, "until": start.Add(time.Hour)},
		"/until":   {"until": start.Add(-time.Second)},
		"/until ":  {"until": far.Add(time.Second + 3*time.Hour)},
		"/until  ": {"until": start.Add(30*24*time.Hour + time.Second)},
		"/start":   {"start": start.Add(-15 * time.Minute)},
	} {
		body := object{"start": far.Add(3 * time.Hour), "services": s.trim(s.ben)}
		for k, v := range x {
			body[k] = v
		}
		p := s.call("POST", "/v1/holds", body, "Idempotency-Key", name).refused(422, "invalid")
		require.Equal(t, []string{"body " + strings.TrimSpace(name)}, pointers(p), name)
	}
	s.call("POST", "/v1/holds", object{"start": far.Add(3 * time.Hour), "services": s.trim(s.ben)}).refused(400, "idempotency-key")

	s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 25}, "If-Match", `"v1"`).is(200, nil)
	v, tag := s.pencil(start.Add(26*time.Hour), s.trim(s.ben), nil)
	require.True(t, start.Add(25*time.Minute).Equal(*v.HeldUntil), "by the salon's own rule")

	// Longer, before and a little after the end.
	s.at(start.Add(20 * time.Minute))
	a := s.call("POST", "/v1/visits/"+v.ID+"/hold", object{"minutes": 15}, "If-Match", tag).is(200, &v)
	require.True(t, start.Add(35*time.Minute).Equal(*v.HeldUntil))
	s.at(start.Add(26 * time.Minute))
	s.book(s.client("Nora"), start.Add(50*time.Hour), s.trim(s.ben))
	require.NotEmpty(t, s.blocks(v.ID), "the first end is past, the second is not")
	s.at(start.Add(36 * time.Minute))
	tag = a.header.Get("ETag")
	tag = s.call("POST", "/v1/visits/"+v.ID+"/hold", object{}, "If-Match", tag).is(200, &v).header.Get("ETag")
	require.True(t, start.Add(61*time.Minute).Equal(*v.HeldUntil))
	s.call("POST", "/v1/visits/"+v.ID+"/hold", object{"minutes": 5}, "If-Match", `"v1"`).refused(412, "stale")
	s.at(start.Add(62 * time.Minute))
	s.book(s.client("Ines"), start.Add(51*time.Hour), s.trim(s.ben))
	s.call("POST", "/v1/visits/"+v.ID+"/hold", object{"minutes": 5}, "If-Match", tag).refused(409, "conflict")
}

func TestAPencilledVisitIsGivenUp(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.pencil(start.Add(25*time.Hour), s.trim(s.ben), nil)
	s.call("POST", "/v1/visits/"+v.ID+"/release", nil, "If-Match", `"v7"`).refused(412, "stale")
	s.call("POST", "/v1/visits/"+v.ID+"/release", nil, "If-Match", tag).is(200, &v)
	require.Equal(t, "cancelled", v.State)
	require.Empty(t, s.blocks(v.ID))
	require.Empty(t, v.Reminders)
	s.bookHeld(v.ID, `"v2"`, object{"client_id": s.client("Mara")}).refused(409, "conflict")

	v, tag = s.pencil(start.Add(25*time.Hour), s.trim(s.ben), object{"client_id": s.client("Nora")})
	s.at(start.Add(11 * time.Minute))
	s.book(s.client("Ines"), start.Add(49*time.Hour), s.trim(s.ben))
	s.call("POST", "/v1/visits/"+v.ID+"/release", nil, "If-Match", tag).is(200, &v)
	require.Equal(t, "lapsed", v.State, "there was nothing left to give up")
	b, tag := s.book(s.client("Olga"), start.Add(73*time.Hour), s.trim(s.ben))
	s.call("POST", "/v1/visits/"+b.ID+"/release", nil, "If-Match", tag).refused(409, "conflict")
	s.call("POST", "/v1/visits/"+b.ID+"/hold", object{"minutes": 5}, "If-Match", tag).refused(409, "conflict")
}

func TestAPencilledVisitMayHaveAClientAlready(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	other, _ := s.book(client, start.Add(25*time.Hour), s.trim(s.ben))
	at := object{"start": other.Start, "services": s.trim(s.ada), "client_id": client}
	s.call("POST", "/v1/holds", at, "Idempotency-Key", "busy").refused(409, "taken")
	at["client_id"] = "nobody"
	require.Equal(t, []string{"body /client_id"}, pointers(s.call("POST", "/v1/holds", at, "Idempotency-Key", "who").refused(422, "invalid")))

	v, tag := s.pencil(start.Add(49*time.Hour), s.trim(s.ben), object{"client_id": client})
	// Meanwhile she books elsewhere at the same time.
	s.book(client, v.Start, s.trim(s.ada))
	p := s.bookHeld(v.ID, tag, nil).refused(409, "taken")
	require.Contains(t, p.Detail, "client")
	require.NotEmpty(t, s.blocks(v.ID))
	s.bookHeld(v.ID, tag, object{"client_id": s.client("Nora")}).is(200, nil)

	v, tag = s.pencil(start.Add(73*time.Hour), s.trim(s.ben), nil)
	require.Equal(t, []string{"body /client_id"}, pointers(s.bookHeld(v.ID, tag, nil).refused(422, "invalid")))
	theirs := s.neighbour().client("Ines")
	require.Equal(t, []string{"body /client_id"}, pointers(s.bookHeld(v.ID, tag, object{"client_id": theirs}).refused(422, "invalid")))
}

func TestAPencilledVisitCanBeMoved(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	feed := s.feed("staff", s.ben)
	v, tag := s.pencil(start.Add(25*time.Hour), s.trim(s.ben), nil)
	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": start.Add(26 * time.Hour)}, "If-Match", tag).is(200, &v)
	require.Equal(t, "held", v.State)
	require.NotContains(t, string(feed.ask("GET").body), "VEVENT")
	require.Empty(t, v.Reminders)
	s.at(start.Add(11 * time.Minute))
	tag = a.header.Get("ETag")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": start.Add(27 * time.Hour)}, "If-Match", tag).refused(409, "conflict")
	s.bookHeld(v.ID, tag, object{"client_id": s.client("Mara")}).is(200, &v)
	require.True(t, start.Add(26*time.Hour).Equal(v.Start))
}

func TestTheSameRequestPencilsOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	body := object{"start": start.Add(25 * time.Hour), "services": s.trim(s.ben)}
	var first, again api.VisitBody
	s.call("POST", "/v1/holds", body, "Idempotency-Key", "same").is(201, &first)
	a := s.call("POST", "/v1/holds", body, "Idempotency-Key", "same").is(201, &again)
	require.Equal(t, "true", a.header.Get("Idempotent-Replayed"))
	require.Equal(t, first.ID, again.ID)
	require.Len(t, s.holds(), 1)
}

func TestHoldsOfTwoSalonsAreApart(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	n := s.neighbour()
	v, tag := s.pencil(start.Add(25*time.Hour), s.trim(s.ben), nil)
	require.Empty(t, n.holds())
	n.pencil(start.Add(25*time.Hour), n.trim(n.ben), nil)
	for _, what := range []string{"book", "release", "hold"} {
		n.call("POST", "/v1/visits/"+v.ID+"/"+what, map[string]any{"book": object{"client_id": n.client("Mara")}, "hold": object{}}[what], "If-Match", tag).refused(404, "not-found")
	}
	// What lapses in one is nothing to the other.
	s.at(start.Add(11 * time.Minute))
	n.book(n.client("Nora"), start.Add(49*time.Hour), n.trim(n.ben))
	var now api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &now)
	require.Equal(t, "held", now.State)
}
