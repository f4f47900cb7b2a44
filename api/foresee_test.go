package api_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/board"
	deskpages "chairblock/api/web/desk"
	"chairblock/api/web/webtest"
	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/store"
)

// TestTwoTapsInAMinuteLeaveTheDayOnTheBoard presses two steps, one right after the
// other, so that the one in between has no time.
func TestTwoTapsInAMinuteLeaveTheDayOnTheBoard(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	_, _ = s.book(s.client("Nora"), x.v.End.Add(20*time.Minute), []object{s.by(s.ben, "Dry cut")})
	s.at(monday(9, 45))
	x.ok("arrive", monday(9, 0))
	x.hairSeen(x.id)
	x.ok(x.step("apply")+"start", monday(9, 44))
	x.ok(x.step("rinse_1") + "start")
	d := s.delays(mondayDate)
	require.Empty(t, d.Unforeseen)
	v := late(d, x.id)
	require.Equal(t, []string{"never", "runs"}, []string{v.Steps[4].State, v.Steps[5].State})
}

// TestADayThatCannotBeForeseenIsShownAsItIs has the working out of the day fail in
// each way that it can.
func TestADayThatCannotBeForeseenIsShownAsItIs(t *testing.T) {
	t.Parallel()
	for name, fail := range map[string]func(delays.Day) (delays.DayProjection, error){
		"a mistake of the program": func(d delays.Day) (delays.DayProjection, error) { panic(d.Visits[len(d.Visits):][0].ID) },
		"too tangled":              func(delays.Day) (delays.DayProjection, error) { return delays.DayProjection{}, delays.ErrTangled },
		"a faulty day": func(delays.Day) (delays.DayProjection, error) {
			return delays.DayProjection{}, scheduling.Faults{{Field: "visits[0].happened[3].start", Problem: "is 3", Want: "4"}}
		},
		"an answer about another day": func(delays.Day) (delays.DayProjection, error) { return delays.DayProjection{}, nil },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := webtest.New(t, board.Mount, deskpages.Mount)
			v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(30*time.Minute))
			s.At(webtest.Start.Add(40 * time.Minute))
			s.Ask(http.MethodPost, "/visits/"+v.ID+"/steps/0/start", nil, http.StatusOK, nil, "If-Match", `"v1"`)
			s.Server.Foresee(fail)
			p := s.Visitor(t)
			p.Get(s.Link(store.Desk, ""))
			for _, path := range []string{"/", "/?part=day", "/to-do", "/late", "/visits/" + v.ID + "/swap"} {
				a := p.Get(path)
				require.Equal(t, http.StatusOK, a.Status, "%s: %s", path, a.Body)
				if path != "/visits/"+v.ID+"/swap" {
					require.Contains(t, a.Text(), "cannot be foreseen", path)
				}
			}
			require.Contains(t, p.Get("/").Text(), "Ada Birch", "the day is drawn")
			require.Contains(t, p.Get("/late").Text(), "Juna K.")
			require.NotContains(t, p.Get("/late").Text(), "Nobody is late")
			for _, ask := range []string{"", "?remedies=no"} {
				var d api.DelaysBody
				s.Ask(http.MethodGet, "/days/2026-06-08/delays"+ask, nil, http.StatusOK, &d)
				require.Contains(t, d.Unforeseen, "cannot be foreseen")
				require.Len(t, d.Visits, 1)
				require.Equal(t, "runs", d.Visits[0].Steps[0].State)
				require.Equal(t, s.Now(), d.Visits[0].Steps[0].Start.UTC(), "what was noted stands")
				require.Empty(t, d.Remedies)
			}
			next := s.Straightening(s.Client("Orla", "Finch"), s.Noor, webtest.Start.Add(60*time.Minute))
			var problem api.Problem
			s.Ask(http.MethodPost, "/visits/"+next.ID+"/tell-running-late", nil, http.StatusConflict, &problem)
			require.Contains(t, problem.Detail, "cannot be foreseen")
		})
	}
}

// TestPeopleAreAnsweredWithPages opens addresses as a browser does.
func TestPeopleAreAnsweredWithPages(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	for _, path := range []string{"/nothing/here", "/cal/nothing.ics"} {
		a := s.Visitor(t).Get(path, "Accept", "text/html,application/xhtml+xml,*/*;q=0.8")
		require.Equal(t, http.StatusNotFound, a.Status, path)
		require.Contains(t, a.Header.Get("Content-Type"), "text/html", path)
		require.NotContains(t, a.Body, `{"`)
	}
	a := s.Visitor(t).Get("/nothing/here")
	require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"))
}
