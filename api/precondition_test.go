package api_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestEveryChangeNeedsTheETagThatWasReadLast(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	requests := s.requests()
	tables := s.tables()
	before := tables()
	n := 0
	for id, r := range requests {
		if !slices.Contains(r.headers, "If-Match") {
			continue
		}
		n++
		for _, tag := range []string{"", "  ", "*"} {
			p := s.call(r.method, r.path, r.body, append(r.besides("If-Match"), "If-Match", tag)...).refused(428, "if-match")
			require.NotEmpty(t, p.Detail)
		}
		for _, tag := range []string{`"v7"`, `W/"v1"`, `w/"v1"`, "v1", `v1"`, `"v1`, `""v1""`, `"v01"`, `"v+1"`, `"v-1"`, `"v0"`, `"V1"`, `"v1", "v2"`, `""`, `"v18446744073709551617"`} {
			a := s.call(r.method, r.path, r.body, append(r.besides("If-Match"), "If-Match", tag)...)
			require.Equal(t, 412, a.status, "%s %s: %s", id, tag, a.body)
			a.refused(412, "stale")
		}
	}
	require.GreaterOrEqual(t, n, 16)
	require.Equal(t, before, tables())
}

func TestTheETagOfAnAnswerIsTheOneThatTheNextChangeNeeds(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(25*time.Hour), []object{{"service_id": s.services["Dry cut"]}})
	for path, body := range map[string]object{
		"/v1/salon":                   {"name": "Quay Chairs", "currency": "EUR", "length_unit": "cm", "heat_unit": "C", "address": "", "phone": "", "mail": "", "emergency": "112"},
		"/v1/staff/" + s.ada:          {"name": "Ada", "initials": "A", "may_lead": true, "skills": []string{"cut"}},
		"/v1/stations/" + s.chairs[0]: {"kind": "chair", "name": "Window", "changeover_minutes": 4},
		"/v1/services/" + s.services["Dry cut"]: {"name": "Dry cut", "skill": "cut", "chemical": false, "aftercare": false, "price_cents": 4000,
			"steps": []object{{"kind": "cut", "label": "Cut", "who": "lead", "where": "chair", "minutes": 25, "hands_on": true}}},
		"/v1/clients/" + client: {"given_name": "Mara", "note": "prefers quiet"},
	} {
		for i := range 3 {
			read := s.call("GET", path, nil).is(200, nil)
			tag := read.header.Get("ETag")
			require.Equal(t, fmt.Sprintf(`"v%d"`, i+1), tag, path)
			changed := s.call("PUT", path, body, "If-Match", tag).is(200, nil)
			again := s.call("GET", path, nil).is(200, nil)
			require.Equal(t, again.header.Get("ETag"), changed.header.Get("ETag"))
			require.Equal(t, string(again.body), string(changed.body))
		}
	}
	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(24 * time.Hour)}, "If-Match", `"v1"`).is(200, nil)
	now := func(a answer) (v api.VisitBody) { a.is(200, &v); return v }
	same, _ := s.read(v.ID)
	require.Equal(t, same, now(a))
	s.at(v.Start.Add(24 * time.Hour))
	a = s.call("POST", "/v1/visits/"+v.ID+"/arrive", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	same, tag := s.read(v.ID)
	require.Equal(t, same, now(a))
	require.Equal(t, `"v3"`, tag)
}

func TestHoursAreReplacedOnlyByWhoeverHasReadThem(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	monday := []object{{"weekday": 1, "from": "10:00", "to": "24:00"}}
	for path, body := range map[string]object{"/v1/hours": {"open": monday}, "/v1/staff/" + s.ada + "/hours": {"work": monday, "breaks": []object{{"weekday": 1, "from": "12:00", "to": "12:30"}}}} {
		tag := s.call("GET", path, nil).is(200, nil).header.Get("ETag")
		require.NotEmpty(t, tag)
		answers := s.atOnce(4, func(int) request { return request{"PUT", path, body, []string{"If-Match", tag}} })
		require.Equal(t, map[int]int{200: 1, 412: 3}, sorted(answers))
		read := s.call("GET", path, nil).is(200, nil)
		require.NotEqual(t, tag, read.header.Get("ETag"))
		for _, a := range answers {
			if a.status == 200 {
				require.Equal(t, string(read.body), string(a.body))
				require.Equal(t, read.header.Get("ETag"), a.header.Get("ETag"))
			}
		}
		s.call("PUT", path, string(read.body), "If-Match", read.header.Get("ETag")).is(200, nil)
		require.Equal(t, string(read.body), string(s.call("GET", path, nil).body), "what was read can be written back")
	}
}

func TestWhatIsStillNeededCannotBeRemoved(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(time.Now().AddDate(5, 0, 0)) // the database compares with its own clock
	monday := s.clock.Load().AddDate(0, 0, 8-int(s.clock.Load().Weekday())).Format(time.DateOnly)
	open := s.openings(s.straightening(), object{"first_date": monday, "last_date": monday})
	client := s.client("Mara")
	v, tag := s.book(client, open.Openings[0].Start, s.straightening())
	for _, path := range []string{"/v1/staff/" + s.ada, "/v1/staff/" + s.mina, "/v1/stations/" + v.ChairID, "/v1/stations/" + s.basins[0], "/v1/clients/" + client} {
		p := s.call("DELETE", path, nil, "If-Match", `"v1"`).refused(409, "conflict")
		require.NotEmpty(t, p.Detail, path)
	}
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	s.call("DELETE", "/v1/clients/"+client, nil, "If-Match", `"v1"`).refused(409, "conflict") // the record must stay
	for _, path := range []string{"/v1/staff/" + s.ada, "/v1/stations/" + v.ChairID} {
		s.call("DELETE", path, nil, "If-Match", `"v1"`).is(204, nil)
	}
	missing := s.openings(s.straightening(), object{"first_date": monday, "last_date": monday})
	require.Zero(t, missing.Count)
	require.NotEmpty(t, missing.Missing)
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, nil)
}

func TestWhoeverHasLeftIsShutOut(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var token, feed struct{ Token, URL string }
	s.call("POST", "/v1/tokens", object{"role": "lead", "staff_id": s.ben, "label": "phone"}).is(201, &token)
	s.call("POST", "/v1/feeds", object{"kind": "staff", "subject_id": s.ben}).is(201, &feed)
	calendar := feed.URL[len("http://127.0.0.1"):]
	s.call("GET", "/v1/staff", nil, "Authorization", "Bearer "+token.Token).is(200, nil)
	s.call("GET", calendar, nil).is(200, nil)
	s.call("DELETE", "/v1/staff/"+s.ben, nil, "If-Match", `"v1"`).is(204, nil)
	s.call("GET", "/v1/staff", nil, "Authorization", "Bearer "+token.Token).refused(401, "unauthorized")
	s.call("GET", calendar, nil).refused(404, "not-found")
	var row api.StaffBody
	s.call("GET", "/v1/staff/"+s.ben, nil).is(200, &row)
	require.False(t, row.Active)
	s.call("GET", "/v1/staff", nil).is(200, nil)
}
