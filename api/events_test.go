package api_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// noting is one visit on whose day things are noted.
type noting struct {
	*salon
	id, tag string
	v       api.VisitBody
}

// today is a straightening visit of this Monday at nine.
func today(s *salon) *noting {
	s.t.Helper()
	v, tag := s.book(s.client("Mara"), monday(9, 0), s.straightening())
	return &noting{s, v.ID, tag, v}
}

func monday(h, m int) time.Time { return time.Date(2026, 6, 8, h, m, 0, 0, start.Location()) }

// press notes something at the time of the clock, or at the one given.
func (x *noting) press(what string, at ...time.Time) answer {
	x.t.Helper()
	var body any
	if len(at) > 0 {
		body = object{"at": at[0]}
	}
	if what == "finish" { // the visit
		body = object{}
	}
	return x.call("POST", "/v1/visits/"+x.id+"/"+what, body, "If-Match", x.tag)
}

// ok is press for what must succeed.
func (x *noting) ok(what string, at ...time.Time) {
	x.t.Helper()
	v := api.VisitBody{}
	x.tag = x.press(what, at...).is(200, &v).header.Get("ETag")
	x.v = v
}

// step is the address of a step by its kind.
func (x *noting) step(kind string) string {
	for i, st := range x.v.Steps {
		if st.Kind == kind {
			return "steps/" + strconv.Itoa(i) + "/"
		}
	}
	x.t.Fatalf("no step %s", kind)
	return ""
}

// real lists what is known of the steps: kind, beginning and end, with a
// question mark behind what was inferred.
func (x *noting) real() []string {
	var out []string
	for _, st := range x.v.Steps {
		word := func(at *time.Time, name string) string {
			if at == nil {
				return "-"
			}
			s := at.Format("15:04")
			for _, k := range st.Inferred {
				if k == name {
					s += "?"
				}
			}
			return s
		}
		if st.RealStart != nil || st.RealEnd != nil {
			out = append(out, st.Kind+" "+word(st.RealStart, "real_start")+" "+word(st.RealEnd, "real_end"))
		}
	}
	return out
}

// events lists what was noted, inferred things in brackets.
func (x *noting) events() []string {
	x.t.Helper()
	var list struct{ Items []api.EventBody }
	x.call("GET", "/v1/visits/"+x.id+"/events", nil).is(200, &list)
	var out []string
	for _, e := range list.Items {
		s := e.Kind
		if e.Step != nil {
			s += " " + strconv.Itoa(*e.Step)
		}
		if s += " " + e.At.Format("15:04"); e.Inferred {
			s = "(" + s + ")"
		}
		out = append(out, s)
	}
	return out
}

func TestFivePressesTellTheWholeOfAStraighteningVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.at(monday(8, 55))
	x.ok("arrive")
	require.Equal(t, "arrived", x.v.State)
	s.at(monday(9, 42)) // planned for 9:39
	x.hairSeen(x.id)
	x.ok(x.step("apply") + "start")
	require.Equal(t, "under_way", x.v.State)
	// 42 minutes from nine on, by the plan's 18, 11 and 10.
	require.Equal(t, []string{"talk 09:00? 09:19?", "wash 09:19? 09:31?", "prep 09:31? 09:42?", "apply 09:42 -"}, x.real())
	s.at(monday(10, 30))
	x.ok(x.step("rinse_1") + "start")
	// 48 minutes of product, by the plan's 30 and 15.
	require.Equal(t, []string{"apply 09:42 10:14?", "process 10:14? 10:30?", "rinse_1 10:30 -"}, x.real()[3:])
	s.at(monday(10, 57))
	x.ok(x.step("iron") + "start")
	s.at(monday(12, 30))
	x.ok(x.step("neutral") + "start")
	s.at(monday(13, 45))
	x.ok(x.step("finish")+"start", monday(13, 23)) // forgotten
	before := x.real()
	x.ok("finish")
	require.Equal(t, "finished", x.v.State)
	real := x.real()
	require.Len(t, real, 14)
	require.Equal(t, before[:12], real[:12], "what was known stays")
	require.Equal(t, "close 13:38? 13:45?", real[13])
	require.Equal(t, monday(13, 45).Add(48*time.Hour), x.v.KeepDryUntil.In(start.Location()))
	last := x.v.Start
	for _, st := range x.v.Steps {
		require.False(t, st.RealStart.Before(last), st.Kind)
		require.False(t, st.RealEnd.Before(*st.RealStart), st.Kind)
		last = *st.RealEnd
	}
	noted := x.events()
	require.Equal(t, []string{"arrive 08:55", "start 3 09:42", "(start 0 09:00)", "(finish 0 09:19)"}, noted[:4])
	require.Contains(t, noted, "done 13:45")
	require.Equal(t, 5+2, len(noted)-strings.Count(strings.Join(noted, ""), "("), "five for steps, and two for the visit")

	// Later somebody remembers that the iron was taken up at 11:10.
	x.press(x.step("iron")+"start").refused(409, "conflict")
	x.ok(x.step("iron")+"start", monday(11, 10))
	require.Equal(t, []string{"rinse_1 10:30 10:46?", "dry_1 10:46? 11:10?", "iron 11:10 12:30?"}, x.real()[5:8])
	require.Equal(t, "finished", x.v.State)
}

