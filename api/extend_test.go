package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// extend asks for a longer step.
func (s *salon) extend(id, tag string, body object) answer {
	s.t.Helper()
	return s.call("POST", "/v1/visits/"+id+"/extend", body, "If-Match", tag)
}

// unitsOf lists who and what is at work in each step.
func unitsOf(v api.VisitBody) [][]api.StepUnitBody {
	var out [][]api.StepUnitBody
	for _, st := range v.Steps {
		out = append(out, st.Units)
	}
	return out
}

func TestAStepThatLastsLongerMovesWhatFollows(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	before := s.parts(s.ada)
	s.at(v.Start)
	tag = s.call("POST", "/v1/visits/"+v.ID+"/arrive", nil, "If-Match", tag).is(200, nil).header.Get("ETag")
	messages := s.reminders(v.ID)
	s.at(tuesday(11, 30)) // ironing, 10:49 to 12:21
	require.Equal(t, "iron", v.Steps[7].Kind)
	var longer api.VisitBody
	a := s.extend(v.ID, tag, object{"minutes": 20}).is(200, &longer)
	require.Equal(t, `"v3"`, a.header.Get("ETag"))
	require.Equal(t, "arrived", longer.State)
	require.Equal(t, v.End.Add(20*time.Minute), longer.End)
	require.Equal(t, unitsOf(v), unitsOf(longer), "everybody and everything stays")
	for i, st := range longer.Steps {
		was, moved, more := v.Steps[i], time.Duration(0), time.Duration(0)
		if i > 7 {
			moved = 20 * time.Minute
		} else if i == 7 {
			more = 20 * time.Minute
		}
		require.Equal(t, was.Start.Add(moved), st.Start, st.Kind)
		require.Equal(t, was.End.Add(moved+more), st.End, st.Kind)
	}
	require.Equal(t, messages, s.reminders(v.ID), "the client sits here and needs no message")
	after := s.parts(s.ada)
	require.Len(t, after, len(before))
	for i, p := range after {
		require.Equal(t, before[i].UID, p.UID)
		want := before[i].Sequence
		if p.End.After(tuesday(12, 21)) {
			want++
		}
		require.Equal(t, want, p.Sequence, "%s %s", p.Kind, p.Start)
	}
	s.sound()

	// A step of its own choice, and once more the same one.
	s.extend(v.ID, `"v3"`, object{"minutes": 5, "step": 13}).is(200, &longer)
	require.Equal(t, v.End.Add(25*time.Minute), longer.End)
	s.extend(v.ID, `"v3"`, object{"minutes": 5}).refused(412, "stale")
	s.extend(v.ID, `"v4"`, object{"minutes": 1}).is(200, &longer)
	require.Equal(t, v.End.Add(26*time.Minute), longer.End)
	s.sound()
}

func TestTimeInWhichProductWorksIsNeverMadeLonger(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	colour, colourTag := s.book(s.client("Nora"), tuesday(9, 0), []object{s.by(s.ben, "Root colour")})
	before := s.tables()()
	for _, step := range []int{4, 9} {
		require.False(t, v.Steps[step].HandsOn)
		p := s.extend(v.ID, tag, object{"minutes": 5, "step": step}).refused(409, "conflict")
		require.Contains(t, p.Detail, v.Steps[step].Label)
		require.Contains(t, p.Detail, "never made longer or shorter")
	}
	s.extend(colour.ID, colourTag, object{"minutes": 5, "step": 1}).refused(409, "conflict")
	s.at(tuesday(10, 15)) // processing, 10:09 to 10:24
	s.extend(v.ID, tag, object{"minutes": 5}).refused(409, "conflict")
	s.at(start)
	// A slower application leaves the product on the first section for longer.
	p := s.extend(v.ID, tag, object{"minutes": 120, "step": 3}).refused(422, "refused")
	require.Equal(t, "refuse", p.Cautions[0].Level)
	for _, x := range []struct {
		body object
		want string
	}{
		{object{"minutes": 0}, "/minutes"}, {object{"minutes": 241}, "/minutes"}, {object{"minutes": 5, "step": 14}, "/step"},
		{object{"minutes": 5, "step": -1}, "/step"}, {object{}, "/minutes"},
	} {
		require.Equal(t, []string{"body " + x.want}, pointers(s.extend(v.ID, tag, x.body).refused(422, "invalid")))
	}
	require.Equal(t, before, s.tables()())
	for _, x := range v.Services {
		require.NotEmpty(t, x.EstimateID)
	}
	var longer api.VisitBody
	s.extend(v.ID, tag, object{"minutes": 5, "step": 0}).is(200, &longer)
	for _, step := range []int{4, 9} {
		was, now := v.Steps[step], longer.Steps[step]
		require.Equal(t, was.End.Sub(was.Start), now.End.Sub(now.Start))
		require.Equal(t, longer.Steps[step-1].End, now.Start, "nothing comes between application and processing")
		require.Equal(t, now.End, longer.Steps[step+1].Start, "it is rinsed at once")
	}
}

