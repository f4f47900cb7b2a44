package api_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// calendar is a feed as a calendar program sees it.
type calendar struct {
	s    *salon
	path string
	id   string
}

func (s *salon) feed(kind, subject string) calendar {
	s.t.Helper()
	var f api.FeedBody
	a := s.call("POST", "/v1/feeds", object{"kind": kind, "subject_id": subject}).is(201, &f)
	require.Equal(s.t, "/v1/feeds/"+f.ID, a.header.Get("Location"))
	return calendar{s, strings.TrimPrefix(f.URL, "http://127.0.0.1"), f.ID}
}

// ask sends a request without a token: the address is the secret.
func (c calendar) ask(method string, headers ...string) answer {
	c.s.t.Helper()
	return c.s.call(method, c.path, nil, append([]string{"Authorization", "", "Accept-Encoding", "identity"}, headers...)...)
}

// event is one event as another library understands it.
type event struct {
	UID, Summary, Description, Location, Start, End, Status, Transp string
	Sequence                                                        int
}

const readCalendar = `
import json, sys, datetime as dt
import icalendar
cal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
def utc(v):
    return v.astimezone(dt.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ") if isinstance(v, dt.datetime) else v.isoformat()
out = []
for e in cal.walk("VEVENT"):
    if e.errors: sys.exit(str(e.errors))
    out.append({"uid": e["UID"], "summary": e["SUMMARY"], "description": e.get("DESCRIPTION", ""), "location": e.get("LOCATION", ""),
        "start": utc(e["DTSTART"].dt), "end": utc(e["DTEND"].dt), "status": e["STATUS"], "transp": e["TRANSP"], "sequence": int(e["SEQUENCE"])})
json.dump({"name": cal["NAME"], "events": sorted(out, key=lambda e: (e["start"], e["uid"]))}, sys.stdout)
`

// python is a program that has the library, or "".
var python = sync.OnceValue(func() string {
	for _, p := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(p, "-c", "import icalendar").Run() == nil {
			return p
		}
	}
	return ""
})

// events lets python3-icalendar read the feed.
func (c calendar) events() (name string, list []event) {
	t := c.s.t
	t.Helper()
	a := c.ask("GET").is(200, nil)
	require.Equal(t, "text/calendar; charset=utf-8", a.header.Get("Content-Type"))
	program := python()
	if program == "" {
		require.NotEqual(t, "true", os.Getenv("CI"), "CI needs python3-icalendar")
		t.Skip("SKIPPED: needs python3 with icalendar (Debian: python3-icalendar)")
	}
	cmd := exec.Command(program, "-c", readCalendar)
	cmd.Stdin, cmd.Stderr = bytes.NewReader(a.body), os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err, "%s", a.body)
	var read struct {
		Name   string
		Events []event
	}
	require.NoError(t, json.Unmarshal(out, &read))
	return read.Name, read.Events
}

func TestAStylistsCalendarFollowsAMoveAndACancellation(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	c := s.feed("staff", s.ada)
	name, none := c.events()
	require.Equal(t, "Ada at Harbour Chairs", name)
	require.Empty(t, none, "an empty calendar is a calendar")

	v, tag := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	_, first := c.events()
	require.Len(t, first, 9, "work, away, work, watching, away, work, watching, away, work")
	require.Equal(t, "2026-06-09T07:00:00Z", first[0].Start)
	busy := map[string]string{}
	for _, e := range first {
		busy[strings.Fields(e.Summary)[0]] = e.Transp
		require.Equal(t, 0, e.Sequence)
		require.Contains(t, e.Summary, "M. Q.")
		require.NotContains(t, e.Summary+e.Description+e.Location, "Mara")
		require.NotContains(t, e.Summary+e.Description+e.Location, "Quist")
	}
	require.Equal(t, "OPAQUE", busy["Watching,"], "whoever watches is not free")
	require.Equal(t, "TRANSPARENT", busy["With"], "an assistant washes meanwhile")

	a := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(24 * time.Hour)}, "If-Match", tag).is(200, nil)
	_, moved := c.events()
	require.Equal(t, uids(first), uids(moved), "the same events at another time")
	for _, e := range moved {
		require.Equal(t, 1, e.Sequence)
		require.Contains(t, e.Start, "2026-06-10")
	}
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	_, gone := c.events()
	require.Empty(t, gone)
	_, mina := s.feed("staff", s.mina).events()
	require.Empty(t, mina)
}

