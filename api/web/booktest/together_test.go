package booktest

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/board"
	"chairblock/api/web/desk"
	"chairblock/api/web/webtest"
)

// dryCut books a dry cut.
func dryCut(s *webtest.Salon, client, lead string, start time.Time) (v api.VisitBody) {
	s.Ask(http.MethodPost, "/visits", webtest.Object{"client_id": client, "start": start,
		"services": []webtest.Object{{"service_id": s.Services["Dry cut"], "lead_id": lead}}}, http.StatusCreated, &v)
	return v
}

// groupOf is what a visit belongs to.
func groupOf(s *webtest.Salon, id string) (g api.GroupBody) {
	var v api.VisitBody
	s.Ask(http.MethodGet, "/visits/"+id, nil, http.StatusOK, &v)
	s.Ask(http.MethodGet, "/visit-groups/"+v.GroupID, nil, http.StatusOK, &g)
	return g
}

// thursday is a time of the first Thursday, by the salon's clock.
func thursday(hour, minute int) time.Time {
	return time.Date(2026, 6, 11, hour-1, minute, 0, 0, time.UTC)
}

func pressTime(b *chromium.Browser) {
	b.T.Helper()
	b.Press(`button[value^="book:"]`)
	require.Contains(b.T, b.Eval(`location.search`), "booked=", b.Text())
}

func TestSomebodyWhoComesWithHerIsBookedBeside(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		for how, words := range map[string]string{"arrive_together": "arrive together", "side_by_side": "side by side", "one_after_other": "one after the other"} {
			t.Run(fmt.Sprintf("%s, scripts %v", how, scripts), func(t *testing.T) {
				s := webtest.New(t, desk.Mount, board.Mount)
				first := dryCut(s, s.Client("Juna", "Kestrel"), s.Ben, thursday(11, 7))
				b := at(t, s)
				b.Scripts(scripts)
				b.Open(s.URL + "/book?booked=" + first.ID)
				b.Press(`a[href*="with="][href$="how=` + how + `"], a[href*="how=` + how + `"][href*="with="]`)
				require.Contains(t, b.Text(), "Comes with Juna K., booked for Thu 11 June 11:07 with Ben Reed")
				require.Equal(t, how, b.Value("how"))
				b.Fill(map[string]string{"first_name": "Mara", "service": "Dry cut"})
				b.Press(`button[value="openings"]`)
				if scripts && how == "side_by_side" {
					b.OpenToAll()
					b.Fits()
					b.Shots("book-beside")
				}
				pressTime(b)
				require.Contains(t, b.Text(), "Belong together: ")
				require.Contains(t, b.Text(), words)
				require.Contains(t, b.Text(), "Somebody else comes, too")
				g := groupOf(s, first.ID)
				require.Equal(t, how, g.How)
				require.True(t, g.Kept, g.Words)
				require.Len(t, g.Visits, 2)
				mara := visitsOf(s, "Mara")
				require.Len(t, mara, 1)
				switch how {
				case "side_by_side":
					require.True(t, mara[0].Start.Equal(first.Start))
				case "arrive_together":
					require.LessOrEqual(t, mara[0].Start.Sub(first.Start).Abs(), 15*time.Minute)
				default:
					require.True(t, !mara[0].Start.Before(first.End) || !mara[0].End.After(first.Start))
				}

				// A third one joins them; how is settled.
				b.Press(`a[href*="with="]`)
				require.Equal(t, words, b.Eval(`document.querySelector("#f-how").selectedOptions[0].text`))
				b.Fill(map[string]string{"first_name": "Ines", "service": "Dry cut"})
				b.Press(`button[value="openings"]`)
				pressTime(b)
				require.Len(t, groupOf(s, first.ID).Visits, 3)
				require.True(t, groupOf(s, first.ID).Kept)

				// She changes her mind: the others stay.
				b.Press(`form[action="/undo"] button`)
				require.Equal(t, "cancelled", visitsOf(s, "Ines")[0].State)
				require.Len(t, visitsOf(s, "Mara"), 1)
				require.Equal(t, "booked", visitsOf(s, "Mara")[0].State)
				b.Quiet()
			})
		}
	}
}

func TestWhoComesWithHerIsSaidBeforeTheFirstIsBooked(t *testing.T) {
	s := webtest.New(t, desk.Mount)
	b := at(t, s)
	b.Open(s.URL + "/book?date_from=2026-06-11")
	b.Fill(map[string]string{"first_name": "Juna", "service": "Dry cut"})
	b.Press(`button[value="estimate"]`)
	b.Fill(map[string]string{"together": "side by side"})
	b.Press(`button[value="openings"]`)
	require.Equal(t, "side_by_side", b.Value("together"), "it is kept from step to step")
	b.OpenToAll()
	b.Press(`button[value^="book:"]`)
	require.Contains(t, b.Text(), "Comes with Juna, booked for ")
	require.Equal(t, "side_by_side", b.Value("how"))
	first := visitsOf(s, "Juna")[0]
	b.Fill(map[string]string{"first_name": "Mara", "service": "Dry cut"})
	b.Press(`button[value="openings"]`)
	b.Press(`button[value^="pencil:"]`)
	require.Contains(t, b.Text(), "Pencilled until")
	require.Len(t, groupOf(s, first.ID).Visits, 2, "what is pencilled belongs to her, too")
	b.Press(`button[value="firm"]`)
	require.Contains(t, b.Text(), "Belong together: ")
	b.Quiet()
}

func TestNothingIsBookedBesideAVisitThatIsGone(t *testing.T) {
	s := webtest.New(t, desk.Mount)
	first := dryCut(s, s.Client("Juna", "Kestrel"), s.Ben, thursday(11, 0))
	b := at(t, s)
	b.Open(s.URL + "/visits/" + first.ID)
	b.Press(`a[href^="/book?with="]`)
	b.Fill(map[string]string{"first_name": "Mara", "service": "Dry cut"})
	b.Press(`button[value="openings"]`)
	require.Equal(t, "there", b.Eval(`document.querySelector('button[value^="book:"]') ? "there" : ""`))
	s.Ask(http.MethodPost, "/visits/"+first.ID+"/cancel", webtest.Object{}, http.StatusOK, nil, "If-Match", `"v1"`)
	b.Press(`button[value^="book:"]`)
	require.Contains(t, b.Text(), "the visit is cancelled and cannot belong to others")
	require.Equal(t, "Mara", b.Value("first_name"), "nothing is lost")
	require.Empty(t, visitsOf(s, "Mara"))

	// A day that is full for the wish says so.
	long := dryCut(s, s.Client("Orla", "Finch"), s.Ben, thursday(13, 0))
	for _, p := range []string{s.Ada, s.Noor} {
		s.Ask(http.MethodPost, "/kept-times", webtest.Object{"unit_ids": []string{p}, "start": thursday(12, 0), "minutes": 180, "title": "a talk"}, http.StatusCreated, nil)
	}
	b.Open(s.URL + "/book?with=" + long.ID + "&how=side_by_side")
	b.Fill(map[string]string{"first_name": "Mara", "service": "Dry cut"})
	b.Press(`button[value="openings"]`)
	require.Contains(t, b.Text(), "Nothing fits beside Orla F.’s visit (side by side).")
	b.Fill(map[string]string{"how": "one after the other"})
	b.Press(`button[value="openings"]`)
	pressTime(b)
	b.Open(s.URL + "/book?with=none")
	require.NotContains(t, b.Text(), "Comes with")
	b.Quiet("409", "422")
}
