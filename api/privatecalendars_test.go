package api_test

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/outbound"
	"chairblock/store"
)

const privateSecret = "s3cret-of-ada"

// diary is a calendar with events, given in lines.
func diary(events ...string) string {
	return "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//home//EN\r\n" + strings.Join(events, "") + "END:VCALENDAR\r\n"
}

var eventsMade atomic.Int64

func entry(lines ...string) string {
	return fmt.Sprintf("BEGIN:VEVENT\r\nUID:e%d@home.example\r\nDTSTAMP:20260101T000000Z\r\nSUMMARY:Dentist with %s\r\n%s\r\nEND:VEVENT\r\n",
		eventsMade.Add(1), privateSecret, strings.Join(lines, "\r\n"))
}

// lunch is busy on the day of start's Thursday, 12:00 to 14:00 in Berlin.
func lunch() string {
	return entry("DTSTART;TZID=Europe/Berlin:20260611T120000", "DTEND;TZID=Europe/Berlin:20260611T140000")
}

// home is a server with a private calendar.
type home struct {
	*httptest.Server
	mu     sync.Mutex
	body   string
	answer func(w http.ResponseWriter, r *http.Request) bool // true: it has answered
	asked  []http.Header
}

func newHome(t testing.TB, body string) *home {
	h := &home{body: body}
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.mu.Lock()
		h.asked = append(h.asked, r.Header.Clone())
		body, answer := h.body, h.answer
		h.mu.Unlock()
		if answer != nil && answer(w, r) {
			return
		}
		tag := fmt.Sprintf(`"%x"`, sha256.Sum256([]byte(body)))
		w.Header().Set("ETag", tag)
		w.Header().Set("Last-Modified", "Mon, 08 Jun 2026 06:00:00 GMT")
		if r.Header.Get("If-None-Match") == tag {
			w.WriteHeader(http.StatusNotModified)
			return
		}
		w.Header().Set("Content-Type", "text/calendar")
		_, _ = io.WriteString(w, body)
	}))
	t.Cleanup(h.Close)
	return h
}

func (h *home) address() string { return h.URL + "/" + privateSecret + ".ics" }

func (h *home) set(body string, answer func(w http.ResponseWriter, r *http.Request) bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.body, h.answer = body, answer
}

func (h *home) requests() []http.Header {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.asked
}

func status(code int) func(http.ResponseWriter, *http.Request) bool {
	return func(w http.ResponseWriter, _ *http.Request) bool { w.WriteHeader(code); return true }
}

func (s *salon) privateFile(staff, file string) (c api.PrivateCalendarBody) {
	s.t.Helper()
	s.call("POST", "/v1/private-calendars/files?label=Home&staff_id="+staff, file, "Content-Type", "text/calendar").is(201, &c)
	return c
}

func (s *salon) privateURL(staff, address string) (c api.PrivateCalendarBody) {
	s.t.Helper()
	s.call("POST", "/v1/private-calendars", object{"staff_id": staff, "label": "Home", "address": address}).is(201, &c)
	return c
}

func (s *salon) privateNow(id string) (c api.PrivateCalendarBody) {
	s.t.Helper()
	s.call("GET", "/v1/private-calendars/"+id, nil).is(200, &c)
	return c
}

// due is what the job does with a calendar.
func (s *salon) due(id string) api.PrivateCalendarBody {
	s.t.Helper()
	require.NoError(s.t, s.server.FetchPrivateCalendar(s.t.Context(), s.row.ID, id))
	return s.privateNow(id)
}

// away are the absences that are not over, as unit and Berlin time.
func (s *salon) away() (out []string) {
	s.t.Helper()
	var list struct{ Items []api.AbsenceBody }
	s.call("GET", "/v1/absences", nil).is(200, &list)
	for _, a := range list.Items {
		name := map[string]string{s.ada: "Ada", s.ben: "Ben", s.mina: "Mina"}[a.Unit]
		out = append(out, fmt.Sprintf("%s %s-%s", name, a.From.Format("02.01.06 15:04"), a.To.Format("02.01.06 15:04")))
	}
	return out
}