func uids(list []event) []string {
	var out []string
	for _, e := range list {
		out = append(out, e.UID)
	}
	slices.Sort(out)
	return out
}

func TestAClientsCalendarShowsVisitAftercareAndRetouch(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	c := s.feed("client", client)
	name, none := c.events()
	require.Equal(t, "Harbour Chairs", name)
	require.Empty(t, none)
	v, tag := s.book(client, start.Add(25*time.Hour), s.straightening())
	_, list := c.events()
	require.Len(t, list, 2, "the retouch is more than half a year ahead")
	require.Equal(t, "Straightening at Harbour Chairs", list[0].Summary)
	require.Equal(t, "CONFIRMED", list[0].Status)
	require.Equal(t, "2026-06-09T11:30:00Z", list[1].Start)
	require.Equal(t, "2026-06-11T11:30:00Z", list[1].End)

	// Aftercare counts from the real end; the appointment stays as it was.
	s.at(v.End.Add(20 * time.Minute))
	a := s.call("POST", "/v1/visits/"+v.ID+"/finish", object{}, "If-Match", tag).is(200, nil)
	_, done := c.events()
	require.Equal(t, list[0], done[0])
	require.Equal(t, "2026-06-09T11:50:00Z", done[1].Start)
	require.Equal(t, list[1].UID, done[1].UID)
	require.Equal(t, list[1].Sequence+1, done[1].Sequence)
	require.NotEmpty(t, a.header.Get("ETag"))

	// The retouch is shown on its day, long after the visit.
	s.at(time.Date(2027, 1, 3, 9, 0, 0, 0, berlin(t)))
	_, later := c.events()
	require.Len(t, later, 1, "the appointment and the aftercare are long over")
	require.Equal(t, "2027-01-03", later[0].Start)
	require.Contains(t, later[0].Summary, "retouch")
	s.at(time.Date(2027, 2, 10, 9, 0, 0, 0, berlin(t)))
	_, over := c.events()
	require.Empty(t, over)

	s.at(start)
	w, tag := s.book(client, start.Add(73*time.Hour), s.cut())
	s.call("POST", "/v1/visits/"+w.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	_, list = c.events()
	last := list[slices.IndexFunc(list, func(e event) bool { return e.Status == "CANCELLED" })]
	require.Equal(t, "TRANSPARENT", last.Transp)
	require.Equal(t, 1, last.Sequence)
	require.Contains(t, last.Summary, "Cancelled")
	for _, private := range []string{"Mara", "Quist", "mara@example.org"} {
		require.NotContains(t, string(c.ask("GET").body), private)
	}
}

func TestACalendarIsSentOnlyWhenItChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	c := s.feed("staff", s.ada)
	v, visitTag := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	// The date of a change of this second settles when the second is over.
	time.Sleep(time.Until(time.Now().Truncate(time.Second).Add(1100 * time.Millisecond)))
	first := c.ask("GET").is(200, nil)
	tag := first.header.Get("ETag")
	require.Regexp(t, `^"[^"]+"$`, tag)
	require.Equal(t, "private, max-age=0, must-revalidate", first.header.Get("Cache-Control"))
	require.Equal(t, "no-referrer", first.header.Get("Referrer-Policy"))
	require.Equal(t, "noindex", first.header.Get("X-Robots-Tag"))

	for _, known := range []string{tag, "W/" + tag, `"other", ` + tag, "*"} {
		a := c.ask("GET", "If-None-Match", known).is(304, nil)
		require.Empty(t, a.body)
		require.Equal(t, tag, a.header.Get("ETag"))
	}
	c.ask("GET", "If-None-Match", `"other"`).is(200, nil)
	c.ask("GET", "If-Modified-Since", first.header.Get("Last-Modified")).is(304, nil)
	head := c.ask("HEAD").is(200, nil)
	require.Empty(t, head.body)
	require.Equal(t, first.header.Get("Content-Length"), head.header.Get("Content-Length"))

	packed := c.ask("GET", "Accept-Encoding", "gzip").is(200, nil)
	require.Equal(t, "gzip", packed.header.Get("Content-Encoding"))
	z, err := gzip.NewReader(bytes.NewReader(packed.body))
	require.NoError(t, err)
	plain, err := io.ReadAll(z)
	require.NoError(t, err)
	require.Equal(t, string(first.body), string(plain))
	require.NotEqual(t, tag, packed.header.Get("ETag"), "other octets, another strong tag")
	c.ask("GET", "Accept-Encoding", "gzip", "If-None-Match", packed.header.Get("ETag")).is(304, nil)

	again := c.ask("GET").is(200, nil)
	require.Equal(t, string(first.body), string(again.body), "reading changes nothing")
	s.call("POST", "/v1/visits/"+v.ID+"/arrive", nil, "If-Match", visitTag)
	s.book(s.client("Nora"), start.Add(49*time.Hour), []object{s.by(s.ben, "Dry cut")})
	require.Equal(t, tag, c.ask("GET").header.Get("ETag"), "Ben's visits are not Ada's")
	s.book(s.client("Ines"), start.Add(49*time.Hour), []object{s.by(s.ada, "Dry cut")})
	changed := c.ask("GET", "If-None-Match", tag).is(200, nil)
	require.NotEqual(t, tag, changed.header.Get("ETag"))
	s.at(start.AddDate(0, 0, 1))
	require.NotEqual(t, changed.header.Get("ETag"), c.ask("GET").header.Get("ETag"), "the days shown have moved on")
}

