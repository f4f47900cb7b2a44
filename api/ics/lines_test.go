package ics

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// byLibrary reads a calendar and writes it again, both with the library.
func byLibrary(t require.TestingT, feed []byte) string {
	cal, err := ical.NewDecoder(bytes.NewReader(feed)).Decode()
	require.NoError(t, err, "%s", feed)
	var f folder
	require.NoError(t, ical.NewEncoder(&f).Encode(cal))
	return f.out.String()
}

func TestTheLibraryWritesTheSameLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := sample()
		c.Name, c.Description = "Work "+hostile().Draw(t, "name"), hostile().Draw(t, "about")
		e := &c.Events[0]
		e.Summary, e.Description, e.Location = "Prep "+hostile().Draw(t, "title"), hostile().Draw(t, "text"), hostile().Draw(t, "place")
		e.Categories = []string{"x" + hostile().Draw(t, "category"), "b"}
		e.Alarms[0].Text = "Soon" + hostile().Draw(t, "alarm")
		e.Start = e.Start.Add(time.Duration(rapid.IntRange(-4000, 4000).Draw(t, "hours")) * time.Hour)
		e.End = e.Start.Add(time.Hour)
		out := encode(t, c)
		require.Equal(t, byLibrary(t, out), string(out))
		require.True(t, utf8.Valid(out))
		for line := range strings.SplitSeq(strings.TrimSuffix(string(out), "\r\n"), "\r\n") {
			require.LessOrEqual(t, len(line), foldAt)
			require.NotEmpty(t, line)
			require.False(t, strings.ContainsFunc(line, func(r rune) bool { return dropped(r) && r != '\t' }), "%q", line)
		}
		require.Equal(t, 2, strings.Count("\r\n"+strings.ReplaceAll(string(out), "\r\n ", ""), "\r\nBEGIN:VEVENT"), "nothing was smuggled in")
		require.NotContains(t, strings.ReplaceAll(string(out), "\r\n ", ""), "\r\nATTENDEE")
	})
}

func TestAnEventOfTheLibraryIsTheOneOfTheFeed(t *testing.T) {
	c := sample()
	c.Events[0].Description = strings.Repeat("long ", 40)
	feed := encode(t, c)
	for _, e := range c.Events {
		cal := ical.NewCalendar()
		put(cal.Props, ical.PropProductID, productID)
		put(cal.Props, ical.PropVersion, "2.0")
		cal.Children = append(cal.Children, c.event(e))
		var f folder
		require.NoError(t, ical.NewEncoder(&f).Encode(cal))
		_, event, _ := strings.Cut(f.out.String(), "BEGIN:VEVENT")
		require.Contains(t, string(feed), "BEGIN:VEVENT"+strings.TrimSuffix(event, "END:VCALENDAR\r\n"))
	}
}

func TestOneNameCannotTurnTheDirectionOfTheRest(t *testing.T) {
	require.Equal(t, "abc שלום 👩🏽\u200d🦱", clean("\u202eabc \u2067שלום\u2069 👩🏽\u200d🦱\u202c"))
}

func TestAZoneIsDescribedOncePerDay(t *testing.T) {
	loc := zone(t, "Europe/London")
	first := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	a, b := zoneText(loc, first, first.AddDate(0, 0, 210)), zoneText(loc, first, first.AddDate(0, 0, 210))
	require.Same(t, &a[0], &b[0])
	require.NotEqual(t, string(a), string(zoneText(loc, first.AddDate(-20, 0, 0), first)), "other years, other text")
	require.NotEqual(t, string(a), string(zoneText(zone(t, "Europe/Lisbon"), first, first.AddDate(0, 0, 210))))
	for i := range 3 * mostZones {
		zoneText(time.UTC, first.AddDate(0, 0, i), first.AddDate(0, 0, i+1))
	}
	require.LessOrEqual(t, len(zones.kept), mostZones)
	require.Equal(t, string(a), string(zoneText(loc, first, first.AddDate(0, 0, 210))))
}
