package ics

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"
)

func day(y int, m time.Month, d int) date.Date { return date.New(y, m, d) }

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// readOnset is one change of clocks as a reader of VTIMEZONE finds it.
type readOnset struct {
	at       time.Time
	from, to int // seconds
}

// expandZone reads the text of a feed's time zone, knowing nothing of how it
// was made: unfolds it, and tries every day of every year against the rules.
func expandZone(t testing.TB, feed []byte, untilYear int) []readOnset {
	t.Helper()
	text := strings.ReplaceAll(string(feed), "\r\n ", "")
	var onsets []readOnset
	var part map[string]string
	for line := range strings.SplitSeq(text, "\r\n") {
		name, value, _ := strings.Cut(line, ":")
		switch {
		case line == "BEGIN:STANDARD" || line == "BEGIN:DAYLIGHT":
			part = map[string]string{}
		case line == "END:STANDARD" || line == "END:DAYLIGHT":
			onsets = append(onsets, expandPart(t, part, untilYear)...)
			part = nil
		case part != nil:
			require.NotContains(t, part, name)
			part[name] = value
		}
	}
	sort.Slice(onsets, func(i, j int) bool { return onsets[i].at.Before(onsets[j].at) })
	return onsets
}

func expandPart(t testing.TB, part map[string]string, untilYear int) []readOnset {
	t.Helper()
	from, to := readOffset(t, part["TZOFFSETFROM"]), readOffset(t, part["TZOFFSETTO"])
	start, err := time.Parse("20060102T150405", part["DTSTART"])
	require.NoError(t, err)
	walls := []time.Time{start}
	if part["RDATE"] != "" {
		require.Empty(t, part["RRULE"], "iTIP forbids rule and dates together")
		for s := range strings.SplitSeq(part["RDATE"], ",") {
			w, err := time.Parse("20060102T150405", s)
			require.NoError(t, err)
			walls = append(walls, w)
		}
	}
	if part["RRULE"] != "" {
		walls = expandRule(t, part["RRULE"], start, from, untilYear)
		require.Equal(t, start, walls[0], "the first onset is an instance of its rule")
	}
	var onsets []readOnset
	for _, w := range walls {
		onsets = append(onsets, readOnset{w.Add(-time.Duration(from) * time.Second), from, to})
	}
	return onsets
}

func expandRule(t testing.TB, rule string, start time.Time, from, untilYear int) []time.Time {
	t.Helper()
	parts := map[string]string{}
	for s := range strings.SplitSeq(rule, ";") {
		k, v, _ := strings.Cut(s, "=")
		parts[k] = v
	}
	require.Equal(t, "YEARLY", parts["FREQ"])
	end := time.Date(untilYear, 12, 31, 23, 59, 59, 0, time.UTC)
	if parts["UNTIL"] != "" {
		until, err := time.Parse("20060102T150405Z", parts["UNTIL"])
		require.NoError(t, err)
		if until = until.Add(time.Duration(from) * time.Second); until.Before(end) {
			end = until
		}
	}
	var walls []time.Time
	for w := start; !w.After(end); w = w.AddDate(0, 0, 1) {
		if strconv.Itoa(int(w.Month())) == parts["BYMONTH"] && onDay(t, w, parts) {
			walls = append(walls, w)
		}
	}
	return walls
}

func onDay(t testing.TB, w time.Time, parts map[string]string) bool {
	t.Helper()
	by := parts["BYDAY"]
	if !strings.HasSuffix(by, strings.ToUpper(w.Weekday().String()[:2])) {
		return false
	}
	if days := parts["BYMONTHDAY"]; days != "" {
		require.Len(t, by, 2)
		return slices.Contains(strings.Split(days, ","), strconv.Itoa(w.Day()))
	}
	nth, err := strconv.Atoi(by[:len(by)-2])
	require.NoError(t, err)
	if nth < 0 {
		require.Equal(t, -1, nth)
		return w.AddDate(0, 0, 7).Month() != w.Month()
	}
	return (w.Day()+6)/7 == nth
}

