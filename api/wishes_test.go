package api_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// waits puts a request on the waiting list; more goes before what it has
// otherwise: any day of the week of start.
func (s *salon) waits(client string, more object) api.WishBody {
	s.t.Helper()
	body := object{"client_id": client, "services": []object{s.service("Dry cut")}, "first_date": "2026-06-08", "last_date": "2026-06-13"}
	for k, v := range more {
		body[k] = v
	}
	var w api.WishBody
	s.call("POST", "/v1/waiting-list", body, "Idempotency-Key", fmt.Sprintf("w%d", bookings.Add(1))).is(201, &w)
	return w
}

// matches asks who fits.
func (s *salon) matches(body object) api.MatchAnswer {
	s.t.Helper()
	var out api.MatchAnswer
	s.call("POST", "/v1/waiting-list/matches", body).is(200, &out)
	return out
}

func TestARequestIsKeptAsItWasAskedAndGoesItsWay(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	w := s.waits(mara, object{"services": []object{{"service_id": s.services["Straightening"], "hair": hair()}}, "weekdays": []int{4, 2}, "from": "09:30", "to": "17:00",
		"lead_ids": []string{s.ada}, "notice_minutes": 120, "note": "rings in the evening"})
	require.Equal(t, "waiting", w.State)
	require.EqualValues(t, 32000, *w.Value, "the price of its services")
	require.Equal(t, []int{2, 4}, w.Weekdays)
	require.Equal(t, []string{"09:30", "17:00"}, []string{w.From, w.To})
	require.InDelta(t, 35, w.Services[0].Hair.LengthCM, 0)
	path := "/v1/waiting-list/" + w.ID
	var got api.WishBody
	tag := s.call("GET", path, nil).is(200, &got).header.Get("ETag")
	require.Equal(t, w, got)

	body := object{"client_id": mara, "services": []object{s.service("Dry cut")}, "value_cents": 5000, "first_date": "2026-06-09", "last_date": "2026-06-09"}
	s.call("PUT", path, body, "If-Match", `"v2"`).refused(412, "stale")
	tag = s.call("PUT", path, body, "If-Match", tag).is(200, &got).header.Get("ETag")
	require.Equal(t, `"v2"`, tag)
	require.EqualValues(t, 5000, *got.Value)
	require.Len(t, got.Weekdays, 7)
	require.Equal(t, []string{"00:00", "24:00"}, []string{got.From, got.To})

	nora := s.waits(s.client("Nora"), nil)
	var list struct{ Items []api.WishBody }
	ids := func(query string) (out []string) {
		list.Items = nil
		s.call("GET", "/v1/waiting-list"+query, nil).is(200, &list)
		for _, x := range list.Items {
			out = append(out, x.ID)
		}
		return out
	}
	require.Equal(t, []string{w.ID, nora.ID}, ids(""), "the oldest first")
	require.Equal(t, []string{w.ID}, ids("?client_id="+mara))
	a := s.call("GET", "/v1/waiting-list?limit=1", nil).is(200, &list)
	require.Contains(t, a.header.Get("Link"), "cursor="+w.ID)
	require.Equal(t, []string{nora.ID}, ids("?limit=1&cursor="+w.ID))

	// A visit that was booked by hand takes a request off the list.
	v, _ := s.book(mara, tuesday(9, 0), []object{s.service("Dry cut")})
	other, _ := s.book(s.client("Ines"), tuesday(9, 0), []object{s.service("Dry cut")})
	body["visit_id"] = other.ID
	require.Equal(t, []string{"body /visit_id"}, pointers(s.call("PUT", path, body, "If-Match", tag).refused(422, "invalid")))
	body["visit_id"] = v.ID
	tag = s.call("PUT", path, body, "If-Match", tag).is(200, &got).header.Get("ETag")
	require.Equal(t, []string{"booked", v.ID}, []string{got.State, got.VisitID})
	s.call("PUT", path, body, "If-Match", tag).refused(409, "conflict")
	s.call("DELETE", path, nil, "If-Match", tag).refused(409, "conflict")
	s.call("DELETE", "/v1/waiting-list/"+nora.ID, nil, "If-Match", `"v1"`).is(204, nil)
	require.Empty(t, ids(""))
	require.Equal(t, []string{nora.ID}, ids("?state=withdrawn"))
	require.Equal(t, []string{w.ID, nora.ID}, ids("?state=any"))
}

