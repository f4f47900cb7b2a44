package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// here is today's visit with the client in the chair at nine.
func here(s *salon) *noting {
	s.t.Helper()
	x := today(s)
	s.at(monday(9, 0))
	x.ok("arrive")
	return x
}

// looks says how the hair of the visit is.
func (x *noting) looks(body object) api.HairSeenAnswer {
	x.t.Helper()
	var out api.HairSeenAnswer
	x.call("POST", "/v1/visits/"+x.id+"/hair-as-seen", body).is(201, &out)
	if out.Visit != nil {
		x.v = *out.Visit
		x.tag = x.call("GET", "/v1/visits/"+x.id, nil).is(200, nil).header.Get("ETag")
	}
	return out
}

func (x *noting) noLook(body object, status int, kind string) api.Problem {
	x.t.Helper()
	return x.call("POST", "/v1/visits/"+x.id+"/hair-as-seen", body).refused(status, kind)
}

// ways lists what can be done: what, whether it fits, and until when.
func ways(list []api.ChoiceBody) map[string]api.ChoiceBody {
	out := map[string]api.ChoiceBody{}
	for _, c := range list {
		name := c.Choice
		if c.Less != "" {
			name += " " + c.Less
		}
		out[name] = c
	}
	return out
}

func TestSolutionCannotStartBeforeSomebodyHasLookedAtTheHair(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	require.Contains(t, x.noLook(object{"unchanged": true}, 409, "conflict").Detail, "once the client is here")
	s.at(monday(9, 0))
	x.ok("arrive")
	x.ok(x.step("talk") + "start")
	s.at(monday(9, 39))
	for _, step := range []string{"apply", "process", "rinse_1", "iron"} {
		require.Contains(t, x.press(x.step(step)+"start").refused(409, "conflict").Detail, "somebody has looked at the hair")
	}
	before, heads := x.tag, s.heads(x.v.ClientID)
	out := x.looks(object{"unchanged": true})
	require.Equal(t, []any{true, false}, []any{out.Unchanged, out.Preview})
	require.Empty(t, out.Choices)
	require.Equal(t, before, x.tag, "one press, and nothing of the visit changes")
	require.Len(t, s.heads(x.v.ClientID), len(heads)+1)
	require.Equal(t, out.HeadID, s.heads(x.v.ClientID)[0].ID)
	require.Equal(t, "2026-06-08", s.heads(x.v.ClientID)[0].MeasuredOn)
	c := x.card()
	require.True(t, c.HairSeen)
	require.Equal(t, "hair seen: as it was booked", c.Facts[0].Words)
	x.ok(x.step("apply") + "start")
	require.Contains(t, x.noLook(object{"unchanged": true}, 409, "conflict").Detail, "before solution goes on")

	// A cut has no hair to be looked at.
	v, tag := s.book(s.client("Nora"), monday(10, 0), []object{s.by(s.ben, "Root colour")})
	y := &noting{s, v.ID, tag, v}
	s.at(monday(10, 0))
	y.ok("arrive")
	require.Contains(t, y.noLook(object{"unchanged": true}, 409, "conflict").Detail, "no service of this visit depends on the hair")
	y.ok(y.step("colour") + "start")
}

func (s *salon) heads(client string) []api.HeadOutput {
	s.t.Helper()
	var list struct{ Items []api.HeadOutput }
	s.call("GET", "/v1/clients/"+client+"/heads", nil).is(200, &list)
	return list.Items
}

