package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// onThePhone is what somebody tells of her hair.
func onThePhone() object {
	return object{"reach": "shoulder", "ponytail": "average", "history": []string{"nothing"}}
}

// told is a visit that is asked for by what was told, with hair that stands in.
func (s *salon) told(lead string) (api.PhoneAnswerBody, []object) {
	s.t.Helper()
	var a api.PhoneAnswerBody
	s.call("POST", "/v1/estimates/phone", onThePhone()).is(200, &a)
	x := object{"service_id": s.services["Straightening"], "hair": a.StandIn, "phone": onThePhone()}
	if lead != "" {
		x["lead_id"] = lead
	}
	return a, []object{x}
}

func TestAPriceThatWasSaidOnTheTelephoneIsKeptWhoeverIsInCharge(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.priced("Straightening", 30000, byMinute)
	s.at(s.ironed(start.AddDate(0, 0, 2), 6, 1.3)) // Ada works more slowly than the others
	s.refit()
	s.colleague("Cleo", "straightening")
	s.moneyRules(object{"deposit_chemical": object{"percent": 50}})
	said, list := s.told("")
	require.Less(t, said.Price.FromCents, said.Price.ToCents)
	day := s.clock.Load().AddDate(0, 0, 3).Format(time.DateOnly)
	ranges := map[string][2]int64{}
	for _, o := range s.openings(list, object{"first_date": day, "limit": 200}).Openings {
		ranges[o.LeadName] = [2]int64{o.FromCents, o.ToCents}
		require.LessOrEqual(t, said.Price.FromCents, o.FromCents, o.LeadName)
		require.GreaterOrEqual(t, said.Price.ToCents, o.ToCents, o.LeadName)
	}
	_, list = s.told(s.ada)
	hers := s.openings(list, object{"first_date": day, "limit": 1}).Openings[0]
	require.LessOrEqual(t, hers.ToCents, said.Price.ToCents, "the slowest is covered, too")
	require.NotEqual(t, [2]int64{hers.FromCents, hers.ToCents}, ranges["Cleo"])

	client := s.client("Mara")
	v, tag := s.book(client, hers.Start, list)
	require.Equal(t, []int64{hers.FromCents, hers.ToCents}, []int64{v.FromCents, v.ToCents})
	require.Equal(t, []int64{v.FromCents, v.ToCents}, []int64{v.Services[0].FromCents, v.Services[0].ToCents})
	require.True(t, v.FromCents <= v.PriceCents && v.PriceCents <= v.ToCents)
	require.Equal(t, (v.FromCents+1)/2, v.Deposit.AskedCents, "of what it costs at least")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": hers.Start.Add(30 * time.Minute)}, "If-Match", tag).is(200, &v)
	require.Equal(t, []int64{hers.FromCents, hers.ToCents}, []int64{v.FromCents, v.ToCents}, "a move changes nothing")
	var m api.MoneyBody
	s.call("GET", "/v1/visits/"+v.ID+"/money", nil).is(200, &m)
	require.Equal(t, []int64{v.FromCents, v.ToCents}, []int64{m.FromCents, m.ToCents})
	var o api.ClientOverview
	s.call("GET", "/v1/clients/"+client+"/overview", nil).is(200, &o)
	require.Equal(t, []int64{v.FromCents, v.ToCents}, []int64{o.Visits[0].FromCents, o.Visits[0].ToCents})

	// A price by hand is firm, and open again when it is taken back.
	e := s.noted(v.ID, object{"kind": "price_changed", "service_index": 0, "amount_cents": v.PriceCents, "client_agreed": true}).Entries
	now := func() (b api.VisitBody) { s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &b); return b }
	require.Zero(t, now().ToCents)
	s.noted(v.ID, object{"kind": "taken_back", "entry_id": e[len(e)-1].ID})
	require.Equal(t, []int64{hers.FromCents, hers.ToCents}, []int64{now().FromCents, now().ToCents})

	// Whoever looks at the hair makes it firm: no yes is asked to a price that was said.
	s.at(v.Start)
	s.call("POST", "/v1/visits/"+v.ID+"/arrive", object{}, "If-Match", s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")).is(200, nil)
	look := func(body object) (a api.HairSeenAnswer) {
		s.call("POST", "/v1/visits/"+v.ID+"/hair-as-seen", body).is(201, &a)
		return a
	}
	a := look(object{"hair": object{"length_cm": said.StandIn.LengthCM - 1}, "preview": true})
	require.Equal(t, []int64{hers.FromCents, hers.ToCents}, []int64{a.WasFrom, a.WasTo})
	require.False(t, ways(a.Choices)["go_on"].AsksClient)
	a = look(object{"hair": object{"length_cm": 79}, "preview": true})
	require.True(t, ways(a.Choices)["go_on"].AsksClient, "more than was said")
	a = look(object{"hair": object{"length_cm": said.StandIn.LengthCM - 1}, "choice": "go_on"})
	require.Zero(t, a.Visit.ToCents)
	require.True(t, hers.FromCents <= a.Visit.PriceCents && a.Visit.PriceCents <= hers.ToCents)

	v, _ = s.book(s.client("Nora"), hers.Start.AddDate(0, 0, 7), list)
	s.at(v.Start)
	s.call("POST", "/v1/visits/"+v.ID+"/arrive", object{}, "If-Match", `"v1"`).is(200, nil)
	a = look(object{"unchanged": true})
	require.Equal(t, []int64{v.PriceCents, 0}, []int64{a.Visit.PriceCents, a.Visit.ToCents})
	bad := s.call("POST", "/v1/openings", object{"services": []object{{"service_id": s.services["Dry cut"], "phone": onThePhone()}}}).refused(422, "invalid")
	require.Equal(t, "/services/0/phone", places(bad))
}