// privateRequests are the bodies of right requests, and the id of a calendar that
// is fetched.
func (s *salon) privateRequests(bodies map[string]any) string {
	at := newHome(s.t, diary(lunch())).address()
	bodies["add-private-calendar"] = object{"staff_id": s.ada, "label": "Home", "address": at, "all_day_busy": true}
	bodies["update-private-calendar"] = object{"label": "Work", "all_day_busy": true, "active": false}
	bodies["add-private-file"], bodies["replace-private-file"] = diary(lunch()), diary(lunch())
	bodies["fetch-private-calendar"] = nil
	id := s.privateURL(s.ada, at).ID
	s.alter(`UPDATE private_calendar SET fetched_at = fetched_at - interval '1 hour' WHERE private_calendar_id = $1`, id)
	return id
}

// isFile says whether the body of an operation is a file.
func isFile(op operation) bool {
	if op.RequestBody == nil {
		return false
	}
	_, is := op.RequestBody.Content["text/calendar"]
	return is
}

func (s *salon) cutsOn(day string) (starts []string) {
	s.t.Helper()
	for _, o := range s.openings([]object{s.by(s.ada, "Dry cut")}, object{"first_date": day, "last_date": day, "limit": 200}).Openings {
		starts = append(starts, o.Start.Format("15:04"))
	}
	return starts
}

func TestAnUploadedWeeklyRuleTakesOpeningsAwayAndItsDeletionBringsThemBack(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before := s.cutsOn("2026-06-11")
	require.Contains(t, before, "12:00")
	file := diary(entry("DTSTART;TZID=Europe/Berlin:20240104T120000", "DTEND;TZID=Europe/Berlin:20240104T133000", "RRULE:FREQ=WEEKLY"),
		entry("DTSTART;TZID=Europe/Berlin:20260611T133000", "DURATION:PT29M30S"), // touches, and half a minute counts as one
		entry("DTSTART;VALUE=DATE:20260612"),
		entry("DTSTART;TZID=Europe/Berlin:20260611T160000", "DTEND;TZID=Europe/Berlin:20260611T170000", "TRANSP:TRANSPARENT"))
	c := s.privateFile(s.ada, file)
	require.Equal(t, "read", c.State)
	require.Equal(t, "file", c.Source)
	require.Equal(t, []string{"2026-05-01", "2027-07-31"}, []string{c.FirstDate, c.LastDate}, "whole months around 30 days back and 400 ahead")
	require.Equal(t, 65, c.BusyTimes, "every Thursday of these days")
	require.Empty(t, c.Problems)
	require.Contains(t, s.away(), "Ada 11.06.26 12:00-11.06.26 14:00")
	during := s.cutsOn("2026-06-11")
	require.NotContains(t, during, "12:00")
	require.NotContains(t, during, "13:45")
	require.Contains(t, during, "14:00")
	require.Contains(t, during, "16:00")
	require.NotContains(t, s.cutsOn("2027-05-06"), "12:00", "the rule has no end")

	a := s.call("GET", "/v1/private-calendars/"+c.ID, nil)
	s.call("PUT", "/v1/private-calendars/"+c.ID, object{"label": "Home", "all_day_busy": true, "active": true}, "If-Match", a.header.Get("ETag")).is(200, &c)
	require.Equal(t, 66, c.BusyTimes)
	require.Empty(t, s.cutsOn("2026-06-12"), "the whole Friday")
	s.call("PUT", "/v1/private-calendars/"+c.ID, object{"label": "Home", "all_day_busy": true, "active": false}, "If-Match", `"v2"`).is(200, &c)
	require.Equal(t, "off", c.State)
	require.Empty(t, s.away())
	require.Equal(t, before, s.cutsOn("2026-06-11"))
	s.call("PUT", "/v1/private-calendars/"+c.ID, object{"label": "Home", "all_day_busy": false, "active": true}, "If-Match", `"v3"`).is(200, &c)
	require.Equal(t, during, s.cutsOn("2026-06-11"))

	a = s.call("PUT", "/v1/private-calendars/"+c.ID+"/file", diary(lunch()), "If-Match", `"v4"`, "Content-Type", "text/calendar").is(200, &c)
	require.Equal(t, 1, c.BusyTimes)
	require.Equal(t, `"v5"`, a.header.Get("ETag"))
	s.call("DELETE", "/v1/private-calendars/"+c.ID, nil, "If-Match", `"v4"`).refused(412, "stale")
	s.call("DELETE", "/v1/private-calendars/"+c.ID, nil, "If-Match", `"v5"`).is(204, nil)
	require.Equal(t, before, s.cutsOn("2026-06-11"))
	require.Empty(t, s.away())
}

