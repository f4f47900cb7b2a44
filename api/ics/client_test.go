package ics

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func uid(n string) string { return "44444444-0000-4000-8000-" + n }

// appointments are a straightening with what follows it and a cancelled trim.
func appointments() []Appointment {
	done := london(thursday, 13, 30)
	salon := Appointment{
		Changed: revised, Salon: "Plain Salon", Address: "1 Example Street, London", Phone: "+44 20 7946 0000",
		Link: "https://salon.example/c/17",
	}
	straight, trim := salon, salon
	straight.UID, straight.Services = uid("000000000001"), []string{"Straightening", "fringe cut"}
	straight.Start, straight.End = london(thursday, 9, 0), done
	straight.Prepare = PrepareChemical()
	straight.Aftercare = []Aftercare{{
		UID: uid("000000000002"), AlarmUID: uid("00000000000a"), Changed: revised,
		Until: done.Add(48 * time.Hour), Keep: "dry and untied", Rules: AftercareStraightening("112"),
	}}
	straight.Retouch = &Retouch{
		UID: uid("000000000003"), Changed: revised, Date: date.New(2027, time.April, 12),
		Earliest: date.New(2027, time.April, 2), Latest: date.New(2027, time.April, 26), Link: "https://salon.example/c/17/retouch",
	}
	trim.UID, trim.Services, trim.Cancelled, trim.Sequence = uid("000000000004"), []string{"Dry trim"}, true, 1
	trim.Start, trim.End = london(thursday.Add(5), 16, 0), london(thursday.Add(5), 16, 40)
	return []Appointment{trim, straight}
}

func client() Feed {
	return Feed{Name: "Plain Salon", Zone: london(thursday, 0, 0).Location(), LastModified: revised}
}

func TestClientsCalendar(t *testing.T) {
	c, err := ClientFeed(client(), thursday, appointments())
	require.NoError(t, err)
	golden(t, "client.ics", encode(t, c))
}

func TestCancelledAppointmentStaysUntilTheDayOfItsOldEndIsOver(t *testing.T) {
	list := appointments()[:1]
	for offset, want := range map[date.PeriodOfDays]int{-30: 1, 5: 1, 6: 0} {
		c, err := ClientFeed(client(), thursday.Add(offset), list)
		require.NoError(t, err)
		require.Len(t, c.Events, want, "%d days on", offset)
	}
}

func TestCancelledAppointmentHasNoAftercare(t *testing.T) {
	list := appointments()[1:]
	list[0].Cancelled, list[0].Sequence = true, 1
	c, err := ClientFeed(client(), thursday, list)
	require.NoError(t, err)
	require.Len(t, c.Events, 1)
	require.Equal(t, Cancelled, c.Events[0].Status)
	require.False(t, c.Events[0].Busy)
	require.Equal(t, "Cancelled: Straightening, fringe cut at Plain Salon", c.Events[0].Summary)
	require.NotContains(t, c.Events[0].Description, "Eat something")
}

// The 48 hours are real ones: across a change of clocks they end at another
// clock time (derived: RFC 5545 section 3.3.6 tells exact from nominal time).
func TestAftercareIs48RealHours(t *testing.T) {
	for _, tt := range []struct {
		name        string
		end         time.Time
		title, wall string
	}{
		{"clocks go forward", london(date.New(2026, time.March, 27), 13, 0), "Keep your hair dry and untied until Sun 14:00", "20260329T140000"},
		{"clocks go back", london(date.New(2026, time.October, 24), 13, 0), "Keep your hair dry and untied until Mon 12:00", "20261026T120000"},
		{"no change", london(thursday, 13, 0), "Keep your hair dry and untied until Sat 13:00", "20261128T130000"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			list := appointments()[1:]
			a := &list[0]
			a.Start, a.End = tt.end.Add(-4*time.Hour), tt.end
			a.Aftercare[0].Until = tt.end.Add(48 * time.Hour)
			c, err := ClientFeed(client(), scheduling.CivilDate(tt.end, client().Zone), list)
			require.NoError(t, err)
			require.Equal(t, tt.title, c.Events[1].Summary)
			require.Contains(t, string(encode(t, c)), "DTEND;TZID=Europe/London:"+tt.wall+"\r\n")
		})
	}
}

func TestAftercareBeginsAtTheRealEnd(t *testing.T) {
	list := appointments()[1:]
	list[0].Aftercare[0].From = london(thursday, 13, 5)
	c, err := ClientFeed(client(), thursday, list)
	require.NoError(t, err)
	require.Equal(t, london(thursday, 13, 5), c.Events[1].Start)
}

func TestLengthOfStay(t *testing.T) {
	for d, want := range map[time.Duration]string{40 * time.Minute: "40 min", 2 * time.Hour: "2 h", 270 * time.Minute: "4 h 30 min"} {
		require.Equal(t, want, stay(d))
	}
}

func TestBadAppointmentsAreRefusedByName(t *testing.T) {
	for _, tt := range []struct {
		name, field string
		spoil       func(*Appointment)
	}{
		{"no service", "appointments[0].services", func(a *Appointment) { a.Services = []string{" "} }},
		{"aftercare that ends with the visit", "appointments[0].aftercare[0].until", func(a *Appointment) { a.Aftercare[0].Until = a.End }},
		{"aftercare without words", "appointments[0].aftercare[0].keep", func(a *Appointment) { a.Aftercare[0].Keep = "" }},
		{"retouch outside its range", "appointments[0].retouch.date", func(a *Appointment) { a.Retouch.Date = a.Retouch.Latest.Add(1) }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			list := appointments()[1:]
			tt.spoil(&list[0])
			_, err := ClientFeed(client(), thursday, list)
			faults, ok := errors.AsType[scheduling.Faults](err)
			require.True(t, ok, "%v", err)
			require.Equal(t, tt.field, faults[0].Field)
		})
	}
	_, err := ClientFeed(Feed{Name: "n"}, thursday, nil)
	require.ErrorContains(t, err, "ics: client feed: zone is missing")
}

