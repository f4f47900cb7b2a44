package api_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// june is a time of June 2026 in Berlin. The 8th is a Monday.
func june(day, hour, minute int) time.Time {
	return time.Date(2026, 6, day, hour, minute, 0, 0, time.FixedZone("", 2*3600))
}

// ask tries to book, with approvedBy unless that is empty.
func (s *salon) ask(client string, at time.Time, approvedBy string, services ...object) answer {
	s.t.Helper()
	body := object{"client_id": client, "start": at, "services": services}
	if approvedBy != "" {
		body["approved_by"] = approvedBy
	}
	return s.call("POST", "/v1/visits", body, "Idempotency-Key", fmt.Sprintf("a%d", bookings.Add(1)))
}

// service asks for a service of fixed length.
func (s *salon) service(name string) object { return object{"service_id": s.services[name]} }

// rules replaces the rules of booking.
func (s *salon) rules(more object) answer {
	s.t.Helper()
	body := object{"hold_minutes": 10}
	for k, v := range more {
		body[k] = v
	}
	return s.call("PUT", "/v1/booking-rules", body, "If-Match", s.call("GET", "/v1/booking-rules", nil).header.Get("ETag"))
}

const dryRule = "hair stays dry and untied for 48 hours after straightening"

func TestAWashTooSoonAfterStraighteningNeedsTheYes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	first, _ := s.book(mara, june(16, 9, 0), s.straightening())
	require.True(t, first.End.Equal(june(16, 13, 30)))
	want := "Straightening on Tue 16 June: " + dryRule + "; first allowed: Thu 18 June 13:30"

	p := s.ask(mara, june(18, 13, 15), "", s.service("Cut and dry")).refused(422, "refused")
	require.Equal(t, []api.CautionBody{{Level: "needs_yes", Code: "spacing", Text: want}}, p.Cautions)
	require.Contains(t, p.Detail, want)
	require.Equal(t, []string{"body /approved_by"}, pointers(p))
	require.True(t, p.FirstAllowed.Equal(june(18, 13, 30)))

	s.ask(mara, june(18, 9, 0), "", s.service("Dry cut")).is(201, nil)
	s.ask(s.client("Nora"), june(18, 10, 0), "", s.service("Cut and dry")).is(201, nil)
	var v api.VisitBody
	s.ask(mara, june(18, 13, 15), "Ada", s.service("Cut and dry")).is(201, &v)
	require.Equal(t, "needs_yes", v.Cautions[0].Level)
	var again api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &again)
	require.Equal(t, v.Cautions, again.Cautions)
	s.call("GET", "/v1/visits/"+first.ID, nil).is(200, &again)
	require.Len(t, again.Cautions, 1, "the earlier of the two says it, too")
	require.Contains(t, again.Cautions[0].Text, "Cut and dry on Thu 18 June")
}

func TestOpeningsMarkWhatStandsTooNear(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	s.book(mara, june(16, 9, 0), s.straightening())
	ask := object{"client_id": mara, "first_date": "2026-06-18", "last_date": "2026-06-18", "limit": 200}
	a := s.openings([]object{s.service("Wash and dry")}, ask)
	marked := 0
	for _, o := range a.Openings {
		near := o.Start.Before(june(18, 13, 30))
		require.Equal(t, near, len(o.Cautions) == 1, o.Start)
		if near {
			marked++
			require.Contains(t, o.Words, dryRule+"; first allowed: Thu 18 June 13:30")
			require.True(t, o.FirstAllowed.Equal(june(18, 13, 30)))
		}
	}
	require.Equal(t, 18, marked, "09:00 to 13:15")
	require.True(t, slices.IsSortedFunc(a.Openings, func(a, b api.OpeningBody) int { return a.Start.Compare(b.Start) }))
	delete(ask, "client_id")
	for _, o := range s.openings([]object{s.service("Wash and dry")}, ask).Openings {
		require.Empty(t, o.Cautions, "nobody is known who could have been there before")
	}
}

func TestALaterVisitCountsAsWell(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	s.ask(mara, june(17, 9, 0), "", s.service("Cut and dry")).is(201, nil)
	body := object{"service_id": s.services["Straightening"], "hair": hair()}
	p := s.ask(mara, june(16, 9, 0), "", body).refused(422, "refused")
	require.Contains(t, p.Detail, "Cut and dry on Wed 17 June: "+dryRule+"; first allowed: Wed 17 June 09:53")
	require.True(t, p.FirstAllowed.Equal(june(17, 9, 53)), "behind it: %s", p.FirstAllowed)
	s.ask(mara, june(15, 9, 0), "", body).refused(422, "refused") // ends on Monday at 13:30
	s.ask(mara, june(13, 9, 0), "", body).is(201, nil)
}