func TestAFileGoesOnWorkingInLaterMonths(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	c := s.privateFile(s.ada, diary(entry("DTSTART;TZID=Europe/Berlin:20240104T120000", "DTEND;TZID=Europe/Berlin:20240104T133000", "RRULE:FREQ=WEEKLY")))
	next := *c.Next
	require.True(t, next.After(start) && next.Before(start.Add(24*time.Hour)), "before tomorrow's work: %s", next)
	require.Equal(t, c.BusyTimes, s.due(c.ID).BusyTimes)
	s.at(start.AddDate(2, 0, 0))
	c = s.due(c.ID)
	require.Equal(t, []string{"2028-05-01", "2029-07-31"}, []string{c.FirstDate, c.LastDate})
	require.Len(t, s.away(), 60, "from June 2028 on")
	require.NotContains(t, s.cutsOn("2028-06-15"), "12:00")
	s.call("POST", "/v1/private-calendars/"+c.ID+"/fetch", nil).refused(409, "conflict")
}

func TestACalendarIsFetchedAgainOnlyWhenItHasChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	h := newHome(t, diary(lunch()))
	c := s.privateURL(s.ada, h.address())
	require.Equal(t, "127.0.0.1", c.Host)
	require.Equal(t, []string{"Ada 11.06.26 12:00-11.06.26 14:00"}, s.away())
	require.True(t, c.Next.Sub(start) >= 15*time.Minute && c.Next.Sub(start) < 20*time.Minute)
	tables := s.tables()
	before := fmt.Sprint(tables()["absence"])
	require.NotEqual(t, "[]", before)
	s.at(start.Add(time.Hour))
	c = s.due(c.ID)
	require.Equal(t, "read", c.State)
	require.True(t, c.Read.Equal(start.Add(time.Hour)))
	asked := h.requests()
	require.Len(t, asked, 2)
	require.Empty(t, asked[0].Get("If-None-Match"))
	require.NotEmpty(t, asked[1].Get("If-None-Match"))
	require.Equal(t, "Mon, 08 Jun 2026 06:00:00 GMT", asked[1].Get("If-Modified-Since"))
	require.Equal(t, before, fmt.Sprint(tables()["absence"]), "the same rows")

	h.set(diary(lunch(), entry("DTSTART:20260612T080000Z", "DTEND:20260612T090000Z")), nil)
	c = s.due(c.ID)
	require.Equal(t, []string{"Ada 11.06.26 12:00-11.06.26 14:00", "Ada 12.06.26 10:00-12.06.26 11:00"}, s.away())
	h.set(diary(), nil)
	s.at(start.Add(2 * time.Hour))
	s.call("POST", "/v1/private-calendars/"+c.ID+"/fetch", nil).is(200, &c)
	require.Equal(t, "read", c.State)
	require.Empty(t, s.away(), "a calendar without events is a calendar")
	h.set(diary(lunch()), func(w http.ResponseWriter, _ *http.Request) bool { // knows no validators
		_, _ = io.WriteString(w, diary(entry("DTSTART:20260612T080000Z", "DTEND:20260612T090000Z")))
		return true
	})
	s.due(c.ID)
	require.Len(t, s.away(), 1)
}