func readOffset(t testing.TB, s string) int {
	t.Helper()
	require.Regexp(t, `^[+-]\d{4}(\d\d)?$`, s)
	require.NotEqual(t, "-0000", s, "forbidden by RFC 5545 section 3.3.14")
	v, err := strconv.Atoi((s[1:] + "00")[:6])
	require.NoError(t, err)
	seconds := v/10000*3600 + v/100%100*60 + v%100
	if s[0] == '-' {
		return -seconds
	}
	return seconds
}

// requireZoneIsRight compares what a reader finds with the zone data every
// three hours from first to last, and around each onset that either sees.
func requireZoneIsRight(t testing.TB, loc *time.Location, feed []byte, first, last time.Time) {
	t.Helper()
	onsets := expandZone(t, feed, last.Year()+1)
	at := func(x time.Time) int {
		i := sort.Search(len(onsets), func(i int) bool { return onsets[i].at.After(x) })
		require.Positive(t, i, "%s: no onset before %s", loc, x)
		return onsets[i-1].to
	}
	check := func(x time.Time) {
		if x.Before(first) || x.After(last) {
			return
		}
		if _, want := x.In(loc).Zone(); at(x) != want {
			t.Fatalf("%s at %s: read %d, zone data %d\n%s", loc, x, at(x), want, feed)
		}
	}
	_, before := first.In(loc).Zone()
	for x := first; x.Before(last); x = x.Add(3 * time.Hour) {
		check(x)
		if _, now := x.In(loc).Zone(); now != before { // within the last three hours
			for y := x.Add(-3 * time.Hour); y.Before(x); y = y.Add(15 * time.Minute) {
				check(y)
				check(y.Add(-time.Second))
			}
			before = now
		}
	}
	for i, o := range onsets {
		check(o.at)
		check(o.at.Add(-time.Second))
		if i > 0 && !o.at.After(last) {
			require.Equal(t, onsets[i-1].to, o.from, "%s: onset %s does not follow on", loc, o.at)
		}
	}
}

func zoneFeed(t testing.TB, loc *time.Location, from, to date.Date) []byte {
	t.Helper()
	out, err := Calendar{Name: "Day", Zone: loc}.Encode(from, to)
	require.NoError(t, err)
	return out
}

// zoneNames are all names in the system's zone data.
func zoneNames(t testing.TB) []string {
	t.Helper()
	const root = "/usr/share/zoneinfo"
	var names []string
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := strings.TrimPrefix(path, root+"/")
		if entry.IsDir() && (name == "right" || name == "posix") {
			return fs.SkipDir
		}
		if raw, err := os.ReadFile(path); err == nil && bytes.HasPrefix(raw, []byte("TZif")) {
			names = append(names, name)
		}
		return nil
	})
	if err != nil || len(names) < 300 {
		require.NotEqual(t, "true", os.Getenv("CI"), "CI needs the system's zone data below %s", root)
		t.Skipf("SKIPPED: no zone data below %s", root)
	}
	return names
}