func TestColourWithinAFortnightIsOnlyPointedOut(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	s.book(mara, june(9, 9, 0), s.straightening())
	var v api.VisitBody
	s.ask(mara, june(22, 9, 0), "", s.service("Root colour")).is(201, &v)
	require.Equal(t, []api.CautionBody{{Level: "warn", Code: "spacing",
		Text: "Straightening on Tue 9 June: no permanent colour within 14 days after straightening; first allowed: Tue 23 June"}}, v.Cautions)
	retouch := hair()
	retouch["regrowth_cm"] = 2.5
	p := s.ask(s.client("Nora"), june(23, 9, 0), "", object{"service_id": s.services["Regrowth retouch"], "hair": retouch}).refused(422, "refused")
	require.Contains(t, p.Detail, "Regrowth retouch with 2.5 cm of new hair")
	require.Nil(t, p.FirstAllowed)
	p = s.ask(s.client("Nora"), june(23, 9, 0), "", object{"service_id": s.services["Straightening"], "hair": hair()}, s.service("Wash and dry")).refused(422, "refused")
	require.Contains(t, p.Detail, "Straightening and then Wash and dry in one visit")
}

func TestAMoveIsAskedAboutWhatItBreaksAnew(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	s.book(mara, june(16, 9, 0), s.straightening())
	v, tag := s.book(mara, june(23, 9, 0), []object{s.service("Wash and dry")}) // with a yes, which it did not need
	move := func(at time.Time, more object) answer {
		body := object{"start": at}
		for k, x := range more {
			body[k] = x
		}
		return s.call("POST", "/v1/visits/"+v.ID+"/move", body, "If-Match", tag)
	}
	p := move(june(18, 9, 0), nil).refused(422, "refused")
	require.Contains(t, p.Detail, dryRule)
	require.True(t, p.FirstAllowed.Equal(june(18, 13, 30)))
	tag = move(june(18, 9, 0), object{"approved_by": "Ada"}).is(200, nil).header.Get("ETag")
	tag = move(june(18, 9, 30), nil).is(200, nil).header.Get("ETag") // the same rule and visit, agreed to
	p = move(june(18, 9, 15), nil).refused(422, "refused")           // nearer again
	require.Contains(t, p.Detail, dryRule)
	s.ask(mara, june(30, 9, 0), "Ada", object{"service_id": s.services["Straightening"], "hair": hair()}).is(201, nil)
	p = move(june(31, 9, 0), nil).refused(422, "refused") // the day after another straightening
	require.Contains(t, p.Detail, "Straightening on Tue 30 June")
	move(june(29, 9, 0), nil).is(200, nil)
}

func TestElapsedHoursCountFromTheRealEnd(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	v, tag := s.book(mara, june(8, 9, 0), s.straightening())
	s.at(june(8, 14, 40))
	s.call("POST", "/v1/visits/"+v.ID+"/finish", object{"ended_at": june(8, 14, 20)}, "If-Match", tag).is(200, nil)
	p := s.ask(mara, june(10, 14, 15), "", s.service("Wash and dry")).refused(422, "refused")
	require.Contains(t, p.Detail, "first allowed: Wed 10 June 14:20")
	s.ask(mara, june(10, 14, 20), "", s.service("Wash and dry")).is(201, nil)
}

func TestASalonWritesItsOwnSpacing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var b api.BookingRules
	s.call("GET", "/v1/booking-rules", nil).is(200, &b)
	require.Len(t, b.Spacing, 6)
	require.InDelta(t, 0.05, *b.ShareOverrunLimit, 1e-12)
	require.Equal(t, "auto", b.StylistClears)
	mara := s.client("Mara")
	s.book(mara, june(16, 9, 0), s.straightening())
	s.rules(object{"spacing": []object{}}).is(200, &b)
	require.Empty(t, b.Spacing)
	s.ask(mara, june(17, 9, 0), "", s.service("Wash and dry")).is(201, nil)

	own := object{"after": "straightening", "before": "fringe", "days": 3, "level": "needs_yes", "either_way": true}
	s.rules(object{"spacing": []object{own}}).is(200, &b)
	require.Equal(t, []api.SpacingRuleBody{{After: "straightening", Before: "fringe", Days: 3, Level: "needs_yes", EitherWay: true}}, b.Spacing)
	var x api.ServiceBody
	s.call("POST", "/v1/services", object{"name": "Fringe", "skill": "cut", "chemical": false, "aftercare": false, "price_cents": 900, "families": []string{"fringe"},
		"steps": []object{{"kind": "cut", "label": "cut", "who": "lead", "where": "chair", "minutes": 20, "hands_on": true}}}).is(201, &x)
	require.Equal(t, []string{"fringe"}, x.Families)
	p := s.ask(mara, june(15, 9, 0), "", object{"service_id": x.ID}).refused(422, "refused")
	require.Contains(t, p.Detail, "Straightening on Tue 16 June: straightening, then fringe or the other way round: not within 3 days; first allowed: Fri 19 June")

	for _, bad := range []struct {
		rule object
		want string
	}{
		{object{"after": "A", "before": "b", "level": "warn"}, "/spacing/0/after"},
		{object{"after": "a", "before": "b", "level": "warn", "hours": 2, "days": 2}, "/spacing/0/days"},
		{object{"after": "a", "before": "b", "level": "refuse"}, "/spacing/0/level"},
	} {
		require.Equal(t, []string{"body " + bad.want}, pointers(s.rules(object{"spacing": []object{bad.rule}}).refused(422, "invalid")))
	}
	require.Equal(t, []string{"body /share_overrun_limit"}, pointers(s.rules(object{"share_overrun_limit": 0.6}).refused(422, "invalid")))
	require.Equal(t, []string{"body /stylist_clears"}, pointers(s.rules(object{"stylist_clears": "sometimes"}).refused(422, "invalid")))
	p = s.call("POST", "/v1/services", object{"name": "Fringe", "skill": "cut", "chemical": false, "aftercare": false, "price_cents": 900, "families": []string{"Fringe cut"},
		"steps": []object{{"kind": "cut", "label": "cut", "who": "lead", "where": "chair", "minutes": 20, "hands_on": true}}}).refused(422, "invalid")
	require.Equal(t, []string{"body /families/0"}, pointers(p))
	s.rules(nil).is(200, &b)
	require.Len(t, b.Spacing, 6, "left out means the rules that the program brings along")
	other := s.neighbour()
	other.call("GET", "/v1/booking-rules", nil).is(200, &b)
	require.Len(t, b.Spacing, 6)
}

