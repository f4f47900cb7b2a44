package read

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/api/ics"
)

// change is one change of clocks as the tz database gives it.
type change struct {
	UTC      time.Time
	From, To int // seconds east of UTC
}

// tzChanges are the changes of clocks of 16 zones in tz database 2026f as
// compiled by Debian (public domain).
func tzChanges(t *testing.T) map[string][]change {
	t.Helper()
	raw, err := os.ReadFile("../../../scheduling/testdata/tz_transitions.json")
	require.NoError(t, err)
	var file struct {
		Zones map[string]struct{ Transitions []change }
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	require.Len(t, file.Zones, 16)
	zones := map[string][]change{}
	for name, z := range file.Zones {
		zones[name] = z.Transitions
	}
	return zones
}

const wallForm = "20060102T150405"

// shown is what clocks at an offset show.
func shown(at time.Time, offset int) string {
	return at.UTC().Add(time.Duration(offset) * time.Second).Format(wallForm)
}

func offset(seconds int) string {
	sign := '+'
	if seconds < 0 {
		sign, seconds = '-', -seconds
	}
	return fmt.Sprintf("%c%02d%02d%02d", sign, seconds/3600, seconds/60%60, seconds%60)
}

// custom writes changes as a VTIMEZONE, one part for each of them.
func custom(name string, changes []change) string {
	var b strings.Builder
	b.WriteString("BEGIN:VTIMEZONE\r\nTZID:" + name + "\r\n")
	for _, c := range changes {
		fmt.Fprintf(&b, "BEGIN:STANDARD\r\nDTSTART:%s\r\nTZOFFSETFROM:%s\r\nTZOFFSETTO:%s\r\nEND:STANDARD\r\n",
			shown(c.UTC, c.From), offset(c.From), offset(c.To))
	}
	return b.String() + "END:VTIMEZONE"
}

// expected is a wall time and the instant that it means.
type expected struct {
	wall string
	want time.Time
}

// around returns wall times at a change, the second before it, and within the
// gap or overlap that it makes (the rule of RFC 5545 section 3.3.5).
func around(c change) []expected {
	list := []expected{{shown(c.UTC.Add(-time.Second), c.From), c.UTC.Add(-time.Second)}}
	step := c.To - c.From
	switch {
	case step > 0:
		// Skipped times are read with the offset before the gap.
		for _, s := range []int{0, 1, step / 2, step - 1} {
			after := c.UTC.Add(time.Duration(s) * time.Second)
			list = append(list, expected{shown(after, c.From), after})
		}
		list = append(list, expected{shown(c.UTC, c.To), c.UTC})
	case step < 0:
		// Times that occur twice mean the first.
		for _, s := range []int{step, step / 2, -1} {
			before := c.UTC.Add(time.Duration(s) * time.Second)
			list = append(list, expected{shown(before, c.From), before})
		}
		list = append(list, expected{shown(c.UTC, c.From), c.UTC.Add(time.Duration(-step) * time.Second)})
	default:
		list = append(list, expected{shown(c.UTC, c.To), c.UTC})
	}
	return list
}

// requireInstants reads one event for each time and compares the instants.
func requireInstants(t *testing.T, zone, tzid string, list []expected) {
	t.Helper()
	var lines []string
	if zone != "" {
		lines = append(lines, zone)
	}
	for i, e := range list {
		lines = append(lines, event(fmt.Sprint(i), "DTSTART;TZID="+tzid+":"+e.wall))
	}
	c, problems := parse(t, calendar(lines...))
	require.Empty(t, problems)
	require.Len(t, c.Events, len(list))
	for i, e := range c.Events {
		if !e.Start.Equal(list[i].want) {
			t.Fatalf("%s in %s: got %s, want %s", list[i].wall, tzid, e.Start.UTC(), list[i].want.UTC())
		}
	}
}

func TestTimesAroundEveryChangeOfClocksAreReadInZonesOfTheFile(t *testing.T) {
	n := 0
	for name, changes := range tzChanges(t) {
		t.Run(name, func(t *testing.T) {
			var list []expected
			for _, c := range changes {
				list = append(list, around(c)...)
			}
			n += len(list)
			requireInstants(t, custom("Clocks of our own", changes), "Clocks of our own", list)
		})
	}
	t.Logf("%d wall times", n)
}

func TestTimesAroundEveryChangeOfClocksAreReadInZonesOfTheMachine(t *testing.T) {
	for name, changes := range tzChanges(t) {
		t.Run(name, func(t *testing.T) {
			loc := location(t, name)
			var list []expected
			for _, c := range changes {
				_, before := c.UTC.Add(-time.Second).In(loc).Zone()
				_, after := c.UTC.In(loc).Zone()
				if before != c.From || after != c.To {
					require.NotEqual(t, "true", os.Getenv("CI"), "CI needs zone data 2026f; this machine's differs at %s", c.UTC)
					t.Skipf("SKIPPED: needs zone data 2026f, this machine's differs at %s", c.UTC)
				}
				list = append(list, around(c)...)
			}
			requireInstants(t, "", name, list)
		})
	}
}

// The description that our own feeds carry uses yearly rules and lists.
func TestTimesAroundChangesOfClocksAreReadInZonesThatWeWrote(t *testing.T) {
	for name, changes := range tzChanges(t) {
		t.Run(name, func(t *testing.T) {
			feed := ics.Calendar{Name: "n", Zone: location(t, name)}
			var list []expected
			for _, c := range changes {
				if c.UTC.Year() < 1990 {
					continue
				}
				list = append(list, around(c)...)
				feed.Events = append(feed.Events, ics.Event{UID: c.UTC.Format(wallForm), Stamp: c.UTC, Start: c.UTC, End: c.UTC.Add(time.Hour), Summary: "s", Status: ics.Confirmed})
			}
			if len(list) == 0 {
				t.Skip("no change of clocks since 1990")
			}
			text, err := feed.Encode(date.New(1990, 1, 1), date.New(2037, 12, 31))
			require.NoError(t, err)
			_, zone, found := strings.Cut(strings.ReplaceAll(string(text), "TZID:"+name, "TZID:Our own"), "BEGIN:VTIMEZONE")
			require.True(t, found)
			zone, _, _ = strings.Cut(zone, "END:VTIMEZONE")
			requireInstants(t, "BEGIN:VTIMEZONE"+zone+"END:VTIMEZONE", `"Our own"`, list)
		})
	}
}
