package api_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// plan asks for a plan of a day.
func (s *salon) plan(body object) api.DayPlanBody {
	s.t.Helper()
	var p api.DayPlanBody
	s.call("POST", "/v1/day-plans", body).is(201, &p)
	return p
}

// carryOut carries a plan out.
func (s *salon) carryOut(id string, body object) answer {
	s.t.Helper()
	if body == nil {
		body = object{}
	}
	return s.call("POST", "/v1/day-plans/"+id+"/apply", body, "Idempotency-Key", fmt.Sprintf("p%d", bookings.Add(1)))
}

func TestTimeThatACancellationFreesIsFilled(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	ines, _ := s.book(s.client("Ines"), tuesday(13, 30), []object{s.by(s.ada, "Dry cut")})
	nora := s.waits(s.client("Nora"), object{"services": []object{s.by(s.ada, "Cut and dry")}, "note": "by the window"})
	lena := s.waits(s.client("Lena"), object{"services": []object{s.by(s.ada, "Straightening")}, "from": "12:00"})
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	body := object{"date": "2026-06-09", "waiting_list": []string{"all"}, "movable": []string{"all_not_started"}, "rounds": 500, "seed": 7}
	before := s.tables()
	tables := before()
	p := s.plan(body)
	after := before()
	tables["day_plan"] = after["day_plan"]
	require.Equal(t, tables, after, "a plan proposes and changes nothing")

	// The long visit fits from 13:30 to 18:00 only when Ines moves.
	require.Equal(t, "proposed", p.State)
	require.EqualValues(t, 32000+5800, p.Gain.Added)
	require.Equal(t, 2, p.Gain.Requests)
	require.Equal(t, 1, p.Gain.Visits)
	require.Equal(t, 1, p.Gain.Moved)
	require.Empty(t, p.StaysOut)
	require.Empty(t, p.CannotStay)
	require.NotEmpty(t, p.Cautions, "tomorrow is too soon for a skin test")
	moved := p.Changes[slices.IndexFunc(p.Changes, func(c api.PlanChangeBody) bool { return c.VisitID == ines.ID })]
	require.Equal(t, "move", moved.Kind)
	require.Regexp(t, `^Ines Q\. moves from 13:30 to \d\d:\d\d`, moved.Words)
	require.Contains(t, p.Words[len(p.Words)-2], "1 visit that may move and 2 waiting-list requests have a place, which brings 378.00 EUR")

	again := s.plan(body)
	again.ID, again.Created = p.ID, p.Created
	require.Equal(t, p, again, "the same seed and rounds")
	var read api.DayPlanBody
	s.call("GET", "/v1/day-plans/"+p.ID, nil).is(200, &read)
	require.Equal(t, p, read)

	refused := s.carryOut(p.ID, nil).refused(422, "refused")
	require.Equal(t, []string{"body /approved_by"}, pointers(refused))
	require.Equal(t, []string{"body /approved_by"}, pointers(s.carryOut(p.ID, object{"approved_by": "Mina"}).refused(422, "invalid")))
	ada, client := s.feed("staff", s.ada), s.parts(s.ada)
	s.sendDue()
	var done api.DayPlanBody
	key := []string{"Idempotency-Key", "once"}
	a := s.call("POST", "/v1/day-plans/"+p.ID+"/apply", object{"approved_by": "Ada"}, key...).is(200, &done)
	require.Equal(t, "applied", done.State)
	s.sound()
	require.NotEqual(t, client, s.parts(s.ada))
	_, events := ada.events()
	require.NotEmpty(t, events)
	for _, c := range done.Changes {
		got, _ := s.read(c.VisitID)
		require.Equal(t, "booked", got.State)
		require.True(t, got.Start.Equal(c.Start) && got.End.Equal(c.End), c.Words)
		require.Equal(t, []string{c.LeadID, c.ChairID}, []string{got.Services[0].LeadID, got.ChairID})
		switch c.WaitingID {
		case "":
			require.Equal(t, 1, s.reminders(c.VisitID)["moved waiting"])
		default:
			require.Equal(t, 1, s.reminders(c.VisitID)["confirmation waiting"])
			var w api.WishBody
			s.call("GET", "/v1/waiting-list/"+c.WaitingID, nil).is(200, &w)
			require.Equal(t, []string{"booked", c.VisitID}, []string{w.State, w.VisitID})
			if w.ID == nora.ID {
				require.Equal(t, "by the window", got.Note)
			}
			require.Contains(t, []string{nora.ID, lena.ID}, w.ID)
		}
	}
	replayed := s.call("POST", "/v1/day-plans/"+p.ID+"/apply", object{"approved_by": "Ada"}, key...).is(200, nil)
	require.Equal(t, string(a.body), string(replayed.body))
	require.Equal(t, "true", replayed.header.Get("Idempotent-Replayed"))
	require.Contains(t, s.carryOut(p.ID, object{"approved_by": "Ada"}).refused(409, "conflict").Detail, "carried out")
	s.call("GET", "/v1/day-plans/"+p.ID, nil).is(200, &read)
	require.Equal(t, done, read)
}