func TestWhatCannotHaveHappenedIsRefused(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.at(monday(9, 5))
	talk, apply, rinse := x.step("talk"), x.step("apply"), x.step("rinse_1")
	require.Contains(t, x.press(apply+"start").refused(409, "conflict").Detail, "before the client is here")
	require.Contains(t, x.press(x.step("process")+"finish").refused(409, "conflict").Detail, "before the client is here")
	for _, at := range []time.Time{monday(9, 7), monday(0, 0).Add(-time.Minute), monday(9, 5).AddDate(10, 0, 0)} {
		p := x.press("arrive", at).refused(422, "invalid")
		require.Equal(t, []string{"body /at"}, pointers(p))
	}
	x.ok("arrive", monday(9, 6)) // a watch that is a minute ahead
	x.ok("arrive", monday(9, 1))
	require.Equal(t, "09:01", x.v.ArrivedAt.Format("15:04"), "corrected")
	require.Contains(t, x.press("arrive").refused(409, "conflict").Detail, "arrived")
	p := x.press(talk+"start", monday(9, 0)).refused(422, "invalid")
	require.Contains(t, p.Errors[0].Detail, "before the client came, at 09:01")
	x.ok(talk+"start", monday(9, 3))
	require.Contains(t, x.press(talk+"start").refused(409, "conflict").Detail, "began at 09:03 already")
	p = x.press("arrive", monday(9, 4)).refused(422, "invalid")
	require.Contains(t, p.Errors[0].Detail, "had begun, at 09:03")
	s.at(monday(9, 45))
	x.hairSeen(x.id)
	x.ok(apply + "start")
	p = x.press(talk+"finish", monday(9, 2)).refused(422, "invalid")
	require.Contains(t, p.Errors[0].Detail, "before “consultation” began at 09:03")
	require.Contains(t, x.press(talk+"finish", monday(9, 46)).refused(422, "invalid").Errors[0].Detail, "after “")
	require.Contains(t, x.press(rinse+"finish", monday(9, 47)).refused(422, "invalid").Errors[0].Detail, "still to come")
	s.at(monday(9, 50))
	require.Contains(t, x.press(talk+"finish").refused(409, "conflict").Detail, "say when it was")
	x.ok(talk+"finish", monday(9, 20))
	require.Equal(t, []string{"talk 09:03 09:20", "wash 09:20? 09:33?", "prep 09:33? 09:45?", "apply 09:45 -"}, x.real())
	require.Equal(t, []string{"path ordinal"}, pointers(x.press("steps/14/start").refused(422, "invalid")))
	x.press("steps/-1/start").refused(422, "invalid")
	x.press("steps/talk/start").refused(422, "invalid")
	require.Contains(t, s.call("POST", "/v1/visits/"+x.id+"/finish", object{"ended_at": monday(9, 44)}, "If-Match", x.tag).refused(422, "invalid").Errors[0].Expected, "or later")
	s.call("POST", "/v1/visits/"+x.id+"/"+rinse+"start", nil, "If-Match", `"v1"`).refused(412, "stale")
	s.call("POST", "/v1/visits/"+x.id+"/"+rinse+"start", nil).refused(428, "if-match")

	// Of a visit that is over, times may be set right and nothing else.
	s.at(monday(13, 30))
	x.ok("finish")
	require.Contains(t, x.press(rinse+"start").refused(409, "conflict").Detail, "say when it was")
	require.Contains(t, x.press(rinse+"start", monday(13, 31)).refused(422, "invalid").Errors[0].Detail, "after the visit was over")
	x.ok(rinse+"start", monday(10, 31))
	require.Contains(t, x.press(rinse+"undo").refused(409, "conflict").Detail, "finished")

	tomorrow, tag := s.book(s.client("Nora"), monday(9, 0).AddDate(0, 0, 1), s.straightening())
	y := &noting{s, tomorrow.ID, tag, tomorrow}
	require.Contains(t, y.press(talk+"start").refused(409, "conflict").Detail, "cannot have begun yet")
	require.Contains(t, y.press("arrive", monday(13, 0)).refused(409, "conflict").Detail, "only today's")
	y.tag = s.call("POST", "/v1/visits/"+y.id+"/cancel", nil, "If-Match", tag).is(200, nil).header.Get("ETag")
	s.at(tuesday(9, 5))
	require.Contains(t, y.press(talk+"start").refused(409, "conflict").Detail, "cancelled")
}