func TestAnEndedCalendarIsAsIfItNeverWas(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	c := s.feed("staff", s.ada)
	other := s.feed("client", s.client("Mara"))
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH"} {
		a := c.ask(method)
		a.refused(405, "method")
		require.Equal(t, "GET, HEAD", a.header.Get("Allow"))
	}
	unknown := calendar{s, strings.Replace(c.path, "f_", "f_"[:2], 1)[:len(c.path)-10] + "AAAAAA.ics", ""}.ask("GET")
	unknown.refused(404, "not-found")
	s.call("DELETE", "/v1/feeds/"+c.id, nil).is(204, nil)
	revoked := c.ask("GET")
	require.Equal(t, string(unknown.body), string(revoked.body))
	require.Equal(t, unknown.status, revoked.status)
	require.Equal(t, unknown.header.Values("Content-Type"), revoked.header.Values("Content-Type"))
	for _, path := range []string{"/cal/" + s.token + ".ics", "/cal/x.ics", other.path + ".ics", strings.Replace(other.path, ".ics", ".txt", 1), "/cal/" + strings.Repeat("x", 4000) + ".ics"} {
		a := calendar{s, path, ""}.ask("GET")
		a.refused(404, "not-found")
		require.Equal(t, string(unknown.body), string(a.body))
	}
	other.ask("GET").is(200, nil)
	s.call("DELETE", "/v1/feeds/"+c.id, nil).is(204, nil) // once more is no fault
	var list struct{ Items []api.FeedBody }
	s.call("GET", "/v1/feeds", nil).is(200, &list)
	require.Len(t, list.Items, 2)
	for _, f := range list.Items {
		require.Empty(t, f.URL, "an address is shown once")
		require.Equal(t, f.ID == c.id, f.Revoked != nil)
	}
}