func TestProductStaysOnNoLongerThanTheHairBears(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	most := 0
	for ; most < 60; most++ {
		a := s.extend(v.ID, tag, object{"minutes": 1, "step": 3})
		if a.status != 200 {
			p := a.refused(422, "refused")
			require.Contains(t, p.Detail, "must be rinsed before 60 minutes")
			break
		}
		tag = a.header.Get("ETag")
	}
	v, _ = s.read(v.ID)
	on := v.Steps[5].Start.Sub(v.Steps[3].Start)
	require.Greater(t, on, 50*time.Minute)
	require.Less(t, on, 60*time.Minute, "from memory: the limit of sound hair, with the walk to the basin")
	s.extend(v.ID, tag, object{"minutes": 5, "step": 6}).is(200, nil) // drying does no harm
}

func TestAnExtensionThatHitsAnotherVisitSaysWhoseItIsAndWhatFits(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.book(s.client("Thea"), tuesday(9, 0), []object{s.by(s.ben, "Dry cut")}) // in the first chair
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	s.book(s.client("Ines"), tuesday(14, 0), []object{s.by(s.ada, "Dry cut")})
	before := s.tables()()
	p := s.extend(v.ID, tag, object{"minutes": 45}).refused(409, "taken")
	require.Equal(t, "45 minutes more do not fit: Ada is booked for Ines Q. from 14:00 to 14:30; at most 30 minutes fit", p.Detail)
	require.Equal(t, []api.FieldProblem{{In: "body", Pointer: "/minutes", Detail: "is 45", Expected: "at most 30"}}, p.Errors)
	require.Equal(t, before, s.tables()())
	var longer api.VisitBody
	tag = s.extend(v.ID, tag, object{"minutes": 30}).is(200, &longer).header.Get("ETag")
	require.True(t, longer.End.Equal(tuesday(14, 0)))
	p = s.extend(v.ID, tag, object{"minutes": 1}).refused(409, "taken")
	require.Contains(t, p.Detail, "not a minute more fits")
	s.sound()

	// The chair is cleared for ten minutes before anybody else sits in it.
	day := 24 * time.Hour
	v, tag = s.book(s.client("Nora"), tuesday(9, 0).Add(day), s.straightening())
	next, _ := s.book(s.client("Lena"), tuesday(13, 45).Add(day), []object{s.by(s.ben, "Dry cut")})
	require.Equal(t, v.ChairID, next.ChairID)
	p = s.extend(v.ID, tag, object{"minutes": 6}).refused(409, "taken")
	require.Equal(t, "6 minutes more do not fit: chair 1 is booked for Lena Q. from 13:45 to 14:15, with 10 minutes to clear before; at most 5 minutes fit", p.Detail)
	s.extend(v.ID, tag, object{"minutes": 5}).is(200, nil)

	v, tag = s.book(s.client("Olga"), tuesday(13, 0).Add(2*day), s.straightening())
	p = s.extend(v.ID, tag, object{"minutes": 31}).refused(409, "taken")
	require.Equal(t, "31 minutes more do not fit: the salon closes at 18:00; at most 30 minutes fit", p.Detail)
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": tuesday(17, 40).Add(2 * day), "to": tuesday(18, 0).Add(2 * day)}).is(201, nil)
	p = s.extend(v.ID, tag, object{"minutes": 30}).refused(409, "taken")
	require.Equal(t, "30 minutes more do not fit: Ada is not there from 17:40 to 18:00; at most 10 minutes fit", p.Detail)
	s.sound()
}