func TestNoFailureTakesAbsencesAway(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	good := diary(lunch())
	h := newHome(t, good)
	c := s.privateURL(s.ada, h.address())
	want := s.away()
	private := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("reached") }))
	defer private.Close()
	for _, tt := range []struct {
		name   string
		answer func(http.ResponseWriter, *http.Request) bool
		body   string
		says   string
	}{
		{"a web page", nil, "<html><body>" + privateSecret + "</body></html>", "is a web page"},
		{"nothing", nil, "", "is empty"},
		{"no event readable", nil, diary(entry("DTSTART:soon")), "holds no event that can be read"},
		{"an error", status(500), "", "500 Internal Server Error"},
		{"a wall", status(401), "", "password"},
		{"not there", status(404), "", "404 Not Found"},
		{"gone", status(410), "", "410 Gone"},
		{"204", status(204), "", "204"},
		{"a loop", func(w http.ResponseWriter, r *http.Request) bool {
			http.Redirect(w, r, r.URL.Path, http.StatusFound)
			return true
		}, "", "more than 3 times"},
		{"sent inwards", func(w http.ResponseWriter, r *http.Request) bool {
			http.Redirect(w, r, "http://10.0.0.1/"+privateSecret, http.StatusFound)
			return true
		}, "", "may not be used"},
		{"sent to a file", func(w http.ResponseWriter, r *http.Request) bool {
			w.Header().Set("Location", "file:///etc/passwd")
			w.WriteHeader(302)
			return true
		}, "", "may not be used"},
		{"too large", nil, strings.Repeat("X", 5<<20+1), "larger than 5242880 bytes"},
	} {
		h.set(tt.body, tt.answer)
		c = s.due(c.ID)
		require.NotEqual(t, "read", c.State, tt.name)
		require.Contains(t, c.Failure, tt.says, tt.name)
		require.NotContains(t, c.Failure, privateSecret, tt.name)
		require.Equal(t, want, s.away(), tt.name)
	}
	h.CloseClientConnections()
	h.Close()
	c = s.due(c.ID)
	require.Contains(t, c.Failure, "cannot be reached")
	require.Equal(t, 13, c.Failures)
	require.Equal(t, want, s.away())
	require.True(t, c.Next.Sub(start) >= 24*time.Hour && c.Next.Sub(start) <= 28*time.Hour, "backed off to a day: %s", c.Next)
	raw, err := json.Marshal(c)
	require.NoError(t, err)
	require.NotContains(t, string(raw), privateSecret)
}

func TestEachFailureDoublesTheWaitAndAServerThatAsksForMoreGetsIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	h := newHome(t, diary(lunch()))
	c := s.privateURL(s.ada, h.address())
	h.set("", status(503))
	for _, minutes := range []float64{15, 30, 60, 120, 240, 480, 960, 1440, 1440} {
		wait := s.due(c.ID).Next.Sub(start).Minutes()
		require.GreaterOrEqual(t, wait, minutes)
		require.LessOrEqual(t, wait, minutes*1.125)
	}
	h.set(diary(), nil)
	require.Equal(t, 0, s.due(c.ID).Failures)
	h.set("", func(w http.ResponseWriter, _ *http.Request) bool {
		w.Header().Set("Retry-After", "7200")
		w.WriteHeader(429)
		return true
	})
	require.GreaterOrEqual(t, s.due(c.ID).Next.Sub(start), 2*time.Hour)
	h.set("", status(404))
	for _, state := range []string{"failing", "failing", "broken"} {
		require.Equal(t, state, s.due(c.ID).State)
	}
	h.set(diary(), nil)
	require.Equal(t, "read", s.due(c.ID).State)
}

func TestNobodyHasACalendarFetchedAgainAndAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	h := newHome(t, diary(lunch()))
	c := s.privateURL(s.ada, h.address())
	fetch := "/v1/private-calendars/" + c.ID + "/fetch"
	p := s.call("POST", fetch, nil).refused(409, "conflict")
	require.Contains(t, p.Detail, start.Add(time.Minute).Format("15:04:05"))
	require.Len(t, h.requests(), 1, "when it was added")
	now := start.Add(time.Minute)
	s.at(now)
	h.set("", func(w http.ResponseWriter, _ *http.Request) bool {
		w.Header().Set("Retry-After", "7200")
		w.WriteHeader(429)
		return true
	})
	s.call("POST", fetch, nil).is(200, &c)
	require.Equal(t, "failing", c.State)
	s.at(now.Add(2*time.Hour - time.Second))
	s.call("POST", fetch, nil).refused(409, "conflict")
	h.set("", status(404))
	s.at(*c.Next)
	s.call("POST", fetch, nil).is(200, &c)
	s.at(c.Tried.Add(time.Minute))
	s.call("POST", fetch, nil).is(200, &c)
	require.Equal(t, 3, c.Failures, "our own waits after failures do not bind who asks")
	require.Len(t, h.requests(), 4)
}

