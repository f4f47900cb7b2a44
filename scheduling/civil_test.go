package scheduling

import (
	"bufio"
	"encoding/json"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"
	"github.com/stretchr/testify/require"
)

// zoneChange is one change of clocks as the tz database gives it.
type zoneChange struct {
	UTC      time.Time `json:"utc"`
	From, To int       // seconds east of UTC
}

// zoneTable is one zone of testdata/tz_transitions.json, which holds tz
// database 2026f as compiled by Debian (public domain).
type zoneTable struct {
	Years       [2]int
	Transitions []zoneChange
}

// testedZones returns the zones of the data file that this machine's zone
// data agrees with. Zones that differ because the machine has another version
// are skipped with a line, or fail the test when CI=true.
func testedZones(t *testing.T, use func(t *testing.T, loc *time.Location, zone zoneTable)) {
	t.Helper()
	raw, err := os.ReadFile("testdata/tz_transitions.json")
	require.NoError(t, err)
	var file struct {
		Tzdata string
		Zones  map[string]zoneTable
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	require.Len(t, file.Zones, 16)
	system := systemZoneData()
	for name, zone := range file.Zones {
		t.Run(name, func(t *testing.T) {
			loc, err := time.LoadLocation(name)
			require.NoError(t, err)
			if at, same := agrees(loc, zone); !same {
				require.NotEqual(t, "true", os.Getenv("CI"), "zone data is %s, CI needs %s; they differ at %s", system, file.Tzdata, at)
				require.NotEqual(t, file.Tzdata, system, "same version, different offset at %s", at)
				t.Skipf("SKIPPED: needs zone data %s, this machine has %s, which differs at %s", file.Tzdata, system, at)
			}
			use(t, loc, zone)
		})
	}
}

func agrees(loc *time.Location, zone zoneTable) (time.Time, bool) {
	for _, c := range zone.Transitions {
		_, before := c.UTC.Add(-time.Second).In(loc).Zone()
		_, after := c.UTC.In(loc).Zone()
		if before != c.From || after != c.To {
			return c.UTC, false
		}
	}
	return time.Time{}, true
}

func systemZoneData() string {
	f, err := os.Open("/usr/share/zoneinfo/tzdata.zi")
	if err != nil {
		return "of unknown version"
	}
	defer f.Close()
	line, _ := bufio.NewReader(f).ReadString('\n')
	return strings.TrimSpace(strings.TrimPrefix(line, "# version"))
}

// slowInstant finds every stretch of constant offset in which the wall time
// occurs. It knows the zone from the data file alone.
func slowInstant(zone zoneTable, wall time.Time) time.Time {
	changes := zone.Transitions
	for i := 0; i <= len(changes); i++ {
		offset, from, to := changes[0].From, time.Time{}, time.Unix(1<<40, 0)
		if i > 0 {
			offset, from = changes[i-1].To, changes[i-1].UTC
		}
		if i < len(changes) {
			to = changes[i].UTC
		}
		t := wall.Add(-time.Duration(offset) * time.Second)
		if !t.Before(from) && t.Before(to) {
			return t
		}
		if i < len(changes) && !t.Before(to) {
			next := wall.Add(-time.Duration(changes[i].To) * time.Second)
			if next.Before(to) {
				return t
			}
		}
	}
	panic("wall time in no stretch")
}

func TestEveryWallTimeAroundEveryChangeOfClocksIsReadByTheRule(t *testing.T) {
	const reach, step = 27 * time.Hour, 5 * time.Minute
	n := 0
	testedZones(t, func(t *testing.T, loc *time.Location, zone zoneTable) {
		for _, c := range zone.Transitions {
			shown := c.UTC.Add(time.Duration(c.From) * time.Second)
			for wall := shown.Add(-reach); wall.Before(shown.Add(reach)); wall = wall.Add(step) {
				got := Instant(loc, date.NewAt(wall), clock.NewAt(wall))
				if want := slowInstant(zone, wall); !got.Equal(want) {
					t.Fatalf("%s in %s: got %s, want %s", wall.Format(time.DateTime), loc, got.UTC(), want.UTC())
				}
				n++
			}
		}
	})
	t.Logf("%d wall times", n)
}

func TestDaysOfAZoneFollowEachOtherFromMidnightToMidnight(t *testing.T) {
	testedZones(t, func(t *testing.T, loc *time.Location, zone zoneTable) {
		first := date.New(max(zone.Years[0], 2005), time.January, 2)
		last := date.New(zone.Years[1]-1, time.December, 30)
		_, end := DayBounds(loc, first.Add(-1))
		for d := first; d.Before(last); d = d.Add(1) {
			from, to := DayBounds(loc, d)
			require.True(t, from.Equal(end), "%s begins at %s, the day before ended at %s", d, from, end)
			end = to
			if from.Equal(to) {
				require.Equal(t, date.New(2011, time.December, 30), d, "only Apia skipped a day in these years")
				require.Equal(t, "Pacific/Apia", loc.String())
				continue
			}
			if before := CivilDate(from.Add(-time.Second), loc); CivilDate(from, loc) != d || !before.Before(d) {
				t.Fatalf("%s begins at %s, one second earlier it is %s", d, from, before)
			}
			if CivilDate(to.Add(-time.Second), loc) != d {
				t.Fatalf("%s ends at %s, which is not its last second", d, to)
			}
		}
	})
}

func TestMidnightThatDoesNotExist(t *testing.T) {
	for _, tt := range []struct {
		name, zone string
		day        date.Date
		from       string
	}{
		{"clocks go forward at midnight", "America/Sao_Paulo", date.New(2018, time.November, 4), "2018-11-04T01:00:00-02:00"},
		{"clocks go forward at midnight in Cairo", "Africa/Cairo", date.New(2026, time.April, 24), "2026-04-24T01:00:00+03:00"},
		{"the gap begins before midnight", "America/Toronto", date.New(1919, time.March, 31), "1919-03-31T00:30:00-04:00"},
		{"the day itself is skipped", "Pacific/Apia", date.New(2011, time.December, 30), "2011-12-31T00:00:00+14:00"},
		{"midnight occurs twice", "America/Havana", date.New(2024, time.November, 3), "2024-11-03T00:00:00-04:00"},
		{"clocks go back across midnight", "America/St_Johns", date.New(2006, time.October, 29), "2006-10-29T00:00:00-02:30"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			loc, err := time.LoadLocation(tt.zone)
			require.NoError(t, err)
			from, _ := DayBounds(loc, tt.day)
			require.Equal(t, tt.from, from.Format(time.RFC3339))
		})
	}
}

