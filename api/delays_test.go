package api_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// delays asks how a day goes on.
func (s *salon) delays(date string) api.DelaysBody {
	s.t.Helper()
	var d api.DelaysBody
	a := s.call("GET", "/v1/days/"+date+"/delays", nil).is(200, &d)
	require.NotEmpty(s.t, a.header.Get("ETag"))
	return d
}

func (s *salon) apply(date string, d api.DelaysBody, r api.RemedyBody) answer {
	s.t.Helper()
	return s.send(applying(date, d, r))
}

func applying(date string, d api.DelaysBody, r api.RemedyBody) request {
	return request{"POST", "/v1/days/" + date + "/delays/apply", object{"remedy": r.ID, "as_of": d.AsOf}, nil}
}

// late finds a visit of a projection.
func late(d api.DelaysBody, id string) api.LateVisitBody {
	i := slices.IndexFunc(d.Visits, func(v api.LateVisitBody) bool { return v.VisitID == id })
	return d.Visits[i]
}

const mondayDate = "2026-06-08"

func TestADayThatGoesAsPlannedNeedsNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.at(monday(9, 20))
	x.ok("arrive", monday(9, 0))
	x.ok(x.step("talk")+"start", monday(9, 0))
	x.ok(x.step("wash")+"start", monday(9, 18))
	d := s.delays(mondayDate)
	require.Equal(t, "09:20", d.AsOf.Format("15:04"))
	require.Empty(t, d.Broken)
	require.Empty(t, d.Remedies)
	require.True(t, d.Complete)
	require.Zero(t, d.LateMinutes+d.WaitingMinutes)
	v := late(d, x.id)
	require.Equal(t, "Mara Q.", v.Name)
	require.Equal(t, "under_way", v.State)
	require.Equal(t, x.v.End, v.End)
	require.Equal(t, "09:39", v.OpenUntil.Format("15:04"), "until product goes on")
	require.False(t, v.ProductOn)
	require.Len(t, v.Steps, 14)
	require.Equal(t, []string{"done", "runs", "to_come"}, []string{v.Steps[0].State, v.Steps[1].State, v.Steps[2].State})

	s.at(monday(9, 45))
	x.hairSeen(x.id)
	x.ok(x.step("apply") + "start")
	v = late(s.delays(mondayDate), x.id)
	require.True(t, v.ProductOn)
	require.Nil(t, v.OpenUntil)
	require.Equal(t, 6, v.Steps[3].LateMinutes)
	require.Equal(t, 6, v.EndLateMinutes)

	for _, date := range []string{"2026-06-07", "2026-06-31", "tomorrow"} {
		require.Equal(t, []string{"path date"}, pointers(s.call("GET", "/v1/days/"+date+"/delays", nil).refused(422, "invalid")))
	}
	require.Empty(t, s.delays("2026-06-20").Visits)
}

func TestTheFirstClientOfAPackedDayIsAMinuteLate(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	first, tag := s.book(s.client("Mara"), monday(9, 0), s.straightening())
	cuts := 0
	for _, lead := range []string{s.ada, s.ben} {
		for at := first.Start; at.Before(monday(18, 0)); at = at.Add(time.Minute) {
			if v, ok := s.maybe(fmt.Sprint("Guest", cuts), at, s.by(lead, "Dry cut")); ok {
				cuts++
				at = v.End.Add(-time.Minute)
			}
		}
	}
	require.Greater(t, cuts, 15, "nobody has half an hour to spare")
	x := &noting{s, first.ID, tag, first}
	s.at(monday(9, 1))
	x.ok("arrive")
	x.ok(x.step("talk") + "start")
	d := s.delays(mondayDate)
	require.Equal(t, 1, late(d, first.ID).StartLateMinutes)
	require.LessOrEqual(t, d.LateMinutes, len(d.Visits))
	for _, v := range d.Visits {
		require.LessOrEqual(t, v.EndLateMinutes, 1, v.Name)
		require.GreaterOrEqual(t, v.StartLateMinutes, 0, v.Name)
	}
	if len(d.Broken) == 0 {
		require.Empty(t, d.Remedies)
	}

	// Twenty minutes are another matter: her last cut ends after six.
	s.at(monday(9, 20))
	x.ok(x.step("talk")+"start", monday(9, 20))
	d = s.delays(mondayDate)
	require.NotEmpty(t, d.Broken)
	require.Equal(t, "closing", d.Broken[0].Kind)
	require.NotEmpty(t, d.Broken[0].Chain)
	require.Contains(t, strings.Join(d.Broken[0].Chain, "\n"), "Mara Q.")
	require.NotEmpty(t, d.Remedies)
	for _, r := range d.Remedies {
		require.NotEmpty(t, r.Words)
		require.NotContains(t, r.Words, "Quist")
		require.LessOrEqual(t, len(r.Mends)+len(r.Left), len(d.Broken)+len(r.Left))
	}
}