func TestACalendarInLineThatIsSwitchedOffMeanwhileStaysOff(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	h := newHome(t, diary(lunch()))
	file, fetched := s.privateFile(s.ben, diary(lunch())), s.privateURL(s.ada, h.address())
	for _, id := range []string{file.ID, fetched.ID} {
		s.call("PUT", "/v1/private-calendars/"+id, object{"label": "Home", "all_day_busy": false, "active": false}, "If-Match", `"v1"`).is(200, nil)
	}
	h.set(diary(lunch(), lunch()), nil)
	for _, id := range []string{file.ID, fetched.ID} {
		require.Equal(t, "off", s.due(id).State)
	}
	require.Empty(t, s.away())
	require.Len(t, h.requests(), 1)
}

func TestCalendarsThatAreAddedAtOnceAreCountedAllTheSame(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for range 8 {
		s.privateFile(s.ada, diary())
	}
	var all sync.WaitGroup
	var added atomic.Int32
	for range 6 {
		all.Go(func() {
			switch a := s.call("POST", "/v1/private-calendars/files?staff_id="+s.ada, diary(), "Content-Type", "text/calendar"); a.status {
			case 201:
				added.Add(1)
			default:
				a.refused(409, "conflict")
			}
		})
	}
	all.Wait()
	require.Equal(t, int32(2), added.Load())
}

func TestAnAddressThatGivesNoCalendarIsRefusedAndNothingIsKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	h := newHome(t, "<html>")
	tables := s.tables()
	before := tables()
	add := func(address string) api.Problem {
		return s.call("POST", "/v1/private-calendars", object{"staff_id": s.ada, "address": address}).refused(422, "invalid")
	}
	for _, x := range []string{"", "calendars.example", "http://calendars.example/x.ics", "https://10.0.0.1/x.ics", "https://user:pw@calendars.example/", "ftp://x/y", "webcal://192.168.1.1/a",
		"https://calendars.example:8443/" + privateSecret, h.address(), h.URL + "/" + privateSecret, "http://127.0.0.1:1/" + privateSecret} {
		p := add(x)
		require.Equal(t, []string{"body /address"}, pointers(p), x)
		require.NotContains(t, p.Detail, privateSecret)
	}
	require.Contains(t, s.call("POST", "/v1/private-calendars", object{"staff_id": s.ada, "address": "http://127.0.0.1/cal/fx.ics"}).refused(422, "invalid").Errors[0].Detail, "one of this service")
	require.Equal(t, before, tables())
	h.set(diary(lunch()), nil)
	p := s.call("POST", "/v1/private-calendars", object{"staff_id": "x", "label": strings.Repeat("l", 81), "address": "x"}).refused(422, "invalid")
	require.Equal(t, []string{"body /label", "body /address", "body /staff_id"}, pointers(p))
	s.server.Reach(nil)
	s.call("POST", "/v1/private-calendars", object{"staff_id": s.ada, "address": h.address()}).refused(503, "unavailable")
	s.server.Reach(outbound.NewClient(outbound.Options{}))
	add(h.address())
	require.Equal(t, before, tables())
}