func TestAFullDayGoesOnWithoutAStylistWhoIsIll(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	// Ada and Ben cut all day in two chairs; Ben has gaps of half an hour.
	byAda := map[string]bool{}
	for i := range 8 {
		at := tuesday(9+i, 0)
		v, _ := s.book(s.client(fmt.Sprint("Ada", i)), at, []object{s.by(s.ada, "Dry cut")})
		byAda[v.ID] = true
		s.book(s.client(fmt.Sprint("Ben", i)), at, []object{s.by(s.ben, "Dry cut")})
	}
	long, _ := s.book(s.client("Lena"), tuesday(9, 0).AddDate(0, 0, 1), s.straightening())
	body := object{"date": "2026-06-09", "movable": []string{"all_not_started"}, "away": []object{{"unit_id": s.ada}}, "rounds": 400}
	p := s.plan(body)
	require.Empty(t, p.CannotStay)
	require.Equal(t, 16, p.Gain.Visits)
	require.EqualValues(t, 8*3900, p.Gain.Kept)
	require.Zero(t, p.Gain.Lost)
	for _, c := range p.Changes {
		if byAda[c.VisitID] {
			require.Equal(t, s.ben, c.LeadID)
			require.Contains(t, c.Words, "Ben instead of Ada")
			require.Contains(t, c.Words, "because Ada is not there all day")
		}
	}
	// The absence is noted before the plan is carried out: the plan knew of it.
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": tuesday(8, 0), "to": tuesday(19, 0)}).is(201, nil)
	s.carryOut(p.ID, object{"approved_by": "Ben"}).is(200, nil)
	s.sound()
	require.Empty(t, s.day("2026-06-09").Conflicts)
	require.Len(t, s.day("2026-06-09").Visits, 16)

	// What only Ada can do has no place, and another day is offered.
	p = s.plan(object{"date": "2026-06-10", "movable": []string{long.ID}, "away": []object{{"unit_id": s.ada}}, "rounds": 100})
	require.Empty(t, p.Changes)
	require.Len(t, p.CannotStay, 1)
	x := p.CannotStay[0]
	require.True(t, x.MayMove)
	require.Equal(t, "another_day", x.Offers[0].Kind)
	require.Equal(t, "2026-06-11", x.Offers[0].Start.Format(time.DateOnly))
	require.EqualValues(t, 32000, p.Gain.Lost)
	// One that may not move is named as well.
	p = s.plan(object{"date": "2026-06-10", "away": []object{{"unit_id": s.ada, "from": june(10, 10, 0), "to": june(10, 11, 0)}}, "rounds": 100})
	require.Len(t, p.CannotStay, 1)
	require.False(t, p.CannotStay[0].MayMove)
	require.Contains(t, p.CannotStay[0].Words, "Lena Q. at 09:00 cannot stay: Ada is not there")
}

