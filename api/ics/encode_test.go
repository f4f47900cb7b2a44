package ics

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

var update = flag.Bool("update", false, "write the golden files")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run go test -update and read the diff")
	require.Equal(t, string(want), string(got))
}

// london is an instant given by the clocks of London.
func london(d date.Date, hour, minute int) time.Time {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		panic(err)
	}
	return scheduling.Instant(loc, d, clock.New(hour, minute, 0, 0))
}

var (
	thursday = date.New(2026, time.November, 26)
	revised  = time.Date(2026, time.November, 20, 8, 30, 0, 0, time.UTC)
)

// sample is a calendar with one event of each form.
func sample() Calendar {
	start := london(thursday, 9, 0)
	return Calendar{
		Name: "Work", Zone: start.Location(), Color: "steelblue", LastModified: revised,
		Events: []Event{
			{
				UID: "11111111-0000-4000-8000-000000000001", Stamp: revised, Start: start, End: start.Add(70 * time.Minute),
				Summary: "Prep and apply", Status: Confirmed, Busy: true, URL: "https://salon.example/v/1",
				Alarms:    []Alarm{{UID: "11111111-0000-4000-8000-00000000000a", Text: "Soon", Offset: -15 * time.Minute}},
				RelatedTo: []Relation{{Next, "11111111-0000-4000-8000-000000000002"}},
			},
			{
				UID: "11111111-0000-4000-8000-000000000002", Stamp: revised, Sequence: 2,
				AllDay: true, StartDate: thursday.Add(1), EndDate: thursday.Add(2), Summary: "Whole day", Status: Tentative,
			},
		},
	}
}

func encode(t require.TestingT, c Calendar) []byte {
	from, to := Window(thursday)
	out, err := c.Encode(from, to)
	require.NoError(t, err)
	return out
}

func TestCalendarWithEveryForm(t *testing.T) {
	c := sample()
	c.Description = "Two lines,\r\nand a semicolon; too"
	c.Events[0].Description = strings.Repeat("Straightening, 11 sections; ", 6) + "😀😀😀😀😀😀😀😀😀😀"
	c.Events[0].Location = "Chair 2; window side"
	c.Events[0].Categories = []string{"colour, retouch", "long"}
	out := encode(t, c)
	requireLines(t, out)
	golden(t, "every_form.ics", out)
}

func TestEmptyDayIsTheZoneAlone(t *testing.T) {
	golden(t, "empty.ics", encode(t, Calendar{Name: "Work", Zone: london(thursday, 9, 0).Location()}))
}

func TestSameValuesGiveTheSameOctetsInAnyOrder(t *testing.T) {
	c := sample()
	want := string(encode(t, c))
	c.Events[0], c.Events[1] = c.Events[1], c.Events[0]
	require.Equal(t, want, string(encode(t, c)))
	require.Equal(t, "11111111-0000-4000-8000-000000000002", c.Events[0].UID, "the caller's list is left as it was")
}

func TestEventsStandByStartThenUID(t *testing.T) {
	c := sample()
	c.Events = nil
	for i, at := range []struct {
		uid  string
		hour int
	}{{"c", 12}, {"b", 9}, {"a", 12}, {"d", 8}} {
		start := london(thursday, at.hour, 0)
		c.Events = append(c.Events, Event{UID: at.uid, Stamp: revised, Start: start, End: start.Add(time.Hour), Summary: fmt.Sprint(i), Status: Confirmed})
	}
	c.Events = append(c.Events, Event{UID: "e", Stamp: revised, AllDay: true, StartDate: thursday, EndDate: thursday.Add(1), Summary: "day", Status: Confirmed})
	var order []string
	for line := range strings.SplitSeq(string(encode(t, c)), "\r\n") {
		if uid, ok := strings.CutPrefix(line, "UID:"); ok {
			order = append(order, uid)
		}
	}
	require.Equal(t, []string{"e", "d", "b", "a", "c"}, order)
}

