package owner_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/owner"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// bare makes s a salon in which there is nothing yet but the owner's token.
func bare(t testing.TB, s *webtest.Salon) {
	t.Helper()
	row, err := s.Store.AddSalon(t.Context(), store.Salon{Name: "New Chairs", Zone: "Europe/London"})
	require.NoError(t, err)
	s.Row = row
	require.NoError(t, s.Store.InTx(t.Context(), row.ID, func(tx *store.Tx) (err error) {
		_, s.Token, err = tx.AddToken(t.Context(), store.Owner, "", "test", nil)
		return err
	}))
}

func TestASalonIsSetUpFromNothing(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	bare(t, s)
	d := open(t, s, store.Owner)
	p := d.see("/set-up").says(t, "Before the first booking", "Nobody may be in charge of a visit yet", "The salon has no opening hours yet.",
		"There is no chair yet.", "There is no basin yet", "No service is offered yet.")
	require.NotContains(t, p.text(), "Ready:")

	p = d.fill(p, "salon", map[string]string{"name": "New Chairs", "address": "3 Quay Lane", "phone": "+44 20 7946 0018", "mail": "desk@new.example", "currency": "gbp"})
	p.says(t, "Saved.", "Which number calls an ambulance where you are?")
	p = d.fill(p, "salon", map[string]string{"emergency": "12 call"})
	p.says(t, "the number that is dialled for an ambulance where the salon is: 2 to 6 digits")
	p = d.fill(p, "salon", map[string]string{"emergency": "999"})
	require.NotContains(t, p.says(t, "Saved.").text(), "Which number calls")
	p = d.fill(p, "week", map[string]string{"open-2": "9-18", "open-3": "09:00–13:00, 14:00–18:00", "open-5": "9.30 to 20.00"})
	p.says(t, "The week is saved.")
	p = d.fill(p, "usual", nil)
	p.says(t, "The usual services are there.")
	p = d.fill(p, "person", map[string]string{"name": "Ada Birch", "initials": "AB", "skills": "straightening"})
	p.says(t, "Added.", "Ada Birch", "Tue 09:00–18:00; Wed 09:00–13:00, 14:00–18:00; Fri 09:30–20:00")
	p = d.fill(p, "rooms", map[string]string{"chairs": "2", "basins": "1"})
	p.says(t, "Chair 1, Chair 2, Basin 1.", "The first visit can be booked, once you have looked at the prices", "Neutralizer time: not set.", "Nobody in charge has the skill “cut”")
	p.says(t, "Minutes. Not set: every straightening says so until you have asked the maker")
	p = d.fill(p, "maker", map[string]string{"solution_strength": "normal", "neutralizer_strength": "ready to use", "processing_minutes": "15",
		"longest_minutes": "60", "dry_before_iron_percent": "85", "neutralizer_minutes": "7"})
	p.says(t, "The maker's figures are noted.")
	require.NotContains(t, p.text(), "not set")

	var services struct{ Items []api.ServiceBody }
	s.Ask(http.MethodGet, "/services", nil, http.StatusOK, &services)
	require.Len(t, services.Items, 13)
	for _, x := range services.Items {
		if x.Name == "Straightening" {
			require.Len(t, x.Products, 2, "what straightens takes both products")
			s.Services[x.Name] = x.ID
		}
	}
	var staff struct{ Items []api.StaffBody }
	s.Ask(http.MethodGet, "/staff", nil, http.StatusOK, &staff)
	var found api.OpeningsAnswer
	s.Ask(http.MethodPost, "/openings", webtest.Object{"services": []webtest.Object{{"service_id": s.Services["Straightening"], "hair": webtest.Hair()}},
		"first_date": "2026-06-09", "last_date": "2026-06-12"}, http.StatusOK, &found)
	require.NotEmpty(t, found.Openings)
	s.Ask(http.MethodPost, "/visits", webtest.Object{"client_id": s.Client("Juna", "Kestrel"), "start": found.Openings[0].Start, "approved_by": "Ada Birch",
		"services": []webtest.Object{{"service_id": s.Services["Straightening"], "lead_id": staff.Items[0].ID, "hair": webtest.Hair()}}}, http.StatusCreated, nil)
	// A second press adds nothing.
	d.see("/set-up/services")
	d.fill(d.see("/set-up/services"), "usual", nil)
	s.Ask(http.MethodGet, "/services", nil, http.StatusOK, &services)
	require.Len(t, services.Items, 13)
}