func TestARequestThatCanNeverBePlacedIsRefusedWithTheReason(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	long := func(change object) object {
		b := object{"client_id": mara, "services": s.straightening(), "first_date": "2026-06-09", "last_date": "2026-06-12"}
		for k, v := range change {
			b[k] = v
		}
		return b
	}
	before := s.tables()()
	for _, x := range []struct {
		body  object
		place string
		says  string
	}{
		{long(object{"client_id": "x"}), "/client_id", "is not known"},
		{long(object{"first_date": "2026-06-12", "last_date": "2026-06-11"}), "/last_date", "366 days"},
		{long(object{"first_date": "2026-06-01", "last_date": "2026-06-07"}), "/last_date", "lies in the past"},
		{long(object{"first_date": "2027-06-10", "last_date": "2027-06-15"}), "/first_date", "more than 366 days ahead"},
		{long(object{"first_date": "2126-06-09", "last_date": "2126-06-12"}), "/first_date", "more than 366 days ahead"},
		{long(object{"weekdays": []int{1, 6}}), "/weekdays", "none of the days"},
		{long(object{"from": "9:00"}), "/from", "09:30"},
		{long(object{"lead_ids": []string{s.mina}}), "/lead_ids/0", "may not be in charge"},
		{long(object{"lead_ids": []string{s.ada}, "services": []object{s.by(s.ada, "Straightening")}}), "/lead_ids", "beside lead_id"},
		{long(object{"lead_ids": []string{s.ben}}), "/services", "straightening"},
		{long(object{"from": "14:00"}), "/services", "take 270 minutes"},
		{long(object{"to": "13:00"}), "/services", "take 270 minutes"},
		{long(object{"first_date": "2026-06-14", "last_date": "2026-06-14"}), "/services", "take 270 minutes"},
		{long(object{"visit_id": "x"}), "/visit_id", "new request"},
	} {
		p := s.call("POST", "/v1/waiting-list", x.body).refused(422, "invalid")
		require.Equal(t, []string{"body " + x.place}, pointers(p), "%v", p)
		require.Contains(t, p.Detail, x.says)
	}
	p := s.call("POST", "/v1/waiting-list", long(object{"services": []object{{"service_id": s.services["Straightening"], "hair": long0()}}})).refused(422, "refused")
	require.Equal(t, "refuse", p.Cautions[0].Level, "what would be refused when it is booked does not wait either")
	require.Equal(t, before, s.tables()())
	// Absences pass, and so do other visits.
	s.call("POST", "/v1/waiting-list", long(object{"from": "13:30"})).is(201, nil)
	s.book(mara, tuesday(9, 0), s.straightening())
	s.call("POST", "/v1/waiting-list", long(object{"last_date": "2026-06-09"})).is(201, nil)
}

// long0 is hair for which product stays on too long when one does it in one go.
func long0() object { return long(0) }

func TestWhoFitsWhenAVisitIsCancelled(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	cut := s.by(s.ada, "Dry cut")
	s.colleague("Cleo", "colour")
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening()) // to 13:30
	s.book(s.client("Ines"), tuesday(13, 30), []object{s.by(s.ada, "Straightening")})
	nora := s.waits(s.client("Nora"), object{"services": []object{cut}, "value_cents": 4000})
	lena := s.waits(s.client("Lena"), object{"services": s.straightening(), "value_cents": 32000, "first_date": "2026-06-09", "last_date": "2026-06-09"})
	rosa := s.waits(s.client("Rosa"), object{"services": []object{cut}, "from": "10:00", "to": "11:00", "value_cents": 30000, "last_date": "2026-06-09"})
	thea := s.waits(s.client("Thea"), object{"services": []object{cut}, "value_cents": 3000, "notice_minutes": 2 * 24 * 60, "last_date": "2026-06-10"})
	vera := s.waits(s.client("Vera"), object{"services": []object{s.service("Root colour")}, "weekdays": []int{1}, "value_cents": 100})
	ask := object{"visit_id": v.ID, "rounds": 200}
	before := s.tables()()

	// About to be cancelled: its time counts as free already.
	got := s.matches(ask)
	require.Equal(t, before, s.tables()(), "asking changes nothing")
	require.Equal(t, 4, got.Waiting-1, "five wait for some day of the week, of which one does not want this one")
	var fits []string
	for _, m := range got.Fits {
		fits = append(fits, m.WaitingID)
	}
	require.Equal(t, []string{lena.ID, rosa.ID, nora.ID}, fits)
	require.NotContains(t, fits, thea.ID, "she has to hear of it two days before")
	require.NotContains(t, fits, vera.ID, "she can on Mondays only")
	require.True(t, got.Fits[0].Opening.Start.Equal(tuesday(9, 0)))
	require.Contains(t, got.Fits[0].Words, "Lena Q.: Tue 9 June 09:00 to 13:30 with Ada, chair ")
	require.Contains(t, got.Fits[0].Words, "dry and untied until", "aftercare begins with the offer")
	require.Contains(t, got.Fits[0].Words, "worth 320.00 EUR")
	require.True(t, got.Fits[1].Opening.Start.Equal(tuesday(10, 0)))
	// Two cuts are worth 340, the long visit 320.
	require.EqualValues(t, 34000, got.Best.ValueCents)
	require.Zero(t, got.Best.More)
	require.Len(t, got.Best.Requests, 2)
	require.Equal(t, []bool{false, true, true}, []bool{got.Fits[0].InBest, got.Fits[1].InBest, got.Fits[2].InBest})
	require.Contains(t, got.Best.Words, "nothing better is possible")

	// Really cancelled: the same; and the answer says how many there are.
	var gone api.VisitBody
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, &gone)
	require.Equal(t, 3, *gone.WaitingFits)
	require.Equal(t, got, s.matches(ask))
	// Without the visit the day is the same, and the soonest start the best one.
	days := s.matches(object{"first_date": "2026-06-09", "last_date": "2026-06-09", "rounds": 200})
	require.Equal(t, got.Best.ValueCents, days.Best.ValueCents)

	n := s.neighbour()
	require.Equal(t, []string{"body /visit_id"}, pointers(n.call("POST", "/v1/waiting-list/matches", ask).refused(422, "invalid")))
	require.Zero(t, n.matches(object{"first_date": "2026-06-09", "last_date": "2026-06-09"}).Waiting)
	for _, x := range []struct {
		body  object
		place string
	}{
		{object{"visit_id": v.ID, "first_date": "2026-06-09"}, "body /visit_id"},
		{object{"first_date": "2026-06-09"}, "body /last_date"},
		{object{"first_date": "2026-06-09", "last_date": "2026-06-23"}, "body /last_date"},
		{object{"first_date": "2026-06-01", "last_date": "2026-06-07"}, "body /last_date"},
	} {
		require.Equal(t, []string{x.place}, pointers(s.call("POST", "/v1/waiting-list/matches", x.body).refused(422, "invalid")))
	}
}