// pair is Mara under way with Ada, and Nora, whose colour with Ben needs the
// same basin a while after her.
func pair(s *salon) (mara *noting, nora api.VisitBody) {
	s.t.Helper()
	mara = today(s)
	for at := monday(9, 0); ; at = at.Add(time.Minute) {
		v, ok := s.maybe("Nora", at, s.by(s.ben, "Root colour"))
		if !ok {
			continue
		}
		i := slices.IndexFunc(v.Steps, func(st api.VisitStepBody) bool {
			return slices.ContainsFunc(st.Units, func(u api.StepUnitBody) bool { return u.UnitID == s.basins[0] })
		})
		if v.Steps[i].Start.After(mara.v.Steps[5].Start) {
			return mara, v
		}
		s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", `"v1"`).is(200, nil)
	}
}

// maybe books a visit when it fits.
func (s *salon) maybe(name string, at time.Time, services ...object) (v api.VisitBody, ok bool) {
	s.t.Helper()
	a := s.call("POST", "/v1/visits", object{"client_id": s.client(name), "start": at, "approved_by": "Ada", "services": services},
		"Idempotency-Key", fmt.Sprintf("k%d", bookings.Add(1)))
	if a.status == 201 {
		a.is(201, &v)
	}
	return v, a.status == 201
}

// remedy finds a remedy that begins with words.
func remedy(t testing.TB, d api.DelaysBody, kind, words string) api.RemedyBody {
	t.Helper()
	for _, r := range d.Remedies {
		if r.Kind == kind && strings.HasPrefix(r.Words, words) {
			return r
		}
	}
	require.Fail(t, "no such remedy", "%s %s: %+v", kind, words, d.Remedies)
	return api.RemedyBody{}
}

// lateBasin is Mara eleven minutes late with product on, and Nora with colour
// on, who needs the basin when Mara does.
func lateBasin(s *salon) (mara, nora *noting) {
	s.t.Helper()
	mara, v := pair(s)
	nora = &noting{s, v.ID, `"v1"`, v}
	s.at(monday(9, 28))
	mara.ok("arrive", monday(9, 0))
	mara.ok(mara.step("talk")+"start", monday(9, 0))
	nora.ok("arrive")
	nora.ok(nora.step("colour") + "start")
	s.at(monday(9, 50))
	mara.hairSeen(mara.id)
	mara.ok(mara.step("apply") + "start")
	return mara, nora
}