func TestLongerHairThanBookedIsPreviewedAndGoneOnWith(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := here(s)
	x.ok(x.step("talk") + "start")
	s.at(monday(9, 15))
	tables := s.tables()
	before := tables()
	longer := object{"length_cm": 38}
	out := x.looks(object{"preview": true, "hair": longer})
	require.Equal(t, before, tables(), "a preview changes nothing")
	require.InDelta(t, 38, out.Hair.LengthCM, 0)
	require.InDelta(t, 35, out.Before.LengthCM, 0)
	list := ways(out.Choices)
	on := list["go_on"]
	require.True(t, on.Fits, on.InTheWay)
	require.True(t, on.End.After(out.EndWas), "longer hair takes longer: %v", on.End)
	require.Equal(t, x.v.PriceCents, on.PriceCents)
	require.False(t, on.AsksClient)
	require.True(t, list["do_less hairline"].End.Before(*on.End))
	require.NotContains(t, list, "do_less retouch", "nothing was said of new growth")
	require.False(t, list["helper"].Fits, "nobody else here straightens")
	require.True(t, list["rebook"].Fits)
	require.NotEmpty(t, list["rebook"].Openings)

	end := x.v.End
	done := x.looks(object{"hair": longer})
	require.Equal(t, on.End.Unix(), done.Visit.End.Unix())
	require.True(t, x.v.End.After(end))
	require.Equal(t, x.v.Steps[0].End.Unix(), monday(9, 18).Unix(), "what has begun stays where it is booked")
	require.NotNil(t, x.v.Steps[0].RealStart)
	require.Equal(t, "under_way", x.v.State)
	require.InDelta(t, 38, s.heads(x.v.ClientID)[0].Hair.LengthCM, 0)
	c := x.card()
	require.InDelta(t, 38, c.Hair.LengthCM, 0)
	require.Contains(t, c.Facts[0].Words, "38 cm")
	require.InDelta(t, 35, c.Facts[0].HairAsSeen.Before.LengthCM, 0)

	// Somebody looks again: the first look stays readable.
	x.looks(object{"hair": object{"length_cm": 36, "damaged": false}})
	c = x.card()
	require.Len(t, c.Facts, 2)
	require.Equal(t, c.Facts[0].ID, c.Facts[1].Replaces)
	require.InDelta(t, 38, c.Facts[1].HairAsSeen.Before.LengthCM, 0)
	s.at(monday(9, 45))
	x.ok(x.step("apply") + "start")
}

func TestTimeThatIsLostAlreadyCounts(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := here(s)
	x.ok(x.step("talk") + "start")
	s.at(monday(9, 40)) // 22 minutes after its booked end
	x.looks(object{"hair": object{"length_cm": 35.5}})
	require.Equal(t, monday(9, 40).Unix(), x.v.Steps[0].End.Unix(), "the step that goes on lasts at least until now")
	require.False(t, x.v.Steps[1].Start.Before(monday(9, 40)))
}

func TestGrowingTimeThatHitsTheNextVisitIsRefusedWithWhatWouldFit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := here(s)
	next, _ := s.book(s.client("Nora"), x.v.End.Add(5*time.Minute), []object{s.by(s.ada, "Dry cut")})
	tables := s.tables()
	before := tables()
	out := x.looks(object{"preview": true, "hair": object{"length_cm": 55}})
	list := ways(out.Choices)
	require.False(t, list["go_on"].Fits)
	require.Contains(t, list["go_on"].InTheWay, "Ada is booked for Nora Q. from "+next.Start.Format("15:04"))
	require.Nil(t, list["go_on"].End)
	require.True(t, list["do_less hairline"].Fits, list["do_less hairline"].Words)
	p := x.noLook(object{"hair": object{"length_cm": 55}}, 409, "taken")
	require.Contains(t, p.Detail, "Ada is booked for Nora Q.")
	require.Contains(t, p.Detail, "hairline only until")
	require.Equal(t, before, tables())
	x.looks(object{"hair": object{"length_cm": 55}, "choice": "do_less", "less": "hairline"})
	require.False(t, x.v.End.After(next.Start))
	require.InDelta(t, 55, x.card().Hair.LengthCM, 0)
}