func TestTimesThatOccurTwiceAreWrittenInUTC(t *testing.T) {
	loc := london(thursday, 0, 0).Location()
	for _, tt := range []struct {
		name, start, end string // RFC 3339
		want             string
	}{
		{"winter", "2026-11-26T09:00:00Z", "2026-11-26T10:10:00Z", "DTSTART;TZID=Europe/London:20261126T090000"},
		{"first run", "2026-10-25T00:15:00Z", "2026-10-25T00:45:00Z", "DTSTART:20261025T001500Z"},
		{"second run", "2026-10-25T01:15:00Z", "2026-10-25T01:45:00Z", "DTSTART:20261025T011500Z"},
		{"ends in the second run", "2026-10-24T22:00:00Z", "2026-10-25T01:59:00Z", "DTSTART:20261024T220000Z"},
		{"begins when it is over", "2026-10-25T02:00:00Z", "2026-10-25T03:00:00Z", "DTSTART;TZID=Europe/London:20261025T020000"},
		{"ends before it begins", "2026-10-24T22:00:00Z", "2026-10-24T23:59:00Z", "DTSTART;TZID=Europe/London:20261024T230000"},
		{"around the gap", "2026-03-29T00:59:00Z", "2026-03-29T01:00:00Z", "DTSTART;TZID=Europe/London:20260329T005900"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := Calendar{Name: "n", Zone: loc, Events: []Event{{UID: "u", Stamp: revised, Summary: "s", Status: Confirmed}}}
			var err error
			c.Events[0].Start, err = time.Parse(time.RFC3339, tt.start)
			require.NoError(t, err)
			c.Events[0].End, err = time.Parse(time.RFC3339, tt.end)
			require.NoError(t, err)
			out := string(encode(t, c))
			require.Contains(t, out, tt.want+"\r\n")
			start, end := readTimes(t, out, loc)
			require.True(t, start.Equal(c.Events[0].Start), "read as %s", start)
			require.True(t, end.Equal(c.Events[0].End), "read as %s", end)
		})
	}
}

// readTimes reads DTSTART and DTEND of the only event by the rule of RFC 5545
// section 3.3.5.
func readTimes(t *testing.T, feed string, loc *time.Location) (start, end time.Time) {
	t.Helper()
	_, event, _ := strings.Cut(feed, "BEGIN:VEVENT")
	read := func(name string) time.Time {
		_, rest, _ := strings.Cut(event, "\r\n"+name)
		line, _, _ := strings.Cut(rest, "\r\n")
		_, value, _ := strings.Cut(line, ":")
		if strings.HasSuffix(value, "Z") {
			at, err := time.Parse(instantForm, value)
			require.NoError(t, err)
			return at
		}
		wall, err := time.Parse(wallForm, value)
		require.NoError(t, err)
		return scheduling.Instant(loc, date.NewAt(wall), clock.NewAt(wall))
	}
	return read("DTSTART"), read("DTEND")
}

func TestNoInstantAroundAnyChangeOfClocksIsMisread(t *testing.T) {
	for _, name := range []string{"Europe/London", "America/New_York", "Australia/Lord_Howe", "Antarctica/Troll", "America/Havana", "Pacific/Chatham"} {
		loc := zone(t, name)
		for _, o := range onsetsOf(loc, time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 12, 31, 0, 0, 0, 0, time.UTC)) {
			for s := int64(-4 * 3600); s <= 4*3600; s += 300 {
				at := time.Unix(o.at+s, 0).In(loc)
				read := scheduling.Instant(loc, date.NewAt(at), clock.NewAt(at))
				if !occursTwice(loc, at) {
					require.True(t, read.Equal(at), "%s would be read as %s", at, read)
				}
			}
		}
	}
}

func TestDurations(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "PT0S", 15 * time.Minute: "PT15M", -15 * time.Minute: "-PT15M", 48 * time.Hour: "PT48H",
		time.Hour + 30*time.Second: "PT1H0M30S", 90 * time.Second: "PT1M30S", 5*time.Hour + 20*time.Second: "PT5H0M20S", time.Second: "PT1S",
	} {
		require.Equal(t, want, duration(d), "RFC 5545 section 3.3.6")
	}
}

