package openings_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// BenchmarkSharedAt looks closer at one start of a colour in 60 days with a cut
// in its time, beside 600 visits of the stylist; BenchmarkSharedTwice has two
// clients in the same time, whose minutes have to be added up.
func BenchmarkSharedAt(b *testing.B)    { benchmarkShared(b, 1) }
func BenchmarkSharedTwice(b *testing.B) { benchmarkShared(b, 2) }

func benchmarkShared(b *testing.B, clients int) {
	colour, sch, shop := colourWithGuests(b, clients)
	b.ReportAllocs()
	for b.Loop() {
		list := colour.Shared(sch, shop)
		if len(list) != 1 || list[0].Chance() > 0.5 {
			b.Fatal(list)
		}
	}
}

// BenchmarkMayShare finds the starts that need a closer look.
func BenchmarkMayShare(b *testing.B) {
	colour, _, shop := colourWithGuests(b, 1)
	b.ReportAllocs()
	for b.Loop() {
		if len(colour.MayShare(shop)) == 0 {
			b.Fatal("nothing")
		}
	}
}

func colourWithGuests(b *testing.B, clients int) (*openings.VisitPlan, openings.Schedule, openings.Shop) {
	b.Helper()
	shop := household()
	shop.Minutes = 60 * 1440
	shop.Premises = []openings.Span{{From: 0, To: shop.Minutes}}
	for i := range shop.Units {
		shop.Units[i].Open = shop.Premises
	}
	ada := &shop.Units[0]
	for k := range 600 {
		at := openings.Minute(1440 + 120*k)
		ada.Bookings = append(ada.Bookings, openings.Booking{From: at, To: at + 30, Visit: "v", Leads: true})
	}
	for k := range clients {
		at := openings.Minute(32 + 20*k)
		ada.Bookings = append(ada.Bookings, openings.Booking{From: at, To: at + 15, Visit: string(rune('a' + k)), Leads: true})
	}
	ada.Bays = openings.Bays(ada.Bookings)
	var s openings.VisitService
	for _, x := range scheduling.StandardServices() {
		if x.Name == "Root colour" {
			steps, err := x.Time(nil, 1)
			require.NoError(b, err)
			s = openings.VisitService{Service: x, Steps: steps, Hands: 1}
		}
	}
	p, err := openings.ComposeVisit([]openings.VisitService{s})
	require.NoError(b, err)
	snap, err := openings.NewSnapshot(shop)
	require.NoError(b, err)
	plan, err := openings.Compile(p.Spec, snap)
	require.NoError(b, err)
	set, err := plan.Search(snap, openings.Query{Grid: 1})
	require.NoError(b, err)
	sch, ok := set.Assign(0, "ada")
	require.True(b, ok)
	return p, sch, shop
}
