package api_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// freeBusy is the same secret asked for busy time.
func (c calendar) freeBusy() calendar {
	return calendar{c.s, strings.TrimSuffix(c.path, ".ics") + ".ifb", c.id}
}

// busy lists the periods of an answer as kind, start and end, those of the first
// days only.
func (c calendar) busy(before string) []string {
	c.s.t.Helper()
	var out []string
	for line := range strings.SplitSeq(strings.ReplaceAll(string(c.ask("GET").is(200, nil).body), "\r\n ", ""), "\r\n") {
		if rest, ok := strings.CutPrefix(line, "FREEBUSY;FBTYPE="); ok {
			kind, period, _ := strings.Cut(rest, ":")
			if period < before {
				out = append(out, strings.TrimPrefix(kind, "BUSY-")+" "+strings.ReplaceAll(period, "202606", ""))
			}
		}
	}
	return out
}

func TestFreeBusyTimeSaysWhenAndNotWith(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	c := s.feed("staff", s.ada).freeBusy()
	// Monday 8 June, work from 9 to 18 in Berlin; then closed, away, with a break.
	s.call("POST", "/v1/closures", object{"first_date": "2026-06-09", "last_date": "2026-06-09", "reason": "works"}).is(201, nil)
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": "2026-06-10T09:00:00+02:00", "to": "2026-06-10T12:00:00+02:00", "reason": "dentist"}).is(201, nil)
	s.call("POST", "/v1/absences", object{"unit_id": s.ben, "from": "2026-06-08T09:00:00+02:00", "to": "2026-06-08T12:00:00+02:00"}).is(201, nil)
	hours := s.call("GET", "/v1/staff/"+s.ada+"/hours", nil)
	s.call("PUT", "/v1/staff/"+s.ada+"/hours", object{"work": []object{{"weekday": 1, "from": "08:00", "to": "18:00"}, {"weekday": 2, "from": "09:00", "to": "18:00"}, {"weekday": 3, "from": "09:00", "to": "18:00"}},
		"breaks": []object{{"weekday": 3, "from": "13:00", "to": "13:30"}}}, "If-Match", hours.header.Get("ETag")).is(200, nil)
	require.Equal(t, []string{
		"UNAVAILABLE 07T220000Z/08T070000Z",                                                                           // the salon opens at nine
		"UNAVAILABLE 08T160000Z/10T100000Z", "UNAVAILABLE 10T110000Z/10T113000Z", "UNAVAILABLE 10T160000Z/15T070000Z", // until Monday
	}, c.busy("20260612"))
	first := c.ask("GET").is(200, nil)

	// Work, also where she helps nobody else, and kept time; pencilled is free.
	s.book(s.client("Mara"), start.Add(2*time.Hour), []object{s.by(s.ada, "Dry cut")})
	s.call("POST", "/v1/holds", object{"start": start.Add(4 * time.Hour), "services": []object{s.by(s.ada, "Dry cut")}, "title": "a caller"}, "Idempotency-Key", "pencilled").is(201, nil)
	s.call("POST", "/v1/kept-times", object{"unit_ids": []string{s.ada}, "start": start.Add(7 * time.Hour), "minutes": 20, "title": "laundry"}, "Idempotency-Key", "laundry").is(201, nil)
	list := c.busy("20260608T15")
	require.Len(t, list, 3)
	require.Regexp(t, `^BUSY 08T080000Z/08T08\d\d00Z$`, list[1])
	require.Equal(t, "BUSY 08T130000Z/08T132000Z", list[2])

	a := c.ask("GET", "If-None-Match", first.header.Get("ETag")).is(200, nil)
	require.Equal(t, "text/calendar; charset=utf-8; component=VFREEBUSY", a.header.Get("Content-Type"))
	c.ask("GET", "If-None-Match", a.header.Get("ETag")).is(304, nil)
	packed := c.ask("GET", "Accept-Encoding", "gzip").is(200, nil)
	require.Equal(t, "gzip", packed.header.Get("Content-Encoding"))
	require.Empty(t, c.ask("HEAD").is(200, nil).body)
	c.ask("POST").refused(405, "method")
	body := string(a.body)
	for _, private := range []string{"Mara", "M. Q.", "Dry cut", "laundry", "dentist", "works", "METHOD", "ORGANIZER", "VEVENT"} {
		require.NotContains(t, body, private)
	}
	require.Contains(t, body, "DTSTART:20260607T220000Z\r\n")
	require.Contains(t, body, "DTEND:20260806T220000Z\r\n")
	require.Equal(t, body, string(c.ask("GET").body))
}

// Watching is work; the stretch in which somebody else works is free.
func TestWhoeverWatchesIsBusy(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	feed := s.feed("staff", s.ada)
	s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	_, events := feed.events()
	var want []string
	for _, e := range events {
		if e.Transp != "OPAQUE" {
			continue
		}
		if n := len(want); n > 0 && strings.HasSuffix(want[n-1], "/"+e.Start) { // joined
			want[n-1] = strings.TrimSuffix(want[n-1], e.Start) + e.End
			continue
		}
		want = append(want, e.Start+"/"+e.End)
	}
	clock := strings.NewReplacer("-", "", ":", "")
	var got []string
	for _, p := range feed.freeBusy().busy("20260610") {
		if rest, ok := strings.CutPrefix(p, "BUSY "); ok {
			got = append(got, rest)
		}
	}
	for i := range want {
		want[i] = strings.ReplaceAll(clock.Replace(want[i]), "202606", "")
	}
	require.Equal(t, want, got)
}

func TestOnlyPeopleHaveFreeBusyTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ended := s.feed("staff", s.ben)
	s.call("DELETE", "/v1/feeds/"+ended.id, nil).is(204, nil)
	unknown := ended.freeBusy().ask("GET")
	unknown.refused(404, "not-found")
	for _, c := range []calendar{s.feed("client", s.client("Mara")), s.feed("station", s.chairs[0]), s.feed("salon", "")} {
		a := c.freeBusy().ask("GET")
		a.refused(404, "not-found")
		require.Equal(t, string(unknown.body), string(a.body))
		c.ask("GET").is(200, nil)
	}
}

func TestFreeBusyTimeHoldsOverTheChangeOfClocks(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(time.Date(2026, 10, 23, 8, 0, 0, 0, berlin(t))) // the clocks go back on Sunday the 25th
	body := strings.ReplaceAll(string(s.feed("staff", s.ada).freeBusy().ask("GET").is(200, nil).body), "\r\n ", "")
	for _, want := range []string{"BUSY-UNAVAILABLE:20261023T160000Z/20261024T070000Z", "BUSY-UNAVAILABLE:20261024T160000Z/20261026T080000Z", "BUSY-UNAVAILABLE:20261026T170000Z/20261027T080000Z"} {
		require.Contains(t, body, want)
	}
}