func TestTriggerExamplesOfRFC5545Section3863(t *testing.T) {
	trigger := func(a Alarm) string {
		var w lines
		w.alarm(a)
		_, rest, _ := strings.Cut(string(w.out), "\r\nTRIGGER")
		value, _, _ := strings.Cut(rest, "\r\n")
		return value
	}
	require.Equal(t, ":-PT15M", trigger(Alarm{UID: "a", Text: "t", Offset: -15 * time.Minute}))
	require.Equal(t, ";RELATED=END:PT5M", trigger(Alarm{UID: "a", Text: "t", Offset: 5 * time.Minute, FromEnd: true}))
}

func TestBusyAgreesForAllReaders(t *testing.T) {
	for _, tt := range []struct {
		status             Status
		busy               bool
		transparency, word string
	}{
		{Confirmed, true, "OPAQUE", "BUSY"},
		{Confirmed, false, "TRANSPARENT", "FREE"},
		{Tentative, true, "OPAQUE", "TENTATIVE"},
		{Tentative, false, "TRANSPARENT", "FREE"},
		{Cancelled, false, "TRANSPARENT", "FREE"},
	} {
		transparency, word := busyness(Event{Status: tt.status, Busy: tt.busy})
		require.Equal(t, tt.transparency, transparency)
		require.Equal(t, tt.word, word)
	}
}

func TestBadValuesAreRefusedByName(t *testing.T) {
	for _, tt := range []struct {
		name, field string
		spoil       func(*Calendar)
	}{
		{"no name", "name", func(c *Calendar) { c.Name = " \x00 " }},
		{"no zone", "zone", func(c *Calendar) { c.Zone = nil }},
		{"zone of the machine", "zone", func(c *Calendar) { c.Zone = time.Local }},
		{"fixed offset without a name", "zone", func(c *Calendar) { c.Zone = time.FixedZone("", 3600) }},
		{"zone name of another system", "zone", func(c *Calendar) { c.Zone = time.FixedZone("GMT Standard Time", 0) }},
		{"negative refresh", "refresh", func(c *Calendar) { c.Refresh = -time.Minute }},
		{"refresh with a fraction", "refresh", func(c *Calendar) { c.Refresh = time.Millisecond }},
		{"hexadecimal colour", "color", func(c *Calendar) { c.Color = "#4682b4" }},
		{"no UID", "events[1].uid", func(c *Calendar) { c.Events[1].UID = "" }},
		{"UID with a line break", "events[0].uid", func(c *Calendar) { c.Events[0].UID = "a\r\nSUMMARY:b" }},
		{"long UID", "events[0].uid", func(c *Calendar) { c.Events[0].UID = strings.Repeat("x", 256) }},
		{"UID twice", "events[1].uid", func(c *Calendar) { c.Events[1].UID = c.Events[0].UID }},
		{"no stamp", "events[0].stamp", func(c *Calendar) { c.Events[0].Stamp = time.Time{} }},
		{"negative sequence", "events[0].sequence", func(c *Calendar) { c.Events[0].Sequence = -1 }},
		{"huge sequence", "events[0].sequence", func(c *Calendar) { c.Events[0].Sequence = 1 << 31 }},
		{"end at the start", "events[0].end", func(c *Calendar) { c.Events[0].End = c.Events[0].Start }},
		{"end in the same second", "events[0].end", func(c *Calendar) { c.Events[0].End = c.Events[0].Start.Add(time.Millisecond) }},
		{"no start", "events[0].start", func(c *Calendar) { c.Events[0].Start = time.Time{} }},
		{"year with five digits", "events[0].end", func(c *Calendar) { c.Events[0].End = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC) }},
		{"no whole day", "events[1].end_date", func(c *Calendar) { c.Events[1].EndDate = c.Events[1].StartDate }},
		{"no title", "events[0].summary", func(c *Calendar) { c.Events[0].Summary = "\t" }},
		{"unknown status", "events[0].status", func(c *Calendar) { c.Events[0].Status = "BANANA" }},
		{"no status", "events[0].status", func(c *Calendar) { c.Events[0].Status = "" }},
		{"cancelled without a revision", "events[0].sequence", func(c *Calendar) { c.Events[0].Status = Cancelled }},
		{"script as address", "events[0].url", func(c *Calendar) { c.Events[0].URL = "javascript:alert(1)" }},
		{"address with a line break", "events[0].url", func(c *Calendar) { c.Events[0].URL = "https://a.example/\r\nX:y" }},
		{"relative address", "events[0].url", func(c *Calendar) { c.Events[0].URL = "/v/1" }},
		{"related to itself", "events[0].related_to[0].uid", func(c *Calendar) { c.Events[0].RelatedTo[0].UID = c.Events[0].UID }},
		{"related to nothing", "events[0].related_to[0].uid", func(c *Calendar) { c.Events[0].RelatedTo[0].UID = "x" }},
		{"related to an alarm", "events[0].related_to[0].uid", func(c *Calendar) { c.Events[0].RelatedTo[0].UID = c.Events[0].Alarms[0].UID }},
		{"unknown relation", "events[0].related_to[0].type", func(c *Calendar) { c.Events[0].RelatedTo[0].Type = "COUSIN" }},
		{"alarm with the event's UID", "events[0].alarms[0].uid", func(c *Calendar) { c.Events[0].Alarms[0].UID = c.Events[1].UID }},
		{"alarm without UID", "events[0].alarms[0].uid", func(c *Calendar) { c.Events[0].Alarms[0].UID = "" }},
		{"alarm without text", "events[0].alarms[0].text", func(c *Calendar) { c.Events[0].Alarms[0].Text = "" }},
		{"alarm at a fraction", "events[0].alarms[0].offset", func(c *Calendar) { c.Events[0].Alarms[0].Offset = time.Microsecond }},
		{"empty category", "events[0].categories[1]", func(c *Calendar) { c.Events[0].Categories = []string{"a", "\r\n"} }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := sample()
			tt.spoil(&c)
			out, err := c.Encode(thursday, thursday)
			require.Nil(t, out)
			faults, ok := errors.AsType[scheduling.Faults](err)
			require.True(t, ok, "%v", err)
			var fields []string
			for _, f := range faults {
				fields = append(fields, f.Field)
				require.NotEmpty(t, f.Problem)
				require.NotEmpty(t, f.Want)
			}
			require.Contains(t, fields, tt.field)
		})
	}
	t.Run("window that ends before it begins", func(t *testing.T) {
		_, err := sample().Encode(thursday, thursday.Add(-1))
		require.ErrorContains(t, err, "ics: encode: to is 2026-11-25, before 2026-11-26; expected the first day or a later one")
	})
}