func TestAnEndThatWaitsMakeLaterCountsForTheSpacing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	for _, minutes := range []int{20, 30, 60, 100, 120, 220, 240} { // Ben and the basin are busy
		s.ask(s.client(fmt.Sprint("Guest", minutes)), june(17, 10, minutes), "", s.by(s.ben, "Cut and dry"))
	}
	service := object{"service_id": s.services["Straightening"], "hair": hair(), "lead_id": s.ada}
	a := s.openings([]object{service}, object{"first_date": "2026-06-17", "last_date": "2026-06-17", "grid_minutes": 1, "limit": 200})
	tried := false
	for _, o := range a.Openings {
		wash := o.End.Add(48*time.Hour - time.Duration(o.WaitMinutes)*time.Minute)
		if o.WaitMinutes < 3 || s.ask(mara, wash, "", s.service("Cut and dry")).status != 201 {
			continue
		}
		tried = true
		p := s.ask(mara, o.Start, "", service).refused(422, "refused")
		require.Contains(t, p.Detail, dryRule)
		require.Equal(t, []string{"body /approved_by"}, pointers(p))
		var v api.VisitBody
		s.ask(mara, o.Start, "Ada", service).is(201, &v)
		require.Equal(t, "Ada", v.ApprovedBy)
		break
	}
	require.True(t, tried, "no opening with waits")
	s.sound()
}

func TestALongerVisitIsAskedAboutWhatItComesNearTo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	v, tag := s.book(mara, june(16, 9, 0), s.straightening())
	require.True(t, v.End.Equal(june(16, 13, 30)))
	s.ask(mara, june(18, 13, 30), "", s.service("Cut and dry")).is(201, nil)
	before := s.tables()()
	p := s.extend(v.ID, tag, object{"minutes": 10}).refused(422, "refused")
	require.Contains(t, p.Detail, "Cut and dry on Thu 18 June: "+dryRule)
	require.Equal(t, []string{"body /approved_by"}, pointers(p))
	require.Equal(t, []string{"body /approved_by"}, pointers(s.extend(v.ID, tag, object{"minutes": 10, "approved_by": "Nobody"}).refused(422, "invalid")))
	require.Equal(t, before, s.tables()())
	tag = s.extend(v.ID, tag, object{"minutes": 10, "approved_by": "Ada"}).is(200, nil).header.Get("ETag")
	s.extend(v.ID, tag, object{"minutes": 1}).refused(422, "refused") // nearer than agreed to

	s.at(june(16, 9, 0))
	tag = s.call("POST", "/v1/visits/"+v.ID+"/arrive", nil, "If-Match", tag).is(200, nil).header.Get("ETag")
	var longer api.VisitBody
	s.extend(v.ID, tag, object{"minutes": 1, "step": 13}).is(200, &longer)
	require.True(t, longer.End.Equal(june(16, 13, 41)))
	require.Len(t, longer.Cautions, 1, "she is here: it is said, not asked")
	require.Contains(t, longer.Cautions[0].Text, dryRule)
}

func TestTheYesToAnotherCautionDoesNotCountForTheSkinTest(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	v, tag := s.book(s.client("Mara"), june(18, 9, 0), s.straightening()) // with a yes, for whatever it was
	move := func(at time.Time, more object) answer {
		body := object{"start": at}
		for k, x := range more {
			body[k] = x
		}
		return s.call("POST", "/v1/visits/"+v.ID+"/move", body, "If-Match", tag)
	}
	soon := start.Add(26 * time.Hour)
	p := move(soon, nil).refused(422, "refused")
	require.Equal(t, "patch_test", p.Cautions[0].Code)
	tag = move(soon, object{"approved_by": "Ada"}).is(200, nil).header.Get("ETag")
	tag = move(soon.Add(time.Hour), nil).is(200, nil).header.Get("ETag") // was too soon already, and was agreed to
	move(soon, nil).refused(422, "refused")                              // less time than agreed to
}