func TestHostileFilesAreRefusedOrReadAndNothingBreaks(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	up := func(file string, headers ...string) answer {
		return s.call("POST", "/v1/private-calendars/files?staff_id="+s.ada, file, append([]string{"Content-Type", "text/calendar; charset=utf-8"}, headers...)...)
	}
	tables := s.tables()
	before := tables()
	for _, tt := range []struct{ name, file, says string }{
		{"a web page", "<!DOCTYPE html><html></html>", "web page"},
		{"JSON", `{"a": 1}`, "JSON"},
		{"no calendar", "hello", ""},
		{"zeros", strings.Repeat("\x00", 4096), ""},
		{"nested", strings.Repeat("BEGIN:A\r\n", 400_000), ""},
		{"nothing readable", diary(entry("DTSTART:soon"), entry("DTSTART:later")), "DTSTART"},
	} {
		p := up(tt.file).refused(422, "invalid")
		require.Contains(t, p.Detail, tt.says, tt.name)
		require.NotContains(t, p.Detail, privateSecret, tt.name)
		require.Less(t, len(p.Detail), 32<<10, tt.name)
	}
	up("", "Content-Length", "0").refused(400, "unreadable")
	up(strings.Repeat("X", 5<<20+1)).refused(413, "too-large")
	up(diary(lunch()), "Content-Type", "application/json").refused(415, "media-type")
	up(diary(lunch()), "Content-Type", "text/html").refused(415, "media-type")
	up(diary(lunch()), "Content-Type", "").refused(415, "media-type")
	up(diary(lunch()), "Authorization", "Bearer x").refused(401, "unauthorized")
	s.call("POST", "/v1/private-calendars/files?staff_id=x&label="+strings.Repeat("l", 81), diary(), "Content-Type", "text/calendar").refused(422, "invalid")
	s.call("POST", "/v1/private-calendars/files", diary(), "Content-Type", "text/calendar").refused(422, "invalid")
	s.call("POST", "/v1/clients", strings.Repeat(" ", 256<<10+1)).refused(413, "too-large")
	require.Equal(t, before, tables())

	odd := diary(lunch(), entry("DTSTART:soon\x00\x01\x7f", "DTEND:\xff\xfe"), entry("DTSTART:20260612T080000Z", "DURATION:PT99999999999999H"),
		entry("DTSTART:20260612T080000Z", "DTEND:20260612T090000Z", "RRULE:FREQ=SECONDLY"), entry("DTSTART:10000101T080000Z", "DTEND:99991231T090000Z"))
	var c api.PrivateCalendarBody
	up(odd).is(201, &c)
	require.NotEmpty(t, c.Problems)
	raw, err := json.Marshal(c.Problems)
	require.NoError(t, err)
	require.NotContains(t, string(raw), privateSecret, "no words of an event")
	r := rand.New(rand.NewPCG(1, 2))
	for range 60 {
		b := []byte(odd)
		for range 1 + r.IntN(20) {
			b[r.IntN(len(b))] = byte(r.IntN(256))
		}
		a := up(string(b[:r.IntN(len(b))+1]))
		require.Contains(t, []int{201, 409, 422}, a.status, "%s", a.body)
		if a.status == 201 {
			require.NoError(t, json.Unmarshal(a.body, &c))
			s.call("DELETE", "/v1/private-calendars/"+c.ID, nil, "If-Match", a.header.Get("ETag")).is(204, nil)
		}
	}
	wide := entry("DTSTART:20200101T000000Z", "DTEND:20350101T000000Z")
	up(diary(wide)).is(201, &c)
	require.Equal(t, 1, c.BusyTimes)
}

func TestWhatAnEventIsAboutIsKeptNowhere(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.store.SealWith(nil) // so that nothing is hidden from the look behind
	h := newHome(t, diary(lunch(), entry("DTSTART:soon", "LOCATION:"+privateSecret, "ATTENDEE;CN="+privateSecret+":mailto:"+privateSecret+"@x.example")))
	c := s.privateURL(s.ada, h.URL+"/a.ics")
	s.privateFile(s.ben, diary(lunch(), "BEGIN:VEVENT\r\nUID:"+privateSecret+"@x.example\r\nDTSTART:soon\r\nEND:VEVENT\r\n"))
	require.NotEmpty(t, c.Problems)
	for table, rows := range s.tables()() {
		require.NotContains(t, fmt.Sprint(rows), privateSecret, table)
	}
	s.store.SealWith(healthKey(t, 1))
	h = newHome(t, diary(lunch()))
	s.privateURL(s.ada, h.address())
	for table, rows := range s.tables()() {
		require.NotContains(t, fmt.Sprint(rows), privateSecret, "the address is sealed: %s", table)
	}
	for _, path := range []string{"/v1/private-calendars", "/v1/absences"} {
		require.NotContains(t, string(s.call("GET", path, nil).is(200, nil).body), privateSecret)
	}
}