func TestTheClientInSolutionGetsTheOtherBasinAheadOfEverybody(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var basin struct{ ID string }
	s.call("POST", "/v1/stations", object{"kind": "basin", "name": "other basin", "changeover_minutes": 2}).is(201, &basin)
	lena, tag := s.book(s.client("Lena"), tuesday(9, 0), s.straightening())
	rinse := lena.Steps[5]
	require.Equal(t, "rinse_1", rinse.Kind)
	used := rinse.Units[slices.IndexFunc(rinse.Units, func(u api.StepUnitBody) bool { return u.Role == "basin" })].UnitID
	other := s.basins[0]
	if used == other {
		other = basin.ID
	}
	// Ben's client is washed in the other basin when Lena has to be rinsed.
	cut := []object{s.by(s.ben, "Cut and dry")}
	var nora api.VisitBody
	for m := -6; m <= 8 && nora.ID == ""; m++ {
		a := s.call("POST", "/v1/visits", object{"client_id": s.client("Nora"), "start": rinse.Start.Add(time.Duration(m) * time.Minute), "services": cut, "approved_by": "Ada"}, "Idempotency-Key", fmt.Sprint("nora", m))
		if a.status == 201 {
			a.is(201, &nora)
		}
	}
	require.NotEmpty(t, nora.ID, "Mina or Ben has to be free for the wash")
	s.at(tuesday(9, 0))
	s.call("POST", "/v1/visits/"+lena.ID+"/arrive", object{}, "If-Match", tag).is(200, nil)
	s.at(lena.Steps[4].Start) // solution is on
	body := object{"date": "2026-06-09", "movable": []string{"all_not_started"}, "away": []object{{"unit_id": used, "from": s.clock.Load()}}, "rounds": 200}
	p := s.plan(body)
	c := p.Changes[slices.IndexFunc(p.Changes, func(c api.PlanChangeBody) bool { return c.VisitID == lena.ID })]
	require.Equal(t, "units", c.Kind)
	require.True(t, c.Start.Equal(lena.Start) && c.End.Equal(lena.End), "her times are left as they are")
	require.Contains(t, c.Words, "Lena Q. stays at 09:00")
	k := slices.IndexFunc(p.Changes, func(c api.PlanChangeBody) bool { return c.VisitID == nora.ID })
	require.GreaterOrEqual(t, k, 0, "%v", p.Words)
	require.Equal(t, "a client who is here needs the same person or basin", p.Changes[k].Why)
	s.carryOut(p.ID, object{"approved_by": "Ada"}).is(200, nil)
	s.sound()
	now, _ := s.read(lena.ID)
	for i, st := range now.Steps {
		require.True(t, st.Start.Equal(lena.Steps[i].Start) && st.End.Equal(lena.Steps[i].End))
		for _, u := range st.Units {
			if u.Role == "basin" && i > 4 {
				require.Equal(t, other, u.UnitID)
			}
		}
	}
	// With no basin left she is named and left alone.
	p = s.plan(object{"date": "2026-06-09", "away": []object{{"unit_id": used, "from": s.clock.Load()}, {"unit_id": other, "from": s.clock.Load()}}, "rounds": 50})
	k = slices.IndexFunc(p.CannotStay, func(x api.PlanStuckBody) bool { return x.VisitID == lena.ID })
	require.Contains(t, p.CannotStay[k].Words, "the client is here, and her times are left as they are")
	require.Empty(t, p.CannotStay[k].Offers)
}