func TestAnExtensionLetsTheClientWaitForSomebodyWithinTheRules(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), []object{s.by(s.ben, "Care treatment")})
	kinds, _ := stepsOf(v)
	require.Equal(t, []string{"wash", "treat", "treat_working", "rinse", "dry"}, kinds)
	require.True(t, v.Steps[4].Start.Equal(tuesday(9, 31)))
	// Mina dries until 9:45 and washes somebody else from 9:47 to 9:55.
	s.book(s.client("Nora"), tuesday(9, 47), []object{s.by(s.ada, "Wash and dry")})
	p := s.extend(v.ID, tag, object{"minutes": 3, "step": 1}).refused(409, "taken")
	require.Equal(t, "3 minutes more do not fit: Mina is booked for Nora Q. from 09:47 to 09:55; at most 2 minutes fit", p.Detail)
	// Ten minutes of wait before the rinse and ten after it are just enough to let
	// Mina dry afterwards.
	var longer api.VisitBody
	s.extend(v.ID, tag, object{"minutes": 4, "step": 1}).is(200, &longer)
	require.True(t, longer.Steps[4].Start.Equal(tuesday(9, 55)))
	require.Equal(t, unitsOf(v), unitsOf(longer))
	require.Equal(t, v.Steps[0], longer.Steps[0])
	s.sound()
}

func TestAVisitOfSeveralServicesIsExtendedAndMovedAsOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), []object{s.by(s.ada, "Straightening"), s.by(s.ben, "Dry cut")})
	require.True(t, v.End.Equal(tuesday(14, 0)))
	s.sendDue()
	var now api.VisitBody
	tag = s.extend(v.ID, tag, object{"minutes": 15, "step": 7}).is(200, &now).header.Get("ETag")
	require.True(t, now.End.Equal(tuesday(14, 15)))
	cut := now.Steps[14]
	require.Equal(t, 1, cut.Service)
	require.True(t, cut.Start.Equal(tuesday(13, 45)))
	require.Contains(t, cut.Units, api.StepUnitBody{UnitID: s.ben, Role: "lead"})
	require.Equal(t, v.PriceCents, now.PriceCents)
	require.True(t, s.parts(s.ben)[0].Start.Equal(tuesday(13, 45)))

	// The stylist of one service only, at the same start.
	tag = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"lead_ids": []string{"", s.ada}}, "If-Match", tag).is(200, &now).header.Get("ETag")
	require.Equal(t, []string{s.ada, s.ada}, []string{now.Services[0].LeadID, now.Services[1].LeadID})
	require.True(t, now.Start.Equal(v.Start))
	require.True(t, now.End.Equal(tuesday(14, 15)), "the longer step stays longer")
	require.Empty(t, s.parts(s.ben))
	require.Equal(t, 1, s.reminders(v.ID)["moved waiting"])
	tag = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(24 * time.Hour), "lead_ids": []string{s.ada, s.ben}}, "If-Match", tag).is(200, &now).header.Get("ETag")
	require.Equal(t, []string{s.ada, s.ben}, []string{now.Services[0].LeadID, now.Services[1].LeadID})
	require.True(t, now.End.Equal(tuesday(14, 15).Add(24*time.Hour)))
	require.Equal(t, now.End.Add(48*time.Hour), *now.KeepDryUntil)

	move := "/v1/visits/" + v.ID + "/move"
	before := s.tables()()
	require.Equal(t, []string{"body /lead_ids/1"}, pointers(s.call("POST", move, object{"lead_ids": []string{"", s.mina}}, "If-Match", tag).refused(422, "invalid")))
	require.Equal(t, []string{"body /lead_ids"}, pointers(s.call("POST", move, object{"lead_ids": []string{"", "", s.ada}}, "If-Match", tag).refused(422, "invalid")))
	require.Equal(t, []string{"body /services"}, pointers(s.call("POST", move, object{"lead_ids": []string{s.ben}}, "If-Match", tag).refused(422, "invalid")), "Ben cannot straighten")
	require.Equal(t, []string{"body /start"}, pointers(s.call("POST", move, object{}, "If-Match", tag).refused(422, "invalid")))
	require.Equal(t, before, s.tables()())
	s.sound()
}