func TestRequestsOverAFortnightKeepTheirHoursAndTheirClientsOtherVisits(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	// Of the two Tuesdays Ada is taken on the first, and Mara is at Ben's until half past nine on the second.
	s.book(s.client("Ines"), june(16, 9, 0), []object{s.by(s.ada, "Dry cut")})
	s.book(s.client("Rosa"), june(16, 9, 30), []object{s.by(s.ada, "Dry cut")})
	s.book(mara, june(23, 9, 0), []object{s.by(s.ben, "Dry cut")})
	early := s.waits(mara, object{"services": []object{s.by(s.ada, "Dry cut")}, "first_date": "2026-06-15", "last_date": "2026-06-26", "weekdays": []int{2}, "from": "09:00", "to": "10:00"})
	late := s.waits(s.client("Nora"), object{"services": []object{s.by(s.ada, "Dry cut")}, "first_date": "2026-06-15", "last_date": "2026-06-26", "weekdays": []int{4, 5}, "from": "17:00", "to": "17:30"})
	got := s.matches(object{"first_date": "2026-06-13", "last_date": "2026-06-26", "rounds": 300})
	at := map[string]string{}
	for _, m := range got.Best.Requests {
		at[m.WaitingID] = m.Opening.Start.Format("02 15:04")
	}
	require.Len(t, at, 2)
	require.Equal(t, "23 09:30", at[early.ID])
	require.Contains(t, []string{"18 17:00", "19 17:00", "25 17:00", "26 17:00"}, at[late.ID])
	require.Equal(t, "23 09:30", got.Fits[0].Opening.Start.Format("02 15:04"))
	require.Equal(t, "18 17:00", got.Fits[1].Opening.Start.Format("02 15:04"), "the soonest")
}