func TestWhatIsWrongOfTheSetUpNamesItsField(t *testing.T) {
	t.Parallel()
	_, d := set(t)
	for _, x := range []struct {
		form   string
		fields map[string]string
		want   []string
	}{
		{"person", map[string]string{"name": "Ines Wren", "whenever": "true"}, []string{"Initials: Nothing is entered. Right is: 1 to 6 characters"}},
		{"maker", map[string]string{"processing_minutes": "15", "longest_minutes": "10", "solution_strength": "mild", "neutralizer_strength": "mild"},
			[]string{"Processing: Is 15, longer than the 10 that the product may stay on. Right is: at most “Longest time on the hair”."}},
		{"maker", map[string]string{"dry_before_iron_percent": "180", "solution_strength": "mild", "neutralizer_strength": "mild"}, []string{"Dryness before the iron: “180” cannot be right. Right is: 100 or less."}},
		{"maker", map[string]string{"solution": "ours", "neutralizer": "ours", "processing_minutes": "15", "neutralizer_minutes": "5", "solution_strength": "", "neutralizer_strength": ""},
			[]string{"Strength of the solution: Nothing is entered.", "Strength of the neutralizer: Nothing is entered."}},
		{"rooms", map[string]string{"chairs": "-3"}, []string{"More chairs: “-3” is not a number from 0 to 30."}},
		{"week", map[string]string{"open-1": "early"}, []string{"Monday: “early” cannot be read."}},
	} {
		p := d.fill(d.see("/set-up"), x.form, x.fields)
		require.Equal(t, http.StatusUnprocessableEntity, p.status, x.form)
		p.says(t, x.want...)
		require.NotRegexp(t, `<li><a href="#f-[^"]*">[^<]*\b[a-z]+_[a-z]+\b`, p.body, "no name of the interface")
	}
}

func TestTheUsualPricesAreLookedAtBeforeTheSalonIsReady(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	bare(t, s)
	d := open(t, s, store.Owner)
	d.fill(d.see("/set-up"), "week", map[string]string{"open-2": "9-18"})
	d.fill(d.see("/set-up"), "usual", nil)
	d.fill(d.see("/set-up"), "person", map[string]string{"name": "Ada Birch", "initials": "AB", "skills": "straightening"})
	p := d.fill(d.see("/set-up"), "rooms", map[string]string{"chairs": "2", "basins": "1"})
	p.says(t, "The first visit can be booked, once you have looked at the prices", "Nobody here has set these prices: ", "Straightening 320.00")
	require.NotContains(t, p.text(), "Ready:")
	s.Exec(`UPDATE service_version SET price_cents = price_cents + 100 WHERE price_cents > 0`)
	d.see("/set-up").says(t, "Ready: the first visit can be booked")
}