func TestWindowIsThirtyDaysBackAndHalfAYearAhead(t *testing.T) {
	from, to := Window(thursday)
	require.Equal(t, "2026-10-27 2027-05-25", from.String()+" "+to.String())
}

// busyYear is a feed of n events like those of a stylist.
func busyYear(n int) Calendar {
	c := sample()
	c.Events = nil
	for i := range n {
		start := london(thursday.Add(date.PeriodOfDays(i/4)), 9+2*(i%4), 0)
		uid := fmt.Sprintf("22222222-0000-4000-8000-%012d", i)
		c.Events = append(c.Events, Event{
			UID: uid, Stamp: revised, Start: start, End: start.Add(70 * time.Minute), Summary: "Prep, Apply · A. K.",
			Description: "Straightening\n09:00 Consultation\n09:18 Wash\n09:29 Prep\n09:39 Apply, from the nape up in partings of a finger's width\n10:10 end of this part",
			Location:    "Chair 2, Basin 1", Status: Confirmed, Busy: true,
			Alarms: []Alarm{{UID: uid + "a", Text: "Soon", Offset: -10 * time.Minute}},
		})
		if i > 0 {
			c.Events[i-1].RelatedTo = []Relation{{Next, uid}}
		}
	}
	return c
}

func BenchmarkEncode500Events(b *testing.B) {
	c := busyYear(500)
	from, to := Window(thursday)
	b.ReportAllocs()
	for b.Loop() {
		out, err := c.Encode(from, to)
		require.NoError(b, err)
		b.ReportMetric(float64(len(out)), "octets")
	}
}
