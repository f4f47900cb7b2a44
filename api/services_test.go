package api_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/scheduling"
)

// serviceOf reads a service with its ETag.
func (s *salon) serviceOf(name string) (api.ServiceBody, string) {
	s.t.Helper()
	var b api.ServiceBody
	a := s.call("GET", "/v1/services/"+s.services[name], nil).is(200, &b)
	return b, a.header.Get("ETag")
}

// changeService puts a service back with something changed.
func (s *salon) changeService(name string, change func(*api.ServiceBody)) answer {
	s.t.Helper()
	b, tag := s.serviceOf(name)
	change(&b)
	return s.call("PUT", "/v1/services/"+b.ID, b, "If-Match", tag)
}

func TestAServiceIsCopiedUnderAnotherName(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	was, _ := s.serviceOf("Straightening")
	path := "/v1/services/" + was.ID + "/copy"
	var b, again api.ServiceBody
	a := s.call("POST", path, object{"name": "Straightening, gentle"}, "Idempotency-Key", "copy").is(201, &b)
	require.Equal(t, "/v1/services/"+b.ID, a.header.Get("Location"))
	require.NotEqual(t, was.ID, b.ID)
	require.Equal(t, []any{"Straightening, gentle", 1}, []any{b.Name, b.Version})
	require.Equal(t, was.Steps, b.Steps)
	require.Equal(t, []any{was.Skill, was.PriceCents, was.Aftercare, was.Families, was.Clear}, []any{b.Skill, b.PriceCents, b.Aftercare, b.Families, b.Clear})
	s.call("POST", path, object{"name": "Straightening, gentle"}, "Idempotency-Key", "copy").is(201, &again)
	require.Equal(t, b, again, "once is enough")
	s.call("POST", path, object{}, "Idempotency-Key", "other").is(201, &b)
	require.Equal(t, "Copy of Straightening", b.Name)
	b.Steps = b.Steps[:3]
	b.Chemical, b.Aftercare = false, false
	s.call("PUT", "/v1/services/"+b.ID, b, "If-Match", `"v1"`).is(200, nil)
	now, _ := s.serviceOf("Straightening")
	require.Equal(t, was, now, "the copy is changed, not the service")
	s.call("POST", path, object{}).refused(400, "idempotency-key")
	s.call("POST", "/v1/services/none/copy", object{}, "Idempotency-Key", "third").refused(404, "not-found")
	require.Equal(t, []string{"body /name"}, pointers(s.call("POST", path, object{"name": strings.Repeat("x", 121)}, "Idempotency-Key", "fourth").refused(422, "invalid")))
	require.Equal(t, []string{"body /name"}, pointers(s.call("POST", path, object{"name": "two\nlines"}, "Idempotency-Key", "fifth").refused(422, "invalid")))
}