func TestExamplesOfRFC5545Section335(t *testing.T) {
	loc, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	for _, tt := range []struct {
		name, want string
		day        date.Date
		at         clock.Clock
	}{
		{"01:30 occurs twice and means the first", "2007-11-04T01:30:00-04:00", date.New(2007, time.November, 4), clock.New(1, 30, 0, 0)},
		{"02:30 does not exist and means 03:30", "2007-03-11T03:30:00-04:00", date.New(2007, time.March, 11), clock.New(2, 30, 0, 0)},
		{"23:00 is an ordinary time", "1998-01-18T23:00:00-05:00", date.New(1998, time.January, 18), clock.New(23, 0, 0, 0)},
		{"24:00 is the next midnight", "2026-03-09T00:00:00-04:00", date.New(2026, time.March, 8), clock.Day},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, Instant(loc, tt.day, tt.at).Format(time.RFC3339))
		})
	}
}

func TestClockOnTheWallComesBackUnlessSkipped(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	testedZones(t, func(t *testing.T, loc *time.Location, zone zoneTable) {
		for range 2000 {
			d := date.New(2005+r.IntN(31), time.January, 1+r.IntN(366))
			c := clock.Clock(r.IntN(int(clock.Day)))
			got := Instant(loc, d, c)
			if CivilDate(got, loc) == d && clock.NewAt(got) == c {
				continue
			}
			// Skipped: the clock has just gone forward.
			if offsetAt(loc, got.Add(-civilReach)) >= offsetAt(loc, got) {
				t.Fatalf("seed %d: %s %s in %s became %s", seed, d, c, loc, got)
			}
		}
	})
}

func BenchmarkInstant(b *testing.B) {
	loc, err := time.LoadLocation("Europe/London")
	require.NoError(b, err)
	d := date.New(2026, time.March, 29)
	for b.Loop() {
		Instant(loc, d, 9*clock.Hour)
	}
}