func TestTheLastPressCanBeTakenBackAndTheOneBeforeIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	talk, prep, apply := x.step("talk"), x.step("prep"), x.step("apply")
	require.Contains(t, x.press(talk+"undo").refused(409, "conflict").Detail, "nothing was noted yet")
	s.at(monday(9, 40))
	x.ok(prep + "start") // without the press for her arrival
	require.Equal(t, "under_way", x.v.State)
	require.Equal(t, "09:11", x.v.ArrivedAt.Format("15:04"), "29 minutes are planned before")
	require.Equal(t, []string{"talk 09:11? 09:29?", "wash 09:29? 09:40?", "prep 09:40 -"}, x.real())
	x.ok(prep + "undo")
	require.Equal(t, "booked", x.v.State)
	require.Nil(t, x.v.ArrivedAt)
	require.Empty(t, x.real())

	x.ok("arrive", monday(9, 2))
	require.Contains(t, x.press(talk+"undo").refused(409, "conflict").Detail, "that the client is here, at 09:02")
	x.ok(talk+"start", monday(9, 5))
	x.ok(prep+"start", monday(9, 33))
	two := x.real()
	x.hairSeen(x.id)
	x.ok(apply + "start")
	three := x.real()
	x.ok(apply+"start", monday(9, 38)) // a correction
	require.NotEqual(t, three, x.real())
	require.Contains(t, x.press(prep+"undo").refused(409, "conflict").Detail, "began at 09:38")
	x.ok(apply + "undo")
	require.Equal(t, three, x.real(), "the correction is taken back")
	x.ok(apply + "undo")
	require.Equal(t, two, x.real())
	x.ok(prep + "finish")
	require.Equal(t, []string{"talk 09:05 09:22?", "wash 09:22? 09:33?", "prep 09:33 09:40"}, x.real())
	x.ok(prep + "undo")
	x.ok(prep + "undo")
	x.ok(talk + "undo")
	require.Equal(t, "arrived", x.v.State)
	require.Equal(t, "09:02", x.v.ArrivedAt.Format("15:04"))
	require.Empty(t, x.real())
	require.Equal(t, 6, strings.Count(strings.Join(x.events(), "\n"), "undo"), "nothing is lost")
	same, _ := s.read(x.id)
	require.Equal(t, x.v, same)
}

func TestAnEndThatWasNotedTellsWhenTheStepBegan(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.at(monday(9, 30))
	x.ok("arrive", monday(9, 0))
	x.ok(x.step("wash") + "finish")
	require.Equal(t, []string{"talk 09:00? 09:18?", "wash 09:18? 09:30"}, x.real())
	require.Equal(t, "under_way", x.v.State)
	s.at(monday(9, 32))
	x.hairSeen(x.id)
	x.ok(x.step("apply") + "start") // two minutes after the wash
	require.Equal(t, []string{"wash 09:18? 09:30", "prep 09:30? 09:32?", "apply 09:32 -"}, x.real()[1:])
	s.at(monday(9, 33))
	x.ok(x.step("iron") + "start") // nobody does four steps in a minute
	require.Equal(t, []string{"apply 09:32 09:33?", "iron 09:33 -"}, x.real()[3:])
}

func TestWhoNotesIsKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		_, s.token, err = tx.AddToken(t.Context(), store.AssistantRole, s.mina, "phone", nil)
		return err
	}))
	s.at(monday(9, 4))
	x.ok("arrive", monday(9, 1))
	x.ok(x.step("talk") + "start")
	x.press("finish").refused(403, "forbidden")
	x.salon = s.as(store.Desk)
	s.at(monday(9, 20))
	x.ok(x.step("talk") + "finish")
	var list struct{ Items []api.EventBody }
	x.call("GET", "/v1/visits/"+x.id+"/events", nil).is(200, &list)
	require.Len(t, list.Items, 3)
	require.Equal(t, []string{"Mina", "Mina", "desk"}, []string{list.Items[0].NotedBy, list.Items[1].NotedBy, list.Items[2].NotedBy})
	require.Equal(t, "09:01 09:04", list.Items[0].At.Format("15:04 ")+list.Items[0].NotedAt.Format("15:04"))
}

func TestAnExtensionAndAMoveKeepWhatReallyHappened(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.at(monday(9, 45))
	x.ok("arrive", monday(9, 1))
	x.ok(x.step("talk")+"start", monday(9, 2))
	x.hairSeen(x.id)
	x.ok(x.step("apply") + "start")
	known := x.real()
	s.at(monday(10, 12)) // by the plan she waits for the product to work
	a := s.extend(x.id, x.tag, object{"minutes": 10}).is(200, &x.v)
	require.Equal(t, known, x.real(), "in the answer")
	require.Equal(t, 40*time.Minute, x.v.Steps[3].End.Sub(x.v.Steps[3].Start), "the one that runs by what was noted")
	x.v = api.VisitBody{}
	s.call("GET", "/v1/visits/"+x.id, nil).is(200, &x.v)
	require.Equal(t, known, x.real(), "and in the database")
	x.tag = a.header.Get("ETag")
	s.at(monday(10, 40))
	x.ok(x.step("rinse_1") + "start")
	require.Equal(t, known[:3], x.real()[:3])
	require.Equal(t, "under_way", x.v.State)
	var moved api.VisitBody
	s.call("POST", "/v1/visits/"+x.id+"/move", object{"any_lead": true}, "If-Match", x.tag).is(200, &moved)
	require.Len(t, x.real(), 6)
	x.v = moved
	require.Len(t, x.real(), 6)
}