func TestALateBasinIsSaidWithItsCauseAndMendedByAnotherOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, nora := lateBasin(s)
	d := s.delays(mondayDate)
	require.Len(t, d.Broken, 1)
	b := d.Broken[0]
	require.Equal(t, []string{"product_wait", nora.id, "colour_working"}, []string{b.Kind, b.VisitID, b.Step})
	require.False(t, b.Past)
	require.Contains(t, b.Words, "is taken by Mara Q. until 10:47")
	require.Contains(t, b.Chain[0], "of Mara Q. runs since 09:50")
	require.True(t, late(d, nora.id).ProductOn)
	var short api.DelaysBody
	s.call("GET", "/v1/days/"+mondayDate+"/delays?remedies=no", nil).is(200, &short)
	require.False(t, short.Complete)
	require.Empty(t, short.Remedies)
	require.Equal(t, d.Broken, short.Broken)
	require.Equal(t, d.Visits, short.Visits)
	last := remedy(t, d, "last_resort", "Nothing that was tried keeps every rule")
	require.Contains(t, last.Words, "Do not leave product on longer than planned")
	require.False(t, last.Applies)

	var basin api.StationBody
	s.call("POST", "/v1/stations", object{"kind": "basin", "name": "Basin by the door", "changeover_minutes": 2}).is(201, &basin)
	d = s.delays(mondayDate)
	r := remedy(t, d, "other_station", "Use Basin by the door instead of basin 3 for “rinse colour” of Nora Q.")
	require.True(t, r.Applies)
	require.Empty(t, r.Asks)
	require.Empty(t, r.Left)
	require.Empty(t, r.MovedVisitIDs)
	require.Equal(t, d.Broken, r.Mends)
	before := s.reminders(nora.id)
	var done api.ApplyAnswer
	s.apply(mondayDate, d, r).is(200, &done)
	require.True(t, done.CarriedOut)
	require.Len(t, done.Visits, 1, "Mara's plan stays as it is")
	now := done.Visits[0].Visit
	require.Equal(t, nora.id, now.ID)
	require.Equal(t, "under_way", now.State)
	rinse := slices.IndexFunc(now.Steps, func(st api.VisitStepBody) bool { return st.Kind == "rinse" })
	require.Contains(t, now.Steps[rinse].Units, api.StepUnitBody{UnitID: basin.ID, Role: "basin"})
	for i, st := range now.Steps {
		require.Equal(t, nora.v.Steps[i].Start, st.Start, st.Kind)
		require.Equal(t, nora.v.Steps[i].RealStart, st.RealStart, st.Kind)
	}
	require.Equal(t, before, s.reminders(nora.id), "she sits here")
	require.Len(t, unit(s.day(mondayDate), basin.ID).Bookings, 1)
	require.Contains(t, nora.events(), "remedy 09:50")
	d = s.delays(mondayDate)
	require.Empty(t, d.Broken)
	s.apply(mondayDate, d, r).refused(409, "conflict")

	// Mara's own steps go on to be noted.
	s.at(monday(10, 36))
	mara.ok(mara.step("rinse_1") + "start")
	nora.tag = fmt.Sprintf(`"v%d"`, done.Visits[0].Version)
	nora.ok(nora.step("rinse") + "start")
	require.Empty(t, s.delays(mondayDate).Broken)
}

func TestALateVisitKeepsItsPlanWhenAStepGetsAnotherBasin(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, nora := lateBasin(s)
	var basin api.StationBody
	s.call("POST", "/v1/stations", object{"kind": "basin", "name": "Basin by the door", "changeover_minutes": 2}).is(201, &basin)
	d := s.delays(mondayDate)
	r := remedy(t, d, "other_station", "Use Basin by the door instead of basin 3 for “rinse solution” of Mara Q.")
	require.True(t, r.Applies)
	var done api.ApplyAnswer
	s.apply(mondayDate, d, r).is(200, &done)
	require.Len(t, done.Visits, 1)
	now := done.Visits[0].Visit
	for i, st := range now.Steps {
		require.Equal(t, mara.v.Steps[i].Start, st.Start, st.Kind)
		require.Equal(t, mara.v.Steps[i].RealStart, st.RealStart, st.Kind)
		if st.Kind == "rinse_1" {
			require.Contains(t, st.Units, api.StepUnitBody{UnitID: basin.ID, Role: "basin"})
		} else {
			require.Equal(t, mara.v.Steps[i].Units, st.Units, st.Kind)
		}
	}
	d = s.delays(mondayDate)
	require.Empty(t, d.Broken)
	require.Equal(t, 11, late(d, mara.id).EndLateMinutes, "she is as late as before")
	require.Zero(t, late(d, nora.id).EndLateMinutes)
	s.sound()
}

// lateStart is Mara twenty minutes late, and Nora after her.
func lateStart(s *salon) (mara *noting, nora api.VisitBody) {
	s.t.Helper()
	mara, nora = pair(s)
	s.at(monday(9, 20))
	mara.ok("arrive")
	mara.ok(mara.step("talk") + "start")
	return mara, nora
}