// The names of a client come into calendars with her, and nothing else need change.
func TestTheCalendarsOfAWalkInLearnWhoSheIs(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(start.Add(2 * time.Hour))
	v := s.walkedIn("Dry cut")
	calendars := map[string]calendar{"staff": s.feed("staff", v.Services[0].LeadID), "station": s.feed("station", v.ChairID), "salon": s.feed("salon", "")}
	tags := map[string]string{}
	for kind, c := range calendars {
		a := c.ask("GET").is(200, nil)
		require.Contains(t, string(a.body), "V.", kind)
		tags[kind] = a.header.Get("ETag")
	}
	s.call("POST", "/v1/visits/"+v.ID+"/client", object{"client_id": s.client("Mara")}, "If-Match", s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")).is(200, nil)
	for kind, c := range calendars {
		require.Contains(t, string(c.ask("GET", "If-None-Match", tags[kind]).is(200, nil).body), "M. Q.", kind)
	}
}

// A visit can become another service in the same time.
func TestAClientsCalendarChangesWithTheService(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, tag := s.book(client, start.Add(25*time.Hour), s.straightening())
	c := s.feed("client", client)
	_, before := c.events()
	known := c.ask("GET").header.Get("ETag")
	s.alter(`UPDATE visit_service SET service_id = $1 WHERE visit_id = $2`, s.services["Regrowth retouch"], v.ID)
	s.at(v.End)
	s.call("POST", "/v1/visits/"+v.ID+"/finish", object{}, "If-Match", tag).is(200, nil)
	c.ask("GET", "If-None-Match", known).is(200, nil)
	_, after := c.events()
	require.Equal(t, "Regrowth retouch at Harbour Chairs", after[0].Summary)
	require.Equal(t, before[0].Start+before[0].End, after[0].Start+after[0].End)
	require.Equal(t, before[0].Sequence+1, after[0].Sequence)
}

// Only a request for the calendar itself is one, and only of a calendar that is there.
func TestOnlyAReadingOfTheCalendarIsNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	noted := func(c calendar) bool {
		var list struct{ Items []api.FeedBody }
		s.call("GET", "/v1/feeds", nil).is(200, &list)
		return list.Items[slices.IndexFunc(list.Items, func(f api.FeedBody) bool { return f.ID == c.id })].LastUsed != nil
	}
	client, staff := s.feed("client", s.client("Mara")), s.feed("staff", s.ada)
	client.ask("HEAD").is(200, nil)
	client.freeBusy().ask("GET").is(404, nil)
	calendar{s, strings.TrimSuffix(client.path, "ics") + "xyz", ""}.ask("GET").is(404, nil)
	require.False(t, noted(client))
	client.ask("GET").is(200, nil)
	require.True(t, noted(client))
	staff.freeBusy().ask("GET").is(200, nil)
	require.True(t, noted(staff))
}

func TestWhoGuessesCalendarsIsToldToWaitAndWhoHasOneReadsIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	c := s.feed("staff", s.ada)
	c.ask("GET").is(200, nil)
	for i, end := range []string{".ics", ".ifb", ""} {
		for k := range 10 {
			guess := fmt.Sprintf("/cal/f_%s_%043d%s", s.row.Key, 10*i+k, end)
			calendar{s, guess, ""}.ask("GET").is(404, nil)
		}
	}
	for _, end := range []string{".ics", ".ifb", ""} {
		guess := fmt.Sprintf("/cal/f_%s_%043d%s", s.row.Key, 31, end)
		a := calendar{s, guess, ""}.ask("GET").is(429, nil)
		require.Equal(t, "60", a.header.Get("Retry-After"))
	}
	c.ask("GET").is(200, nil) // who has an address is not kept out by those who guess
}

// A change that was made before midnight may be committed after it.
func TestTheLastChangeOfADayIsNotMissedByItsDate(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, c := range []calendar{s.feed("staff", s.ada), s.feed("client", s.client("Mara")), s.feed("station", s.basins[0])} {
		s.alter(`UPDATE feed_version SET changed_at = $1`, time.Date(2026, 6, 9, 23, 59, 50, 0, berlin(t)))
		midnight := time.Date(2026, 6, 10, 0, 0, 0, 0, berlin(t))
		s.at(midnight.Add(2 * time.Second))
		date := c.ask("GET").is(200, nil).header.Get("Last-Modified")
		s.alter(`UPDATE feed_version SET version = version + 1, changed_at = $1`, midnight.Add(-time.Second))
		s.at(midnight.Add(5 * time.Minute))
		date = c.ask("GET", "If-Modified-Since", date).is(200, nil).header.Get("Last-Modified")
		s.at(midnight.Add(6 * time.Minute))
		c.ask("GET", "If-Modified-Since", date).is(304, nil)
	}
}