func TestABookedVisitKeepsItsVersionItsStepsAndItsPrice(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), []object{s.by(s.ada, "Cut and dry")})
	before := v.Services[0]
	require.Equal(t, 1, before.ServiceVersion)
	var changed api.ServiceBody
	s.changeService("Cut and dry", func(b *api.ServiceBody) {
		b.PriceCents, b.Name = 9900, "Cut, dry, style"
		b.Steps[1].Minutes, b.Steps[1].WatchFor = 60, []string{"Our own line."}
		b.Steps = b.Steps[1:]
	}).is(200, &changed)
	require.Equal(t, 2, changed.Version)
	read, _ := s.read(v.ID)
	require.EqualValues(t, 9900, *read.PriceToday, "shown beside the price that it keeps")
	read.PriceToday = nil
	require.Equal(t, v, read)
	var moved api.VisitBody
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(2 * time.Hour)}, "If-Match", tag).is(200, &moved)
	require.Equal(t, []any{v.PriceCents, before.ServiceVersion, before.Name, len(v.Steps)}, []any{moved.PriceCents, moved.Services[0].ServiceVersion, moved.Services[0].Name, len(moved.Steps)})
	for i, st := range moved.Steps {
		require.Equal(t, v.Steps[i].WatchFor, st.WatchFor)
		require.Equal(t, v.Steps[i].End.Sub(v.Steps[i].Start), st.End.Sub(st.Start))
	}
	next, _ := s.book(s.client("Nora"), tuesday(14, 0), []object{s.by(s.ada, "Cut and dry")})
	require.Equal(t, []any{int64(9900), 2, 2}, []any{next.PriceCents, next.Services[0].ServiceVersion, len(next.Steps)})
	require.Equal(t, []string{"Our own line."}, next.Steps[0].WatchFor)

	var list struct{ Items []api.ServiceBody }
	s.call("GET", "/v1/services/"+changed.ID+"/versions", nil).is(200, &list)
	require.Len(t, list.Items, 2)
	require.Equal(t, []int{2, 1}, []int{list.Items[0].Version, list.Items[1].Version})
	require.Equal(t, []string{"Cut, dry, style", "Cut and dry"}, []string{list.Items[0].Name, list.Items[1].Name})
	for _, x := range list.Items {
		require.NotNil(t, x.MadeAt)
		var one api.ServiceBody
		s.call("GET", "/v1/services/"+changed.ID+"/versions/"+string(rune('0'+x.Version)), nil).is(200, &one)
		require.Equal(t, x, one)
	}
	s.call("GET", "/v1/services/"+changed.ID+"/versions/3", nil).refused(404, "not-found")
	s.call("GET", "/v1/services/"+changed.ID+"/versions/0", nil).refused(422, "invalid")
	s.call("GET", "/v1/services/none/versions", nil).refused(404, "not-found")
}

func TestAServiceThatCanNeverBePlacedIsRefusedWithEveryReason(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before := s.tables()()
	b := object{"name": "", "skill": "perm", "chemical": false, "aftercare": true, "retouch": true, "price_cents": 1, "steps": []object{
		{"kind": "cut", "label": "Cut", "who": "lead", "where": "chair", "minutes": 541, "hands_on": true, "wait_min_minutes": 9, "wait_max_minutes": 5,
			"held_while_waiting": []string{"basin"}},
		{"kind": "iron", "label": "Iron", "who": "assistant_or_lead", "where": "chair", "minutes": 5, "hands_on": true},
		{"kind": "neutral", "label": "Neutralize", "who": "lead", "where": "chair", "minutes": 5, "hands_on": true, "may_overrun": true, "watch_for": []string{"keep {distance}"}},
	}}
	p := s.call("POST", "/v1/services", b).refused(422, "invalid")
	require.ElementsMatch(t, []string{"body /name", "body /skill", "body /aftercare", "body /retouch", "body /steps", "body /steps/0/wait_min_minutes",
		"body /steps/0/held_while_waiting/0", "body /steps/1/who", "body /steps/2/may_overrun", "body /steps/2/watch_for/0"}, pointers(p))
	b["price_cents"], b["steps"].([]object)[1]["minutes"] = -1, 601 // which the description refuses already
	p = s.call("POST", "/v1/services", b).refused(422, "invalid")
	require.ElementsMatch(t, []string{"body /price_cents", "body /steps/1/minutes", "body /name", "body /aftercare", "body /retouch",
		"body /steps/0/wait_min_minutes", "body /steps/0/held_while_waiting/0", "body /steps/2/may_overrun", "body /steps/2/watch_for/0"}, pointers(p), "in one round")
	require.Contains(t, s.call("PUT", "/v1/services/"+s.services["Dry cut"], b, "If-Match", `"v1"`).refused(422, "invalid").Errors[0].Pointer, "/")
	require.Equal(t, before, s.tables()())
}

// A salon that is being set up may enter its services before its people, chairs
// and hours; the answer says what is missing.
func TestAnEmptySalonMayEnterItsServicesFirst(t *testing.T) {
	t.Parallel()
	full := newSalon(t)
	s := full.neighbour()
	s.open("Europe/Berlin") // an empty one
	for name := range full.services {
		b, _ := full.serviceOf(name)
		for _, c := range b.Cautions {
			require.Equal(t, scheduling.ConcernNoHelper, c.Code, "%s: Ada is the only one who straightens", name)
		}
		b = api.ServiceBody{Name: b.Name, Skill: b.Skill, Chemical: b.Chemical, Aftercare: b.Aftercare, Retouch: b.Retouch, Families: b.Families,
			Clear: b.Clear, PriceCents: b.PriceCents, Steps: b.Steps, Products: []api.ServiceProductBody{}}
		var got api.ServiceBody
		s.call("POST", "/v1/services", b).is(201, &got)
		var codes []string
		for _, c := range got.Cautions {
			require.Equal(t, "warn", c.Level)
			codes = append(codes, c.Code)
		}
		require.Equal(t, []string{scheduling.ConcernNoStaff, scheduling.ConcernNoStations, scheduling.ConcernNoHours}, codes, name)
	}
}