func TestTheNextClientIsMovedOnceByTwoWhoApplyAtOnce(t *testing.T) {
	t.Parallel()
	for range 3 {
		s := newSalon(t)
		mara, nora := lateStart(s)
		d := s.delays(mondayDate)
		r := remedy(t, d, "ask_later", "Ask Nora Q. to come 20 minutes later, at 09:48 instead of 09:28")
		require.True(t, r.Applies)
		require.Equal(t, []api.AskBody{{VisitID: nora.ID, Name: "Nora Q."}}, r.Asks)
		require.Equal(t, []string{nora.ID}, r.MovedVisitIDs)
		answers := s.atOnce(4, func(int) request { return applying(mondayDate, d, r) })
		require.Equal(t, map[int]int{200: 1, 409: 3}, sorted(answers))
		var now api.VisitBody
		a := s.call("GET", "/v1/visits/"+nora.ID, nil).is(200, &now)
		require.Equal(t, `"v2"`, a.header.Get("ETag"))
		require.Equal(t, monday(9, 48).Unix(), now.Start.Unix())
		require.Equal(t, nora.End.Sub(nora.Start), now.End.Sub(now.Start))
		moved := 0
		for _, m := range now.Reminders {
			if m.Kind == "moved" || m.Kind == "confirmation" {
				moved++
			}
		}
		require.Equal(t, 1, moved, "her confirmation has not gone out and says it: %v", now.Reminders)
		var same api.VisitBody
		a = s.call("GET", "/v1/visits/"+mara.id, nil).is(200, &same)
		require.Equal(t, mara.tag, a.header.Get("ETag"), "her plan is not touched")
		v := late(s.delays(mondayDate), nora.ID)
		require.Zero(t, v.StartLateMinutes)
	}
}

func TestWhatIsForPeopleToDoIsOnlyNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, _ := lateStart(s)
	s.at(monday(10, 0))
	mara.hairSeen(mara.id)
	mara.ok(mara.step("apply") + "start")
	d := s.delays(mondayDate)
	r := remedy(t, d, "helper", "Ada shares “dry” of Mara Q.")
	require.False(t, r.Applies)
	require.Equal(t, []api.AskBody{{UnitID: s.ada, Name: "Ada"}}, r.Asks)
	var done api.ApplyAnswer
	s.apply(mondayDate, d, r).is(200, &done)
	require.False(t, done.CarriedOut)
	require.Len(t, done.Visits, 1)
	now := done.Visits[0].Visit
	now.Cautions = mara.v.Cautions
	require.Equal(t, mara.v, now, "nothing of the visit has changed")
	require.Equal(t, "remedy 10:00", mara.events()[len(mara.events())-1])
	s.apply(mondayDate, d, r).refused(409, "conflict")
	require.Equal(t, 1, strings.Count(strings.Join(mara.events(), "\n"), "remedy"))
}

func TestARemedyIsOfTheDayThatItWasGivenFor(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, nora := lateStart(s)
	d := s.delays(mondayDate)
	r := remedy(t, d, "ask_later", "Ask Nora Q.")
	before := s.tables()()
	refused := func(d api.DelaysBody, r api.RemedyBody) {
		t.Helper()
		require.Contains(t, s.apply(mondayDate, d, r).refused(409, "conflict").Detail, "look again")
	}
	other, old, ahead := r, d, d
	other.ID = strings.Repeat("0", len(r.ID))
	refused(d, other)
	old.AsOf = d.AsOf.Add(-time.Minute)
	refused(old, r)
	old.AsOf = d.AsOf.Add(-16 * time.Minute)
	refused(old, r)
	ahead.AsOf = d.AsOf.Add(2 * time.Minute)
	require.Equal(t, []string{"body /as_of"}, pointers(s.apply(mondayDate, ahead, r).refused(422, "invalid")))
	require.Contains(t, s.apply("2026-06-09", d, r).refused(409, "conflict").Detail, "look again")
	s.apply("2026-06-07", d, r).refused(422, "invalid")
	s.at(monday(9, 34))
	mara.ok(mara.step("wash")+"start", monday(9, 34))
	refused(d, r)
	mara.ok(mara.step("wash") + "undo")
	refused(d, r)
	require.NotEqual(t, before, s.tables()())

	d = s.delays(mondayDate)
	r = remedy(t, d, "ask_later", "Ask Nora Q.")
	s.call("POST", "/v1/absences", object{"unit_id": s.ben, "from": monday(10, 0), "to": monday(12, 0)}).is(201, nil)
	before = s.tables()()
	refused(d, r)
	require.Equal(t, before, s.tables()())
	require.Greater(t, late(s.delays(mondayDate), nora.ID).StartLateMinutes, 120, "Ben is away until twelve")
	s.call("POST", "/v1/visits/"+nora.ID+"/cancel", nil, "If-Match", `"v1"`).is(200, nil)
	require.Len(t, s.delays(mondayDate).Visits, 1)
}

