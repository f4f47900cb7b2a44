package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func (s *salon) keep(key string, body object) answer {
	s.t.Helper()
	return s.call("POST", "/v1/kept-times", body, "Idempotency-Key", key)
}

func TestTimeIsKeptForSomethingThatIsNoVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ada, mina := s.feed("staff", s.ada), s.feed("staff", s.mina)
	at := start.Add(26 * time.Hour)
	body := object{"unit_ids": []string{s.ada, s.mina, s.chairs[0]}, "start": at, "minutes": 20, "title": "the new dryer"}
	var v api.VisitBody
	a := s.keep("one", body).is(201, &v)
	require.Equal(t, "booked", v.State)
	require.Equal(t, "the new dryer", v.Title)
	require.Equal(t, 20*time.Minute, v.End.Sub(v.Start))
	require.Empty(t, v.Services)
	require.Empty(t, v.Steps)
	require.Empty(t, v.ChairID)
	require.Len(t, s.blocks(v.ID), 3)
	require.Equal(t, []string{"20"}, s.column(`SELECT DISTINCT extract(epoch FROM upper(span) - lower(span))::int / 60 || '' FROM block WHERE visit_id = $1`, v.ID), "nothing is cleared")
	for _, feed := range []calendar{ada, mina} {
		text := string(feed.ask("GET").body)
		require.Contains(t, text, "SUMMARY:The new dryer\r\n")
	}
	s.keep("one", body).is(201, nil)
	require.Len(t, s.column(`SELECT visit_id FROM visit`), 1)

	// It is in everybody's way, and others are in its.
	s.call("POST", "/v1/visits", object{"client_id": s.client("Mara"), "start": at, "services": s.trim(s.ada)}, "Idempotency-Key", "cut").refused(409, "taken")
	s.book(s.client("Mara"), at, s.trim(s.ben))
	p := s.keep("two", object{"unit_ids": []string{s.mina, s.ben}, "start": at.Add(20 * time.Minute), "minutes": 20, "title": "break"}).refused(409, "taken")
	require.Contains(t, p.Detail, "Ben is booked for Mara Q. from 10:00 to 10:30")
	var day api.DayBody
	s.call("GET", "/v1/days/2026-06-09", nil).is(200, &day)
	require.Len(t, day.Visits, 2)
	require.Empty(t, day.Conflicts)

	// It moves, and is given up.
	tag := a.header.Get("ETag")
	p = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": at.Add(8 * time.Hour)}, "If-Match", tag).refused(409, "taken")
	require.Contains(t, p.Detail, "the salon is not open")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"lead_id": s.ben}, "If-Match", tag).refused(422, "invalid")
	tag = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": at.Add(10 * time.Minute)}, "If-Match", tag).is(200, &v).header.Get("ETag")
	require.Equal(t, "10:10", v.Start.Format("15:04"), "its own time is no obstacle")
	require.Len(t, s.blocks(v.ID), 3)
	require.Contains(t, string(ada.ask("GET").body), "DTSTART;TZID=Europe/Berlin:20260609T101000")
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, &v)
	require.Equal(t, "cancelled", v.State)
	require.Empty(t, v.Reminders)
	require.Empty(t, s.blocks(v.ID))
	require.NotContains(t, string(ada.ask("GET").body), "VEVENT")
}

func TestWhatKeptTimeCannotBe(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	n := s.neighbour()
	good := object{"unit_ids": []string{s.ada}, "start": start.Add(26 * time.Hour), "minutes": 20, "title": "post"}
	for name, x := range map[string]struct {
		change object
		want   string
	}{
		"nobody":             {object{"unit_ids": []string{}}, "body /unit_ids"},
		"too many":           {object{"unit_ids": []string{s.ada, s.ben, s.mina, s.chairs[0], s.chairs[1]}}, "body /unit_ids"},
		"another salon's":    {object{"unit_ids": []string{s.ada, n.ada}}, "body /unit_ids/1"},
		"half a minute":      {object{"start": start.Add(26*time.Hour + 30*time.Second)}, "body /start"},
		"the past":           {object{"start": start.Add(-time.Hour)}, "body /start"},
		"no time":            {object{"minutes": 0}, "body /minutes"},
		"more than a day":    {object{"minutes": 1441}, "body /minutes"},
		"nothing in partic.": {object{"title": " "}, "body /title"},
	} {
		body := object{}
		for _, part := range []object{good, x.change} {
			for k, v := range part {
				body[k] = v
			}
		}
		before := s.tables()()
		require.Equal(t, []string{x.want}, pointers(s.keep("key", body).refused(422, "invalid")), name)
		require.Equal(t, before, s.tables()(), name)
	}
	for name, x := range map[string]struct {
		change object
		why    string
	}{
		"the night":    {object{"start": start.Add(30 * time.Minute)}, "the salon is not open"},
		"past closing": {object{"start": start.Add(9*time.Hour + 50*time.Minute)}, "the salon is not open"},
	} {
		body := object{}
		for _, part := range []object{good, x.change} {
			for k, v := range part {
				body[k] = v
			}
		}
		require.Contains(t, s.keep("key "+name, body).refused(409, "taken").Detail, x.why)
	}
	s.call("POST", "/v1/absences", object{"unit_id": s.ben, "from": start.Add(26 * time.Hour), "to": start.Add(27 * time.Hour)}).is(201, nil)
	good["unit_ids"] = []string{s.ada, s.ben}
	require.Contains(t, s.keep("away", good).refused(409, "taken").Detail, "Ben is not there from 10:00 to 11:00")
}

func TestWhatIsDoneWithVisitsIsRefusedOrDoneWithKeptTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(start.Add(2 * time.Hour))
	var v api.VisitBody
	tag := s.keep("one", object{"unit_ids": []string{s.ben, s.basins[0]}, "start": start.Add(2 * time.Hour), "minutes": 60, "title": "leaking basin"}).is(201, &v).header.Get("ETag")
	other, _ := s.book(s.client("Mara"), start.Add(26*time.Hour), s.trim(s.ben))
	for what, body := range map[string]any{"extend": object{"minutes": 5}, "arrive": nil, "finish": object{}, "miss": nil, "swap": object{"other_id": other.ID, "other_version": 1}, "book": object{"client_id": other.ClientID}, "release": nil, "hold": object{}} {
		s.call("POST", "/v1/visits/"+v.ID+"/"+what, body, "If-Match", tag).refused(409, "conflict")
	}
	s.call("POST", "/v1/openings", object{"visit_id": v.ID}).refused(422, "invalid")
	var got api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &got)
	require.Equal(t, []string{"Ben", "basin 3"}, got.Kept)
	require.Equal(t, v, got)

	// Ben falls ill: it cannot be kept as planned, in words.
	s.call("POST", "/v1/absences", object{"unit_id": s.ben, "from": v.Start, "to": v.End}).is(201, nil)
	var day api.DayBody
	s.call("GET", "/v1/days/2026-06-08", nil).is(200, &day)
	require.Equal(t, []string{"leaking basin 10:00: Ben is not there from 10:00 to 11:00"}, day.Conflicts)
}