func TestAssistantsDoOnlyWhatTheRuleNames(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	assisted := func(v api.VisitBody) (out []string) {
		for _, st := range v.Steps {
			for _, u := range st.Units {
				if u.UnitID == s.mina {
					out = append(out, st.Kind)
				}
			}
		}
		return out
	}
	old, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	require.Equal(t, []string{"wash", "rinse_1", "dry_1", "rinse_2", "dry_2"}, assisted(old))

	var rules api.RulesAnswer
	read := s.call("GET", "/v1/booking-rules", nil).is(200, &rules)
	require.Equal(t, []string{"wash", "rinse", "rinse_1", "rinse_2", "rinse_short", "dry", "dry_1", "dry_2"}, rules.AssistantSteps)
	require.Empty(t, rules.Assisted)
	require.InDelta(t, 51.92, s.estimate(hair()).Estimate.AssistantMinutes, 0.01) // derived twice by independent programs
	rules.AssistantSteps = []string{"wash"}
	s.call("PUT", "/v1/booking-rules", rules, "If-Match", read.header.Get("ETag")).is(200, &rules)
	e := s.estimate(hair()).Estimate
	require.InDelta(t, 9.75, e.AssistantMinutes, 0) // the wash alone; derived twice by independent programs
	require.Contains(t, e.Why, api.WhyBody{Figure: "assistant_minutes", Label: "what an assistant may do", Working: "9.75 wash = 9.8 min"})
	require.Contains(t, e.Why, api.WhyBody{Figure: "panels", Label: "panels for the iron", Working: "520 cm² ÷ 4 sections ÷ (1 cm × 6 cm), rounded up, × 4 = 88"})
	require.Contains(t, e.Steps[3].WatchFor, "Start at the nape and work up, ends last; keep 2.5 cm off the scalp.")
	var kinds []string
	for _, x := range rules.Assisted {
		require.Equal(t, []any{old.ID, s.mina, old.Start}, []any{x.VisitID, x.StaffID, x.Start})
		kinds = append(kinds, x.Kind)
	}
	require.Equal(t, []string{"rinse_1", "dry_1", "rinse_2", "dry_2"}, kinds, "what the desk has to move")

	b, _ := s.serviceOf("Straightening")
	p := s.changeService("Straightening", func(*api.ServiceBody) {}).refused(422, "invalid")
	require.Equal(t, []string{"body /steps/5/who", "body /steps/6/who", "body /steps/10/who", "body /steps/11/who"}, pointers(p))
	require.Contains(t, p.Errors[0].Expected, "assistant_steps: wash")
	require.Equal(t, "assistant_or_lead", b.Steps[5].Who)

	v, vtag := s.book(s.client("Nora"), tuesday(9, 0).Add(24*time.Hour), s.straightening())
	require.Equal(t, []string{"wash"}, assisted(v), "the stylist in charge does the rest")
	var moved api.VisitBody
	s.call("POST", "/v1/visits/"+old.ID+"/move", object{"start": old.Start.Add(5 * time.Minute), "approved_by": "Ada"}, "If-Match", tag).is(200, &moved)
	require.Equal(t, assisted(old), assisted(moved), "what is booked stays as it was booked")

	// What was booked under the narrow rule can be moved under the wide one.
	read = s.call("GET", "/v1/booking-rules", nil).is(200, &rules)
	rules.AssistantSteps = nil
	s.call("PUT", "/v1/booking-rules", rules.BookingRules, "If-Match", read.header.Get("ETag")).is(200, &rules)
	require.Len(t, rules.AssistantSteps, 8)
	require.Empty(t, rules.Assisted)
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(5 * time.Minute), "approved_by": "Ada"}, "If-Match", vtag).is(200, &moved)
	require.Equal(t, []string{"wash"}, assisted(moved))
	rules.AssistantSteps, rules.HoldMinutes = []string{"wash", "Wash!", "wash"}, 0
	p = s.call("PUT", "/v1/booking-rules", rules.BookingRules, "If-Match", `"v3"`).refused(422, "invalid")
	require.Equal(t, []string{"body /hold_minutes", "body /assistant_steps/1", "body /assistant_steps/2"}, pointers(p), "in one round")
}

