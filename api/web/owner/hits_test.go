package owner_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
)

// tuesday is the day after webtest.Start, at nine.
var tuesday = webtest.Start.Add(24*time.Hour + 30*time.Minute)

// rota is everything that a change could have changed.
func rota(s *webtest.Salon) map[string]any {
	out := map[string]any{}
	for _, path := range []string{"/hours", "/closures", "/absences", "/staff", "/stations", "/services", "/products", "/staff/" + s.Ada + "/hours",
		"/staff/" + s.Ada + "/rotas", "/staff/" + s.Ada + "/single-days",
		"/days/2026-06-09", "/days/2026-06-10", "/message-rules"} {
		var x any
		h := s.Ask(http.MethodGet, path, nil, http.StatusOK, &x)
		if m, ok := x.(map[string]any); ok {
			delete(m, "as_of")
		}
		out[path] = []any{x, h.Get("ETag")}
	}
	return out
}

func TestWhatIsHitIsShownBeforeAChangeAndNothingIsChanged(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday)
	s.Ask(http.MethodPost, "/visits", webtest.Object{"client_id": s.Client("Orla", "Finch"), "start": tuesday.Add(24 * time.Hour),
		"services": []webtest.Object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ben}}}, http.StatusCreated, nil)
	person, station := "/set-up/people/"+s.Ada, "/set-up/stations/"+s.Basins[0]
	for _, x := range []struct {
		name, page, form string
		fields           map[string]string
		says             []string
		sure             bool
	}{
		{"an absence", "/set-up/absences", "away", map[string]string{"unit_id": s.Ada, "first": "2026-06-09"},
			[]string{"1 visit is hit", "Juna K.", "Straightening, Ada Birch in charge", "Ada Birch is not there from 09:00 to 13:", "The same time, Noor Vale in charge"}, true},
		{"her own absence", person, "away", map[string]string{"first": "2026-06-08", "last": "2026-06-30", "reason": "holiday"}, []string{"1 visit is hit"}, true},
		{"a last day", person, "last", map[string]string{"day": "2026-06-08"}, []string{"1 visit is hit", "Juna K."}, true},
		{"a shorter week", person, "hours", map[string]string{"work-2": "9-12"}, []string{"1 visit is hit", "Ada Birch is not there from"}, true},
		{"a break", person, "hours", map[string]string{"break-2": "12:00-12:30"}, []string{"1 visit is hit"}, true},
		{"a lost skill", person, "person", map[string]string{"skills": "cut"}, []string{"1 visit is hit", "Ada Birch lacks the skill for Straightening", "Noor Vale in charge"}, true},
		{"not in charge any more", person, "person", map[string]string{"may_lead": "off"}, []string{"1 visit is hit", "may not be in charge"}, true},
		{"a step left out", person, "person", map[string]string{"leaves_out": "apply"}, []string{"1 visit is hit", "Ada Birch does not do “apply solution”"}, true},
		{"off the staff", person, "leave", nil, []string{"1 visit is hit", "Ada Birch is not there any more", "move or cancel them first"}, false},
		{"shorter opening hours", "/set-up/hours", "week", map[string]string{"open-2": "9-11"}, []string{"1 visit is hit", "the salon is not open for the whole visit"}, true},
		{"closing days", "/set-up/hours", "close", map[string]string{"days": "2026-06-09 to 2026-06-10 Fair"}, []string{"2 visits are hit", "Juna K.", "Orla F."}, true},
		{"a basin out of order", station, "away", map[string]string{"first": "2026-06-09"}, []string{"1 visit is hit", "Basin 1 is not there from", "The same time"}, true},
		{"a basin taken away", station, "leave", nil, []string{"1 visit is hit", "Basin 1 is not there any more"}, false},
	} {
		t.Run(x.name, func(t *testing.T) {
			d := *d
			d.t = t
			before := rota(s)
			p := d.fill(d.see(x.page), x.form, x.fields)
			require.Equal(t, http.StatusOK, p.status, p.text())
			p.says(t, x.says...).says(t, "Nothing is changed yet.")
			require.Contains(t, p.body, `href="/visits/`+v.ID+`/move"`)
			require.NotContains(t, p.text(), "Kestrel", "first name and initial")
			require.Equal(t, x.sure, strings.Contains(p.body, `value="sure"`))
			require.Equal(t, before, rota(s), "a preview changed something")
			back := d.fill(p, x.form, map[string]string{"do": "back"})
			require.Equal(t, http.StatusOK, back.status)
			typed, _ := back.form(t, x.form)
			for field, value := range x.fields {
				if value == "off" {
					require.Empty(t, typed.Get(x.form+"-"+field))
				} else {
					require.Equal(t, value, typed.Get(x.form+"-"+field), "going back loses nothing")
				}
			}
			require.Equal(t, before, rota(s))
		})
	}
}

func TestAChangeIsMadeAllTheSameWhenItWasSeenWhatItHits(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday)
	p := d.fill(d.see("/set-up/absences"), "away", map[string]string{"unit_id": s.Ada, "first": "2026-06-09", "reason": `<script>alert(1)</script>`})
	// Meanwhile somebody books another one: what was seen is not what is hit.
	s.Straightening(s.Client("Orla", "Finch"), s.Ada, tuesday.Add(5*time.Hour))
	p = d.fill(p, "away", map[string]string{"do": "sure"})
	p.says(t, "2 visits are hit", "Orla F.")
	p = d.fill(p, "away", map[string]string{"do": "sure"})
	p.says(t, "The absence is noted.", "Tue 9 June 2026", "<script>alert(1)</script>")
	require.NotContains(t, p.body, "<script>alert")
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-09", nil, http.StatusOK, &day)
	require.NotEmpty(t, day.Conflicts)
	d.fill(p, "back", nil).says(t, "The absence is taken back.", "None to come.")
	s.Ask(http.MethodGet, "/days/2026-06-09", nil, http.StatusOK, &day)
	require.Empty(t, day.Conflicts)

	// What hits nothing is done at once.
	p = d.fill(d.see("/set-up/hours"), "close", map[string]string{"days": "2026-12-25 Christmas\n2026-12-31 – 2027-01-01"})
	p.says(t, "The closing days are noted.", "Fri 25 December 2026", "Christmas", "Thu 31 December 2026 to Fri 1 January 2027")
	d.fill(p, "open", nil).says(t, "Open on those days after all.")
	p = d.fill(d.see("/set-up/people/"+s.Ben), "leave", nil)
	p.says(t, "Removed.")
	require.NotContains(t, p.text(), "Ben Reed")
}

func TestAProductThatVisitsTakeIsNotGivenUp(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	d.fill(d.see("/set-up"), "maker", map[string]string{"solution_strength": "normal", "neutralizer_strength": "ready", "longest_minutes": "60", "neutralizer_minutes": "5"}).
		says(t, "The maker's figures are noted.")
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday)
	var products struct{ Items []api.ProductBody }
	s.Ask(http.MethodGet, "/products", nil, http.StatusOK, &products)
	path := "/set-up/products/" + products.Items[0].ID
	p := d.fill(d.see(path), "remove", nil)
	p.says(t, "1 visit is hit", "it takes Straightening solution, normal", "Give another product instead")
	p = d.fill(d.see(path), "movement", map[string]string{"ml": "1000", "note": "delivery"})
	p.says(t, "Noted.", "came", "+1000")
	p = d.fill(p, "movement", map[string]string{"ml": "a lot"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "“a lot” is not a whole number.")
	d.see("/set-up/products").says(t, "1000 ml", "Enough for all booked visits")
}
