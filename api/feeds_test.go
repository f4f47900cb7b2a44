package api_test

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// feedAt is a calendar by its address.
func (s *salon) feedAt(f api.FeedBody) calendar {
	return calendar{s, strings.TrimPrefix(f.URL, "http://127.0.0.1"), f.ID}
}

// alter changes what stands in the database behind the service's back.
func (s *salon) alter(q string, args ...any) {
	s.t.Helper()
	_, err := s.db().Exec(q, args...)
	require.NoError(s.t, err)
}

// summaries are what events say, with their place.
func summaries(list []event) []string {
	var out []string
	for _, e := range list {
		out = append(out, e.Summary+" @ "+e.Location)
	}
	return out
}

func TestEachKindOfCalendarShowsItsOwn(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "family_name": "Quist", "mail": "mara@example.org", "phone": "+4930901829",
		"contact_by": "mail", "note": "brings a child"}, "If-Match", `"v1"`).is(200, nil)
	v, _ := s.book(client, start.Add(25*time.Hour), s.straightening())
	s.book(s.client("Nora"), v.End.Add(15*time.Minute), []object{s.by(s.ada, "Dry cut")})
	s.call("POST", "/v1/kept-times", object{"unit_ids": []string{s.mina, s.basins[0]}, "start": v.End.Add(30 * time.Minute), "minutes": 20, "title": "laundry"},
		"Idempotency-Key", "laundry").is(201, nil)

	names, lists, seen := map[string]string{}, map[string][]event{}, map[string]string{}
	for kind, subject := range map[string]string{"ada": s.ada, "mina": s.mina, "chair": v.ChairID, "basin": s.basins[0], "salon": "", "client": client} {
		of := map[string]string{"ada": "staff", "mina": "staff", "chair": "station", "basin": "station"}[kind]
		if of == "" {
			of = kind
		}
		c := s.feed(of, subject)
		names[kind], lists[kind] = c.events()
		for _, e := range lists[kind] {
			require.Empty(t, seen[e.UID], "%s and %s show an event of one UID", seen[e.UID], kind)
			seen[e.UID] = kind
		}
		if kind == "client" {
			continue
		}
		body := string(c.ask("GET").body)
		for _, private := range []string{"Mara", "Quist", "example.org", "4930901829", "30901829", "child", client} {
			require.NotContains(t, strings.ReplaceAll(body, "\r\n ", ""), private, kind)
		}
	}
	require.Equal(t, map[string]string{"ada": "Ada at Harbour Chairs", "mina": "Mina at Harbour Chairs", "chair": "chair 1 at Harbour Chairs", "basin": "basin 3 at Harbour Chairs",
		"salon": "All visits at Harbour Chairs", "client": "Harbour Chairs"}, names)
	require.Equal(t, []string{"Straightening · M. Q. · Ada @ chair 1", "Dry cut · N. Q. · Ada @ chair 1", "Laundry · Mina, basin 3 @ "}, summaries(lists["salon"]))
	require.Equal(t, []string{"Straightening · M. Q. · Ada @ ", "Dry cut · N. Q. · Ada @ "}, summaries(lists["chair"]))
	require.Equal(t, v.Start.UTC().Format(time.RFC3339), lists["chair"][0].Start)
	require.Equal(t, v.End.UTC().Format(time.RFC3339), lists["chair"][0].End)
	basin := lists["basin"]
	require.Greater(t, len(basin), 2)
	require.Equal(t, "Laundry @ ", summaries(basin)[len(basin)-1])
	for _, kind := range []string{"salon", "chair", "basin"} {
		for _, e := range lists[kind] {
			require.Equal(t, "OPAQUE CONFIRMED", e.Transp+" "+e.Status)
		}
	}
	require.Contains(t, summaries(lists["mina"]), "Laundry @ ")
}

func TestCalendarsOfPlacesFollowTheVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, tag := s.book(client, start.Add(25*time.Hour), s.straightening())
	chair, basin, all := s.feed("station", v.ChairID), s.feed("station", s.basins[0]), s.feed("salon", "")
	read := func(c calendar) []event { _, list := c.events(); return list }
	was := map[string][]event{"chair": read(chair), "basin": read(basin), "all": read(all)}
	require.Len(t, was["chair"], 1)
	require.Len(t, was["all"], 1)
	tags := map[string]string{"chair": chair.ask("GET").header.Get("ETag"), "basin": basin.ask("GET").header.Get("ETag"), "all": all.ask("GET").header.Get("ETag")}

	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(24 * time.Hour)}, "If-Match", tag).is(200, nil)
	for name, c := range map[string]calendar{"chair": chair, "basin": basin, "all": all} {
		c.ask("GET", "If-None-Match", tags[name]).is(200, nil)
		now := read(c)
		require.Equal(t, uids(was[name]), uids(now), name)
		for i, e := range now {
			require.Equal(t, 1, e.Sequence, name)
			require.NotEqual(t, was[name][i].Start, e.Start)
		}
	}
	// Another chair: one calendar loses the visit, the other gets it, the salon's
	// keeps the event.
	other := slices.DeleteFunc(slices.Clone(s.chairs), func(id string) bool { return id == v.ChairID })[0]
	s.alter(`UPDATE unit SET active = false WHERE unit_id = $1`, v.ChairID)
	var moved api.VisitBody
	a = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(48 * time.Hour)}, "If-Match", a.header.Get("ETag")).is(200, &moved)
	s.alter(`UPDATE unit SET active = true WHERE unit_id = $1`, v.ChairID)
	require.Equal(t, other, moved.ChairID)
	require.Empty(t, read(chair))
	require.Len(t, read(s.feed("station", other)), 1)
	list := read(all)
	require.Equal(t, was["all"][0].UID, list[0].UID)
	require.Equal(t, 2, list[0].Sequence)

	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Empty(t, read(all))
	require.Empty(t, read(basin))
}

// What the salon's calendar shows changes with much; each time its tag must.
func TestTheSalonsCalendarIsSentAgainAfterEveryChange(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	all := s.feed("salon", "")
	client := s.client("Mara")
	tag, body := "", ""
	changed := func(what string) {
		t.Helper()
		a := all.ask("GET", "If-None-Match", tag)
		require.Equal(t, 200, a.status, what)
		require.NotEqual(t, body, string(a.body), what)
		tag, body = a.header.Get("ETag"), string(a.body)
		all.ask("GET", "If-None-Match", tag).is(304, nil)
		at, err := http.ParseTime(a.header.Get("Last-Modified"))
		require.NoError(t, err)
		require.True(t, at.Before(time.Now().Add(-time.Minute)), "a change that is still being written must not be missed by its date")
	}
	tag = `"none"`
	changed("nothing booked")
	v, visitTag := s.book(client, start.Add(25*time.Hour), s.straightening())
	changed("a visit")
	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(24 * time.Hour)}, "If-Match", visitTag).is(200, nil)
	changed("another time")
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Zoe", "family_name": "Quist"}, "If-Match", `"v1"`).is(200, nil)
	changed("another name")
	s.call("PUT", "/v1/stations/"+v.ChairID, object{"kind": "chair", "name": "Window", "changeover_minutes": 3}, "If-Match", `"v1"`).is(200, nil)
	changed("another name of the chair")
	s.call("PUT", "/v1/salon", object{"name": "Quay Chairs", "currency": "EUR", "length_unit": "cm", "heat_unit": "C", "emergency": "112", "address": "", "phone": "", "mail": ""},
		"If-Match", s.call("GET", "/v1/salon", nil).header.Get("ETag")).is(200, nil)
	changed("another name of the salon")
	s.call("POST", "/v1/kept-times", object{"unit_ids": []string{s.mina}, "start": v.Start, "minutes": 20, "title": "laundry"}, "Idempotency-Key", "laundry").is(201, nil)
	changed("kept time")
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	changed("a cancellation")
}

func TestAnAddressCanBeChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	var made api.FeedBody
	s.call("POST", "/v1/feeds", object{"kind": "staff", "subject_id": s.ada, "label": "her phone"}).is(201, &made)
	secret := strings.TrimSuffix(strings.TrimPrefix(made.URL, "http://127.0.0.1/cal/"), ".ics")
	require.Equal(t, "webcal://127.0.0.1/cal/"+secret+".ics", made.Webcal)
	require.Equal(t, "http://127.0.0.1/cal/"+secret, made.Page)
	require.Equal(t, "http://127.0.0.1/cal/"+secret+".ifb", made.FreeBusy)
	require.Equal(t, "her phone", made.Label)
	old := s.feedAt(made)
	_, before := old.events()
	var next api.FeedBody
	s.call("POST", "/v1/feeds/"+made.ID+"/rotate", nil).is(200, &next)
	require.Equal(t, made.ID, next.ID)
	require.NotEqual(t, made.URL, next.URL)
	require.NotNil(t, next.Rotated)
	_, after := s.feedAt(next).events()
	require.Equal(t, before, after, "the same events, so that nothing stands in a calendar twice")
	unknown := calendar{s, "/cal/f_" + s.row.Key + "_" + strings.Repeat("A", 43) + ".ics", ""}.ask("GET")
	gone := old.ask("GET")
	gone.refused(404, "not-found")
	require.Equal(t, string(unknown.body), string(gone.body))
	var list struct{ Items []api.FeedBody }
	a := s.call("GET", "/v1/feeds", nil).is(200, &list)
	require.Equal(t, "her phone", list.Items[0].Label)
	require.NotContains(t, string(a.body), "/cal/")
	s.call("DELETE", "/v1/feeds/"+made.ID, nil).is(204, nil)
	s.call("POST", "/v1/feeds/"+made.ID+"/rotate", nil).refused(409, "conflict")
	s.feedAt(next).ask("GET").refused(404, "not-found")
	s.call("POST", "/v1/feeds/"+store.NewID()+"/rotate", nil).refused(404, "not-found")
	for _, body := range []object{{"kind": "station", "subject_id": s.ada}, {"kind": "staff", "subject_id": s.chairs[0]}, {"kind": "salon", "subject_id": s.ada},
		{"kind": "client", "subject_id": ""}, {"kind": "staff", "subject_id": s.ada, "label": strings.Repeat("x", 81)}, {"kind": "basin"}} {
		s.call("POST", "/v1/feeds", body).refused(422, "invalid")
	}
	var all api.FeedBody
	s.call("POST", "/v1/feeds", object{"kind": "salon", "subject_id": s.row.ID}).is(201, &all)
	require.Empty(t, all.FreeBusy)
}

func TestAStylistGivesOutHerOwnCalendarOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ben, client := s.feed("staff", s.ben), s.client("Mara")
	ada := s.asPerson(store.LeadRole, s.ada)
	var hers api.FeedBody
	ada.call("POST", "/v1/feeds", object{"kind": "staff", "subject_id": s.ada}).is(201, &hers)
	s.feed("salon", "")
	var list struct{ Items []api.FeedBody }
	ada.call("GET", "/v1/feeds", nil).is(200, &list)
	require.Len(t, list.Items, 1)
	require.Equal(t, hers.ID, list.Items[0].ID)
	for _, body := range []object{{"kind": "staff", "subject_id": s.ben}, {"kind": "station", "subject_id": s.chairs[0]}, {"kind": "client", "subject_id": client}, {"kind": "salon"}} {
		ada.call("POST", "/v1/feeds", body).refused(403, "forbidden")
	}
	ada.call("POST", "/v1/feeds/"+ben.id+"/rotate", nil).refused(404, "not-found")
	ada.call("DELETE", "/v1/feeds/"+ben.id, nil).refused(404, "not-found")
	ben.ask("GET").is(200, nil)
	ada.call("POST", "/v1/feeds/"+hers.ID+"/rotate", nil).is(200, nil)
	ada.call("DELETE", "/v1/feeds/"+hers.ID, nil).is(204, nil)
	nobodys := s.as(store.LeadRole)
	nobodys.call("GET", "/v1/feeds", nil).refused(403, "forbidden")
	nobodys.call("POST", "/v1/feeds", object{"kind": "staff", "subject_id": s.ada}).refused(403, "forbidden")
	s.as(store.AssistantRole).call("GET", "/v1/feeds", nil).refused(403, "forbidden")
}

func TestTheWindowOfACalendarIsWholeDays(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), []object{s.by(s.ada, "Dry cut")})
	day := time.Date(v.Start.Year(), v.Start.Month(), v.Start.Day(), 0, 0, 0, 0, berlin(t))
	for _, c := range []calendar{s.feed("staff", s.ada), s.feed("station", v.ChairID), s.feed("salon", "")} {
		for _, x := range []struct {
			now   time.Time
			shown int
		}{
			{day.AddDate(0, 0, -180), 1}, {day.AddDate(0, 0, -180).Add(-time.Second), 0},
			{day.AddDate(0, 0, 31).Add(-time.Second), 1}, {day.AddDate(0, 0, 31), 0},
		} {
			s.at(x.now)
			_, list := c.events()
			require.Len(t, list, x.shown, "at %s", x.now)
		}
	}
}

