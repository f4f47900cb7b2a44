package api

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

func in(t *testing.T, zone string) salonDay {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	return salonDay{loc: loc, care: CareRules{}.core()}
}

func TestAReminderComesAtTheSameTimeOfDayOrAtTheUsualOne(t *testing.T) {
	for _, x := range []struct {
		name, zone, start, want string
		hours                   int
	}{
		{"the day before", "Europe/Berlin", "2026-06-12 10:00", "2026-06-11T10:00:00+02:00", 24},
		{"over the night in which clocks go forward", "Europe/Berlin", "2026-03-29 10:00", "2026-03-28T10:00:00+01:00", 24},
		{"over the night in which they go back", "Europe/Berlin", "2026-10-25 10:00", "2026-10-24T10:00:00+02:00", 24},
		{"in New York, where they do so on other days", "America/New_York", "2026-03-08 10:00", "2026-03-07T10:00:00-05:00", 24},
		{"where they never do", "Asia/Kolkata", "2026-03-29 10:00", "2026-03-28T10:00:00+05:30", 24},
		{"an early visit, while all are asleep", "Europe/Berlin", "2026-06-12 07:00", "2026-06-11T10:00:00+02:00", 24},
		{"a late visit", "Europe/Berlin", "2026-06-12 21:30", "2026-06-11T10:00:00+02:00", 24},
		{"a visit at the first minute that is not quiet", "Europe/Berlin", "2026-06-12 08:00", "2026-06-11T08:00:00+02:00", 24},
		{"three days before, over the change", "Europe/Berlin", "2026-03-30 09:00", "2026-03-27T09:00:00+01:00", 72},
		{"some hours before", "Europe/Berlin", "2026-06-12 15:00", "2026-06-12T11:00:00+02:00", 4},
		{"a day and some hours", "Europe/Berlin", "2026-06-12 15:00", "2026-06-11T09:00:00+02:00", 30},
		{"some hours, into the night", "Europe/Berlin", "2026-06-12 09:00", "2026-06-11T10:00:00+02:00", 10},
	} {
		n := in(t, x.zone)
		at, err := time.ParseInLocation("2006-01-02 15:04", x.start, n.loc)
		require.NoError(t, err)
		require.Equal(t, x.want, n.ahead(MessageRules{}.filled(), at, x.hours).Format(time.RFC3339), x.name)
	}
	n := in(t, "Europe/Berlin")
	rules := MessageRules{QuietFrom: "18:00", QuietTo: "12:00", DatedAt: "09:00"}.filled()
	at := time.Date(2026, 6, 12, 10, 0, 0, 0, n.loc)
	require.Equal(t, "2026-06-11T10:00:00+02:00", n.ahead(rules, at, 24).Format(time.RFC3339), "where the usual time is quiet, too, sending waits")
}

func TestHowToPrepareIsSaidBeforeASkinTestIsDue(t *testing.T) {
	n := in(t, "Europe/Berlin")
	v := store.Visit{Start: time.Date(2026, 6, 12, 10, 0, 0, 0, n.loc)}
	r := MessageRules{}.filled()
	latest := v.Start.Add(-48 * time.Hour)
	for _, x := range []struct {
		name   string
		needed []needs.Need
		want   string
	}{
		{"nothing is needed", nil, "2026-06-09T10:00:00+02:00"},
		{"a skin test is missing", []needs.Need{{Kind: needs.PatchTest, State: needs.Missing, Latest: latest}}, "2026-06-07T10:00:00+02:00"},
		{"it is on", []needs.Need{{Kind: needs.PatchTest, State: needs.Waiting, Latest: latest}}, "2026-06-09T10:00:00+02:00"},
		{"it is read", []needs.Need{{Kind: needs.PatchTest, State: needs.Done, Latest: latest}}, "2026-06-09T10:00:00+02:00"},
		{"something else is missing", []needs.Need{{Kind: needs.Deposit, State: needs.Missing, Latest: latest}}, "2026-06-09T10:00:00+02:00"},
	} {
		require.Equal(t, x.want, n.prepareDue(r, v, x.needed).Format(time.RFC3339), x.name)
	}
}

func TestWhatFollowsAVisitByItsEndAndTheNextTreatment(t *testing.T) {
	n := in(t, "Europe/Berlin")
	end := time.Date(2026, 6, 12, 14, 40, 0, 0, n.loc)
	v := store.Visit{Client: "c", State: store.Finished, Start: end.Add(-4 * time.Hour), End: end.Add(time.Hour), FinishedAt: &end,
		Services: []store.VisitService{{Aftercare: true}}}
	g := n.care.growth.Seen("")
	kinds := func(v store.Visit, next *time.Time, washed bool) (out []notify.Kind) {
		for _, o := range n.followsFrom(MessageRules{}.filled(), v, end, g, next, washed) {
			out = append(out, o.kind)
		}
		return out
	}
	all := []notify.Kind{notify.Aftercare, notify.DayAfter, notify.AftercareEnd, notify.FirstWash, notify.Retouch, notify.RetouchAgain}
	soon, later := end.AddDate(0, 0, 5), end.AddDate(0, 5, 0)
	require.Equal(t, all, kinds(v, nil, false))
	require.Equal(t, all[:4], kinds(v, &later, false), "who comes again need not be called back")
	require.Equal(t, all[:3], kinds(v, &soon, false), "and is looked at then")
	require.Equal(t, []notify.Kind{notify.Aftercare, notify.DayAfter, notify.AftercareEnd, notify.Retouch, notify.RetouchAgain}, kinds(v, nil, true))
	for name, change := range map[string]func(*store.Visit){
		"booked":             func(v *store.Visit) { v.State = store.Booked },
		"without a client":   func(v *store.Visit) { v.Client = "" },
		"a cut":              func(v *store.Visit) { v.Services = []store.VisitService{{}} },
		"stopped, not clear": func(v *store.Visit) { v.State, v.FollowUpHeld = store.StoppedEarly, true },
	} {
		other := v
		change(&other)
		require.Empty(t, kinds(other, nil, false), name)
	}
	other := v
	other.State = store.StoppedEarly
	require.Equal(t, all, kinds(other, nil, false), "stopped and cleared")
}

// TestTheFloorAndTheCapOfTheRetouchHold holds the months between a visit and the
// message against the salon's rules, for hair that hardly grows and hair that
// grows as quickly as any.
func TestTheFloorAndTheCapOfTheRetouchHold(t *testing.T) {
	n := in(t, "Europe/Berlin")
	end := time.Date(2026, 6, 12, 14, 40, 0, 0, n.loc)
	v := store.Visit{Client: "c", State: store.Finished, FinishedAt: &end, Services: []store.VisitService{{Aftercare: true}}}
	for _, x := range []struct {
		rate float64
		want string
	}{{2.5, "2026-10-12"}, {0.3, "2027-06-12"}} {
		g := scheduling.Growth{Rate: x.rate, Slow: x.rate, Quick: x.rate}
		for _, o := range n.followsFrom(MessageRules{}.filled(), v, end, g, nil, false) {
			if o.kind == notify.Retouch {
				require.Equal(t, x.want, o.due.Format(time.DateOnly))
			}
		}
	}
}