func TestZoneIsRightForEveryZoneName(t *testing.T) {
	names := zoneNames(t)
	lines, longest := 0, 0
	for _, name := range names {
		loc := zone(t, name)
		feed := zoneFeed(t, loc, day(2025, time.January, 1), day(2028, time.December, 31))
		requireZoneIsRight(t, loc, feed, time.Date(2025, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(2028, 12, 31, 0, 0, 0, 0, time.UTC))
		n := zoneLines(feed)
		lines, longest = lines+n, max(longest, n)
	}
	t.Logf("%d names, zone data %s, %.1f lines on average, %d at most", len(names), ZoneDataVersion(), float64(lines)/float64(len(names)), longest)
	require.LessOrEqual(t, longest, 150, "a web calendar is reported to garble feeds with zones of 200 lines")
}

func zoneLines(feed []byte) int {
	_, rest, _ := bytes.Cut(feed, []byte("BEGIN:VTIMEZONE"))
	inside, _, _ := bytes.Cut(rest, []byte("END:VTIMEZONE"))
	return bytes.Count(inside, []byte("\r\n")) + 1
}

func TestZoneIsRightOverManyYears(t *testing.T) {
	for _, name := range []string{
		"Europe/London", "America/New_York", "Australia/Lord_Howe", "Africa/Casablanca", "America/Sao_Paulo",
		"Asia/Kathmandu", "Europe/Dublin", "Pacific/Apia", "Asia/Gaza", "Asia/Hebron", "America/Nuuk", "Africa/Cairo",
		"Europe/Istanbul", "America/Vancouver", "Pacific/Chatham", "Antarctica/Troll", "Asia/Tehran", "America/Caracas", "UTC",
	} {
		loc := zone(t, name)
		feed := zoneFeed(t, loc, day(1990, time.January, 1), day(2036, time.December, 31))
		requireZoneIsRight(t, loc, feed, time.Date(1990, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(2036, 12, 31, 0, 0, 0, 0, time.UTC))
	}
}

// transitions are changes of clocks as another program reads them out of the same
// zone data.
type transitions struct {
	TZData string `json:"tzdata"`
	Zones  map[string]struct {
		Years       [2]int
		Transitions []struct {
			UTC      time.Time
			From, To int
		}
	}
}

func readTransitions(t testing.TB) transitions {
	t.Helper()
	raw, err := os.ReadFile("../../scheduling/testdata/tz_transitions.json")
	require.NoError(t, err)
	var out transitions
	require.NoError(t, json.Unmarshal(raw, &out))
	if v := ZoneDataVersion(); v != out.TZData {
		t.Skipf("SKIPPED: the system has the zone data %s, the transitions are those of %s", v, out.TZData)
	}
	return out
}

// Each change of clocks from 1971 on is in a feed of its time, to the second.
func TestEveryChangeOfClocksIsInAFeedOfItsTime(t *testing.T) {
	checked := 0
	for name, z := range readTransitions(t).Zones {
		loc := zone(t, name)
		for i, x := range z.Transitions {
			if x.UTC.Year() < firstYear {
				continue
			}
			day := date.NewAt(x.UTC)
			from, to := Window(day)
			onsets := expandZone(t, zoneFeed(t, loc, from, to), to.Year()+1)
			at := func(x time.Time) int {
				k := sort.Search(len(onsets), func(k int) bool { return onsets[k].at.After(x) })
				require.Positive(t, k, "%s at %s", name, x)
				return onsets[k-1].to
			}
			require.Equal(t, x.From, at(x.UTC.Add(-time.Second)), "%s before %s", name, x.UTC)
			require.Equal(t, x.To, at(x.UTC), "%s at %s", name, x.UTC)
			checked++
			for _, o := range z.Transitions[i+1:] { // the others of the same window
				if o.UTC.After(x.UTC.AddDate(0, 0, DaysAhead)) {
					break
				}
				require.Equal(t, o.To, at(o.UTC), "%s at %s in the feed of %s", name, o.UTC, day)
			}
		}
	}
	t.Log(checked, "changes of clocks")
	require.Greater(t, checked, 500)
}

func TestZoneIsRightInTheWindowOfAFeed(t *testing.T) {
	names := zoneNames(t)
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	for range 400 {
		loc := zone(t, names[r.IntN(len(names))])
		from := day(1975+r.IntN(80), time.January, 1+r.IntN(365))
		to := from.Add(date.PeriodOfDays(r.IntN(211)))
		first, last := from.UTC().Add(14*time.Hour), to.UTC().Add(-14*time.Hour)
		t.Logf("seed %d: %s %s to %s", seed, loc, from, to)
		requireZoneIsRight(t, loc, zoneFeed(t, loc, from, to), first, last)
	}
}

func TestZoneCoversEventsOutsideTheWindow(t *testing.T) {
	loc := zone(t, "Africa/Casablanca") // no rule reaches from one year to the next
	c := Calendar{Name: "Day", Zone: loc}
	for i, start := range []time.Time{time.Date(2015, 1, 5, 9, 0, 0, 0, time.UTC), time.Date(2022, 12, 5, 9, 0, 0, 0, time.UTC)} {
		c.Events = append(c.Events, Event{UID: []string{"a", "b"}[i], Stamp: revised, Start: start, End: start.Add(time.Hour), Summary: "s", Status: Confirmed})
	}
	feed, err := c.Encode(day(2018, time.June, 1), day(2018, time.June, 2))
	require.NoError(t, err)
	requireZoneIsRight(t, loc, feed, c.Events[0].Start, c.Events[1].End)
}

func TestZoneOfNewYorkIsTheExampleOfRFC5545Section365(t *testing.T) {
	feed := string(zoneFeed(t, zone(t, "America/New_York"), day(2007, time.March, 11), day(2007, time.December, 1)))
	require.Contains(t, feed, "BEGIN:DAYLIGHT\r\nDTSTART:20070311T020000\r\nRRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU\r\n"+
		"TZNAME:EDT\r\nTZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400\r\nEND:DAYLIGHT\r\n")
	require.Contains(t, feed, "BEGIN:STANDARD\r\nDTSTART:20071104T020000\r\nRRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU\r\n"+
		"TZNAME:EST\r\nTZOFFSETFROM:-0400\r\nTZOFFSETTO:-0500\r\nEND:STANDARD\r\n")
}

func TestZoneThatEndsItsRuleSaysUntilWhen(t *testing.T) {
	feed := string(zoneFeed(t, zone(t, "America/Sao_Paulo"), day(2010, time.June, 1), day(2019, time.December, 1)))
	require.Contains(t, feed, "UNTIL=", "summer time was given up in 2019")
	require.NotRegexp(t, `RRULE:[^\r]*BYDAY=\w+\r\n`, feed, "no rule goes on for ever")
}

func TestZoneWithoutChangesBeginsIn1970(t *testing.T) {
	feed := string(zoneFeed(t, time.UTC, day(2026, time.March, 1), day(2026, time.March, 2)))
	require.Contains(t, feed, "BEGIN:STANDARD\r\nDTSTART:19700101T000000\r\nTZNAME:UTC\r\nTZOFFSETFROM:+0000\r\nTZOFFSETTO:+0000\r\nEND:STANDARD\r\n")
}

func TestSummerIsDaylightWhereTheZoneDataCallsWinterTheException(t *testing.T) {
	feed := string(zoneFeed(t, zone(t, "Europe/Dublin"), day(2026, time.January, 1), day(2026, time.December, 1)))
	require.Contains(t, feed, "BEGIN:DAYLIGHT\r\nDTSTART:20260329T010000\r\nRRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU\r\nTZNAME:IST\r\n")
	require.Contains(t, feed, "BEGIN:STANDARD\r\nDTSTART:20251026T020000\r\nRRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU\r\nTZNAME:GMT\r\n")
}

func TestOffsetsOfRFC5545Section3314(t *testing.T) {
	for seconds, want := range map[int]string{-5 * 3600: "-0500", 3600: "+0100", 0: "+0000", 20700: "+0545", -2670: "-004430", 37800: "+1030"} {
		require.Equal(t, want, utcOffset(seconds))
	}
}

func TestVersionOfZoneData(t *testing.T) {
	folder := t.TempDir()
	require.Equal(t, "unknown", zoneDataIn("", folder))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "+VERSION"), []byte("2024b\n"), 0o600))
	require.Equal(t, "2024b", zoneDataIn("", folder))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "tzdata.zi"), []byte("# version 2026f\n# This file\n"), 0o600))
	require.Equal(t, "2026f", zoneDataIn(t.TempDir(), folder))
	require.Regexp(t, `^(unknown|\d{4}[a-z]+.*)$`, ZoneDataVersion())
}

func BenchmarkZone(b *testing.B) {
	for _, name := range []string{"Europe/London", "Asia/Kolkata", "Africa/Casablanca"} {
		loc := zone(b, name)
		first := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				timezone(loc, first, first.AddDate(0, 0, 210))
			}
		})
	}
}