func TestARemedyForHairThatNeedsASkinTestNeedsTheYes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	s.at(start.AddDate(0, 0, -4))
	v, tag := s.book(s.client("Nora"), monday(9, 0), []object{s.by(s.ada, "Dry cut")})
	nora := &noting{s, v.ID, tag, v}
	var mara api.VisitBody
	s.call("POST", "/v1/visits", object{"client_id": s.client("Mara"), "start": v.End.Add(3 * time.Minute), "services": []object{s.by(s.ada, "Straightening")}},
		"Idempotency-Key", "mara").is(201, &mara)
	require.Empty(t, mara.ApprovedBy, "there were four days for a skin test")
	s.at(monday(9, 25))
	nora.ok("arrive")
	nora.ok(nora.step("cut") + "start")
	d := s.delays(mondayDate)
	r := remedy(t, d, "ask_later", "Ask Mara Q. to come ")
	require.True(t, r.Applies)
	before := s.tables()()
	p := s.apply(mondayDate, d, r).refused(422, "refused")
	require.Contains(t, pointers(p), "body /approved_by")
	require.Equal(t, before, s.tables()())
	yes := applying(mondayDate, d, r)
	yes.body.(object)["approved_by"] = "Ada"
	var done api.ApplyAnswer
	s.send(yes).is(200, &done)
	require.Equal(t, "Ada", done.Visits[0].Visit.ApprovedBy)
	require.True(t, done.Visits[0].Visit.Start.After(mara.Start))
	s.sound()
}

func TestOtherSalonsSeeAndApplyTheirOwnOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	n := s.neighbour()
	lateStart(n)
	theirs := n.delays(mondayDate)
	r := remedy(t, theirs, "ask_later", "Ask Nora Q.")
	before := n.tables()()
	require.Empty(t, s.delays(mondayDate).Visits)
	s.apply(mondayDate, theirs, r).refused(409, "conflict")
	require.Equal(t, before, n.tables()())
	s.at(start)
	lateStart(s)
	mine := s.delays(mondayDate)
	require.NotEqual(t, theirs.Remedies, mine.Remedies)
	s.apply(mondayDate, theirs, r).refused(409, "conflict")
	n.apply(mondayDate, theirs, r).is(200, nil)
	require.Equal(t, mine, s.delays(mondayDate))
}

func TestADayToComeSaysWhatAnAbsenceBreaks(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	require.Empty(t, s.delays("2026-06-09").Broken)
	s.call("POST", "/v1/absences", object{"unit_id": s.mina, "from": tuesday(0, 0), "to": tuesday(23, 0)}).is(201, nil)
	d := s.delays("2026-06-09")
	require.NotEmpty(t, d.Broken)
	require.Contains(t, d.Broken[0].Words, "Mina")
	require.NotEmpty(t, d.Remedies)
	r := d.Remedies[slices.IndexFunc(d.Remedies, func(r api.RemedyBody) bool { return r.Applies })]
	s.apply("2026-06-09", d, r).is(200, nil)
	require.Less(t, len(s.delays("2026-06-09").Broken), len(d.Broken))
	require.Equal(t, "booked", late(s.delays("2026-06-09"), v.ID).State)
}

func TestADayHoldsWhatIsPencilledKeptAndOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	var held api.VisitBody
	s.call("POST", "/v1/holds", object{"start": monday(14, 0), "services": []object{s.by(s.ada, "Dry cut")}, "minutes": 600, "title": "a caller"},
		"Idempotency-Key", "held").is(201, &held)
	s.call("POST", "/v1/kept-times", object{"unit_ids": []string{s.ben}, "start": monday(9, 0), "minutes": 20, "title": "the laundry"},
		"Idempotency-Key", "kept").is(201, nil)
	gone, tag := s.book(s.client("Nora"), monday(15, 0), []object{s.by(s.ben, "Dry cut")})
	s.call("POST", "/v1/visits/"+gone.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	d := s.delays(mondayDate)
	require.Len(t, d.Visits, 2)
	require.Equal(t, "a caller", late(d, held.ID).Name)
	require.Equal(t, "held", late(d, held.ID).State)
	s.at(monday(13, 40))
	x.ok("arrive", monday(9, 0))
	x.ok("finish")
	v := late(s.delays(mondayDate), x.id)
	require.Equal(t, "finished", v.State)
	require.Equal(t, 10, v.EndLateMinutes, "though no step was noted")
	require.Nil(t, v.OpenUntil)
	s.at(monday(18, 30))
	require.Len(t, s.delays(mondayDate).Visits, 1, "the caller did not call again")
}