func TestWhatIsOverStaysAsItWasWhenTheDayIsRearranged(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var basin struct{ ID string }
	s.call("POST", "/v1/stations", object{"kind": "basin", "name": "other basin", "changeover_minutes": 2}).is(201, &basin)
	v, tag := s.book(s.client("Emil"), tuesday(9, 0), s.straightening())
	x := &noting{s, v.ID, tag, v}
	s.at(tuesday(7, 45)) // before it opens
	x.ok("arrive")
	x.ok(x.step("talk") + "start")
	s.at(tuesday(7, 50))
	x.ok(x.step("wash") + "start")
	s.at(tuesday(7, 56))
	x.ok("steps/2/start")
	before, _ := s.read(v.ID)
	used := before.Steps[1].Units[slices.IndexFunc(before.Steps[1].Units, func(u api.StepUnitBody) bool { return u.Role == "basin" })].UnitID
	p := s.plan(object{"date": "2026-06-09", "movable": []string{"all_not_started"}, "away": []object{{"unit_id": used}}, "rounds": 50})
	s.carryOut(p.ID, object{"approved_by": "Ada"}).is(200, nil)
	now, _ := s.read(v.ID)
	require.Equal(t, before.Steps[:3], now.Steps[:3], "what has begun or is over")
	other := false
	for _, st := range now.Steps[3:] {
		for _, u := range st.Units {
			require.NotEqual(t, used, u.UnitID, st.Label)
			other = other || u.UnitID == basin.ID || u.UnitID == s.basins[0]
		}
	}
	require.True(t, other, "what is to come is done at the other basin")
}

func TestWithoutTheHelperAVisitOfTwoIsDoneByOneWhereThatIsSafe(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	cleo := s.colleague("Cleo", "straightening")
	two := hair()
	two["hands"] = 2
	book := func(name string, day int, h object) api.VisitBody {
		v, _ := s.book(s.client(name), june(day, 9, 0), []object{{"service_id": s.services["Straightening"], "hair": h, "lead_id": s.ada}})
		return v
	}
	lena := book("Lena", 16, two)
	require.Less(t, lena.End.Sub(lena.Start), 4*time.Hour)
	helps := func(v api.VisitBody) (n int) {
		for _, st := range v.Steps {
			for _, u := range st.Units {
				if u.Role == "helper" {
					n++
				}
			}
		}
		return n
	}
	require.NotZero(t, helps(lena))
	p := s.plan(object{"date": "2026-06-16", "movable": []string{lena.ID}, "away": []object{{"unit_id": cleo}}, "rounds": 200})
	require.Empty(t, p.CannotStay)
	require.Len(t, p.Changes, 1)
	c := p.Changes[0]
	require.True(t, c.Alone)
	require.True(t, c.Start.Equal(lena.Start))
	require.Equal(t, 270*time.Minute, c.End.Sub(c.Start), "derived: the block of this hair for one")
	require.Contains(t, c.Words, "alone: 4½ hours instead of")
	s.carryOut(p.ID, nil).is(200, nil)
	s.sound()
	now, _ := s.read(lena.ID)
	_, minutes := stepsOf(now)
	require.Equal(t, []int{18, 11, 10, 30, 15, 10, 15, 92, 18, 5, 8, 17, 15, 6}, minutes, "derived: the parts of 270 minutes")
	require.Zero(t, helps(now))
	require.NotEqual(t, lena.Services[0].EstimateID, now.Services[0].EstimateID)
	require.Equal(t, lena.PriceCents, now.PriceCents, "a booked visit keeps its price")

	// With a third stylist somebody else helps instead, at the same time.
	dora := s.colleague("Dora", "straightening")
	rosa := book("Rosa", 17, two)
	helper := ""
	for _, u := range rosa.Steps[3].Units {
		if u.Role == "helper" {
			helper = u.UnitID
		}
	}
	require.Contains(t, []string{cleo, dora}, helper)
	p = s.plan(object{"date": "2026-06-17", "movable": []string{"all_not_started"}, "away": []object{{"unit_id": helper}}, "rounds": 200})
	require.Len(t, p.Changes, 1)
	require.Equal(t, "units", p.Changes[0].Kind)
	require.False(t, p.Changes[0].Alone)

	// Long, dense hair: product would stay on too long for one.
	dense := long(0)
	dense["hands"], dense["porosity"] = 2, "normal"
	vera := book("Vera", 18, dense)
	p = s.plan(object{"date": "2026-06-18", "movable": []string{vera.ID}, "away": []object{{"unit_id": cleo}, {"unit_id": dora}}, "rounds": 200})
	require.Empty(t, p.Changes)
	require.Len(t, p.CannotStay, 1)
	x := p.CannotStay[0]
	require.Equal(t, "refuse", x.Refused[0].Level)
	require.Equal(t, "exposure", x.Refused[0].Code)
	kinds := map[string]api.PlanOfferBody{}
	for _, o := range x.Offers {
		kinds[o.Kind] = o
	}
	require.Len(t, kinds, 3)
	require.Regexp(t, `^a borrowed helper: a stylist with the skill straightening from \d\d:\d\d to \d\d:\d\d`, kinds["borrowed_helper"].Words)
	require.Equal(t, 3, kinds["batches"].Batches, "derived: two batches leave product on for longer than 40 minutes, three do not")
	require.Equal(t, "2026-06-19", kinds["another_day"].Start.Format(time.DateOnly))
	// The same for a visit that may not move: it is named, with the same offers.
	p = s.plan(object{"date": "2026-06-18", "away": []object{{"unit_id": cleo}, {"unit_id": dora}}, "rounds": 50})
	require.False(t, p.CannotStay[0].MayMove)
	require.Len(t, p.CannotStay[0].Offers, 3)
}