func TestACalendarShowsTheNextWhenThereIsTooMuch(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), []object{s.by(s.ada, "Dry cut")})
	c := s.feed("staff", s.ada)
	fill := func(n int, from time.Time) {
		s.alter(`INSERT INTO visit_part (salon_id, visit_id, subject, ordinal, uid, changed_at, starts_at, ends_at, kind)
			SELECT $1, $2, $3, (SELECT max(ordinal) FROM visit_part WHERE visit_id = $2) + i, gen_random_uuid()::text, now(), $4::timestamptz + make_interval(mins => 10 * i), $4::timestamptz + make_interval(mins => 10 * i + 5), 'hands_on'
			FROM generate_series(1, $5) i`, s.row.ID, v.ID, s.ada, from, n)
		s.alter(`UPDATE feed_version SET version = version + 1`)
	}
	fill(600, start.AddDate(0, 0, -20))
	_, list := c.events()
	require.Len(t, list, 601)
	fill(600, start.AddDate(0, 0, 20))
	_, list = c.events()
	require.Len(t, list, 1000)
	require.Len(t, slices.DeleteFunc(list, func(e event) bool { return e.Start < "2026-06-08" }), 601, "all that is to come")
	require.Contains(t, string(c.ask("GET").body), "Shows 1000 entries\\; there are 201 more.")
	fill(600, start.AddDate(0, 0, 40))
	_, list = c.events()
	require.Len(t, list, 1000)
	require.GreaterOrEqual(t, list[0].Start, "2026-06-08")
	require.Contains(t, list[0].Description, "Dry cut", "what is next")
}

// Names that people paste in, or that were there before anybody checked them, must
// not end a calendar or get more into it than a name.
func TestNoNameEndsACalendar(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(25*time.Hour), s.straightening())
	s.call("POST", "/v1/kept-times", object{"unit_ids": []string{s.ada, v.ChairID}, "start": v.Start.Add(24 * time.Hour), "minutes": 20, "title": "laundry"}, "Idempotency-Key", "laundry").is(201, nil)
	feeds := []calendar{s.feed("staff", s.ada), s.feed("staff", s.mina), s.feed("station", v.ChairID), s.feed("station", s.basins[0]), s.feed("salon", ""), s.feed("client", client)}
	for _, name := range []string{
		"\x01\x07", "\u202e\u2066", "👩🏽‍🦱👩🏽‍🦱", "شعر طويل", "\u200fא\u202eב", "x\r\nATTENDEE:mailto:eve@example.org\r\nX:", "\r\n\r\n", "\u2028a", "5 5 5", "ẞ ŉ", "a;b,c\\n\"d\"",
		"BEGIN:VEVENT", strings.Repeat("é", 80),
	} {
		s.alter(`UPDATE unit SET name = $1`, name)
		s.alter(`UPDATE client SET given_name = $1, family_name = $1`, name)
		s.alter(`UPDATE service_version SET name = $1`, name)
		s.alter(`UPDATE visit_step SET label = $1`, name)
		s.alter(`UPDATE visit SET title = $1 WHERE client_id IS NULL`, name)
		s.alter(`UPDATE feed_version SET version = version + 1`)
		for i, c := range feeds {
			a := c.ask("GET")
			require.Equal(t, 200, a.status, "%q in %d: %s", name, i, a.body)
			_, list := c.events()
			require.NotEmpty(t, list)
			flat := "\r\n" + strings.ReplaceAll(string(a.body), "\r\n ", "")
			require.NotContains(t, flat, "\r\nATTENDEE")
			require.Len(t, list, strings.Count(flat, "\r\nEND:VEVENT\r\n"))
			require.NotContains(t, flat, "\u202e")
		}
	}
	// No column holds so much; what stands in a calendar could.
	s.alter(`ALTER TABLE service_version DROP CONSTRAINT service_version_name_check`)
	s.alter(`UPDATE service_version SET name = $1`, strings.Repeat("very long ", 100))
	s.alter(`UPDATE feed_version SET version = version + 1`)
	for _, c := range feeds {
		c.events()
	}
}

func TestThereIsNoCalendarOfWhoIsGone(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	clients, bens, chairs := s.feed("client", client), s.feed("staff", s.ben), s.feed("station", s.chairs[1])
	unknown := calendar{s, "/cal/f_" + s.row.Key + "_" + strings.Repeat("A", 43) + ".ics", ""}.ask("GET")
	s.call("DELETE", "/v1/clients/"+client, nil, "If-Match", `"v1"`).is(204, nil)
	s.call("DELETE", "/v1/staff/"+s.ben, nil, "If-Match", `"v1"`).is(204, nil)
	s.call("DELETE", "/v1/stations/"+s.chairs[1], nil, "If-Match", `"v1"`).is(204, nil)
	for i, c := range []calendar{clients, bens, chairs} {
		a := c.ask("GET")
		a.refused(404, "not-found")
		require.Equal(t, string(unknown.body), string(a.body), fmt.Sprint(i))
	}
}