func TestAnImportOverVisitsListsThemAndMovesNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), time.Date(2026, 6, 11, 12, 30, 0, 0, start.Location()), []object{s.by(s.ada, "Dry cut")})
	c := s.privateFile(s.ada, diary(lunch()))
	require.Equal(t, []string{v.ID}, c.Conflicts)
	require.Equal(t, []string{v.ID}, s.privateNow(c.ID).Conflicts)
	var still api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &still)
	require.True(t, v.Start.Equal(still.Start))
	require.Equal(t, v.State, still.State)

	var list struct{ Items []api.AbsenceBody }
	s.call("GET", "/v1/absences", nil).is(200, &list)
	require.Len(t, list.Items, 1)
	require.True(t, list.Items[0].FromPrivate)
	require.Empty(t, list.Items[0].Reason)
	p := s.call("DELETE", "/v1/absences/"+list.Items[0].ID, nil).refused(409, "conflict")
	require.Contains(t, p.Detail, "private calendar")
	require.Len(t, s.away(), 1)
	var a api.AbsenceBody
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": "2026-06-12T12:00:00+02:00", "to": "2026-06-12T13:00:00+02:00", "from_private_calendar": true}).is(201, &a)
	require.False(t, a.FromPrivate)
	s.call("DELETE", "/v1/absences/"+a.ID, nil).is(204, nil)
}

func TestAStylistSeesAndChangesHerOwnCalendarsOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	hers, others := s.privateFile(s.ada, diary(lunch())), s.privateFile(s.ben, diary(lunch()))
	ada, nobody := s.asPerson(store.LeadRole, s.ada), s.as(store.LeadRole)
	list := func(who *salon) (ids []string) {
		var out struct{ Items []api.PrivateCalendarBody }
		who.call("GET", "/v1/private-calendars", nil).is(200, &out)
		for _, c := range out.Items {
			ids = append(ids, c.ID)
		}
		return ids
	}
	require.Equal(t, []string{hers.ID, others.ID}, list(s.as(store.Desk)))
	require.Equal(t, []string{hers.ID}, list(ada))
	require.Empty(t, list(nobody))
	ada.privateNow(hers.ID)
	change := object{"label": "x", "all_day_busy": false, "active": true}
	tables := s.tables()
	before := tables()
	for _, who := range []*salon{ada, nobody} {
		at := "/v1/private-calendars/" + others.ID
		who.call("GET", at, nil).refused(404, "not-found")
		who.call("PUT", at, change, "If-Match", `"v1"`).refused(404, "not-found")
		who.call("PUT", at+"/file", diary(), "If-Match", `"v1"`, "Content-Type", "text/calendar").refused(404, "not-found")
		who.call("POST", at+"/fetch", nil).refused(404, "not-found")
		who.call("DELETE", at, nil, "If-Match", `"v1"`).refused(404, "not-found")
		who.call("POST", "/v1/private-calendars/files?staff_id="+s.ben, diary(), "Content-Type", "text/calendar").refused(403, "forbidden")
		who.call("POST", "/v1/private-calendars", object{"staff_id": s.ben, "address": "https://calendars.example/x"}).refused(403, "forbidden")
	}
	require.Equal(t, before, tables())
	mine := ada.privateFile(s.ada, diary())
	ada.call("DELETE", "/v1/private-calendars/"+mine.ID, nil, "If-Match", `"v1"`).is(204, nil)
	for range 9 {
		s.privateFile(s.ada, diary())
	}
	s.call("POST", "/v1/private-calendars/files?staff_id="+s.ada, diary(), "Content-Type", "text/calendar").refused(409, "conflict")
}