func TestTheMakersFiguresChangeTheProductsThatServicesTake(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	p := d.see("/set-up")
	p = d.fill(p, "maker", map[string]string{"solution_strength": "normal", "neutralizer_strength": "ready", "processing_minutes": "15", "longest_minutes": "10"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "Is 15, longer than the 10 that the product may stay on", "One thing to put right")
	require.Contains(t, p.body, `id="f-maker-processing_minutes" name="maker-processing_minutes" value="15"`, "nothing typed is lost")
	p = d.fill(p, "maker", map[string]string{"longest_minutes": "30", "neutralizer_minutes": "8"})
	p.says(t, "The maker's figures are noted.")
	p = d.fill(p, "maker", map[string]string{"solution_strength": "mild", "longest_minutes": "25"}) // another strength is another product
	p.says(t, "The maker's figures are noted.")
	var products struct{ Items []api.ProductBody }
	s.Ask(http.MethodGet, "/products", nil, http.StatusOK, &products)
	require.Len(t, products.Items, 3)
	var x api.ServiceBody
	s.Ask(http.MethodGet, "/services/"+s.Services["Regrowth retouch"], nil, http.StatusOK, &x)
	require.Len(t, x.Products, 2)
	for _, k := range products.Items {
		if k.Strength == "mild" {
			require.Equal(t, k.ID, x.Products[0].ProductID)
			require.Equal(t, 25, *k.Label.Longest)
		}
		if k.Strength == "normal" {
			require.Equal(t, 30, *k.Label.Longest, "what was noted of the other strength stays")
		}
	}
	// Two owners at once: the second is told.
	old, action := d.see("/set-up").form(t, "maker")
	d.fill(d.see("/set-up"), "maker", map[string]string{"neutralizer_minutes": "9"}).says(t, "The maker's figures are noted.")
	old.Set("maker-neutralizer_minutes", "12")
	p = d.send(http.MethodPost, action, old)
	require.Equal(t, http.StatusPreconditionFailed, p.status)
	p.says(t, "Somebody else changed this in the meantime", "Stands there now: 9.")
	d.fill(p, "maker", nil).says(t, "The maker's figures are noted.")
}

func TestAFormThatIsPressedTwiceAddsOnce(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	many := func(path string) int {
		var list struct{ Items []json.RawMessage }
		s.Ask(http.MethodGet, path, nil, http.StatusOK, &list)
		return len(list.Items)
	}
	for _, x := range []struct {
		page, form, list string
		more             int
		fields           map[string]string
	}{
		{"/set-up", "person", "/staff", 1, map[string]string{"name": "Ines Wren", "initials": "IW", "whenever": "true"}},
		{"/set-up/people", "person", "/staff", 1, map[string]string{"name": "Orla Finch", "initials": "OF", "whenever": "true"}},
		{"/set-up", "rooms", "/stations", 3, map[string]string{"chairs": "2", "basins": "1"}},
		{"/set-up/stations", "station", "/stations", 1, map[string]string{"kind": "chair", "name": "Window"}},
		{"/set-up/hours", "close", "/closures", 2, map[string]string{"days": "2026-12-24 Christmas Eve\n2026-12-31"}},
		{"/set-up/absences", "away", "/absences", 1, map[string]string{"unit_id": s.Ben, "first": "2026-07-02", "last": "2026-07-03"}},
		{"/set-up/people/" + s.Ada, "last", "/absences", 1, map[string]string{"day": "2026-09-30"}},
		{"/set-up/services", "new", "/services", 1, map[string]string{"name": "Fringe"}},
		{"/set-up/access", "feed", "/feeds", 1, map[string]string{"label": "a phone"}},
		{"/set-up/access", "token", "/tokens", 1, map[string]string{"label": "till"}},
	} {
		before := many(x.list)
		form, action := d.see(x.page).form(t, x.form)
		for name, value := range x.fields {
			form.Set(x.form+"-"+name, value)
		}
		var pages []string
		for range 2 {
			p := d.send(http.MethodPost, action, form)
			require.Equal(t, http.StatusOK, p.status, "%s %s: %s", x.page, x.form, p.text())
			pages = append(pages, p.path)
		}
		require.Equal(t, before+x.more, many(x.list), "%s %s", x.page, x.form)
		require.Equal(t, pages[0], pages[1], "the second press is answered as the first")
	}
	d.see("/set-up").says(t, "Ines Wren", "Chair 4, Chair 5, Basin 3, Window.", "Mon–Sat 09:00–19:00")
	d.see("/set-up/access").says(t, "till")
}

func TestOfSeveralClosingDaysAllAreNotedOrNone(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	p := d.fill(d.see("/set-up/hours"), "close", map[string]string{"days": "2026-12-24 Christmas Eve\n2026-12-31 " + strings.Repeat("x", 300)})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.body, `id="e-close-days"`)
	var list struct{ Items []api.ClosureBody }
	s.Ask(http.MethodGet, "/closures", nil, http.StatusOK, &list)
	require.Empty(t, list.Items)
}

func TestAnAbsenceOfAClockChangeDayIsReadAsTheClocksShowIt(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	s.At(time.Date(2026, 10, 23, 9, 0, 0, 0, time.UTC))
	d := open(t, s, store.Owner)
	p := d.fill(d.see("/set-up/absences"), "away", map[string]string{"unit_id": s.Ada, "first": "2027-03-28", "from": "01:30", "to": "05:00"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "There is no 01:30 on Sun 28 March 2027: the clocks go from 01:00 to 02:00.")
	require.Contains(t, p.body, `id="e-away-first"`)
	d.fill(d.see("/set-up/absences"), "away", map[string]string{"unit_id": s.Ada, "first": "2026-10-25", "from": "01:30", "to": "05:00"}).says(t, "The absence is noted. That time comes twice on that day")
	d.fill(d.see("/set-up/absences"), "away", map[string]string{"unit_id": s.Ben, "first": "2026-10-25"}).says(t, "The absence is noted.")
	var list struct{ Items []api.AbsenceBody }
	s.Ask(http.MethodGet, "/absences", nil, http.StatusOK, &list)
	var spans []string
	for _, a := range list.Items {
		spans = append(spans, a.From.UTC().Format("02 15:04")+" "+a.To.UTC().Format("02 15:04"))
	}
	require.ElementsMatch(t, []string{"25 00:30 25 05:00", "24 23:00 26 00:00"}, spans, "the first of the two, and a day of 25 hours")
}