// TestEachEntryOfAClientsCalendar keeps one file for each kind of entry, so that
// a change of one shows which.
func TestEachEntryOfAClientsCalendar(t *testing.T) {
	list := appointments()
	trim, straight := list[0], list[1]
	only := func(a Appointment, care, retouch bool) []Appointment {
		if !care {
			a.Aftercare = nil
		}
		if !retouch {
			a.Retouch = nil
		}
		return []Appointment{a}
	}
	apart := straight
	apart.Aftercare = []Aftercare{straight.Aftercare[0], {
		UID: uid("000000000005"), AlarmUID: uid("00000000000b"), Changed: revised,
		Until: straight.End.Add(72 * time.Hour), Keep: "untied", Rules: AftercareUntied(),
	}}
	apart.Aftercare[0].Keep, apart.Aftercare[0].Rules = "dry", AftercareDry("112")
	for name, list := range map[string][]Appointment{
		"client_appointment.ics":     only(straight, false, false),
		"client_cancelled.ics":       {trim},
		"client_aftercare.ics":       only(straight, true, false),
		"client_aftercare_apart.ics": only(apart, true, false),
		"client_retouch.ics":         only(straight, false, true),
	} {
		t.Run(name, func(t *testing.T) {
			c, err := ClientFeed(client(), thursday, list)
			require.NoError(t, err)
			if len(list[0].Aftercare) > 0 || list[0].Retouch != nil { // the appointment has a file of its own
				c.Events = c.Events[1:]
			}
			golden(t, name, encode(t, c))
		})
	}
}

// In other zones the same rule ends at other clock times, also where clocks move
// by half an hour (derived from the zones' published rules).
func TestAftercareIs48RealHoursElsewhere(t *testing.T) {
	for _, tt := range []struct {
		zone  string
		end   string
		title string
	}{
		{"America/New_York", "2026-03-06T15:00:00-05:00", "Keep your hair dry and untied until Sun 16:00"},
		{"America/New_York", "2026-10-31T15:00:00-04:00", "Keep your hair dry and untied until Mon 14:00"},
		{"Australia/Lord_Howe", "2026-04-04T13:00:00+11:00", "Keep your hair dry and untied until Mon 12:30"},
		{"Australia/Lord_Howe", "2026-10-03T13:00:00+10:30", "Keep your hair dry and untied until Mon 13:30"},
	} {
		t.Run(tt.zone+" "+tt.end, func(t *testing.T) {
			zone, err := time.LoadLocation(tt.zone)
			require.NoError(t, err)
			end, err := time.Parse(time.RFC3339, tt.end)
			require.NoError(t, err)
			a := appointments()[1]
			a.Start, a.End, a.Retouch = end.Add(-4*time.Hour), end, nil
			a.Aftercare[0].Until = end.Add(48 * time.Hour)
			on := scheduling.CivilDate(end, zone)
			c, err := ClientFeed(Feed{Name: "Plain Salon", Zone: zone}, on, []Appointment{a})
			require.NoError(t, err)
			care := c.Events[1]
			require.Equal(t, tt.title, care.Summary)
			require.Equal(t, 48*time.Hour, care.End.Sub(care.Start))
			out, err := c.Encode(on, on.Add(3))
			require.NoError(t, err)
			require.Contains(t, string(out), "DTEND;TZID="+tt.zone+":"+end.Add(48*time.Hour).In(zone).Format(wallForm)+"\r\n")
			require.Contains(t, string(out), "TRIGGER;RELATED=END:PT0S\r\n")
		})
	}
}

func TestWhatEndedBeforeTheWindowIsLeftOutBesideTheRetouch(t *testing.T) {
	list := appointments()[1:]
	end := scheduling.CivilDate(list[0].End, client().Zone)
	for _, x := range []struct {
		on     date.Date
		events int
	}{
		{end.Add(DaysBack), 3}, {end.Add(DaysBack + 1), 2}, {end.Add(DaysBack + 2), 2}, {end.Add(DaysBack + 3), 1},
	} {
		c, err := ClientFeed(client(), x.on, list)
		require.NoError(t, err)
		require.Len(t, c.Events, x.events, "on %s", x.on)
		require.True(t, c.Events[x.events-1].AllDay)
	}
}

// Calendars whose first events differ by hours share the lines of their zone.
func TestTheZoneIsDescribedFromAWholeDay(t *testing.T) {
	from := func(hour int) string {
		list := appointments()[1:]
		list[0].Start = london(thursday, hour, 0)
		c, err := ClientFeed(client(), thursday, list)
		require.NoError(t, err)
		out, err := c.Encode(thursday.Add(1), thursday.Add(10))
		require.NoError(t, err)
		zone, _, _ := strings.Cut(string(out), "BEGIN:VEVENT")
		return zone
	}
	zones.Lock()
	before := len(zones.kept)
	zones.Unlock()
	require.Equal(t, from(9), from(10))
	zones.Lock()
	defer zones.Unlock()
	require.LessOrEqual(t, len(zones.kept), before+1)
}