func TestTwoWhoFetchTheSameCalendarDoNotBothDoSo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	h := newHome(t, diary(lunch()))
	c := s.privateURL(s.ada, h.address())
	arrived, release := make(chan bool, 10), make(chan bool)
	h.set("", func(w http.ResponseWriter, _ *http.Request) bool {
		arrived <- true
		<-release
		_, _ = io.WriteString(w, diary(lunch(), lunch()))
		return true
	})
	done := make(chan error, 1)
	go func() { done <- s.server.FetchPrivateCalendar(context.Background(), s.row.ID, c.ID) }()
	<-arrived
	require.NoError(t, s.server.FetchPrivateCalendar(t.Context(), s.row.ID, c.ID), "left to the other")
	s.call("POST", "/v1/private-calendars/"+c.ID+"/fetch", nil).refused(409, "conflict")

	// Nobody waits for the server meanwhile: the calendar can be changed, and the
	// change wins.
	s.call("PUT", "/v1/private-calendars/"+c.ID, object{"label": "x", "all_day_busy": false, "active": false}, "If-Match", `"v1"`).is(200, nil)
	close(release)
	require.NoError(t, <-done)
	require.Empty(t, s.away())
	require.Equal(t, "off", s.privateNow(c.ID).State)
	require.Empty(t, arrived)
}

func TestNoBookingSlipsInBesideAnImport(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	first, second := 0, 0
	for n := range 10 {
		day := time.Date(2026, 6, 15+n%5, 12, 0, 0, 0, start.Location()).AddDate(0, 0, 7*(n/5))
		file := diary(entry("DTSTART:"+day.UTC().Format("20060102T150405Z"), "DURATION:PT2H"))
		var both sync.WaitGroup
		var c api.PrivateCalendarBody
		var booked answer
		both.Go(func() {
			time.Sleep(time.Duration(n) * 5 * time.Millisecond) // either is first now and then
			c = s.privateFile(s.ben, file)
		})
		both.Go(func() {
			booked = s.call("POST", "/v1/visits", object{"client_id": client, "start": day.Add(30 * time.Minute), "services": []object{s.by(s.ben, "Dry cut")}},
				"Idempotency-Key", fmt.Sprintf("race %d", n))
		})
		both.Wait()
		switch booked.status {
		case 201:
			var v api.VisitBody
			require.NoError(t, json.Unmarshal(booked.body, &v))
			require.Equal(t, []string{v.ID}, s.privateNow(c.ID).Conflicts)
			first++
		default:
			booked.refused(409, "taken")
			require.Empty(t, c.Conflicts)
			second++
		}
		s.call("DELETE", "/v1/private-calendars/"+c.ID, nil, "If-Match", `"v1"`).is(204, nil)
	}
	t.Logf("the booking was first %d times, the import %d times", first, second)
}

func BenchmarkImportOf500Events(b *testing.B) {
	s := newSalon(b)
	file := func(shift int) string {
		var events []string
		for i := range 500 {
			at := start.Add(time.Duration(i*18+shift) * time.Hour)
			events = append(events, entry("DTSTART:"+at.UTC().Format("20060102T150405Z"), "DURATION:PT50M", "DESCRIPTION:"+strings.Repeat("words ", 60)))
		}
		return diary(events...)
	}
	h := newHome(b, file(0))
	c := s.privateURL(s.ada, h.address())
	run := func(name string, body func(n int) string) {
		b.Run(name, func(b *testing.B) {
			for n := 0; b.Loop(); n++ {
				b.StopTimer()
				h.set(body(n), nil)
				b.StartTimer()
				require.NoError(b, s.server.FetchPrivateCalendar(b.Context(), s.row.ID, c.ID))
			}
		})
	}
	same := file(0)
	b.Logf("%d bytes", len(same))
	run("unchanged", func(int) string { return same })
	run("read anew, same times", func(int) string { return file(0) })
	run("every time moved", func(n int) string { return file(1 + n%2) })
	require.Equal(b, 500, s.privateNow(c.ID).BusyTimes)
}