func TestAPlanFailsAsAWholeWhenAnythingHasChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ines, tag := s.book(s.client("Ines"), tuesday(11, 0), []object{s.by(s.ada, "Dry cut")})
	mara, maraTag := s.book(s.client("Mara"), tuesday(9, 0), []object{s.by(s.ben, "Dry cut")})
	lena := s.waits(s.client("Lena"), object{"services": []object{s.by(s.ada, "Straightening")}, "from": "09:00", "to": "14:00"})
	fresh := func() api.DayPlanBody {
		p := s.plan(object{"date": "2026-06-09", "waiting_list": []string{lena.ID}, "movable": []string{ines.ID}, "rounds": 300})
		require.Len(t, p.Changes, 2, "%v", p.Words)
		return p
	}
	fails := func(p api.DayPlanBody, says string) {
		t.Helper()
		before := s.tables()()
		require.Contains(t, s.carryOut(p.ID, object{"approved_by": "Ada"}).refused(409, "conflict").Detail, says)
		require.Equal(t, before, s.tables()())
	}
	p := fresh()
	a := s.call("POST", "/v1/visits/"+ines.ID+"/move", object{"start": tuesday(11, 5)}, "If-Match", tag).is(200, nil)
	fails(p, "Ines Q. at 11:00 has changed")
	s.call("POST", "/v1/visits/"+ines.ID+"/move", object{"start": tuesday(11, 0)}, "If-Match", a.header.Get("ETag")).is(200, nil)
	fails(p, "has changed") // it stands where it stood, but somebody has looked at it since

	p = fresh()
	nora, noraTag := s.book(s.client("Nora"), tuesday(17, 0), []object{s.by(s.ben, "Dry cut")})
	fails(p, "Nora Q. at 17:00 has been added")
	p = fresh()
	s.call("POST", "/v1/visits/"+nora.ID+"/cancel", nil, "If-Match", noraTag).is(200, nil)
	fails(p, "Nora Q. at 17:00 takes place no more")
	p = fresh()
	var absence struct{ ID string }
	s.call("POST", "/v1/absences", object{"unit_id": s.ben, "from": tuesday(16, 0), "to": tuesday(17, 0)}).is(201, &absence)
	fails(p, "hours, absences")
	p = fresh()
	s.call("DELETE", "/v1/absences/"+absence.ID, nil).is(204, nil)
	fails(p, "hours, absences")
	p = fresh()
	s.rules(object{"share_overrun_limit": 0.04}).is(200, nil)
	fails(p, "settings")
	p = fresh()
	s.call("PUT", "/v1/waiting-list/"+lena.ID, object{"client_id": lena.ClientID, "services": []object{s.by(s.ada, "Straightening")}, "first_date": "2026-06-08", "last_date": "2026-06-13", "from": "09:00", "to": "14:00"},
		"If-Match", `"v1"`).is(200, nil)
	fails(p, "a waiting-list request has changed")
	p = fresh()
	s.at(tuesday(8, 0))
	s.call("POST", "/v1/visits/"+mara.ID+"/arrive", object{}, "If-Match", maraTag).is(200, nil)
	s.carryOut(p.ID, object{"approved_by": "Ada"}).is(200, nil) // that a client arrives changes no time
	s.sound()
	s.at(start)
	for _, x := range []struct {
		body  object
		place string
	}{
		{object{"date": "2026-06-07"}, "/date"},
		{object{"date": "2026-06-09", "movable": []string{"x"}}, "/movable/0"},
		{object{"date": "2026-06-10", "movable": []string{ines.ID}}, "/movable/0"},
		{object{"date": "2026-06-09", "waiting_list": []string{lena.ID}}, "/waiting_list/0"},
		{object{"date": "2026-06-09", "waiting_list": []string{"all", lena.ID}}, "/waiting_list/0"},
		{object{"date": "2026-06-09", "away": []object{{"unit_id": "x"}}}, "/away/0/unit_id"},
		{object{"date": "2026-06-09", "away": []object{{"unit_id": s.ada, "from": tuesday(33, 0)}}}, "/away/0/to"},
	} {
		got := s.call("POST", "/v1/day-plans", x.body).refused(422, "invalid")
		require.Contains(t, pointers(got), "body "+x.place)
	}
	n := s.neighbour()
	n.call("GET", "/v1/day-plans/"+p.ID, nil).refused(404, "not-found")
	n.carryOut(p.ID, nil).refused(404, "not-found")
	require.Equal(t, []string{"body /waiting_list/0"}, pointers(n.call("POST", "/v1/day-plans", object{"date": "2026-06-09", "waiting_list": []string{lena.ID}}).refused(422, "invalid")))
}