func TestANewPriceAsksTheClient(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := here(s)
	body := object{"hair": object{"regrowth_cm": 6}, "choice": "do_less", "less": "retouch"}
	preview := x.looks(object{"preview": true, "hair": object{"regrowth_cm": 6}})
	less := ways(preview.Choices)["do_less retouch"]
	require.Greater(t, ways(preview.Choices)["go_on"].Minutes, less.Minutes, "new growth that is seen does not make less of what was booked")
	require.Equal(t, []any{true, int64(21000), true}, []any{less.Fits, less.PriceCents, less.AsksClient})
	p := x.noLook(body, 422, "invalid")
	require.Equal(t, []string{"body /client_agreed"}, pointers(p))
	require.Contains(t, p.Errors[0].Detail, "210.00 EUR instead of 320.00 EUR")
	body["client_agreed"] = true
	x.looks(body)
	require.Equal(t, int64(21000), x.v.PriceCents)
	require.Equal(t, []any{"Regrowth retouch", int64(21000)}, []any{x.v.Services[0].Name, x.v.Services[0].PriceCents})
	fact := x.card().Facts[0].HairAsSeen
	require.Equal(t, []any{int64(21000), int64(32000), true}, []any{fact.PriceCents, fact.WasCents, fact.ClientAgreed})
}

func TestAVisitIsRebookedWithWhatWasPaidForIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := here(s)
	x.ok(x.step("talk") + "start")
	s.at(monday(9, 20))
	preview := x.looks(object{"preview": true, "hair": object{"length_cm": 60}})
	require.NotEmpty(t, ways(preview.Choices)["rebook"].Openings)
	x.looks(object{"hair": object{"length_in": 20}, "choice": "rebook", "start": tuesday(9, 0)})
	require.Equal(t, "booked", x.v.State)
	require.Equal(t, tuesday(9, 0).Unix(), x.v.Start.Unix())
	require.Nil(t, x.v.ArrivedAt)
	require.Empty(t, x.real(), "nothing of it has begun")
	require.Contains(t, x.events(), "arrive 09:00", "that she was here stays readable")
	require.Equal(t, "rebook", x.card().Facts[0].HairAsSeen.Choice)
}

func TestDamagedHairNeedsTheLicensedYesAndTenderLimits(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := here(s)
	short := object{"damaged": true, "length_cm": 12}
	p := x.noLook(object{"hair": short}, 422, "refused")
	require.Equal(t, []string{"body /approved_by"}, pointers(p), p.Detail)
	x.looks(object{"hair": short, "approved_by": "Ada"})
	require.Equal(t, "Ada", x.card().Facts[0].HairAsSeen.ApprovedBy)
	s.at(monday(9, 40))
	x.ok(x.step("apply") + "start")
	s.at(monday(9, 42))
	require.Equal(t, "Check at 09:45, no later than 09:48.", x.now().Words[0])
	require.Equal(t, "10:10", x.now().OffBy.Format("15:04"))
	require.Equal(t, []string{"warn iron_damaged"}, flagged(x.write(object{"iron": object{"setting": 165}}).Flags))
}

func TestHairThatCannotBeOrContradictsItselfIsNamed(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := here(s)
	tables := s.tables()
	before := tables()
	for _, tt := range []struct {
		body object
		want []string
	}{
		{object{}, []string{"body /hair"}},
		{object{"unchanged": true, "hair": object{"length_cm": 36}}, []string{"body /hair"}},
		{object{"hair": object{"regrowth_cm": 36}}, []string{"body /hair/regrowth_cm"}},
		{object{"hair": object{"length_cm": 36}, "choice": "do_less"}, []string{"body /less"}},
		{object{"hair": object{"length_cm": 36}, "choice": "do_less", "less": "retouch"}, []string{"body /hair/regrowth_cm"}},
		{object{"hair": object{"length_cm": 36}, "less": "hairline", "start": tuesday(9, 0)}, []string{"body /less", "body /start"}},
		{object{"hair": object{"length_cm": 36}, "choice": "rebook"}, []string{"body /start"}},
		{object{"hair": object{"length_cm": 36}, "approved_by": "Mina"}, []string{"body /approved_by"}},
	} {
		require.ElementsMatch(t, tt.want, pointers(x.noLook(tt.body, 422, "invalid")), "%v", tt.body)
	}
	require.Equal(t, before, tables())
	s.as(store.AssistantRole).call("POST", "/v1/visits/"+x.id+"/hair-as-seen", object{"unchanged": true}).refused(403, "forbidden")
}