func TestAnotherStylistAtTheSameStartAsksForNoNewSkinTest(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	var v api.VisitBody
	far := start.Add(73 * time.Hour)
	tag := s.call("POST", "/v1/visits", object{"client_id": s.client("Mara"), "start": far, "services": []object{s.by(s.ada, "Straightening"), s.by(s.ben, "Dry cut")}},
		"Idempotency-Key", "far").is(201, &v).header.Get("ETag")
	s.at(far.Add(-20 * time.Hour))
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": far.Add(time.Hour)}, "If-Match", tag).refused(422, "refused")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"lead_ids": []string{"", s.ada}}, "If-Match", tag).is(200, &v)
	require.Equal(t, s.ada, v.Services[1].LeadID)
}

func TestAPencilledVisitMovesWithinItsTimeAndTellsNobody(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	until := start.Add(10 * time.Minute)
	v, _ := s.pencil(tuesday(9, 0), []object{s.by(s.ada, "Dry cut")}, object{"client_id": s.client("Mara"), "until": until})
	before := s.reminders(v.ID)
	var moved api.VisitBody
	tag := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": tuesday(15, 0)}, "If-Match", `"v1"`).is(200, &moved).header.Get("ETag")
	require.Equal(t, "held", moved.State)
	require.True(t, moved.HeldUntil.Equal(until), "as long as before")
	require.True(t, moved.Start.Equal(tuesday(15, 0)))
	require.Equal(t, before, s.reminders(v.ID))
	require.Empty(t, s.parts(s.ada), "no calendar shows it")
	s.sound()
	s.at(until)
	p := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": tuesday(16, 0)}, "If-Match", tag).refused(409, "conflict")
	require.Contains(t, p.Detail, "was pencilled until 08:10")
}

func TestChemicalsStayOnNoLongerOnHairThatNobodyDescribed(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	step := func(kind, where string, hands bool) object {
		who := "lead"
		if !hands {
			who = "nobody"
		}
		return object{"kind": kind, "label": kind, "who": who, "where": where, "minutes": 15, "hands_on": hands}
	}
	for i, chemical := range []bool{true, false} {
		var x api.ServiceBody
		name := []string{"Toner", "Oil pack"}[i]
		s.call("POST", "/v1/services", object{"name": name, "skill": "cut", "chemical": chemical, "aftercare": false, "price_cents": 900,
			"steps": []object{step("apply", "chair", true), step("working", "chair", false), step("rinse", "basin", true)}}).is(201, &x)
		v, tag := s.book(s.client(name[:3]), tuesday(9+3*i, 0), []object{{"service_id": x.ID}})
		require.Empty(t, v.Services[0].EstimateID)
		a := s.extend(v.ID, tag, object{"minutes": 1, "step": 0})
		if !chemical {
			a.is(200, nil)
			continue
		}
		require.Contains(t, a.refused(422, "refused").Detail, "Toner was booked without the client's hair")
		s.extend(v.ID, tag, object{"minutes": 1, "step": 2}).is(200, nil)
	}
}