func TestOfTwoWhoCarryPlansOutAtOnceOneSucceeds(t *testing.T) {
	t.Parallel()
	for range 3 {
		s := newSalon(t)
		lena := s.waits(s.client("Lena"), object{"services": []object{s.by(s.ada, "Dry cut")}, "from": "09:00", "to": "10:00"})
		mara := s.waits(s.client("Mara"), object{"services": []object{s.by(s.ada, "Dry cut")}, "from": "09:00", "to": "09:30"})
		one := s.plan(object{"date": "2026-06-09", "waiting_list": []string{lena.ID}, "rounds": 50})
		both := s.plan(object{"date": "2026-06-09", "waiting_list": []string{mara.ID, lena.ID}, "rounds": 50})
		// The same plan, and plans about the same request.
		answers := s.atOnce(6, func(i int) request {
			return request{"POST", "/v1/day-plans/" + []string{one.ID, both.ID}[i%2] + "/apply", object{}, []string{"Idempotency-Key", fmt.Sprint("k", i)}}
		})
		require.Equal(t, map[int]int{200: 1, 409: 5}, sorted(answers))
		s.sound()
		visits := s.day("2026-06-09").Visits
		require.Contains(t, []int{1, 2}, len(visits))
	}
}

func TestAPlanKeepsTheRulesOfSharingAndSpacing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.rules(object{"stylist_clears": "never"}).is(200, nil)
	// Ben colours from 9:00 and is free from 9:30 to 10:15; a cut takes 30 minutes.
	s.book(s.client("Mara"), june(16, 9, 0), []object{s.by(s.ben, "Root colour")})
	nora := s.waits(s.client("Nora"), object{"services": []object{s.by(s.ben, "Dry cut")}, "first_date": "2026-06-16", "last_date": "2026-06-16", "from": "09:30", "to": "10:15"})
	p := s.plan(object{"date": "2026-06-16", "waiting_list": []string{nora.ID}, "rounds": 200})
	require.Len(t, p.Changes, 1, "%v", p.Words)
	require.LessOrEqual(t, p.Changes[0].Shares[0].Chance, 0.05)
	require.Contains(t, p.Changes[0].Words, "that it runs over")
	s.rules(object{"stylist_clears": "never", "share_overrun_limit": 0.01}).is(200, nil)
	p = s.plan(object{"date": "2026-06-16", "waiting_list": []string{nora.ID}, "rounds": 200})
	require.Empty(t, p.Changes)
	require.Len(t, p.StaysOut, 1)

	// Straightened on Tuesday: nothing wet for 48 hours.
	lena := s.client("Lena")
	v, _ := s.book(lena, june(17, 9, 0), []object{s.by(s.ada, "Straightening")})
	wash := s.waits(lena, object{"services": []object{s.by(s.ada, "Wash and dry")}, "first_date": "2026-06-17", "last_date": "2026-06-30"})
	p = s.plan(object{"date": "2026-06-18", "waiting_list": []string{"all"}, "rounds": 100})
	require.Empty(t, p.Changes)
	require.Equal(t, wash.ID, p.StaysOut[0].WaitingID)
	require.True(t, p.StaysOut[0].FirstAllowed.Equal(v.End.Add(48*time.Hour)))
	p = s.plan(object{"date": "2026-06-19", "waiting_list": []string{"all"}, "rounds": 100})
	require.Len(t, p.Changes, 1)
	require.False(t, p.Changes[0].Start.Before(v.End.Add(48*time.Hour)))
	// Two requests of one client are not at the same time, and not too near.
	ines := s.client("Ines")
	s.waits(ines, object{"services": []object{s.by(s.ada, "Straightening")}, "first_date": "2026-06-22", "last_date": "2026-06-22"})
	s.waits(ines, object{"services": []object{s.by(s.ben, "Wash and dry")}, "first_date": "2026-06-22", "last_date": "2026-06-22"})
	s.waits(ines, object{"services": []object{s.by(s.ben, "Dry cut")}, "first_date": "2026-06-22", "last_date": "2026-06-22"})
	p = s.plan(object{"date": "2026-06-22", "waiting_list": []string{"all"}, "rounds": 300})
	slices.SortFunc(p.Changes, func(a, b api.PlanChangeBody) int { return a.Start.Compare(b.Start) })
	for i, c := range p.Changes {
		if i > 0 && c.ClientID == ines && p.Changes[i-1].ClientID == ines {
			require.False(t, c.Start.Before(p.Changes[i-1].End), "%v", p.Words)
		}
	}
	s.carryOut(p.ID, nil).is(200, nil)
	s.sound()
}

func TestVisitsThatBelongTogetherStayTogetherInAPlan(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	g := s.group("side_by_side", s.visitOf("Rosa", tuesday(10, 0), s.by(s.ada, "Dry cut")), s.visitOf("Thea", tuesday(10, 0), s.by(s.ben, "Dry cut")))
	p := s.plan(object{"date": "2026-06-09", "movable": []string{"all_not_started"}, "away": []object{{"unit_id": s.ada, "from": tuesday(9, 0), "to": tuesday(11, 0)}}, "rounds": 300})
	require.Len(t, p.Changes, 2, "%v", p.Words)
	require.True(t, p.Changes[0].Start.Equal(p.Changes[1].Start))
	require.NotEqual(t, p.Changes[0].LeadID, p.Changes[1].LeadID)
	s.carryOut(p.ID, nil).is(200, nil)
	var got api.GroupBody
	s.call("GET", "/v1/visit-groups/"+g.ID, nil).is(200, &got)
	require.True(t, got.Kept)
	s.sound()
}