func TestAVisitAndTheRequestThatItServesAreSettledTogether(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	w := s.waits(client, nil)
	at := start.Add(26 * time.Hour)
	cut := func(more object) object {
		body := object{"client_id": client, "start": at, "services": []object{s.service("Dry cut")}, "waiting_list_id": w.ID}
		for k, v := range more {
			body[k] = v
		}
		return body
	}
	read := func() (b api.WishBody) { s.call("GET", "/v1/waiting-list/"+w.ID, nil).is(200, &b); return b }
	who := func() (out []string) {
		for _, m := range s.matches(object{"first_date": "2026-06-08", "last_date": "2026-06-13"}).Fits {
			out = append(out, m.WaitingID)
		}
		return out
	}
	key := func() string { return fmt.Sprintf("s%d", bookings.Add(1)) }

	p := s.call("POST", "/v1/visits", cut(object{"client_id": s.client("Nora")}), "Idempotency-Key", key()).refused(422, "invalid")
	require.Equal(t, []string{"body /waiting_list_id"}, pointers(p))
	p = s.call("POST", "/v1/visits", cut(object{"waiting_list_id": "none"}), "Idempotency-Key", key()).refused(422, "invalid")
	require.Equal(t, []string{"body /waiting_list_id"}, pointers(p))
	require.Equal(t, []string{w.ID}, who())

	// Pencilled, she is offered nothing else; given up, she waits again.
	var held api.VisitBody
	a := s.call("POST", "/v1/holds", cut(nil), "Idempotency-Key", key()).is(201, &held)
	require.Equal(t, "waiting", read().State)
	require.Equal(t, held.ID, read().Pencilled)
	require.Empty(t, read().VisitID)
	require.Empty(t, who())
	require.Contains(t, s.call("POST", "/v1/visits", cut(object{"start": at.Add(24 * time.Hour)}), "Idempotency-Key", key()).refused(409, "conflict").Detail, "another time is pencilled for the request")
	s.call("POST", "/v1/visits/"+held.ID+"/release", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Empty(t, read().Pencilled)
	require.Equal(t, []string{w.ID}, who())

	// A change of the request loses nothing of that.
	a = s.call("POST", "/v1/holds", cut(nil), "Idempotency-Key", key()).is(201, &held)
	tag := s.call("GET", "/v1/waiting-list/"+w.ID, nil).is(200, nil).header.Get("ETag")
	s.call("PUT", "/v1/waiting-list/"+w.ID, object{"client_id": client, "services": []object{s.service("Dry cut")}, "first_date": "2026-06-08", "last_date": "2026-06-12", "note": "rings first"}, "If-Match", tag).is(200, nil)
	require.Equal(t, held.ID, read().Pencilled)
	s.call("POST", "/v1/visits/"+held.ID+"/book", object{}, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Equal(t, "booked", read().State)
	require.Equal(t, held.ID, read().VisitID)
	require.Contains(t, s.call("POST", "/v1/visits", cut(object{"start": at.Add(24 * time.Hour)}), "Idempotency-Key", key()).refused(409, "conflict").Detail, "does not wait any more")

	// Of visits that belong together each can serve a request, which is served once.
	other := s.client("Thea")
	hers := s.waits(other, nil)
	group := func(second string) object {
		visit := func(client, lead, wish string) object {
			return object{"book": object{"client_id": client, "start": at.Add(24 * time.Hour), "services": []object{with(s.service("Dry cut"), lead)}, "waiting_list_id": wish}}
		}
		return object{"how": "side_by_side", "visits": []object{visit(other, s.ada, hers.ID), visit(s.client("Rosa"), s.ben, second)}}
	}
	p = s.call("POST", "/v1/visit-groups", group(hers.ID), "Idempotency-Key", key()).refused(422, "invalid")
	require.Contains(t, pointers(p), "body /visits/1/book/waiting_list_id")
	s.call("POST", "/v1/visit-groups", group(""), "Idempotency-Key", key()).is(201, nil)
	s.call("GET", "/v1/waiting-list/"+hers.ID, nil).is(200, &hers)
	require.Equal(t, "booked", hers.State)
	require.NotEmpty(t, hers.VisitID)
}

func TestABookingByMistakeLetsHerWaitAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	w := s.waits(client, nil)
	cut := object{"client_id": client, "start": start.Add(26 * time.Hour), "services": []object{s.service("Dry cut")}, "waiting_list_id": w.ID}
	read := func() (b api.WishBody) { s.call("GET", "/v1/waiting-list/"+w.ID, nil).is(200, &b); return b }
	s.call("POST", "/v1/visits", cut, "Idempotency-Key", "one").is(201, nil)
	require.Equal(t, "booked", read().State)
	var last api.UndoBody
	s.call("GET", "/v1/undo", nil).is(200, &last)
	require.NotNil(t, last.Action)
	s.call("POST", "/v1/undo", object{"id": last.Action.ID}).is(200, nil)
	require.Equal(t, "waiting", read().State)
	require.NotEmpty(t, s.matches(object{"first_date": "2026-06-08", "last_date": "2026-06-13"}).Fits)
	var v api.VisitBody
	s.call("POST", "/v1/visits", cut, "Idempotency-Key", "two").is(201, &v)
	require.Equal(t, v.ID, read().VisitID)
}

// with is a service with a stylist in charge.
func with(service object, lead string) object {
	out := object{"lead_id": lead}
	for k, v := range service {
		if k != "lead_id" {
			out[k] = v
		}
	}
	return out
}