func TestNeutralizerIsNeverMadeLonger(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	require.Equal(t, "neutral", v.Steps[8].Kind)
	require.True(t, v.Steps[8].HandsOn)
	require.Contains(t, s.extend(v.ID, tag, object{"minutes": 5, "step": 8}).refused(409, "conflict").Detail, "may not last longer")
	s.extend(v.ID, tag, object{"minutes": 5, "step": 10}).is(200, nil)
}

// A basin that is held in a wait is held in the book, too, and stays so when the
// visit moves.
func TestWhatAWaitHoldsIsReserved(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.changeService("Cut and dry", func(b *api.ServiceBody) {
		b.Steps[0].WaitMin, b.Steps[0].WaitMax = 7, 7
		b.Steps[0].Held = []string{"basin", "lead"}
	}).is(200, nil)
	v, tag := s.book(s.client("Mara"), tuesday(9, 0), []object{s.by(s.ada, "Cut and dry")})
	check := func(v api.VisitBody) {
		blocks := s.column(`SELECT u.name || ' ' || extract(epoch FROM b.ends_at - b.starts_at) / 60 FROM block b JOIN unit u USING (salon_id, unit_id)
			WHERE b.visit_id = $1 AND b.starts_at <= $2 AND b.ends_at >= $3 ORDER BY 1`, v.ID, v.Steps[0].End, v.Steps[1].Start)
		require.Len(t, blocks, 3, "%v", blocks)
		require.Contains(t, blocks[0], "Ada ")
		require.Contains(t, blocks[1], "basin 3 15.0")
		require.Contains(t, blocks[2], "chair ")
	}
	check(v)
	board, err := s.server.Board(t.Context(), s.row.ID, tuesday(0, 0).Format(time.DateOnly))
	require.NoError(t, err)
	require.Contains(t, string(board), "waits with the client")
	for _, p := range s.parts(s.ada) {
		require.NotEqual(t, v.Steps[0].End, p.Start, "the wait is part of her time")
	}
	s.sound()
	var moved api.VisitBody
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, &moved)
	check(moved)
	s.sound()
	b, _ := s.serviceOf("Cut and dry")
	require.Equal(t, []string{"basin", "lead"}, b.Steps[0].Held)
	require.Equal(t, []string{"chair"}, b.Steps[1].Held)
}

func TestTheLinesToWatchForAreShownWithTheSalonsFigures(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	require.Equal(t, "apply", v.Steps[3].Kind)
	require.Contains(t, strings.Join(v.Steps[3].WatchFor, "\n"), "keep 2.5 cm off the scalp")
	b, _ := s.serviceOf("Straightening")
	require.Contains(t, strings.Join(b.Steps[3].WatchFor, "\n"), "{off_scalp}", "a salon edits the line, not the figure")
	var row api.SalonBody
	read := s.call("GET", "/v1/salon", nil).is(200, &row)
	row.LengthUnit = "in"
	s.call("PUT", "/v1/salon", row, "If-Match", read.header.Get("ETag")).is(200, nil)
	v, _ = s.read(v.ID)
	require.Contains(t, strings.Join(v.Steps[3].WatchFor, "\n"), "keep 0.98 in off the scalp")
	feed := func(staff string) string {
		return strings.ReplaceAll(string(s.feed("staff", staff).ask("GET").is(200, nil).body), "\r\n ", "")
	}
	require.Contains(t, feed(s.ada), "- Never slide a closed iron")
	require.NotContains(t, feed(s.ada), "Rinse the nape first", "Mina does that")
	require.Contains(t, feed(s.mina), "- Rinse the nape first")
}
